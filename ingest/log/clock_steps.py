"""A meter's clock that was set back: from there on everything is moved forward.

- Rows that go back in time begin a stretch. It tells of a clock set back if more than `FEW_ROWS` of its rows overlap
  what is already there.
- A stretch that mostly says again what is there, as exports that overlap do, is no such thing; nor is one that mostly
  lies in a hole between rows, which it fills.
- Up to `FEW_ROWS` rows that leap ahead, after which the rows go on where those before left off, are stray themselves:
  what follows them is not late. So are as few at the very beginning.
- Where stretches have no more than `FEW_ROWS` rows on average, rows are in no order at all, which no clock explains.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from functools import partial
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from .stored import Kind, Scratch, forget, forward, parts_of, quantile, slices, steps_of

#: Meters and networks may deliver one to three rows stray: common practice, no source.
FEW_ROWS = 3
_SECOND_US = 1_000_000
Columns = dict[str, NDArray[np.float64]]


def follow_on(time_us: NDArray[np.int64], quantities: Columns, scratch: Scratch) -> list[dict[str, float]]:
    """Move forward what follows each setting back of the clock: the stamps [us], as written, are changed in place.

    Returns ``at_us`` and ``step_s`` of each step.
    """
    backs = backs_of(time_us)
    if (1 + len(backs)) * FEW_ROWS > len(time_us):
        return []
    # Only steps forward tell the rhythm; where there are none, a second keeps the rows apart.
    goes_on = any(len(steps) for steps in forward(time_us))
    usual = int(quantile(partial(forward, time_us), 0.5)) if goes_on else _SECOND_US
    # Stray rows first: to a clock that was never set, the rows after them would look set back.
    stray = _stray(time_us, backs, usual)
    if not len(stray):
        return _moved(time_us, quantities, usual)
    # Without them the rows are as one steady meter wrote them; afterwards a stray row moves as the row before it.
    moved = _without(time_us, stray, scratch.times(len(time_us) - len(stray)))
    columns = {name: _without(x, stray, scratch.amounts(len(moved))) for name, x in quantities.items()}
    clock_steps = _moved(moved, columns, usual)
    if clock_steps:
        # So many rows that are not stray stand before each that is.
        ahead = np.maximum(stray - np.arange(len(stray)) - 1, 0)
        others = np.delete(np.arange(len(time_us)), stray)
        time_us[stray] += moved[ahead] - time_us[others[ahead]]
        time_us[others] = moved
    return clock_steps


def backs_of(time_us: NDArray[np.int64]) -> list[int]:
    """Return the rows that go back in time."""
    return [row for at, steps in steps_of(time_us) for row in (at + 1 + np.flatnonzero(steps < 0)).tolist()]


def _without(x: NDArray[Kind], left_out: NDArray[np.int64], rest: NDArray[Kind]) -> NDArray[Kind]:
    """Fill a column with one that lacks some rows."""
    stop = 0
    for rows in slices(len(x)):
        low, high = np.searchsorted(left_out, (rows.start, rows.stop))
        others = np.delete(x[rows], left_out[low:high] - rows.start)
        rest[stop : stop + len(others)] = others
        stop += len(others)
        forget(x, rest)
    return rest


def _stray(time_us: NDArray[np.int64], backs: list[int], usual: int) -> NDArray[np.int64]:
    """Return the rows that leap ahead of rows that go on where the rows before left off; `backs` go back in time."""
    stray: set[int] = set()
    for back in backs:
        for begin in range(back - 1, max(back - FEW_ROWS, 0) - 1, -1):
            if begin in stray:
                break
            if time_us[begin:back].min() > time_us[back] and _leaps(time_us, stray, begin, back, usual):
                stray.update(range(begin, back))
                break
    forget(time_us)
    return np.array(sorted(stray), dtype=np.int64)


def _leaps(time_us: NDArray[np.int64], stray: set[int], begin: int, back: int, usual: int) -> bool:
    """Tell whether the rows from `begin` to `back` leap ahead of those before, and that at `back` goes on with them."""
    rows_before = [int(time_us[row]) for row in range(max(begin - FEW_ROWS - 1, 0), begin) if row not in stray]
    # At the very beginning there is nothing to go on with: a leap of more than as many rows would take must do.
    if not rows_before:
        return bool(time_us[begin:back].min() - time_us[back] > (FEW_ROWS - 0.5) * usual)
    before = max(rows_before)
    return time_us[begin] - before > 1.5 * usual and abs(int(time_us[back]) - before) <= (FEW_ROWS + 0.5) * usual


class _Covered:
    """Stretches of time that rows lie in, those that overlap taken together."""

    def __init__(self) -> None:
        self._first: list[int] = []
        self._last: list[int] = []

    @property
    def end(self) -> int:
        """The latest instant."""
        return self._last[-1]

    def overlaps(self, first: int, last: int) -> bool:
        """Tell whether rows from `first` to `last` would overlap any."""
        k = bisect_right(self._first, last) - 1
        return k >= 0 and self._last[k] >= first

    def add(self, first: int, last: int) -> None:
        """Add the stretch from `first` to `last`."""
        low, high = bisect_left(self._last, first), bisect_right(self._first, last)
        if low < high:
            first, last = min(first, self._first[low]), max(last, self._last[high - 1])
        self._first[low:high], self._last[low:high] = [first], [last]


def _moved(time_us: NDArray[np.int64], quantities: Columns, usual: int) -> list[dict[str, float]]:
    bounds = [0, *backs_of(time_us), len(time_us)]
    covered, clock_steps, shift = _Covered(), [], 0
    for start, stop in pairwise(bounds):
        run = time_us[start:stop]  # a view: the stamps themselves are moved
        # What follows a step was written by the clock that was set, so it moves along.
        if shift:
            run += shift
        inside = _rows_set_back(run, covered) if stop - start > FEW_ROWS else 0
        rows = slice(start, start + inside)
        # Among rows as near as neighbours are: otherwise the stretch fills a hole. And not the same readings: otherwise
        # it is an export that overlaps.
        beside = inside and beside_others(time_us[:start], time_us[rows], usual)
        if beside and not say_again(time_us, quantities, rows):
            step = covered.end + usual - int(run[0])
            clock_steps.append({"at_us": covered.end, "step_s": step / _SECOND_US})
            run += step
            shift += step
        covered.add(int(run[0]), int(run[-1]))
    return clock_steps


def _rows_set_back(run: NDArray[np.int64], covered: _Covered) -> int:
    """Return how many rows of a stretch overlap what is there; 0 if none, or so few that they may be stray."""
    if not covered.overlaps(int(run[0]), int(run[-1])):
        return 0
    inside = int(np.searchsorted(run, covered.end, side="right"))
    return inside if inside > FEW_ROWS else 0


def beside_others(before: NDArray[np.int64], stamps: NDArray[np.int64], usual: int, last: int | None = None) -> bool:
    """Tell whether most of some stamps have one before them in the file that is as near as neighbours are. [us]

    Only stamps up to `last` are looked at; all by default.
    """
    near_us = 0.75 * usual  # half of the usual spacing, and room for uneven ones
    beside = count = 0
    for part in parts_of(stamps):
        some = part if last is None else part[part <= last]
        is_near, count = np.zeros(len(some), dtype=np.bool_), count + len(some)
        for rows in _overlapping(before, some, usual):
            ordered = np.sort(before[rows])
            at = np.searchsorted(ordered, some)
            later, earlier = ordered[np.minimum(at, len(ordered) - 1)], ordered[np.maximum(at - 1, 0)]
            is_near |= np.minimum(np.abs(later - some), np.abs(some - earlier)) <= near_us
        beside += int(np.count_nonzero(is_near))
    return beside > 0.5 * count


def say_again(time_us: NDArray[np.int64], quantities: Columns, rows: slice) -> bool:
    """Tell whether most of some rows have the stamp and the readings of a row before them."""
    again = 0
    for these in slices(rows.stop, first=rows.start):
        stamps = time_us[these]
        open_still, same = np.ones(len(stamps), dtype=np.bool_), np.zeros(len(stamps), dtype=np.bool_)
        # Of several rows of one stamp the first in the file is compared.
        for before in _overlapping(time_us[: rows.start], stamps, 0):
            order = np.argsort(time_us[before], kind="stable")
            ordered = time_us[before][order]
            at = np.minimum(np.searchsorted(ordered, stamps), len(ordered) - 1)
            hit = open_still & (ordered[at] == stamps)
            open_still &= ~hit
            same[hit] = _equal(quantities, before.start + order[at[hit]], these.start + np.flatnonzero(hit))
        again += int(np.count_nonzero(same))
        forget(time_us, *quantities.values())
    return bool(again > 0.5 * (rows.stop - rows.start))


def _overlapping(before: NDArray[np.int64], stamps: NDArray[np.int64], margin: int) -> Iterator[slice]:
    """Yield the slices of rows, as they were written, among which there may be one as near as `margin`. [us]"""
    if not len(stamps):
        return
    low, high = int(stamps.min()) - margin, int(stamps.max()) + margin
    for rows in slices(len(before)):
        if before[rows].min() <= high and before[rows].max() >= low:
            yield rows
        forget(before)


def _equal(quantities: Columns, some: NDArray[np.int64], others: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Return which of some rows read the same as others."""
    same = np.ones(len(some), dtype=np.bool_)
    for x in quantities.values():
        one, other = x[some], x[others]
        same &= (one == other) | (np.isnan(one) & np.isnan(other))
    return same
