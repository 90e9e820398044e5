"""Values that have lost digits: what is before the first ones hides them, and the rest looks like a smaller value."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import groupby, pairwise
from statistics import median
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .figures import DisplayValue
from .patterns import MINUS
from .seen import Stand, unread_between_s

#: What has fewer digits than before or after, beside frames that could not be read, must stand so long; less where a
#: film begins with it, since nothing shows that it had more. [s]
_FEWER_S, _FEWER_FIRST_S = 3.0, 1.0
#: Nothing was in the way where no more was unread than this, or than so many times what this display's changes take,
#: of which so many must have been seen; and no change takes longer than the last one. [s]
_UNREAD_S, _SLOWER, _CHANGES, CHANGE_S = 0.18, 1.5, 2, 0.6
#: Values that differ by no more last digits are one.
SMALL_DIGITS: Final = 3
#: By so much a steady load's value wavers from one look of the display to the next (by films of the tests).
_WAVERS: Final = 0.02
#: A value that stood for so long with nothing in the way is one of this display's. [s]
_KNOWN_S: Final = 1.0


@dataclass
class KnownValues:
    """How long each value of a display stood with nothing in the way, as its digits are, without its point. [s]"""

    stood_s: dict[tuple[str, int], float] = field(default_factory=lambda: defaultdict(float))

    def add(self, figure: DisplayValue, lasts_s: float) -> None:
        """Count in a value that stood."""
        self.stood_s[figure.quantity, int(_digits(figure))] += lasts_s

    def has(self, stands: Sequence[Stand]) -> bool:
        """Tell whether all of these values are known, but for some last digits."""
        return all(self._near_s(stand.figure) >= _KNOWN_S for stand in stands if stand.figure is not None)

    def _near_s(self, figure: DisplayValue) -> float:
        digits = int(_digits(figure))
        return sum(self.stood_s[figure.quantity, digits + k] for k in range(-SMALL_DIGITS, SMALL_DIGITS + 1))


def doubt_what_lost_digits(
    same: Sequence[Stand], apart_s: float, unread_s: NDArray[np.float64], before: KnownValues
) -> None:
    """Put in doubt stands of one quantity that have fewer digits than those beside them, and came as these were hidden.

    What is before the first digits may hide them for long: the others must change with them and stand for a while, or
    be what stands elsewhere with nothing in the way, as a pump that stops leaves what was there before it ran.
    """
    spells = [list(group) for _, group in groupby(same, key=lambda stand: stand.lit)]
    usual_s = _usual_change_s(spells, unread_s)
    known = KnownValues(before.stood_s.copy())
    covered = []
    for k, spell in enumerate(spells):
        beside = [(spells[k - 1][-1], spell[0])] if k else []
        beside += [(spells[k + 1][0], spell[-1])] if k + 1 < len(spells) else []
        more = [(other, edge) for other, edge in beside if other.lit > edge.lit]
        hidden_s = [x for x in (unread_between_s(*pair, unread_s) for pair in more) if x > usual_s]
        changing_s = sum(_changing_between_s(*pair, apart_s, unread_s) for pair in beside)
        lasts_s = spell[-1].to_s - spell[0].from_s + apart_s + changing_s
        brief = lasts_s < (_FEWER_S if k else _FEWER_FIRST_S)
        if _goes_on(more, brief=brief) or (hidden_s and brief and len(more) == len(beside)):
            _doubt(spell)
        elif hidden_s and _is_covered(more, hidden_s):
            covered.append(spell)
        else:
            for stand in spell:
                if stand.figure is not None and not stand.reason:
                    known.add(stand.figure, len(stand.frames) * apart_s)
    for spell in covered:
        if not known.has(spell):
            _doubt(spell)


def _doubt(spell: Sequence[Stand]) -> None:
    for stand in spell:
        assert stand.figure is not None
        why = "has fewer digits than what stood beside it, and came as something was in the way"
        stand.reason = stand.reason or f"{stand.figure.text} {why}"


def _goes_on(more: Sequence[tuple[Stand, Stand]], *, brief: bool) -> bool:
    """Tell whether what is left goes on as it was before and after: a hand may come and go between two frames."""
    return brief and len(more) == 2 and all(_is_rest_of(edge, other, _WAVERS) for other, edge in more)


def _is_covered(more: Sequence[tuple[Stand, Stand]], hidden_s: Sequence[float]) -> bool:
    """Tell whether a spell came and went as something was in the way for longer than a change takes, or is a rest."""
    return (len(hidden_s) == 2 and sum(hidden_s) > CHANGE_S) or any(_is_rest_of(edge, other) for other, edge in more)


def _changing_between_s(one: Stand, other: Stand, apart_s: float, unread_s: NDArray[np.float64]) -> float:
    """Return for how long frames between two stands showed figures that were still changing: nothing hid those. [s]"""
    one, other = sorted((one, other), key=lambda stand: stand.first)
    return max(other.from_s - one.to_s - apart_s - unread_between_s(one, other, unread_s), 0.0)


def _usual_change_s(spells: Sequence[Sequence[Stand]], unread_s: NDArray[np.float64]) -> float:
    """Return how long a change of the display may be unclear without anything in its way. [s]"""
    changes_s = [unread_between_s(*pair, unread_s) for spell in spells for pair in pairwise(spell)]
    if len(changes_s) < _CHANGES:
        return _UNREAD_S
    return min(max(_UNREAD_S, _SLOWER * median(changes_s)), CHANGE_S)


def _is_rest_of(stand: Stand, other: Stand, wavers: float = 0.0) -> bool:
    """Tell whether a stand shows what is left of another one without its first digits, but for some last ones.

    The other one may have wavered by a share since.
    """
    assert stand.figure is not None and other.figure is not None
    digits, all_digits = _digits(stand.figure), _digits(other.figure)
    apart = abs(int(digits) - int(all_digits[-len(digits) :]))
    return apart <= max(SMALL_DIGITS, wavers * int(all_digits))


def _digits(figure: DisplayValue) -> str:
    return figure.text.removeprefix(MINUS).replace(".", "")
