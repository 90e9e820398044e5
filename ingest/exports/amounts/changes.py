"""Readings that change in mid-file without a header that says so, told by the volts of a bank.

Columns change places, a unit is another, a sign turns. Loaded where something looks like it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

#: Volts stay within these shares of their level, whatever a bank goes through (from memory: a lead-acid bank from 0.82
#: to 1.16 of it, a cell from 0.6 to 1.15); amps are volts that changed places within these. [1]
_USUAL, _TAKEN = (0.6, 1.5), (0.8, 1.2)
#: Beyond these no bank is; if all rows are volts in one of the two columns, the turn may lie where both could be. [1]
_NEVER = (0.4, 1.6)
#: Thousandths are so near a thousand times the level; below the least volts of a bank, noise must not look so. [1], [V]
_NEAR, _NEARER, _LEAST_V = 0.15, 0.03, 1.0
#: So many rows are a stretch; a change happens within so many; and nearly all rows are one or the other. Common
#: practice, no source, as all below.
_STRETCH, _WITHIN, _EXPLAINED = 3, 3, 0.95
#: Amps in their own place and in that of the volts are not farther apart than this. [1]
_LIKE = 3.0
#: So many rows tell a level.
_LEVEL_ROWS = 32
#: Whole numbers behind numbers with decimals, so many rows of each, are another unit if they are so many times them.
_WHOLE_ROWS, _WHOLE_TIMES = 20, (300.0, 3000.0)
#: Of the steps kept those count that are so large beside the larger ones; on either side of a turn there must be so
#: many, and so large a share of them must agree. [1]
_LARGE, _LEAST, _AGREE = 0.2, 5, 0.9


@dataclass(frozen=True)
class TakenPlaces:
    """Rows in which the readings are others, what happened to them, and the row where that turns."""

    kind: Literal["swapped", "thousand"]
    rows: NDArray[np.bool_]
    turn: int


def changed_places(volts: NDArray[np.float64], amps: NDArray[np.float64]) -> TakenPlaces | None:
    """Return where volts and amps change places or unit, if they do; shape (n,). [V], [A]"""
    # Volts have one sign, amps in their place may have the other.
    change = _change(-volts if np.nansum(volts[::_LEVEL_ROWS]) < 0 else volts, np.abs(amps))
    if change is None:
        return None
    kind, usual, rows = change
    # Where a file begins with the others, these end at the turn.
    first, back = int(np.flatnonzero(rows)[0]), int(np.flatnonzero(usual)[0])
    return TakenPlaces(kind, rows, max(first, back))


def _change(
    v: NDArray[np.float64], a: NDArray[np.float64]
) -> tuple[Literal["swapped", "thousand"], NDArray[np.bool_], NDArray[np.bool_]] | None:
    """Return what happened, the usual rows, and the others."""
    for level in dict.fromkeys(_levels(v, a)):
        in_volts, in_amps = _within(v, level, _USUAL), _within(a, level, _TAKEN)
        near = _NEAR if level >= _LEAST_V else _NEARER
        thousand = _within(v, 1000 * level, (1 - near, 1 + near))
        nothing = (v == 0) | np.isnan(v)
        swapped, explained = ~in_volts & in_amps & ~nothing, in_volts | in_amps | nothing
        usual, far = in_volts & ~in_amps & ~np.isnan(a), swapped & ~_within(v, level, _NEVER)
        turns = _is_change(usual, swapped, explained) or (far.sum() >= _STRETCH and bool(explained.all()))
        if turns and _are_amps(a[usual], np.abs(v[swapped])):
            return "swapped", usual, swapped
        if _is_change(in_volts, thousand, in_volts | thousand | nothing):
            return "thousand", in_volts, thousand
    return None


def _levels(v: NDArray[np.float64], a: NDArray[np.float64]) -> Iterator[float]:
    """Yield what the bank's volts may be, where it is not known in which column they stand."""
    for x in (v, v[:_LEVEL_ROWS], v[-_LEVEL_ROWS:], a):
        if (x > 0).any():
            yield float(np.median(x[x > 0]))


def _within(x: NDArray[np.float64], level: float, bounds: tuple[float, float]) -> NDArray[np.bool_]:
    return np.asarray((x >= bounds[0] * level) & (x <= bounds[1] * level))


def _are_amps(amps: NDArray[np.float64], taken: NDArray[np.float64]) -> bool:
    """Tell whether what stands for volts could be the amps of the usual rows, as an inverter's own volts are not."""
    return len(amps) >= _STRETCH and bool(taken.min() <= _LIKE * amps.max() and amps.min() <= _LIKE * taken.max())


def _is_change(usual: NDArray[np.bool_], other: NDArray[np.bool_], explained: NDArray[np.bool_]) -> bool:
    """Tell whether rows are all of one kind or the other, and turn from one to the other at once."""
    if usual.sum() < _STRETCH or not other.any() or explained.mean() < _EXPLAINED:
        return False
    clear = np.flatnonzero(usual | other)
    turns = np.diff(other[clear].astype(np.int8)) != 0
    return bool((turns & (np.diff(clear) <= _WITHIN)).any())


def turns_whole(x: NDArray[np.float64]) -> int | None:
    """Return the row from which a column's readings are whole numbers about a thousand times those before, or were.

    Its shape is (n,), as written; None where there is no such change.
    """
    broken = np.flatnonzero((x != np.rint(x)) & ~np.isnan(x))
    if len(broken) < _WHOLE_ROWS:
        return None
    first, last = int(broken[0]), int(broken[-1]) + 1
    if _is_thousandfold(x[:first], x[first:]):
        return first
    return last if _is_thousandfold(x[last:], x[:last]) else None


def _is_thousandfold(whole: NDArray[np.float64], few: NDArray[np.float64]) -> bool:
    if len(whole) < _WHOLE_ROWS or (few == np.rint(few)).mean() > 0.5:
        return False
    sizes = [np.abs(part[(part != 0) & ~np.isnan(part)]) for part in (whole, few)]
    if min(map(len, sizes)) < _WHOLE_ROWS:
        return False
    low, middle = (np.quantile(sizes[0], q) / np.quantile(sizes[1], q) for q in (0.1, 0.5))
    return bool(_WHOLE_TIMES[0] <= middle <= _WHOLE_TIMES[1] and low >= _WHOLE_TIMES[0] / 6)


def turned_sign(
    lines: NDArray[np.float64], steps_A: NDArray[np.float64], steps_V: NDArray[np.float64]
) -> tuple[int, int] | None:
    """Return the lines between which amps turn their sign, by the largest steps; None where nothing says so.

    Volts fall when more is drawn, and from some row on they rise.
    """
    if len(steps_A) < 2 * _LEAST:
        return None
    size = np.abs(steps_A)
    large = size >= _LARGE * np.sort(size)[len(size) * 3 // 4]
    lines, falls = lines[large], (steps_A * steps_V < 0)[large]
    if len(falls) < 2 * _LEAST:
        return None
    # Where the shares on either side differ most.
    counts = np.cumsum(falls)
    parts = np.arange(_LEAST, len(falls) - _LEAST + 1)
    before = counts[parts - 1] / parts
    after = (counts[-1] - counts[parts - 1]) / (len(falls) - parts)
    best = int(np.argmax(np.abs(before - after)))
    if min(before[best], after[best]) > 1 - _AGREE or max(before[best], after[best]) < _AGREE:
        return None
    part = int(parts[best])
    return int(lines[part - 1]), int(lines[part])
