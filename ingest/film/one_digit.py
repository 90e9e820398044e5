"""What the segments of one digit show, by how bright they are."""

from __future__ import annotations

from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from .digit_light.flicker import NO_LIGHT, RowsTold
from .digit_light.segments import PARTS, SegmentLight
from .patterns import BLANK, DOUBT, GLYPHS, MINUS, glyph_among

#: A segment is lit above the one share of what lit ones of its digit have, and unlit below the other; between them
#: nobody can say. By films of the tests.
LIT, UNLIT = 0.62, 0.3
#: A segment is unlit only where no more stands out about its place, and lit ones of a digit are no less alike: of two
#: figures in change, what is lit in both is twice as bright as the rest. By states and photographs of the tests.
_STANDS_OUT, _ALIKE = 0.42, 0.55
#: A digit of less than so much of the brightest one's light is dark, of less than the other not surely lit: of two
#: values in change, digits of the one and of the other are never both lit.
_DARK, _DIM = 0.3, 0.52
NO_FIGURE: Final = "is no figure"
_NOT_CLEAR, _IS_DIM = "is not clear", "is dim"
#: Why a digit cannot be told whose segments are neither lit nor dark.
UNCLEAR: Final = (NO_FIGURE, _NOT_CLEAR, _IS_DIM)


class Digit(NamedTuple):
    """What one digit shows, why that is in doubt, its pattern, and how far its segments stray."""

    glyph: str
    why: str = ""
    pattern: int = 0
    strays: float = 0.0


def levels_of(amounts: SegmentLight) -> tuple[NDArray[np.float64], float]:
    """Return how bright the lit segments of each digit are, and of the brightest one."""
    of_digit = np.array([_level(row) for row in amounts.lit[:, : PARTS - 1]])
    return of_digit, float(of_digit.max())


def _level(row: NDArray[np.float64]) -> float:
    """Return how bright the lit segments of a digit are: the middle of those above half of the brightest."""
    return float(np.median(row[row >= 0.5 * row.max()])) if row.max() > 0 else 0.0


def glyph_of(row: NDArray[np.float64], across: NDArray[np.float64], own: float, level: float) -> Digit:
    """Return what a digit shows, by its segments and what stands out across them; else why that cannot be told."""
    if row.max() < _DARK * level:
        if across.max() > _STANDS_OUT * level:
            return Digit(DOUBT, _NOT_CLEAR)
        return Digit(BLANK, strays=float(max(row.max(), 0.0) / level))
    if own < _DIM * level:
        return Digit(DOUBT, _IS_DIM)
    lit, unlit = row > LIT * own, row < UNLIT * own
    if not (lit | unlit).all() or (across > _STANDS_OUT * own)[unlit].any() or row[lit].min() < _ALIKE * row.max():
        return Digit(DOUBT, _NOT_CLEAR)
    pattern = int(np.sum(lit * (1 << np.arange(PARTS - 1))))
    strays = float(np.where(lit, 1 - row / own, row / own).max())
    glyph = GLYPHS.get(pattern)
    return Digit(DOUBT, NO_FIGURE, pattern, strays) if glyph is None else Digit(glyph, "", pattern, strays)


def digit_by_rows(
    digit: Digit, row: NDArray[np.float64], across: NDArray[np.float64], rows: RowsTold | None, full: float
) -> Digit:
    """Return what a digit that flickers shows by what its rows tell; dark, and a minus, are told by themselves."""
    is_dark, is_minus = row.max() < NO_LIGHT * full, digit.glyph == MINUS and row.max() > LIT * full
    if (digit.why and digit.why not in UNCLEAR) or (digit.glyph == BLANK and is_dark) or is_minus:
        return digit
    glyph = DOUBT if rows is None else glyph_among(rows.lit, rows.known)
    if rows is None or glyph == DOUBT:
        return Digit(DOUBT, _NOT_CLEAR)
    dark = np.array([not rows.lit >> part & 1 for part in range(PARTS - 1)])
    if (across > _STANDS_OUT * full)[dark].any():
        return Digit(DOUBT, _NOT_CLEAR)
    return Digit(glyph, "", rows.lit, rows.strays)


def point_of(points: NDArray[np.float64], of_digit: NDArray[np.float64], level: float) -> int | None:
    """Return after which digit a point is lit; -1 if after none, None if that cannot be told."""
    share = points / np.where(of_digit > _DIM * level, of_digit, level)
    order = np.argsort(share)[::-1]
    best, second = float(share[order[0]]), float(share[order[1]]) if len(share) > 1 else 0.0
    if best < 0.25:
        return -1
    return int(order[0]) if best > 0.4 and best - second > 0.25 else None
