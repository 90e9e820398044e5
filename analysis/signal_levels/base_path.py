"""Where a signal leaves a base and is back at one, whatever it does in between.

A load of several speeds has no step of its own by which its runs are known. But at rest only others step, and by less
than it draws; and what others draw while it runs lies between what they draw before and after. Of all ways to cut the
levels into rest and runs the one is taken that leaves least to be explained: steps at rest, and a base that is another
behind a run than before it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..readings.chunk import MICROSECONDS, SECONDS_PER_HOUR, BoolArray, FloatArray
from .level_record import LevelList

#: Levels that follow each other upwards within so long are one rise: a ramp. Makers' drives take 2 to 10 s to full
#: speed, from memory. [s]
RAMP_S: Final = 10.0
#: A level of so many usual intervals is more than the way to the next. [1]
SOLID: Final = 4
#: What is drawn at least, within a run, of the least draw: readings scatter. [1]
STAYS: Final = 0.9
#: A run begins and ends with a step of this share of the least draw, not with noise beside one. [1]
EDGE: Final = 0.1
#: A run costs something, lest every bump be one; one whose end was not seen more. A step, and a base that is left, cost
#: what they are over the least draw. Where the sky moves the base, so much for each hour of a run. [1], [1], [1/h]
RUN_COST, OPEN_COST, HOUR_COST = 0.2, 1.5, 0.5
#: Behind a run the base may be off by so many least draws. [1]
MOST_LEFT: Final = 2.5
#: A run's end is sought until so many levels looked like rest, and among so many; they are mostly among so few.
#: [1], [1], [1]
RESTS, MOST_LEVELS, FEW_LEVELS = 10, 400, 50
#: So many runs are judged at once, and of ends that they may have so many levels: quicker, as measured. [1], [1]
_RUNS, _CELLS = 128, 1 << 16


class Away(NamedTuple):
    """A run among levels: its first, and the one behind its last; None where its end was not seen."""

    start: int
    stop: int | None


class _Ahead(NamedTuple):
    """Levels from those on with which runs begin, a row for each run; shapes (m, n).

    Of each ``since_s`` is how long after its run it begins [s], ``height`` how far above the base of that it is [unit];
    ``holds`` are those that are more than the way to the next, ``ends`` those with which the run may end. ``is_far``,
    shape (m,), tells of which runs the end may be further on.
    """

    since_s: FloatArray
    height: FloatArray
    holds: BoolArray
    ends: BoolArray
    is_far: BoolArray


@dataclass(frozen=True)
class BasePath:
    """Levels, to be cut into rest and runs of a load that draws `least` or more. [unit of the signal].

    `interval_s` is the usual spacing of the readings; by `drift` the sky may move the base. [unit/s]
    """

    levels: LevelList
    interval_s: float
    least: float
    drift: float = 0.0

    @cached_property
    def at_s(self) -> FloatArray:
        """When each level begins. [s]."""
        return np.array(self.levels.start_us) / MICROSECONDS

    @cached_property
    def first(self) -> FloatArray:
        """How each level begins. [unit]."""
        return np.array(self.levels.first[self.levels.signal])

    @cached_property
    def steps(self) -> FloatArray:
        """The step to each level, by the least draw; nought behind a gap. [1]."""
        return np.where(self.levels.behind_gap, 0.0, self.first - self.levels.before) / self.least

    @cached_property
    def holds(self) -> BoolArray:
        """Which levels are more than the way to the next."""
        return self.levels.lengths_s >= SOLID * self.interval_s

    @cached_property
    def begins(self) -> BoolArray:
        """With which levels a run may begin: by more than noise and what is beside a step, and up by the least draw."""
        noise = np.array(self.levels.least) / 2 / self.least
        begins: BoolArray = self.steps > np.maximum(noise, EDGE)
        starts = np.flatnonzero(begins)
        if len(starts):
            # On a ramp or at once.
            reached = np.searchsorted(self.at_s, self.at_s[starts] + RAMP_S, side="right")
            ramps = np.stack([starts, np.minimum(reached, self.cut_off[starts])], axis=1)
            highest = np.maximum.reduceat(np.append(self.first, -np.inf), ramps.ravel())[::2]
            begins[starts] = highest - self.levels.before[starts] >= self.least
        return begins

    @cached_property
    def cut_off(self) -> NDArray[np.int64]:
        """For each level the one with which it is cut off: the first behind a gap, or behind the last of all."""
        gaps, count = np.flatnonzero(self.levels.behind_gap), len(self.levels)
        cut_off: NDArray[np.int64] = np.append(gaps, count)[np.searchsorted(gaps, np.arange(count), side="right")]
        return cut_off

    def stretches(self) -> list[Away]:
        """Return the runs that leave least to be explained, in order."""
        if not len(self.levels):
            return []
        count, cut_off, ends_of_runs = len(self.levels), self.cut_off.tolist(), self._ends_of_runs()
        steps, begins = [*np.abs(self.steps[1:]).tolist(), 0.0], [*self.begins[1:].tolist(), False]
        cost, came_from = [0.0, *[np.inf] * count], [(-1, False)] * (count + 1)
        for k, (step, may_run) in enumerate(zip(steps, begins, strict=True)):
            ways = [(k + 1, step, False)]
            if may_run:
                ways += [(stop, more, True) for stop, more in next(ends_of_runs)]
            for place, more, runs in ways:
                if cost[k] + more < cost[place]:
                    cost[place], came_from[place] = cost[k] + more, (k, runs)
        stretches, place = list[Away](), count
        while place > 0:
            k, runs = came_from[place]
            if runs:
                stretches.append(Away(k + 1, None if place == cut_off[k] else place))
            place = k
        return stretches[::-1]

    def _ends_of_runs(self) -> Iterator[list[tuple[int, float]]]:
        """Yield, for each level with which a run may begin, where it may end, and what that costs; else it is cut off.

        [1].
        """
        starts = np.flatnonzero(self.begins)
        for first in range(0, len(starts), _RUNS):
            start = starts[first : first + _RUNS]
            ends: list[list[tuple[int, float]]] = [[] for _ in start]
            for row, stop, cost in self._ends_of(start):
                ends[row].append((stop, cost))
            yield from ends

    def _ends_of(self, start: NDArray[np.int64]) -> Iterator[tuple[int, int, float]]:
        """Yield where some runs may end: the how manieth of them, at which level, and what that costs. [1]."""
        cut_off = self.cut_off[start]
        is_whole = cut_off - start <= MOST_LEVELS
        most = np.where(is_whole, cut_off - start, FEW_LEVELS)
        ahead = self._ahead(start, most)
        if (far := ahead.is_far & ~is_whole).any():
            most[far] = MOST_LEVELS
            ahead = self._ahead(start, most)
        row, behind = np.nonzero(ahead.ends)
        stop, lasted_s = start[row] + behind, ahead.since_s[row, behind]
        moved = self.first[stop] - self.levels.before[start[row]]
        left = np.maximum(np.abs(moved) - self.drift * lasted_s, 0.0) / self.least
        cost = RUN_COST + left + HOUR_COST * (self.drift > 0) * lasted_s / SECONDS_PER_HOUR
        near = np.flatnonzero(left <= MOST_LEFT)
        width = int(behind[near].max(initial=0)) + 1
        for some in np.split(near, range(_CELLS // width + 1, len(near), _CELLS // width + 1)):
            stays = some[self._stays(ahead, row[some], width, moved[some, None], lasted_s[some, None])]
            yield from zip(row[stays].tolist(), stop[stays].tolist(), cost[stays].tolist(), strict=True)
        # To the end of what was measured; not so long that the sky may hide that it is over.
        drifts = self.drift * ahead.since_s[np.arange(len(start)), most - 1]
        on = ~(ahead.holds & (ahead.since_s > RAMP_S)) | (ahead.height >= STAYS * self.least - drifts[:, None])
        open_ended = np.flatnonzero(is_whole & (drifts < self.least / 2) & on.all(axis=1))
        yield from ((k, int(cut_off[k]), OPEN_COST) for k in open_ended.tolist())

    def _ahead(self, start: NDArray[np.int64], most: NDArray[np.int64]) -> _Ahead:
        """Return so many levels at the most from each start on."""
        along = np.arange(most.max())
        # What lies beyond is there to fill the rows, and counts for nothing.
        inside = along < most[:, None]
        at = np.minimum(start[:, None] + along, len(self.levels) - 1)
        since_s = self.at_s[at] - self.at_s[start, None]
        height = self.levels.after[at] - self.levels.before[start, None]
        holds = self.holds[at] & inside
        rests = np.cumsum(holds & (height < self.least / 2 + self.drift * since_s), axis=1)
        seen = (rests < RESTS).sum(axis=1)[:, None] + 1
        ends = inside & (along > 0) & (along < seen) & (self.steps[at] <= -EDGE)
        return _Ahead(since_s, height, holds, ends, rests[:, -1] < RESTS)

    def _stays(
        self, ahead: _Ahead, row: NDArray[np.int64], width: int, moved: FloatArray, lasted_s: FloatArray
    ) -> BoolArray:
        """Tell in which runs the signal stays up to an end: at a base `moved` by so much [unit], so long after."""
        within_s = ahead.since_s[row, :width]
        # Others step at an instant nobody knows, the sky moves all the time.
        base = moved * within_s / np.maximum(lasted_s, 1e-9) if self.drift else np.minimum(moved, 0.0)
        above = ahead.height[row, :width] - base >= STAYS * self.least
        # Neither on a ramp at its beginning, nor on that to its end, nor behind that.
        tested = ahead.holds[row, :width] & (within_s > RAMP_S) & (lasted_s - within_s > RAMP_S)
        return np.asarray((above | ~tested).all(axis=1))
