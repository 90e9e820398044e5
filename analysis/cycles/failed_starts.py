"""What is too brief for a level: starts that failed, the load off again before it ran, and runs of few readings."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from ..readings.chunk import MICROSECONDS, FloatArray
from ..signal_levels.cloud_steps import NEAR, StepsBySize, alike
from ..signal_levels.level_record import Burst, LevelList
from .choose_load import LoadSteps
from .cycle import Attempt
from .run_figures import SeenRun

#: A failed start is over within this time: a locked rotor trips its overload in about 10 s at the latest (motor
#: protection of class 10, IEC 60947-4-1, from memory). [s]
ATTEMPT_S = 10.0
#: It draws so many times the settled draw: a rotor at standstill draws three to eight times as much (NEC tables
#: 430.248 and 430.251(A) together give about six); less where readings average over a part of it.
DRAWS_LEAST, DRAWS_MOST = 1.3, 10.0
#: So many bursts that draw less than so many times the settled draw are rather another load's pulses (a hob, an iron),
#: unless starts that succeed follow: common practice, no source. [1], [1]
PULSES, AT_STANDSTILL = 8, 2.5
#: A start that succeeds follows within this time in at least half of the cases: common practice, no source. [s], [1]
RETRY_S, RETRIED = 180.0, 0.5
#: Where more than this share of the settled draw stays after it, it has not failed: an array may give the rest of what
#: the load draws, and nothing of the surge. Common practice, no source. [1]
GOES_ON = 0.25
#: Clouds show where runs that fit only with others' steps make more than this share of all running time: common
#: practice, no source. [1]
UNLIKE = 0.03
#: Fewest readings of a failed start: one may be a false row; two as well, unless the volts fall with them.
WITH_SAG, WITHOUT_SAG = 2, 3
#: The volts fall by at least this share of what the load's own starts and runs make them fall for each amp.
SAGS = 0.3
#: What is brief and draws what the load's runs do, to within these shares, was one: voltage moves it, others step. [1]
LIKE_RUNS = (0.8, 1.25)
#: So many brief runs, and this share of the others, are the load's: fewer are within what another load's pulses do in a
#: healthy log; by trial. [1], [1]
LEAST_BRIEF, BRIEF_SHARE = 8, 0.1
#: They are measured only where that share of the others last for less than so many readings: else they may be another
#: load's all the same. [1]
HARDLY_MORE = 5.5


def without_failed(loads: Sequence[LoadSteps], at_us: FloatArray) -> list[LoadSteps]:
    """Return the loads without those that are another's failed starts; `at_us`: when levels begin and the last ends."""
    return [load for load in loads if not any(_fails_of(load, other, at_us) for other in loads)]


def _fails_of(brief: LoadSteps, load: LoadSteps, at_us: FloatArray) -> bool:
    """Tell whether the runs of a load are the failed starts of another."""
    if not DRAWS_LEAST * load.up < brief.up < DRAWS_MOST * load.up:
        return False
    # Brief for a run of any load, and beside the runs of this one; and runs follow, as after a motor that was stuck.
    length_us, usual_us = np.median(_lengths_us(brief, at_us)), np.median(_lengths_us(load, at_us))
    if length_us > ATTEMPT_S * MICROSECONDS or usual_us < 3 * length_us:
        return False
    starts, begun = (at_us[[run.start for run in each.runs]] for each in (load, brief))
    return _tried_again(begun, starts) >= RETRIED


def _lengths_us(load: LoadSteps, at_us: FloatArray) -> FloatArray:
    stops = [len(at_us) - 1 if run.stop is None else run.stop for run in load.runs]
    return np.asarray(at_us[stops] - at_us[[run.start for run in load.runs]])


def attempts_of(levels: LevelList, own: Sequence[SeenRun], expected: float | None) -> tuple[Attempt, ...]:
    """Return the failed starts of a load, in order; `expected` is its draw by the nameplate, if it never ran."""
    draw = float(np.median([run.settled(levels.signal) for run in own])) if own else expected
    if draw is None:
        return ()
    sag_per_unit = _sag_per_unit(levels, own)
    starts = np.array([run.start_us for run in own])
    bursts = sorted(_bursts(levels, own, draw), key=lambda burst: burst.start_us)
    failed = [
        burst
        for burst in _while_off(bursts, own)
        if DRAWS_LEAST * draw < burst.peak[levels.signal] < DRAWS_MOST * draw
        and _is_real(burst, levels.signal, sag_per_unit)
    ]
    return tuple(map(_attempt, _without_pulses(failed, starts, levels.signal, AT_STANDSTILL * draw)))


def in_clouds(levels: LevelList, own: Sequence[SeenRun]) -> bool:
    """Tell whether clouds step by about the draw of these runs; of none, whether they may hide some."""
    if not len(levels):
        return False
    steps = levels.changes(levels.signal)[levels.charged]
    if not own:
        usual = float(np.nanmedian(np.abs(steps))) if np.isfinite(steps).any() else 0.0
        return usual > 0 and StepsBySize.of(steps / usual).many_clouds
    draw = float(np.median([run.settled(levels.signal) for run in own]))
    if StepsBySize.of(steps / draw).some_clouds:
        return True
    # Slow ones are few, and show by runs that fit only where something else stepped at their very start or stop: not
    # by always the same, as another load does, nor by more than a load's own step.
    by_day = [(_beside(run, levels.signal) / draw, run.length_s) for run in own if run.levels.charged[run.start]]
    unlike = [(share, length_s) for share, length_s in by_day if NEAR < share < 1.0]
    share, lasted_s = np.array(unlike).reshape(-1, 2).T
    return bool(lasted_s[~alike(share)].sum() > UNLIKE * sum(run.length_s for run in own))


def _beside(run: SeenRun, signal: str) -> float:
    """Return how much others stepped at a run's very start or stop. [unit]."""
    return max(abs(at.get(signal, 0.0)) for at in (run.coincidence.at_start, run.coincidence.at_stop))


def brief_runs(levels: LevelList, own: Sequence[SeenRun], usual_s: float, *, cloudy: bool) -> list[Burst]:
    """Return more runs of a load, of too few readings for a level each, these `usual_s` apart [s]; none if few.

    A gap between clouds is as brief: where they step by its draw, none while the bank was charged.
    """
    if not own:
        return []
    draw = float(np.median([run.settled(levels.signal) for run in own]))
    bursts = [burst for k, burst in levels.bursts.items() if not (cloudy and levels.charged[k])]
    low, high = (share * draw for share in LIKE_RUNS)
    brief = [
        burst
        for burst in _while_off(bursts, own)
        # What lasts for longer than its readings stand for are several, with rests as brief between them.
        if low < burst.settled.get(levels.signal, math.nan) < high
        and burst.over_us - burst.start_us < (burst.in_all + 0.5) * usual_s * MICROSECONDS
    ]
    return brief if len(brief) >= max(LEAST_BRIEF, BRIEF_SHARE * len(own)) else []


def is_brief(own: Sequence[SeenRun], usual_s: float) -> bool:
    """Tell whether runs of a load last for hardly more readings than a level needs, so that others last for less."""
    return bool(np.mean([run.length_s < HARDLY_MORE * usual_s for run in own] or [False]) >= BRIEF_SHARE)


def _while_off(bursts: Iterable[Burst], own: Sequence[SeenRun]) -> Iterator[Burst]:
    """Yield the bursts that come while a load is off: one that is on cannot start, what stands out is another's."""
    starts, stops = (np.array([getattr(run, name) for run in own]) for name in ("start_us", "stop_us"))
    for burst in bursts:
        k = int(np.searchsorted(starts, burst.start_us, side="right")) - 1
        if k < 0 or burst.start_us >= stops[k]:
            yield burst


def _without_pulses(bursts: Sequence[Burst], starts_us: FloatArray, signal: str, least: float) -> list[Burst]:
    """Return bursts without many that draw too little for a rotor at standstill, unless most are tried again."""
    weak = [burst for burst in bursts if burst.peak[signal] < least]
    if len(weak) < PULSES or _tried_again(np.array([burst.start_us for burst in weak]), starts_us) >= RETRIED:
        return list(bursts)
    return [burst for burst in bursts if burst.peak[signal] >= least]


def _tried_again(begun_us: FloatArray, starts_us: FloatArray) -> float:
    """Return the share of failed starts that one which succeeds soon follows. [1]."""
    after = np.append(starts_us, np.inf)[np.searchsorted(starts_us, begun_us, side="right")]
    return float(np.mean(after - begun_us <= RETRY_S * MICROSECONDS))


def _bursts(levels: LevelList, own: Sequence[SeenRun], draw: float) -> Iterable[Burst]:
    """Yield what was drawn briefly, between two readings at one level or as a level of its own that stays so high."""
    starts = {run.start for run in own}
    yield from (b for k, b in levels.bursts.items() if levels.change(k, levels.signal) < GOES_ON * draw)
    begun_us, after_gap = np.array(levels.start_us), levels.behind_gap
    brief = (begun_us[2:] - begun_us[1:-1] <= ATTEMPT_S * MICROSECONDS) & ~after_gap[1:-1] & ~after_gap[2:]
    for k in (np.flatnonzero(brief) + 1).tolist():
        rise, fall = levels.change(k, levels.signal), -levels.change(k + 1, levels.signal)
        # A level below that is a short run, whatever its start's top was.
        if k not in starts and rise > DRAWS_LEAST * draw and abs(rise - fall) < SAGS * rise:
            peak = {name: x[k] - levels.last[name][k - 1] for name, x in levels.peak.items()}
            before_V = levels.last["voltage_V"][k - 1] if "voltage_V" in levels.last else math.nan
            yield Burst(levels.start_us[k], levels.start_us[k + 1], WITHOUT_SAG, peak, before_V - levels.lowest_V[k])


def _sag_per_unit(levels: LevelList, own: Sequence[SeenRun]) -> float:
    """Return by how much the volts usually fall for each unit that the load draws; NaN if unknown."""
    if "voltage_V" not in levels.names or not own:
        return math.nan
    starts = [run.start for run in own]
    return float(np.median(-levels.changes("voltage_V")[starts] / levels.changes(levels.signal)[starts]))


def _is_real(burst: Burst, signal: str, sag_per_unit: float) -> bool:
    """Tell whether a burst is no false row: the volts fell with it, or there are several readings."""
    if math.isnan(burst.sag_V) or not sag_per_unit > 0:
        return burst.readings >= WITHOUT_SAG
    return burst.readings >= WITH_SAG and burst.sag_V >= SAGS * sag_per_unit * burst.peak[signal]


def _attempt(burst: Burst) -> Attempt:
    peak_A, peak_W = burst.peak.get("current_A", math.nan), burst.peak.get("power_W", math.nan)
    return Attempt(
        round(burst.start_us),
        (burst.stop_us - burst.start_us) / MICROSECONDS,
        None if math.isnan(peak_A) else peak_A,
        None if math.isnan(peak_W) else peak_W,
    )
