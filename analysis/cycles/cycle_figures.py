"""What a run of a load was like: its figures as a cycle, and what of its draw the array gave, or may have given."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from ..readings.chunk import MICROSECONDS, SECONDS_PER_HOUR
from ..readings.measured_span import HowRead
from ..signal_levels.level_record import Burst, LevelList
from ..signal_levels.running_sums import unknown_of
from ..stats.few import highest
from .cycle import Cycle
from .run_figures import SeenRun

#: Spacing of readings that can show the surge of a small motor, which is over in well under a second: common
#: practice, no source (no standard gives a duration for a small single-phase pump). [s]
SURGE_SPACING_S = 0.2

#: The bank stands at its regulation voltage if it is within this share of the highest level while charging.
AT_TOP = 0.01

#: The array had power to spare if the bank takes more by this share of the run's step right after it than before.
TAKES_MORE = 0.1

#: It gave part of the draw if the volts fell by less than this share of what the bank's resistance would make them.
HARDLY_FALLS = 0.5


def regulation_V(levels: LevelList) -> float:
    """Return the highest voltage at which the bank was held while it was charged; NaN if there is none. [V]."""
    if not {"voltage_V", "current_A"} <= levels.names:
        return math.nan
    volts, amps = np.array(levels.usual["voltage_V"]), np.array(levels.usual["current_A"])
    return max(volts[(amps < 0) & ~np.isnan(volts)].tolist(), default=math.nan)


def at_regulation(levels: LevelList) -> list[bool]:
    """Return, for the step that led to each level, whether the bank was held at its regulation voltage before."""
    top_V = regulation_V(levels)
    if math.isnan(top_V):
        return [False] * len(levels)
    amps, volts = (np.array(levels.last[name])[:-1] for name in ("current_A", "voltage_V"))
    return [False, *((amps < 0) & (volts >= (1 - AT_TOP) * top_V)).tolist()]


def may_share(run: SeenRun, top_V: float, ohm: float) -> bool:
    """Tell whether the array may have given part of a run's draw.

    `top_V` is what `regulation_V` says, `ohm` how far the volts fall for each amp in runs on the bank alone, NaN if
    unknown.
    """
    # Only a bank that was charged at its regulation voltage held the array back. One that is still filling passes on to
    # the load what it no longer takes: that is seen.
    levels = run.levels
    if math.isnan(top_V) or run.before("current_A") >= 0 or not run.before("voltage_V") >= (1 - AT_TOP) * top_V:
        return False
    # The array gave more when the load asked: the volts hardly fell at the start, or the bank takes much more right
    # after the stop than before the start.
    step_A = levels.change(run.start, "current_A")
    falls_V = -levels.change(run.start, "voltage_V")
    if not math.isnan(ohm) and falls_V < HARDLY_FALLS * ohm * step_A:
        return True
    return run.stop is not None and run.drift("current_A") < -TAKES_MORE * step_A


def prompt_ohm(runs: list[SeenRun]) -> float:
    """Return how far the volts fall for each amp at starts while the bank gives: the median; NaN if unknown. [ohm]."""
    if not runs or not {"voltage_V", "current_A"} <= runs[0].levels.names:
        return math.nan
    levels, starts = runs[0].levels, np.array([run.start for run in runs])
    volts, amps = (levels.changes(name)[starts] for name in ("voltage_V", "current_A"))
    gives = (np.array(levels.last["current_A"])[starts - 1] > 0) & (amps > 0) & ~np.isnan(volts)
    ohms = np.sort(-volts[gives] / amps[gives]).tolist()
    return float(ohms[len(ohms) // 2]) if ohms else math.nan


class _Drawn(NamedTuple):
    """A run in one quantity; None where that is not known.

    Its settled draw, the level it stands on and how far that moved [unit]; what it took above that, and the least of it
    that came straight from the array [unit h].
    """

    settled: float | None = None
    base: float | None = None
    drift: float | None = None
    taken: float | None = None
    straight: float | None = None


def _drawn(run: SeenRun, name: str) -> _Drawn:
    if name not in run.levels.names:
        return _Drawn()
    # After a shared run the bank takes back what the run took, which is no drift.
    drift, before = 0.0 if run.shared else run.drift(name), run.before(name)
    base = before + run.coincidence.at_start.get(name, 0.0)
    taken, moved = _above_base(run, name, base, drift), None if run.shared else _known(drift)
    straight = None if taken is None else _straight(run, name, base, drift, taken)
    return _Drawn(_known(run.settled(name)), _known(before), moved, taken, straight)


def cycle_of(
    run: SeenRun, how: HowRead, load: str | None, off_before_s: float | None, start_s: float | None = None
) -> Cycle:
    """Return what a run of a load was like; before it was a rest of `off_before_s`, its start took `start_s`. [s]"""
    levels, names, signal, start = run.levels, run.levels.names, run.levels.signal, run.start
    is_whole, all_along = run.stop is not None, slice(run.start, run.last + 1)
    start_us, stop_us = round(run.start_us), round(run.stop_us) if is_whole else None
    has_V = "voltage_V" in names and how.side == "dc"
    amps, watts = _drawn(run, "current_A"), _drawn(run, "power_W")
    taken_Ah, straight_Ah = (amps.taken, amps.straight) if how.side == "dc" else (None, None)
    surge_A, surge, settled = None, levels.peak[signal][start] - run.before(signal), watts.settled
    if amps.settled is not None:
        surge_A, settled = _known(levels.peak["current_A"][start] - run.before("current_A")), amps.settled
    before_V = _known(run.before("voltage_V")) if has_V else None
    lowest_V = _known(-highest([-volts for volts in levels.lowest_V[all_along]])) if has_V else None
    within_s = run.within_s
    return Cycle(
        load=load,
        start_us=start_us,
        stop_us=stop_us,
        run_s=None if stop_us is None else (stop_us - start_us) / MICROSECONDS,
        off_before_s=off_before_s,
        surge_A=surge_A,
        surge_ratio=_ratio(surge if amps.settled is None else surge_A, settled),
        surge_resolved=how.sampling != "held" and 0 < levels.spacing_s[start] <= SURGE_SPACING_S,
        run_A=amps.settled,
        peak_W=_known(highest(levels.highest_W[all_along]) - run.before("power_W")) if "power_W" in names else None,
        run_W=watts.settled,
        charge_Ah=taken_Ah if is_whole else None,
        energy_Wh=watts.taken if is_whole else None,
        so_far_Ah=taken_Ah if not is_whole else None,
        so_far_Wh=watts.taken if not is_whole else None,
        so_far_s=run.length_s if not is_whole else None,
        sag_V=before_V - lowest_V if before_V is not None and lowest_V is not None else None,
        complete=is_whole,
        start_within_s=within_s[0],
        stop_within_s=within_s[1],
        before_V=before_V,
        lowest_V=lowest_V,
        begin_V=_known(levels.first["voltage_V"][start]) if has_V else None,
        end_V=_known(levels.last["voltage_V"][run.last]) if has_V and is_whole else None,
        array_may_share=run.shared,
        draws_less=run.less,
        base_A=amps.base,
        base_W=watts.base,
        base_drift_A=amps.drift,
        base_drift_W=watts.drift,
        straight_Ah=straight_Ah,
        straight_Wh=watts.straight if amps.base is not None else None,
        start_s=start_s,
    )


def brief_cycle(burst: Burst, how: HowRead, load: str | None) -> Cycle:
    """Return what a run of a reading or two was like: what it drew, each for a spacing; no more is known of it."""
    stop_us = round(burst.over_us)
    length_s = (stop_us - round(burst.start_us)) / MICROSECONDS
    amps, watts = (_known(burst.settled.get(name, math.nan)) for name in ("current_A", "power_W"))
    taken_Ah, taken_Wh = (None if x is None else x * length_s / SECONDS_PER_HOUR for x in (amps, watts))
    within_s = length_s / burst.in_all / 2
    return Cycle(
        load=load,
        start_us=round(burst.start_us),
        stop_us=stop_us,
        run_s=length_s,
        off_before_s=None,
        surge_A=None if amps is None else burst.peak["current_A"],
        surge_ratio=None,
        surge_resolved=False,
        run_A=amps,
        peak_W=None if watts is None else burst.peak["power_W"],
        run_W=watts,
        charge_Ah=taken_Ah if how.side == "dc" else None,
        energy_Wh=taken_Wh,
        sag_V=_known(burst.sag_V) if how.side == "dc" else None,
        complete=True,
        start_within_s=within_s,
        stop_within_s=within_s,
    )


def with_brief(cycles: Sequence[Cycle], brief: Sequence[Cycle], levels: LevelList) -> list[Cycle]:
    """Return a load's runs with its brief ones, in order, and the rests between them; not known across gaps."""
    merged = sorted([*cycles, *brief], key=lambda cycle: cycle.start_us)
    gaps_us = np.array(levels.first_us)[levels.behind_gap]
    gaps_before = np.searchsorted(gaps_us, [cycle.start_us for cycle in merged])
    for k in range(1, len(merged)):
        stop_us, cycle = merged[k - 1].stop_us, merged[k]
        known = stop_us is not None and gaps_before[k - 1] == gaps_before[k]
        rest_s = (cycle.start_us - stop_us) / MICROSECONDS if stop_us is not None and known else None
        merged[k] = replace(cycle, off_before_s=rest_s)
    return merged


def _known(x: float) -> float | None:
    """Return a number, or None for one that was not measured throughout."""
    return None if math.isnan(x) else x


def _ratio(surge: float | None, settled: float | None) -> float | None:
    """Return the surge over the settled draw. [1]."""
    return surge / settled if surge is not None and settled is not None and settled > 0 else None


def _above_base(run: SeenRun, name: str, base: float, drift: float) -> float | None:
    """Return the integral of a quantity over a run, above what it stands on; None if not read throughout. [unit h]."""
    levels, before, after = run.levels, run.start - 1, run.last if run.stop is None else run.stop
    sums = levels.sums_last if run.stop is None else levels.sums_first
    if (unknown := unknown_of(name)) in sums and sums[unknown][after] > levels.sums_last[unknown][before]:
        return None
    if run.stop is None:
        return _known(_so_far(run, name))
    until_us = levels.first_us[after]
    length_us = until_us - levels.last_us[before]
    # It stands on the level before, plus the steps of others meanwhile, plus the drift between the levels before and
    # after, taken as linear.
    below = base * length_us + drift * length_us / 2
    below += sum(levels.change(k, name) * (until_us - levels.start_us[k]) for k in run.others)
    whole = sums[name][after] - levels.sums_last[name][before]
    return _known((whole - below / MICROSECONDS) / SECONDS_PER_HOUR)


def _so_far(run: SeenRun, name: str) -> float:
    """Return the integral of a run that still goes on: its draw by its length, the draw left after a fall since then.

    [unit h]
    """
    # What it stands on may have moved far in hours: what was read less the base and others' steps would move with it.
    if run.fall is None:
        return run.settled(name) * run.length_s / SECONDS_PER_HOUR
    whole_s = (run.levels.start_us[run.fall] - run.start_us) / MICROSECONDS
    fallen = run.levels.change(run.fall, name) * (run.length_s - whole_s)
    return (run.draw(name) * run.length_s + fallen) / SECONDS_PER_HOUR


def _straight(run: SeenRun, name: str, base: float, drift: float, taken: float) -> float | None:
    """Return the least of what a run took, `taken`, that the array gave; None where it was not measured. [unit h].

    What charged the bank before the run went on flowing and was taken by the load. Steps of others, clouds among them,
    count from where they are seen; of what the level moves slowly meanwhile, all counts against the array.
    """
    given, drift, levels = 0.0, max(drift, 0.0), run.levels
    if not run.others and base + drift >= 0:
        return given
    for k in range(run.start, run.last + 1):
        base += levels.change(k, name) if k in run.others else 0.0
        until_us = run.stop_us if k == run.last else levels.start_us[k + 1]
        # At no moment more than the load then drew: what it leaves goes on into the bank.
        draws = max(levels.usual[name][k] - base, 0.0)
        given += (
            min(max(-(base + drift), 0.0), draws) * (until_us - levels.start_us[k]) / MICROSECONDS / SECONDS_PER_HOUR
        )
    return None if math.isnan(given) else min(given, max(taken, 0.0))
