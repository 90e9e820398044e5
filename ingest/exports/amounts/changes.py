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
#: Of so many rows on either side all are whole numbers, and different, there and fewer than this share here; the first
#: is so many times the last, or the level of so many rows that of others, where the unit is another. [1]
_BESIDE, _MIXED, _AT_ONCE, _WIDE, _BY_LEVEL = 6, 0.5, (700.0, 1400.0), 100, (200.0, 5000.0)
#: Of the steps kept those count that are so large beside the larger ones; on either side of a turn there must be so
#: many, and so large a share of them must agree. [1]
_LARGE, _LEAST, _AGREE = 0.2, 5, 0.9
#: Fewer on one side do, if all on both sides agree: so many, beside so many.
_FEWEST_ALIKE, _BESIDE_ALIKE = 3, 6


@dataclass(frozen=True)
class TakenPlaces:
    """Rows in which the readings are others, what happened to them, and the row where that turns."""

    kind: Literal["swapped", "thousand"]
    rows: NDArray[np.bool_]
    turn: int


def changed_places(volts: NDArray[np.float64], amps: NDArray[np.float64]) -> TakenPlaces | None:
    """Return where volts and amps change places or unit, if they do; shape (n,). [V], [A]"""
    # Volts have one sign, amps in their place may have the other.
    change = _change(volts if (volts > 0).any() else -volts, np.abs(amps))
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


def other_unit(x: NDArray[np.float64], begins: NDArray[np.int64]) -> int | None:
    """Return the row from which readings are about a thousand times those before, or were; None where none is.

    ``x`` are a column's as written, shape (n,); ``begins`` are the rows that may be such, since whole numbers turn into
    others there or back.
    """
    for row in begins.tolist():
        parts = [part[(part != 0) & ~np.isnan(part)] for part in (np.abs(x[:row][-_WIDE:]), np.abs(x[row:][:_WIDE]))]
        large = int(abs(x[row]) > abs(x[row - 1]))
        near = parts[0][-_BESIDE:], parts[1][:_BESIDE]
        if min(map(len, near)) < _STRETCH or len(np.unique(near[large])) < _STRETCH:
            continue
        whole = [float((part == np.rint(part)).mean()) for part in near]
        at_once = max(x[row] / x[row - 1], x[row - 1] / x[row])
        levels = [float(np.sort(part)[(len(part) - 1) // 2]) for part in parts]
        is_turn = (
            _AT_ONCE[0] <= at_once <= _AT_ONCE[1] or _BY_LEVEL[0] <= levels[large] / levels[1 - large] <= _BY_LEVEL[1]
        )
        if is_turn and whole[large] == 1.0 and whole[1 - large] < _MIXED:
            return int(row)
    return None


def turned_sign(
    lines: NDArray[np.float64], steps_A: NDArray[np.float64], steps_V: NDArray[np.float64]
) -> tuple[int, int] | None:
    """Return the lines between which amps turn their sign, by the largest steps; None where nothing says so.

    Volts fall when more is drawn, and from some row on they rise.
    """
    if len(steps_A) < _FEWEST_ALIKE + _BESIDE_ALIKE:
        return None
    size = np.abs(steps_A)
    large = (steps_V != 0) & (size >= _LARGE * np.sort(size)[len(size) * 3 // 4])
    lines, falls = lines[large], (steps_A * steps_V < 0)[large]
    turns = np.flatnonzero(np.diff(falls))
    sides = sorted([int(turns[0]) + 1, len(falls) - int(turns[0]) - 1]) if len(turns) == 1 else [0, 0]
    if sides[0] >= _FEWEST_ALIKE and sides[1] >= _BESIDE_ALIKE:
        return int(lines[turns[0]]), int(lines[turns[0] + 1])
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
