"""Whether what ran is one load of several speeds: its steps up have no like steps down.

The question before all others (`choose_load`). A load that is on or off steps down by about what it stepped up, however
many of them run at once; one that goes from speed to speed does not, and the loads that are sought in its steps explain
little of them. Where an array gives, clouds do the same, and nobody can say.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np

from ..readings.chunk import SECONDS_PER_HOUR, FloatArray
from ..signal_levels.base_path import SOLID
from ..signal_levels.level_record import LevelList
from .choose_load import LoadSteps
from .cycle import Cycle, Speed
from .on_off_path import RunLevels
from .rest_to_rest import (
    APART,
    BELOW,
    BESIDE,
    BESIDE_OTHERS,
    MATTERS,
    MOST_SPEEDS,
    HeldDraw,
    SpeedRun,
    Track,
    in_bands,
    widest,
)
from .run_figures import SeenRun

#: A step down of these shares of a step up may be the same load's: most draw less when they stop. [1]
ALIKE_DOWN: Final = (0.8, 1.1)
#: A run speaks for several speeds if this share of its steps has no counterpart. [1]
WITHOUT_LIKE: Final = 0.3
#: A load that is on or off makes two steps in a run. [1]
LEAST_STEPS: Final = 3
#: A step that is less than this share of a run's draw is its own unrest. [1]
UNREST: Final = 0.05
#: So many runs must speak for it, and this share of those that have several levels and of all; at rest it is for this
#: share of the time at least: common practice, no source. [1], [1], [1], [1]
LEAST_RUNS, MOST_OF_SEVERAL, OF_ALL, AT_REST = 3, 0.5, 0.3, 0.2
#: Where all draws are of a few fixed speeds these shares of the runs with several levels, and of all, are enough.
#: [1], [1]
OF_FIXED, OF_ALL_FIXED = 0.25, 0.15
#: Fewer runs are enough where so many of their steps have no like, and loads that are on or off explain hardly any:
#: common practice, no source. [1], [1]
MANY_ALONE, EXPLAINED_FEW = 6, 0.2
#: Loads that are on or off explain no more of these runs' steps; at fixed speeds; where readings are so far apart that
#: two steps may fall between them; where the owner says that there is a drive. [1], [1], [1], [s], [1]
EXPLAINED, EXPLAINED_FIXED, EXPLAINED_SLOW, SLOW_S, EXPLAINED_DRIVE = 0.5, 0.75, 0.3, 20.0, 0.8
#: At fixed speeds, where less than most of the runs with several levels speak for one load. [1]
EXPLAINED_IN_PART: Final = 0.65
#: A load that explains anything has so many runs with a stop of its own, and this share of its starts. [1], [1]
ENOUGH_RUNS, OWN_STOPS = 3, 0.5
#: A stop of its own is between these shares of the start. [1], [1]
OWN_STOP: Final = (0.75, 1.12)
#: The highest draw is so many times the smallest change that stands out: else its levels are not told apart. [1]
OVER_NOISE: Final = 12.0
#: The highest draw of a load known by its plate is within so many times that. [1]
NEAR_PLATE: Final = 3.0
#: Levels as the owner reads them: no more bands than that. [1]
BANDS: Final = 4


def is_of_speeds(
    track: Track,
    levels: LevelList,
    loads: Sequence[LoadSteps],
    changes: FloatArray,
    *,
    drive: bool,
    expected: float | None,
) -> bool:
    """Tell whether the load that matters runs at several speeds; `drive`: its owner says that it does.

    `loads` are what can be told apart if all are on or off, `changes` the steps between `levels` in which they were
    sought, `expected` the draw by the plate in the unit of the signal.
    """
    if track.highest <= 0:
        return False
    if expected is not None and not 1 / NEAR_PLATE <= track.highest / expected <= NEAR_PLATE:
        return False
    runs = [run for run in track.runs(BESIDE_OTHERS * track.highest) if run.stop is not None]
    # Of one level there are two steps at the most.
    seen = [(run, _unlike(track, run)) for run in runs if (run.stop or 0) - run.start >= LEAST_STEPS - 1]
    several = [(run, unlike) for run, unlike in seen if unlike.steps >= LEAST_STEPS]
    for_it = [unlike.alone for _, unlike in several if unlike.share > WITHOUT_LIKE]
    by_steps = explained(track, [run for run, _ in several], levels, loads, changes)
    evidence = _Evidence(len(runs), len(several), len(for_it), sum(for_it), by_steps)
    if drive:
        return bool(for_it) and by_steps <= EXPLAINED_DRIVE
    return _is_clear(track) and _is_enough(track, evidence)


class _Evidence(NamedTuple):
    """How many runs there are, how many have several levels and how many of these speak for one load of several speeds.

    In these so many steps stand ``alone``, without their like. ``by_steps`` is the share of the steps of all runs with
    several levels that loads which are on or off explain. [1]
    """

    runs: int
    several: int
    for_it: int
    alone: int
    by_steps: float


def _is_clear(track: Track) -> bool:
    """Tell whether levels can be told apart from each other, and rest from running."""
    at_rest_s = float(track.length_s[track.height < MATTERS * track.highest].sum())
    is_quiet = track.highest >= OVER_NOISE * float(np.median(track.least))
    return is_quiet and at_rest_s >= AT_REST * float(track.length_s.sum())


def _is_enough(track: Track, seen: _Evidence) -> bool:
    """Tell whether the log alone shows that one load runs at several speeds."""
    # Two loads that are on or off step together once or twice; so often they do not.
    if not track.drift and seen.alone >= MANY_ALONE and seen.by_steps <= EXPLAINED_FEW:
        return seen.for_it >= MOST_OF_SEVERAL * seen.several and seen.for_it >= OF_ALL * seen.runs
    if track.lowest_speed is not None:
        enough = max(LEAST_RUNS, OF_FIXED * seen.several, OF_ALL_FIXED * seen.runs)
        is_most = seen.for_it > MOST_OF_SEVERAL * seen.several
        return seen.for_it >= enough and seen.by_steps <= (EXPLAINED_FIXED if is_most else EXPLAINED_IN_PART)
    # The edges of clouds come in all sizes.
    if track.drift:
        return False
    most = EXPLAINED_SLOW if track.interval_s >= SLOW_S else EXPLAINED
    return seen.for_it >= max(LEAST_RUNS, MOST_OF_SEVERAL * seen.several, OF_ALL * seen.runs) and seen.by_steps <= most


def explained(
    track: Track, several: Sequence[RunLevels], levels: LevelList, loads: Sequence[LoadSteps], changes: FloatArray
) -> float:
    """Return the share of the steps of some runs that loads explain by runs whose stop is like their start. [1]."""
    own = np.zeros(len(changes), dtype=bool)
    for load in loads:
        whole = [(run.start, run.stop) for run in load.runs if run.stop is not None and run.fall is None]
        whole = [(start, stop) for start, stop in whole if changes[start] > 0]
        like = [ends for ends in whole if OWN_STOP[0] <= -changes[ends[1]] / changes[ends[0]] <= OWN_STOP[1]]
        if len(like) >= max(ENOUGH_RUNS, OWN_STOPS * len(load.runs)):
            own[[k for ends in like for k in ends]] = True
    # The runs stand among refined levels, the steps among all others: what they share is when they begin.
    at_us, begun_us = np.array(levels.start_us), track.levels.start_us
    within = np.zeros(len(changes), dtype=bool)
    for run in several:
        within |= (at_us >= begun_us[run.start]) & (at_us <= begun_us[run.stop or 0])
    amount = np.nan_to_num(np.abs(changes))
    return float(amount[own & within].sum() / max(amount[within].sum(), 1e-9))


class _Unlike(NamedTuple):
    """What share of a run's steps has no step the other way that may be the same load's; of how many how many. [1]."""

    share: float
    alone: int
    steps: int


def _unlike(track: Track, run: RunLevels) -> _Unlike:
    """Return how many of a run's steps have no step the other way that may be the same load's."""
    first, last = track.levels.first[track.levels.signal], track.levels.last[track.levels.signal]
    solid = [k for k in range(run.start, run.stop or 0) if track.length_s[k] >= SOLID * track.interval_s]
    base = float(track.levels.before[run.start])
    # From level to level, without what lies between them: a ramp is one step.
    ends = [(base, base), *((first[k], last[k]) for k in solid), (base, base)]
    steps = [after[0] - before[1] for before, after in pairwise(ends)]
    least = max(track.least[run.start] / 2, UNREST * max(end - base for _, end in ends))
    up, down = sorted((x for x in steps if x > least), reverse=True), [-x for x in steps if x < -least]
    total, count = sum(up) + sum(down), len(up) + len(down)
    alone = list[float]()
    for step in up:
        like = [x for x in down if ALIKE_DOWN[0] <= x / step <= ALIKE_DOWN[1]]
        if like:
            down.remove(min(like, key=lambda x: abs(x - step)))
        else:
            alone.append(step)
    alone += down
    return _Unlike(sum(alone) / max(total, 1e-9), len(alone), count)


class ToldSpeeds(NamedTuple):
    """The draws at which a load runs: few and fixed, or bands of what it follows."""

    speeds: tuple[Speed, ...]
    fixed: bool


NO_SPEEDS = ToldSpeeds((), fixed=True)


def told_speeds(runs: Sequence[SeenRun], cycles: Sequence[Cycle]) -> tuple[ToldSpeeds, list[Cycle]]:
    """Return the draws at which a load runs, and its cycles with the time at each of them."""
    own = [run for run in runs if isinstance(run, SpeedRun)]
    held = [list(run.held()) for run in own]
    if not held:
        return NO_SPEEDS, list(cycles)
    signal, least = runs[0].levels.signal, float(np.median([run.levels.least[run.start] for run in runs]))
    edges, fixed = _edges(np.sort([each.draws[signal] for of_run in held for each in of_run]), least)
    by_speed: list[list[HeldDraw]] = [[] for _ in range(len(edges) + 1)]
    of_each = list[Cycle]()
    for run, of_run, cycle in zip(own, held, cycles, strict=True):
        lasted_s = [0.0] * len(by_speed)
        for each in of_run:
            k = int(np.searchsorted(edges, each.draws[signal], side="right"))
            by_speed[k].append(each)
            lasted_s[k] += each.lasted_s
        of_each.append(_of_speeds(_straightened(run, cycle), tuple(lasted_s)))
    return ToldSpeeds(tuple(map(_speed, by_speed)), fixed), of_each


def _edges(size: FloatArray, least: float) -> tuple[FloatArray, bool]:
    """Return where one draw ends and the next begins, and whether these are fixed speeds. [unit]."""
    top = float(size[-1])
    bands = in_bands(size, max(least, APART * top))
    if len(bands) <= MOST_SPEEDS and widest(bands) <= max(1.5 * least, BESIDE * top):
        return np.array([(a[-1] + b[0]) / 2 for a, b in pairwise(bands)]), True
    return np.geomspace(max(float(size[0]), BELOW * top), top, BANDS + 1)[1:-1], False


def _speed(rows: Sequence[HeldDraw]) -> Speed:
    """Return the mean draw of some levels, by their length."""
    lasted_s = sum(row.lasted_s for row in rows)

    def mean(name: str) -> float | None:
        if not rows or name not in rows[0].draws:
            return None
        drawn = sum(row.draws[name] * row.lasted_s for row in rows) / max(lasted_s, 1e-9)
        return None if np.isnan(drawn) else float(drawn)

    return Speed(mean("current_A"), mean("power_W"), lasted_s)


def _straightened(run: SpeedRun, cycle: Cycle) -> Cycle:
    """Return a run's figures without what the sky moved its base by meanwhile."""
    bent, charge_Ah, energy_Wh = run.bent() / SECONDS_PER_HOUR, cycle.charge_Ah, cycle.energy_Wh
    taken = charge_Ah if run.levels.signal == "current_A" else energy_Wh
    if not bent or taken is None or taken <= 0:
        return cycle
    # At the volts of the run what moves the one moves the other in proportion.
    share = max(1 - bent / taken, 0.0)
    return replace(
        cycle,
        charge_Ah=None if charge_Ah is None else charge_Ah * share,
        energy_Wh=None if energy_Wh is None else energy_Wh * share,
    )


def _of_speeds(cycle: Cycle, lasted_s: tuple[float, ...]) -> Cycle:
    """Return a run's figures with the time at each of the load's draws; what it drew is its mean."""
    hours = (cycle.run_s or 0.0) / SECONDS_PER_HOUR
    mean_A = cycle.charge_Ah / hours if hours and cycle.charge_Ah is not None else cycle.run_A
    mean_W = cycle.energy_Wh / hours if hours and cycle.energy_Wh is not None else cycle.run_W
    # A drive brings its motor up softly to any speed: no start stands over a settled draw.
    return replace(cycle, run_A=mean_A, run_W=mean_W, surge_ratio=None, at_speeds=lasted_s)
