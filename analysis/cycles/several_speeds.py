"""Whether what ran is one load of several speeds: its steps up have no like steps down.

The question before all others (`choose_load`). A load that is on or off steps down by about what it stepped up, however
many of them run at once; one that goes from speed to speed does not, and the loads that are sought in its steps explain
little of them. Where an array gives, clouds do the same, and nobody can say.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np

from ..readings.chunk import FloatArray
from ..signal_levels.level_record import LevelList
from .choose_load import LoadSteps
from .on_off_path import RunLevels
from .rest_to_rest import BESIDE_OTHERS, MATTERS, SOLID, Track

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
#: Where all draws are of a few fixed speeds less is asked for: this share of the runs with several levels. [1]
OF_FIXED: Final = 0.25
#: Loads that are on or off explain no more of these runs' steps; at fixed speeds; where readings are so far apart that
#: two steps may fall between them; where the owner says that there is a drive. [1], [1], [1], [s], [1]
EXPLAINED, EXPLAINED_FIXED, EXPLAINED_SLOW, SLOW_S, EXPLAINED_DRIVE = 0.5, 0.75, 0.3, 20.0, 0.8
#: A load that explains anything has so many runs with a stop of its own, and this share of its starts. [1], [1]
ENOUGH_RUNS, OWN_STOPS = 3, 0.5
#: A stop of its own is between these shares of the start. [1], [1]
OWN_STOP: Final = (0.75, 1.12)
#: The highest draw is so many times the smallest change that stands out: else its levels are not told apart. [1]
OVER_NOISE: Final = 12.0
#: The highest draw of a load known by its plate is within so many times that. [1]
NEAR_PLATE: Final = 3.0


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
    if track.levels.gives or track.highest <= 0:
        return False
    if expected is not None and not 1 / NEAR_PLATE <= track.highest / expected <= NEAR_PLATE:
        return False
    runs = [run for run in track.runs(BESIDE_OTHERS * track.highest) if run.stop is not None]
    alone = [(run, *_without_like(track, run)) for run in runs]
    several = [run for run, _, steps in alone if steps >= LEAST_STEPS]
    for_it = sum(share > WITHOUT_LIKE for _, share, steps in alone if steps >= LEAST_STEPS)
    evidence = _Evidence(len(runs), len(several), for_it, explained(track, several, levels, loads, changes))
    if drive:
        return for_it > 0 and evidence.by_steps <= EXPLAINED_DRIVE
    return _is_clear(track) and _is_enough(track, evidence)


class _Evidence(NamedTuple):
    """How many runs there are, how many have several levels and how many of these speak for one load of several speeds.

    ``by_steps`` is the share of their steps that loads which are on or off explain. [1]
    """

    runs: int
    several: int
    for_it: int
    by_steps: float


def _is_clear(track: Track) -> bool:
    """Tell whether levels can be told apart from each other, and rest from running."""
    at_rest_s = float(track.length_s[track.height < MATTERS * track.highest].sum())
    is_quiet = track.highest >= OVER_NOISE * float(np.median(track.least))
    return is_quiet and at_rest_s >= AT_REST * float(track.length_s.sum())


def _is_enough(track: Track, seen: _Evidence) -> bool:
    """Tell whether the log alone shows that one load runs at several speeds."""
    if track.lowest_speed is not None:
        return seen.for_it >= max(LEAST_RUNS, OF_FIXED * seen.several) and seen.by_steps <= EXPLAINED_FIXED
    most = EXPLAINED_SLOW if track.interval_s >= SLOW_S else EXPLAINED
    return seen.for_it >= max(LEAST_RUNS, MOST_OF_SEVERAL * seen.several, OF_ALL * seen.runs) and seen.by_steps <= most


def explained(
    track: Track, several: Sequence[RunLevels], levels: LevelList, loads: Sequence[LoadSteps], changes: FloatArray
) -> float:
    """Return the share of the steps of some runs that loads explain by runs whose stop is like their start. [1]."""
    own = np.zeros(len(changes), dtype=bool)
    for load in loads:
        whole = [run for run in load.runs if run.stop is not None and run.fall is None and changes[run.start] > 0]
        like = [run for run in whole if OWN_STOP[0] <= -changes[run.stop or 0] / changes[run.start] <= OWN_STOP[1]]
        if len(like) >= max(ENOUGH_RUNS, OWN_STOPS * len(load.runs)):
            own[[k for run in like for k in (run.start, run.stop or 0)]] = True
    # The runs stand among refined levels, the steps among all others: what they share is when they begin.
    at_us = np.array([level.start_us for level in levels.levels])
    begun = track.levels.levels
    within = np.zeros(len(changes), dtype=bool)
    for run in several:
        within |= (at_us >= begun[run.start].start_us) & (at_us <= begun[run.stop or 0].start_us)
    amount = np.nan_to_num(np.abs(changes))
    return float(amount[own & within].sum() / max(amount[within].sum(), 1e-9))


def _without_like(track: Track, run: RunLevels) -> tuple[float, int]:
    """Return what share of a run's steps has no step the other way that may be the same load's [1], and how many."""
    levels, signal = track.levels.levels, track.levels.signal
    solid = [levels[k] for k in range(run.start, run.stop or 0) if track.length_s[k] >= SOLID * track.interval_s]
    base = float(track.levels.before[run.start])
    # From level to level, without what lies between them: a ramp is one step.
    ends = [(base, base), *((level.first[signal], level.last[signal]) for level in solid), (base, base)]
    steps = [after[0] - before[1] for before, after in pairwise(ends)]
    least = max(track.least[run.start] / 2, UNREST * max(last - base for _, last in ends))
    up, down = sorted((x for x in steps if x > least), reverse=True), [-x for x in steps if x < -least]
    total, count = sum(up) + sum(down), len(up) + len(down)
    alone = 0.0
    for step in up:
        like = [x for x in down if ALIKE_DOWN[0] <= x / step <= ALIKE_DOWN[1]]
        if like:
            down.remove(min(like, key=lambda x: abs(x - step)))
        else:
            alone += step
    return (alone + sum(down)) / max(total, 1e-9), count
