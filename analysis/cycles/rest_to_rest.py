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

from ..readings.chunk import MICROSECONDS, SECONDS_PER_HOUR, FloatArray
from ..signal_levels.level_record import LevelList
from .cycle import Cycle, Speed
from .on_off_path import RunLevels
from .run_figures import SeenRun

#: Levels that follow each other upwards within so long are one rise: a ramp. Makers' drives take 2 to 10 s to full
#: speed, from memory. [s]
RAMP_S: Final = 10.0
#: What stands above rest by less than this share of the highest draw is no matter. [1]
MATTERS: Final = 0.1
#: Less than this share of it may be other loads' altogether. [1]
BESIDE_OTHERS: Final = 0.12
#: A level of so many usual intervals is more than the way to the next. [1]
SOLID: Final = 4
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
#: A step of this share of the least draw is the load's own. [1]
OWN_STEP: Final = 0.75
#: A step within a run is another load's if it is what the level around the run has moved by, to within this share. [1]
SAME: Final = 0.15
#: Levels as the owner reads them: no more bands than that. [1]
BANDS: Final = 4


@dataclass(frozen=True)
class Track:
    """A signal from level to level: shapes (n,), in its unit; `interval_s` is the usual spacing of the readings [s]."""

    levels: LevelList
    interval_s: float

    @cached_property
    def least(self) -> FloatArray:
        """The smallest change that stood out from the noise. [unit]."""
        return np.array([level.least for level in self.levels.levels])

    @cached_property
    def height(self) -> FloatArray:
        """How far each level stands above the least of the hours before. [unit]."""
        return self.levels.after - self.levels.rest

    @cached_property
    def length_s(self) -> FloatArray:
        """How long each level holds. [s]."""
        return np.array([level.length_s for level in self.levels.levels])

    @cached_property
    def highest(self) -> float:
        """What is drawn above rest when much is: but for a tenth of that time it is less. [unit]."""
        matters = self.height > MATTERS * float(self.height.max(initial=0.0))
        height, order = self.height[matters], np.argsort(self.height[matters])
        if not len(height):
            return 0.0
        reached = np.cumsum(self.length_s[matters][order] + 1e-9)
        return float(height[order][np.searchsorted(reached, 0.9 * reached[-1])])

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
        if len(bands) <= MOST_SPEEDS and _widest(bands) <= max(1.5 * noise, NARROW * top) and _many(draws, bands):
            return max(noise, BELOW * top)
        bands = in_bands(draws, max(noise, APART * top))
        if len(bands) <= MOST_BESIDE and _widest(bands) <= BESIDE * top and _many(draws, bands):
            return float(BELOW_LOWEST * bands[0][0])
        return None

    def least_draw(self) -> float:
        """Return what the load draws at least when it runs, halfway down to what others draw. [unit]."""
        return self._widest_gap() if self.lowest_speed is None else self.lowest_speed

    def _widest_gap(self) -> float:
        """Return the middle of the widest gap between what others draw and what this load does. [unit]."""
        top = self.highest
        height = np.append(0.0, self.solid[self.solid > BELOW * top])
        low, high = height[:-1], height[1:]
        is_between = (low < LEAST_DRAW[0] * top) & (high < LEAST_DRAW[1] * top)
        if not is_between.any():
            return BESIDE_OTHERS * top
        # By their ratio, since what is drawn is told apart by its share; but of small loads any two differ so.
        width = np.log(np.maximum(high, MATTERS * top) / np.maximum(low, MATTERS * top))
        k = int(np.argmax(np.where(is_between, width, -1.0)))
        return float((low[k] + high[k]) / 2)

    def runs(self, least: float) -> list[RunLevels]:
        """Return the runs of a load that draws so much at least, in order. [unit]."""
        runs, start, base, foot = list[RunLevels](), 0, 0.0, 0
        for k, level in enumerate(self.levels.levels):
            if level.after_gap or not k:
                runs += [RunLevels(start, None)] if start else []
                start = foot = 0
            elif start:
                if self._is_over(k, base, least):
                    runs.append(RunLevels(start, k))
                    start = foot = 0
            else:
                # A ramp may take several levels: it began at the first.
                foot = self._foot(k, foot)
                if foot and self.levels.after[k] - self.levels.before[foot] >= least:
                    start, base = foot, float(self.levels.before[foot])
        return [*runs, RunLevels(start, None)] if start else runs

    def _foot(self, k: int, foot: int) -> int:
        """Return the level at which the signal began to rise to this one; 0 where it does not rise."""
        if self.step(k) <= self.least[k] / 2:
            return 0
        levels = self.levels.levels
        is_recent = foot and levels[k].start_us - levels[foot].start_us <= RAMP_S * MICROSECONDS
        return foot if is_recent else k

    def _is_over(self, k: int, base: float, least: float) -> bool:
        """Tell whether a run that stood on a base is over with a level: hardly more is drawn than at rest."""
        after = float(self.levels.after[k])
        return after - self.levels.rest[k] < least or (after - base < least and not self._falls_on(k, least))

    def _falls_on(self, k: int, least: float) -> bool:
        """Tell whether it falls by the load's draw once more before it rises so: others went off within the run."""
        for j in range(k + 1, len(self.levels.levels)):
            if self.levels.levels[j].after_gap:
                return False
            if abs(self.step(j)) >= OWN_STEP * least:
                return self.step(j) < 0
        return False

    def step(self, k: int) -> float:
        """Return the step that led to a level. [unit]."""
        return self.levels.change(k, self.levels.signal)


def in_bands(ordered: FloatArray, apart: float) -> list[FloatArray]:
    """Return sizes in order, cut where two that follow differ by more."""
    return np.split(ordered, np.flatnonzero(np.diff(ordered) > apart) + 1)


def _widest(bands: Sequence[FloatArray]) -> float:
    return max(float(np.ptp(band)) for band in bands)


def _many(draws: FloatArray, bands: Sequence[FloatArray]) -> bool:
    return len(draws) >= LEVELS_EACH * len(bands)


@dataclass(frozen=True)
class SpeedRun(SeenRun):
    """A run at one draw after another; a ramp at either end belongs to it."""

    @property
    def start_us(self) -> float:
        """When the signal left its rest. [us]."""
        return self.levels.levels[self.start].left_us

    @property
    def stop_us(self) -> float:
        """When it was back, or was last seen running. [us]."""
        levels = self.levels.levels
        return levels[self.last].last_us if self.stop is None else levels[self.stop].reached_us

    @property
    def within_s(self) -> tuple[float, float | None]:
        """How well its edges are known. [s]."""
        levels = self.levels.levels
        return levels[self.start].left_s / 2, None if self.stop is None else levels[self.stop].reached_s / 2

    def drift(self, name: str) -> float:
        """Return how far the baseline has moved by its end, others' steps apart; not known of one that goes on."""
        return 0.0 if self.stop is None else super().drift(name)

    def settled(self, name: str) -> float:
        """Return its mean draw. [unit]."""
        drawn = [(held.draws[name], held.lasted_s) for held in self.held()]
        return sum(draw * lasted_s for draw, lasted_s in drawn) / max(sum(x for _, x in drawn), 1e-9)

    def held(self) -> Iterator[_Held]:
        """Yield what it drew on each of its levels, and for how long, the way there with it."""
        levels, others = self.levels.levels, dict.fromkeys(self.levels.names, 0.0)
        begun = [self.start_us, *(levels[k].start_us for k in range(self.start + 1, self.last + 1)), self.stop_us]
        for k, (a, b) in zip(range(self.start, self.last + 1), pairwise(begun), strict=True):
            for name in others if k in self.others else ():
                others[name] += self.levels.change(k, name)
            draws = {name: levels[k].usual[name] - self.before(name) - others[name] for name in others}
            yield _Held(draws, max((b - a) / MICROSECONDS, 0.0))


class _Held(NamedTuple):
    """What was drawn on a level, by quantity [unit], and for how long [s]."""

    draws: dict[str, float]
    lasted_s: float


def speed_run(levels: LevelList, bounds: RunLevels) -> SpeedRun:
    """Return a run between these levels; one of its steps may be another load's, if what is left at rest is as much."""
    rest = range(bounds.start + 1, len(levels.levels))
    gap = next((k for k in rest if levels.levels[k].after_gap), len(levels.levels))
    run = SpeedRun(levels, bounds.start, bounds.stop, (gap if bounds.stop is None else bounds.stop) - 1, [])
    left, least = run.drift(levels.signal), levels.levels[bounds.start].least
    steps = {k: levels.change(k, levels.signal) for k in range(run.start + 1, run.last + 1)}
    if abs(left) <= least or not steps:
        return run
    nearest = min(steps, key=lambda k: abs(steps[k] - left))
    return replace(run, others=[nearest]) if abs(steps[nearest] - left) <= max(least, SAME * abs(left)) else run


class ToldSpeeds(NamedTuple):
    """The draws at which a load runs: few and fixed, or bands of what it follows."""

    speeds: tuple[Speed, ...]
    fixed: bool


NO_SPEEDS = ToldSpeeds((), fixed=True)


def runs_at_speeds(track: Track) -> list[SeenRun]:
    """Return the runs of a load of several speeds, in order."""
    return [speed_run(track.levels, bounds) for bounds in track.runs(track.least_draw())]


def told_speeds(runs: Sequence[SeenRun], cycles: Sequence[Cycle]) -> tuple[ToldSpeeds, list[Cycle]]:
    """Return the draws at which a load runs, and its cycles with the time at each of them."""
    held = [list(run.held()) for run in runs if isinstance(run, SpeedRun)]
    if not held:
        return NO_SPEEDS, list(cycles)
    signal, least = runs[0].levels.signal, float(np.median([run.levels.levels[run.start].least for run in runs]))
    edges, fixed = _edges(np.sort([each.draws[signal] for of_run in held for each in of_run]), least)
    by_speed: list[list[_Held]] = [[] for _ in range(len(edges) + 1)]
    of_each = list[Cycle]()
    for of_run, cycle in zip(held, cycles, strict=True):
        lasted_s = [0.0] * len(by_speed)
        for each in of_run:
            k = int(np.searchsorted(edges, each.draws[signal], side="right"))
            by_speed[k].append(each)
            lasted_s[k] += each.lasted_s
        of_each.append(_of_speeds(cycle, tuple(lasted_s)))
    return ToldSpeeds(tuple(map(_speed, by_speed)), fixed), of_each


def _edges(size: FloatArray, least: float) -> tuple[FloatArray, bool]:
    """Return where one draw ends and the next begins, and whether these are fixed speeds. [unit]."""
    top = float(size[-1])
    bands = in_bands(size, max(least, APART * top))
    if len(bands) <= MOST_SPEEDS and _widest(bands) <= max(1.5 * least, BESIDE * top):
        return np.array([(a[-1] + b[0]) / 2 for a, b in pairwise(bands)]), True
    return np.geomspace(max(float(size[0]), BELOW * top), top, BANDS + 1)[1:-1], False


def _speed(rows: Sequence[_Held]) -> Speed:
    """Return the mean draw of some levels, by their length."""
    lasted_s = sum(row.lasted_s for row in rows)

    def mean(name: str) -> float | None:
        if not rows or name not in rows[0].draws:
            return None
        drawn = sum(row.draws[name] * row.lasted_s for row in rows) / max(lasted_s, 1e-9)
        return None if np.isnan(drawn) else float(drawn)

    return Speed(mean("current_A"), mean("power_W"), lasted_s)


def _of_speeds(cycle: Cycle, lasted_s: tuple[float, ...]) -> Cycle:
    """Return a run's figures with the time at each of the load's draws; what it drew is its mean."""
    hours = (cycle.run_s or 0.0) / SECONDS_PER_HOUR
    mean_A = cycle.charge_Ah / hours if hours and cycle.charge_Ah is not None else cycle.run_A
    mean_W = cycle.energy_Wh / hours if hours and cycle.energy_Wh is not None else cycle.run_W
    # A drive brings its motor up softly to any speed: no start stands over a settled draw.
    return replace(cycle, run_A=mean_A, run_W=mean_W, surge_ratio=None, at_speeds=lasted_s)
