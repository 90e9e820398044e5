"""Runs of a load of several speeds, or behind a drive: each lasts from rest to rest, at one draw after another.

What such a load draws in a run says nothing of the next, so no size of a step is looked for (`on_off_path`). A run
begins where the signal rises off its rest by the load's least draw, and ends where it is back. Others switch meanwhile:
what stands above rest by less than that draw is theirs.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np

from ..readings.chunk import MICROSECONDS, FloatArray
from ..signal_levels.base_path import SOLID, BasePath
from ..signal_levels.level_record import LevelList
from .on_off_path import RunLevels
from .run_figures import SeenRun

#: What stands above rest by less than this share of the highest draw is no matter. [1]
MATTERS: Final = 0.1
#: Less than this share of it may be other loads' altogether. [1]
BESIDE_OTHERS: Final = 0.12
#: Draws are those of a few fixed speeds if they lie in so many bands at most, each no wider than this share of the
#: highest draw and this far from the next; beside others that switch, so much wider: common practice, no source.
#: [1], [1]
MOST_SPEEDS: Final = 8
NARROW: Final = 0.04
MOST_BESIDE, BESIDE, APART = 5, 0.14, 0.05
#: So many levels at each speed show that there are no others. [1]
LEVELS_EACH: Final = 3
#: Below the lowest fixed speed there is nothing down to this share of the highest draw, or of that speed. [1]
BELOW: Final = 0.03
BELOW_LOWEST: Final = 0.6
#: Among draws of all sizes the least is looked for between these shares of the highest. [1], [1]
LEAST_DRAW: Final = (0.4, 0.7)
#: While an array gives, it is at least this share of the lowest that is drawn: common practice, no source. [1]
UNDER_SKY: Final = 0.75
#: Steps of another load are alike to this share, there are so many, and it falls by so much of what it rose by: common
#: practice, no source. [1], [1], [1]
LIKE, OFTEN, FALLS_BACK = 0.05, 3, (0.75, 1.05)
#: A step within a run is another load's if it is what the level around the run has moved by, to within this share. [1]
SAME: Final = 0.15


@dataclass(frozen=True)
class Track:
    """A signal from level to level: shapes (n,), in its unit; `interval_s` is the usual spacing of the readings [s].

    Where an array gives, the levels are those under a still sky, and `drift` is what it may move them by all the same.
    [unit/s]
    """

    levels: LevelList
    interval_s: float
    drift: float = 0.0

    @cached_property
    def least(self) -> FloatArray:
        """The smallest change that stood out from the noise. [unit]."""
        return np.array(self.levels.least)

    @cached_property
    def height(self) -> FloatArray:
        """How far each level stands above the least of the hours before, or above the base of its run. [unit]."""
        height = self.levels.after - self.levels.rest
        return self._above_bases(BESIDE_OTHERS * self._often_reached(height)) if self.drift else height

    def _above_bases(self, least: float) -> FloatArray:
        """Return how far levels stand above the base of a run of a load that draws so much; nought at rest. [unit]."""
        height, at = np.zeros(len(self.levels)), self.levels.start_us
        for run in self.runs(least):
            if run.stop is not None:
                within, base = slice(run.start, run.stop), float(self.levels.before[run.start])
                moved = self.levels.first[self.levels.signal][run.stop] - base
                through = (np.array(at[within]) - at[run.start]) / max(at[run.stop] - at[run.start], 1.0)
                height[within] = self.levels.after[within] - base - moved * through
        return height

    @cached_property
    def length_s(self) -> FloatArray:
        """How long each level holds. [s]."""
        return self.levels.lengths_s

    @cached_property
    def highest(self) -> float:
        """What is drawn above rest when much is: but for a tenth of that time it is less. [unit]."""
        return self._often_reached(self.height)

    def _often_reached(self, height: FloatArray) -> float:
        """Return what heights that matter reach, but for a tenth of their time. [unit]."""
        matters = height > MATTERS * float(height.max(initial=0.0))
        order = np.argsort(height[matters])
        if not len(order):
            return 0.0
        reached = np.cumsum(self.length_s[matters][order] + 1e-9)
        return float(height[matters][order][np.searchsorted(reached, 0.9 * reached[-1])])

    @cached_property
    def solid(self) -> FloatArray:
        """The heights of levels that are more than the way to the next, in order of size. [unit]."""
        return np.sort(self.height[self.length_s >= SOLID * self.interval_s])

    @cached_property
    def lowest_speed(self) -> float | None:
        """Where the draws are those of a few fixed speeds, what lies surely below the lowest; else None. [unit]."""
        noise, top = float(np.median(self.least)), self.highest
        draws = self.solid[self.solid > BESIDE_OTHERS * top]
        if len(draws) < LEVELS_EACH:
            return None
        bands = in_bands(draws, max(noise, NARROW * top))
        if len(bands) <= MOST_SPEEDS and widest(bands) <= max(1.5 * noise, NARROW * top) and _many(draws, bands):
            return max(noise, BELOW * top)
        bands = in_bands(draws, max(noise, APART * top))
        if len(bands) <= MOST_BESIDE and widest(bands) <= BESIDE * top and _many(draws, bands):
            return float(BELOW_LOWEST * bands[0][0])
        return None

    def least_draw(self) -> float:
        """Return what the load draws at least when it runs, halfway down to what others draw. [unit]."""
        return self._widest_gap() if self.lowest_speed is None else self.lowest_speed

    def _widest_gap(self) -> float:
        """Return the middle of the widest gap between what others draw and what this load does. [unit]."""
        top, others = self.highest, self._by_turns()
        height = np.append(others, self.solid[self.solid > max(BELOW * top, (1 + LIKE) * others)])
        low, high = height[:-1], height[1:]
        is_between = (low < LEAST_DRAW[0] * top) & (high < LEAST_DRAW[1] * top)
        if not is_between.any():
            return BESIDE_OTHERS * top
        # By their ratio, since what is drawn is told apart by its share; but of small loads any two differ so.
        width = np.log(np.maximum(high, MATTERS * top) / np.maximum(low, MATTERS * top))
        k = int(np.argmax(np.where(is_between, width, -1.0)))
        # Under the sky rest wanders by more than what is drawn at the least speed does.
        return float(max((low[k] + high[k]) / 2, UNDER_SKY * high[k] if self.drift else 0.0))

    def _by_turns(self) -> float:
        """Return the largest draw to which the signal rises from rest and from which it falls back as often. [unit].

        A thermostat's load does so, and a load that follows what is asked of it does not.
        """
        steps, least = self.levels.changes(self.levels.signal), 2 * BELOW * self.highest
        near_rest = BESIDE_OTHERS * self.highest
        holds = self.length_s >= SOLID * self.interval_s
        up = steps[holds & (steps > least) & (self.levels.before - self.levels.rest < near_rest)]
        down = -steps[holds & (steps < -least) & (self.levels.after - self.levels.rest < near_rest)]
        most = 0.0
        for draw in up[up < LEAST_DRAW[0] * self.highest]:
            like = int((np.abs(up / draw - 1) < LIKE).sum())
            back = int(((down > FALLS_BACK[0] * draw) & (down < FALLS_BACK[1] * draw)).sum())
            # Below it hardly anything falls back to rest: what does so at the end of every run is a drive's least.
            falls_as_often = like <= 2 * back <= 4 * like and (down <= FALLS_BACK[0] * draw).sum() <= like
            if like >= OFTEN and falls_as_often and 2 * like >= (up < (1 + LIKE) * draw).sum():
                most = max(most, float(draw))
        return most

    def runs(self, least: float) -> list[RunLevels]:
        """Return the runs of a load that draws so much at least, in order; none of one that draws nothing. [unit]."""
        if least <= 0:
            return []
        path = BasePath(self.levels, self.interval_s, least, self.drift)
        return [RunLevels(*stretch) for stretch in path.stretches()]


def in_bands(ordered: FloatArray, apart: float) -> list[FloatArray]:
    """Return sizes in order, cut where two that follow differ by more."""
    return np.split(ordered, np.flatnonzero(np.diff(ordered) > apart) + 1)


def widest(bands: Sequence[FloatArray]) -> float:
    """Return the width of the widest of some bands."""
    return max(float(np.ptp(band)) for band in bands)


def _many(draws: FloatArray, bands: Sequence[FloatArray]) -> bool:
    return len(draws) >= LEVELS_EACH * len(bands)


@dataclass(frozen=True, slots=True)
class SpeedRun(SeenRun):
    """A run at one draw after another; a ramp at either end belongs to it.

    ``still`` are the levels under a still sky, where an array gives.
    """

    still: LevelList | None = None

    @property
    def start_us(self) -> float:
        """When the signal left its rest. [us]."""
        return self.levels.left_us[self.start]

    @property
    def stop_us(self) -> float:
        """When it was back, or was last seen running. [us]."""
        return self.levels.last_us[self.last] if self.stop is None else self.levels.reached_us[self.stop]

    @property
    def within_s(self) -> tuple[float, float | None]:
        """How well its edges are known. [s]."""
        levels = self.levels
        return levels.left_s[self.start] / 2, None if self.stop is None else levels.reached_s[self.stop] / 2

    def bent(self) -> float:
        """Return what the sky moved the base by beyond a straight line, summed over the run. [unit of the signal s]."""
        if self.still is None or self.stop is None:
            return 0.0
        levels, at_us, moved = self.levels, list[float](), list[float]()
        ends = [(each.first[levels.signal], each.last[levels.signal]) for each in (levels, self.still)]
        (first, last), (still_first, still_last) = ends
        for k in range(self.start - 1, self.stop + 1):
            at_us += [levels.first_us[k], levels.last_us[k]]
            moved += [first[k] - still_first[k], last[k] - still_last[k]]
        # From the last reading before it to the first behind it.
        at_s, by = np.array(at_us[1:-1]) / MICROSECONDS, np.array(moved[1:-1])
        return float(np.trapezoid(by, at_s) - (by[0] + by[-1]) / 2 * (at_s[-1] - at_s[0]))

    def drift(self, name: str) -> float:
        """Return how far the baseline has moved by its end, others' steps apart; not known of one that goes on."""
        return 0.0 if self.stop is None else SeenRun.drift(self, name)

    def settled(self, name: str) -> float:
        """Return its mean draw. [unit]."""
        drawn = [(held.draws[name], held.lasted_s) for held in self.held()]
        return sum(draw * lasted_s for draw, lasted_s in drawn) / max(sum(x for _, x in drawn), 1e-9)

    def held(self) -> Iterator[HeldDraw]:
        """Yield what it drew on each of its levels, and for how long, the way there with it."""
        levels, others = self.levels, dict.fromkeys(self.levels.names, 0.0)
        begun = [self.start_us, *levels.start_us[self.start + 1 : self.last + 1], self.stop_us]
        for k, (a, b) in zip(range(self.start, self.last + 1), pairwise(begun), strict=True):
            for name in others if k in self.others else ():
                others[name] += levels.change(k, name)
            draws = {name: levels.usual[name][k] - self.before(name) - others[name] for name in others}
            yield HeldDraw(draws, max((b - a) / MICROSECONDS, 0.0))


class HeldDraw(NamedTuple):
    """What was drawn on a level, by quantity [unit], and for how long [s]."""

    draws: dict[str, float]
    lasted_s: float


def speed_run(levels: LevelList, bounds: RunLevels, still: LevelList | None = None) -> SpeedRun:
    """Return a run between these levels; one of its steps may be another load's, if what is left at rest is as much."""
    gap = levels.next_gap(bounds.start + 1)
    run = SpeedRun(
        levels, bounds.start, bounds.stop, (gap if bounds.stop is None else bounds.stop) - 1, [], still=still
    )
    left, least = run.drift(levels.signal), levels.least[bounds.start]
    steps = {k: levels.change(k, levels.signal) for k in range(run.start + 1, run.last + 1)}
    if abs(left) <= least or not steps:
        return run
    nearest = min(steps, key=lambda k: abs(steps[k] - left))
    return replace(run, others=[nearest]) if abs(steps[nearest] - left) <= max(least, SAME * abs(left)) else run


def runs_at_speeds(track: Track, levels: LevelList) -> list[SeenRun]:
    """Return the runs of a load of several speeds, in order, by the levels that were read."""
    still = track.levels if track.drift else None
    return [speed_run(levels, bounds, still) for bounds in track.runs(track.least_draw())]
