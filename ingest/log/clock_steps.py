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
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

#: Meters and networks may deliver one to three rows stray: common practice, no source.
FEW_ROWS = 3
_SECOND_US = 1_000_000
Columns = dict[str, NDArray[np.float64]]


def follow_on(time_us: NDArray[np.int64], quantities: Columns) -> list[dict[str, float]]:
    """Move forward what follows each setting back of the clock: the stamps [us], as written, are changed in place.

    Returns ``at_us`` and ``step_s`` of each step.
    """
    steps = np.diff(time_us)
    if (1 + (steps < 0).sum()) * FEW_ROWS > len(time_us):
        return []
    # Only steps forward tell the rhythm; where there are none, a second keeps the rows apart.
    usual = int(np.median(steps[steps > 0])) if (steps > 0).any() else _SECOND_US
    # Stray rows first: to a clock that was never set, the rows after them would look set back.
    stray = _stray(time_us, usual)
    if not stray.any():
        return _moved(time_us, quantities, usual)
    others = np.flatnonzero(~stray)
    # Without them the rows are as one steady meter wrote them; afterwards a stray row moves as the row before it.
    moved = time_us[others]
    clock_steps = _moved(moved, {name: x[others] for name, x in quantities.items()}, usual)
    shift = moved - time_us[others]
    time_us[others] = moved
    time_us[stray] += shift[np.maximum(np.searchsorted(others, np.flatnonzero(stray)) - 1, 0)]
    return clock_steps


def _stray(time_us: NDArray[np.int64], usual: int) -> NDArray[np.bool_]:
    """Return which rows leap ahead of rows that go on where the rows before left off."""
    stray = np.zeros(len(time_us), dtype=np.bool_)
    backs: list[int] = (np.flatnonzero(np.diff(time_us) < 0) + 1).tolist()
    for back in backs:
        for begin in range(back - 1, max(back - FEW_ROWS, 0) - 1, -1):
            if stray[begin]:
                break
            if time_us[begin:back].min() > time_us[back] and _leaps(time_us, stray, begin, back, usual):
                stray[begin:back] = True
                break
    return stray


def _leaps(time_us: NDArray[np.int64], stray: NDArray[np.bool_], begin: int, back: int, usual: int) -> bool:
    """Tell whether the rows from `begin` to `back` leap ahead of those before, and that at `back` goes on with them."""
    near = slice(max(begin - FEW_ROWS - 1, 0), begin)
    rows_before = time_us[near][~stray[near]]
    # At the very beginning there is nothing to go on with: a leap of more than as many rows would take must do.
    if not len(rows_before):
        return bool(time_us[begin:back].min() - time_us[back] > (FEW_ROWS - 0.5) * usual)
    before = int(rows_before.max())
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
    bounds = [0, *(np.flatnonzero(np.diff(time_us) < 0) + 1).tolist(), len(time_us)]
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


def beside_others(before: NDArray[np.int64], stamps: NDArray[np.int64], usual: int) -> bool:
    """Tell whether most of some stamps have one before them in the file that is as near as neighbours are. [us]"""
    if not len(before) or not len(stamps):
        return False
    ordered = np.sort(before)
    at = np.searchsorted(ordered, stamps)
    later, earlier = ordered[np.minimum(at, len(ordered) - 1)], ordered[np.maximum(at - 1, 0)]
    nearest = np.minimum(np.abs(later - stamps), np.abs(stamps - earlier))
    return bool((nearest <= 0.75 * usual).mean() > 0.5)  # half of the usual spacing, and room for uneven ones


def say_again(time_us: NDArray[np.int64], quantities: Columns, rows: slice) -> bool:
    """Tell whether most of some rows have the stamp and the readings of a row before them."""
    order = np.argsort(time_us[: rows.start], kind="stable")
    before = time_us[: rows.start][order]
    at = np.minimum(np.searchsorted(before, time_us[rows]), rows.start - 1)
    same = before[at] == time_us[rows]
    for x in quantities.values():
        one, other = x[: rows.start][order][at], x[rows]
        same &= (one == other) | (np.isnan(one) & np.isnan(other))
    return bool(same.mean() > 0.5)
