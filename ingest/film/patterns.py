"""Which segments make which digit, and what becomes of a digit from frame to frame.

Segments are a to g as the trade names them: a at the top, then clockwise, g in the middle.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

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
#: A digit that was not clear for no longer, and is the same before and after, was the same between. [s]
_SAME_S: Final = 0.4
#: A digit that was changing in so many frames between may have been another one meanwhile.
_CHANGES: Final = 3
#: A digit that flickers may be lit in few frames: it is not dark between two that show so much of its light. [s]
_LIT, _DARK_S = 0.3, 0.3
#: What is light, of a display that flickers; what is without it for longer is dark. [s]
_SOME_LIGHT, _DARK_MOST_S = 0.12, 3.0
#: Letters that may stand for a unit in a digit's place, and the unit.
UNIT_LETTERS: Final = {"A": "A", "U": "V", "P": "W"}


def glyph_among(lit: int, known: int) -> str:
    """Return the one glyph of which these segments are lit, as bits, and the other known ones dark; else `DOUBT`."""
    glyphs = {glyph for bits, glyph in GLYPHS.items() if bits & known == lit}
    return glyphs.pop() if len(glyphs) == 1 else DOUBT


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


def is_mixture(text: str, one: str, other: str) -> bool:
    """Tell whether each digit is that of one or the other of two values, and not all of one."""
    return text not in {one, other} and all(x in pair for x, *pair in zip(text, one, other, strict=True))


def is_half_changed(text: str, one: str, other: str) -> bool:
    """Tell whether each digit lacks nothing that two values have in common, and has nothing that neither has."""
    return text not in {one, other} and all(is_between(x, *pair) for x, *pair in zip(text, one, other, strict=True))


def runs_of(column: Sequence[str]) -> list[tuple[str, int, int]]:
    """Return the runs of one glyph, those in doubt left out, and their first and last frame."""
    runs: list[tuple[str, int, int]] = []
    for k, glyph in enumerate(column):
        if glyph == DOUBT:
            continue
        if runs and runs[-1][0] == glyph:
            runs[-1] = (glyph, runs[-1][1], k)
        else:
            runs.append((glyph, k, k))
    return runs


def doubt_parts(column: list[str], times: Sequence[float], part_s: float) -> None:
    """Put in doubt what shows a part of the glyph that stands before and after it, for a moment.

    Or that and more, beside frames that were not clear: the edge of a hand may look like a segment.
    """
    runs = runs_of(column)
    for k, (glyph, first, last) in enumerate(runs):
        around = [runs[j][0] for j in (k - 1, k + 1) if 0 <= j < len(runs)]
        lasts_s = times[last] - times[first]
        same = len(around) == 2 and around[0] == around[1]
        is_part = any(is_part_of(glyph, other) for other in around) and lasts_s < (part_s if same else part_s / 2)
        if is_part or (same and lasts_s < 2 * part_s and DOUBT in (column[first - 1], column[last + 1])
                       and is_part_of(around[0], glyph)):  # fmt: skip
            column[first : last + 1] = [DOUBT] * (last + 1 - first)


def doubt_darkness(column: list[str], light: Sequence[Sequence[float]], times: Sequence[float]) -> None:
    """Put in doubt that a digit is dark where something of it was lit shortly before and shortly after."""
    lit_s = np.array(
        [
            at
            for glyph, one, at in zip(column, light, times, strict=True)
            if glyph == DOUBT and max(one, default=0) > _LIT
        ]
    )
    for k in [k for k, glyph in enumerate(column) if glyph == BLANK and len(lit_s)]:
        j = int(np.searchsorted(lit_s, times[k]))
        if 0 < j < len(lit_s) and max(times[k] - lit_s[j - 1], lit_s[j] - times[k]) < _DARK_S:
            column[k] = DOUBT


def dark_for(light: Sequence[float], times: Sequence[float]) -> float:
    """Return how long a digit that flickers is without light at most, between two frames that show some. [s]"""
    lit_s = [at for one, at in zip(light, times, strict=True) if one > _SOME_LIGHT]
    return max((gap for a, b in pairwise(lit_s) if (gap := b - a) < _DARK_MOST_S), default=0.0)


def doubt_what_seems_dark(column: list[str], light: Sequence[float], times: Sequence[float], dark_s: float) -> None:
    """Put in doubt that a digit is dark which was lit no longer before or after than light may be away. [s]"""
    lit_s = np.array([at for one, at in zip(light, times, strict=True) if one > _SOME_LIGHT])
    for k, glyph in enumerate(column):
        if glyph == BLANK and len(lit_s) and np.abs(lit_s - times[k]).min() < dark_s:
            column[k] = DOUBT


def fill(column: list[str], times: Sequence[float], changing: NDArray[np.bool_]) -> None:
    """Fill in a digit where it was in doubt for a moment, did not change, and is the same before and after."""
    places = [k for k, glyph in enumerate(column) if glyph != DOUBT]
    for a, b in pairwise(places):
        brief = times[b] - times[a] <= _SAME_S and changing[a:b].sum() < _CHANGES
        if b > a + 1 and column[a] == column[b] and brief:
            column[a + 1 : b] = [column[a]] * (b - a - 1)


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
