"""Which segments make which digit.

Segments are a to g as the trade names them: a at the top, then clockwise, g in the middle.
"""

from __future__ import annotations

from collections import Counter
from typing import Final

#: The forms in which meters show digits (common practice, no source): 6 and 9 with and without a tail, 7 with a hook.
_FORMS: Final = {
    "0": ("abcdef",),
    "1": ("bc",),
    "2": ("abdeg",),
    "3": ("abcdg",),
    "4": ("bcfg",),
    "5": ("acdfg",),
    "6": ("acdefg", "cdefg"),
    "7": ("abc", "abcf"),
    "8": ("abcdefg",),
    "9": ("abcdfg", "abcfg"),
    "-": ("g",),
    " ": ("",),
    "A": ("abcefg",),
    "U": ("bcdef",),
    "P": ("abefg",),
}
NAMES: Final = "abcdefg"
BLANK, MINUS = " ", "-"
#: What is read where no digit can be told for sure.
DOUBT: Final = "?"


def _bits(form: str) -> int:
    return sum(1 << NAMES.index(name) for name in form)


#: Each pattern as bits, segment a the lowest, and what it stands for.
GLYPHS: Final = {_bits(form): glyph for glyph, forms in _FORMS.items() for form in forms}
#: Figures of which a display has one form and no other; so often seen, and so many times as often, a form is its own.
_VARIED: Final = frozenset(glyph for glyph, forms in _FORMS.items() if len(forms) > 1)
_OFTEN, _TIMES = 20, 10
#: Letters that may stand for a unit in a digit's place, and the unit.
UNIT_LETTERS: Final = {"A": "A", "U": "V", "P": "W"}


def is_part_of(glyph: str, other: str) -> bool:
    """Tell whether a glyph could be another one of which some segments were not seen."""
    return any(
        _bits(a) != _bits(b) and _bits(a) & ~_bits(b) == 0 for a in _FORMS.get(glyph, ()) for b in _FORMS.get(other, ())
    )


def is_between(glyph: str, one: str, other: str) -> bool:
    """Tell whether a glyph has all segments that two others have in common, and none that neither of them has."""
    return any(
        _bits(a) & _bits(b) & ~_bits(g) == 0 and _bits(g) & ~(_bits(a) | _bits(b)) == 0
        for g in _FORMS.get(glyph, ())
        for a in _FORMS.get(one, ())
        for b in _FORMS.get(other, ())
    )


def others_for_none() -> float:
    """Return how many other figures there are to one pattern that is none, where one segment of a figure is misread."""
    figures = {bits for bits, glyph in GLYPHS.items() if glyph.isdigit()}
    misread = [(GLYPHS[bits], GLYPHS.get(bits ^ (1 << k))) for bits in figures for k in range(len(NAMES))]
    return sum(other is not None and other != glyph for glyph, other in misread) / sum(
        other is None for _, other in misread
    )


class UsualForms:
    """Which forms of 6, 7 and 9 a display shows: one with a hook too many may be another figure, half covered."""

    def __init__(self) -> None:
        self._seen: dict[str, Counter[int]] = {glyph: Counter() for glyph in _VARIED}

    def is_odd(self, glyph: str, pattern: int) -> bool:
        """Tell whether a display that shows a figure by this pattern has shown it by another one so far."""
        if glyph not in _VARIED:
            return False
        forms = self._seen[glyph]
        forms[pattern] += 1
        usual, count = forms.most_common(1)[0]
        return pattern != usual and count >= _OFTEN and count > _TIMES * forms[pattern]
