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


class Away(NamedTuple):
    """A run among levels: its first, and the one behind its last; None where its end was not seen."""

    start: int
    stop: int | None


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
    def begins(self) -> list[bool]:
        """With which levels a run may begin: the step to them is more than noise and what is beside a step."""
        noise = np.array(self.levels.least) / 2 / self.least
        return list((self.steps > np.maximum(noise, EDGE)).tolist())

    @cached_property
    def ends(self) -> list[int]:
        """For each level the one with which it is cut off: the first behind a gap, or behind the last of all."""
        ends, end = list[int](), len(self.levels)
        for k in range(len(self.levels) - 1, -1, -1):
            ends.append(end)
            end = k if self.levels.after_gap[k] else end
        return ends[::-1]

    def stretches(self) -> list[Away]:
        """Return the runs that leave least to be explained, in order."""
        if not len(self.levels):
            return []
        count, steps = len(self.levels), np.abs(self.steps).tolist()
        cost, came_from = [0.0, *[np.inf] * count], [(-1, False)] * (count + 1)
        for k in range(count):
            ways = [(k + 1, steps[k + 1] if k + 1 < count else 0.0, False)]
            if k + 1 < self.ends[k] and self.begins[k + 1]:
                ways += [(stop, more, True) for stop, more in self._ends_of_run(k + 1, self.ends[k])]
            for place, more, runs in ways:
                if cost[k] + more < cost[place]:
                    cost[place], came_from[place] = cost[k] + more, (k, runs)
        stretches, place = list[Away](), count
        while place > 0:
            k, runs = came_from[place]
            if runs:
                stretches.append(Away(k + 1, None if place == self.ends[k] else place))
            place = k
        return stretches[::-1]

    def _ends_of_run(self, start: int, end: int) -> Iterator[tuple[int, float]]:
        """Yield where a run that begins with a level may end, and what that costs; at `end` it is cut off. [1]."""
        if not self._rises(start, end):
            return
        is_whole = end - start <= MOST_LEVELS
        for most in (end - start,) if is_whole else (FEW_LEVELS, MOST_LEVELS):
            since_s = self.at_s[start : start + most] - self.at_s[start]
            height = self.levels.after[start : start + most] - self.levels.before[start]
            holds = self.holds[start : start + most]
            seen = int(np.searchsorted(np.cumsum(holds & (height < self.least / 2 + self.drift * since_s)), RESTS)) + 1
            if seen <= most:
                break
        tested = holds & (since_s > RAMP_S)
        stops = start + 1 + np.flatnonzero(self.steps[start + 1 : start + min(seen, len(since_s))] <= -EDGE)
        moved, lasted_s = self.first[stops] - self.levels.before[start], since_s[stops - start]
        left = np.maximum(np.abs(moved) - self.drift * lasted_s, 0.0) / self.least
        near = left <= MOST_LEFT
        # A row for each end, all of them at once; levels behind an end are not before its ramp down either.
        by, length_s, within_s = moved[near, None], lasted_s[near, None], since_s[:seen]
        # Others step at an instant nobody knows, the sky moves all the time.
        base = by * within_s / np.maximum(length_s, 1e-9) if self.drift else np.minimum(by, 0.0)
        above = height[:seen] - base >= STAYS * self.least
        stays = (above | ~tested[:seen] | (length_s - within_s <= RAMP_S)).all(axis=1)
        cost = RUN_COST + left + HOUR_COST * (self.drift > 0) * lasted_s / SECONDS_PER_HOUR
        yield from zip(stops[near][stays].tolist(), cost[near][stays].tolist(), strict=True)
        # To the end of what was measured; not so long that the sky may hide that it is over.
        drifts = self.drift * float(since_s[-1])
        if is_whole and drifts < self.least / 2 and (~tested | (height >= STAYS * self.least - drifts)).all():
            yield end, OPEN_COST

    def _rises(self, start: int, end: int) -> bool:
        """Tell whether the signal rises with a level by the least draw, on a ramp or at once."""
        near = slice(start, start + int(np.searchsorted(self.at_s[start:end], self.at_s[start] + RAMP_S, side="right")))
        return float(self.first[near].max() - self.levels.before[start]) >= self.least
