"""How a pump runs and starts with one tank and with another: by the site file, or by the runs of a log."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, sqrt
from typing import Final

import numpy as np

from ..equipment.water import TankPlan, atmosphere_kPa, drawdown_L, no_switch, tank_plan
from ..forecast.measured_load import MeasuredLoad
from ..health.runs import busiest_hour
from ..not_known import Missing
from ..readings.chunk import SECONDS_PER_HOUR, FloatArray
from ..site.site import Site, Water
from ..site.units import KPA_PER_PSI
from ..stats.interval95 import Within
from ..stats.ranks import median_of
from .replay import Replayed, replayed, tank_s

#: How far the share between two tanks may be off: another volume at the same pressures; other pressures, since gauges
#: are read to a psi and a pump gives less at more pressure; a tank whose water is known by the pump's flow alone
#: (common practice, no source; held against simulated systems). [1]
VOLUME_OFF: Final = 0.05
PRESSURES_OFF: Final = 0.12
FLOW_OFF: Final = 0.25
#: How much less a pump gives for each kPa more against it, at most: near the middle of their curves submersible pumps
#: of 1/2 to 1 1/2 hp give 0.5 to 1.5 % less for each psi (makers' curves, from memory). [1/kPa]
FLOW_FALLS: Final = 0.015 / KPA_PER_PSI
#: A tank that gives less than this share of what it should has lost its air, or is not the one of the site file; so has
#: one that gives more than its inverse (common practice, no source). [1]
IN_ORDER: Final = 0.6

#: Below that share nobody would see that a pump gives less. [1]
_HARDLY: Final = 0.005

_MEASURED: Final = "Water is taken to be drawn as it was in the log: as much, as fast, at the same times."
_HOW_USED: Final = (
    "Another use is taken as more or fewer of the same runs; the ends allow that taps are open for longer or shorter."
)
_NO_FLOW: Final = (
    "How much water the tank gives now is the site file's: with water.flow_L_per_min the log would tell it."
)
_LESS_WATER: Final = "by the log the tank's air is in doubt, and how much less water it gives now is not known"
_FLOW: Final = ("water.flow_L_per_min", "water.flow_gal_per_min")
_SAME_FLOW: Final = "The pump is taken to draw and to give the same at any pressure."
_OTHER_FLOW: Final = (
    "The pump is taken to draw and to give what it does now; against {} {} on the mean it may give up to {:.0f} % {} "
    "(makers' curves, from memory), and the ends of runs, starts and amounts are so much further out."
)


@dataclass(frozen=True)
class PumpRuns:
    """How a pump runs: usual run, starts in the busiest hour, and starts a day; None where that is not known.

    By the site file alone the run is one with no water drawn, and the starts of the busiest hour are the most that any
    steady draw makes.
    """

    run_s: Within | None
    in_an_hour: Within | None
    a_day: Within | None


@dataclass(frozen=True)
class TankRuns:
    """Runs before and after; `times` is how many times the water the tank then gives; `measured` tells of a log.

    `less_flow` is which share less the pump may give at other pressures, below 0 where it may give more. [1]
    """

    before: PumpRuns
    after: PumpRuns
    times: Within
    before_L: float | None
    after_L: float | None
    measured: bool
    assumptions: tuple[str, ...]
    less_flow: float = 0.0


def tank_runs(
    before: Site, after: Site, seen: MeasuredLoad | None, use: float | None, *, mends: bool = False
) -> TankRuns | Missing:
    """Return how the pump of a tank runs before and after a change; `use` is how many times as much is used then. [1]

    `mends` tells that the tank is made what the site file says, its air as well: of one whose air is in doubt by the
    log that changes more than the file shows. Missing where file and log say too little of the tank.
    """
    if before.water is None or after.water is None:
        return Missing("word on the pump's runs", ("water",))
    was, will = tank_plan(before.water), tank_plan(after.water)
    if isinstance(will, TankPlan) and will.drawdown_L <= 0:
        return Missing("word on the pump's runs", (), "with that pre-charge the tank takes in no water at all")
    if seen is None:
        return _by_file(before, after, was, will)
    timeline = seen.stretches_Wh or seen.stretches_Ah
    if timeline is None:
        return Missing("word on the pump's runs", (), f"{seen.log} shows too few runs of it")
    lengths = np.diff(timeline.edges_h) * SECONDS_PER_HOUR
    return _by_log(before, after, (was, will), lengths[::2], lengths[1::2], seen, use or 1.0, mends=mends)


def _by_file(before: Site, after: Site, was: TankPlan | Missing, will: TankPlan | Missing) -> TankRuns | Missing:
    for plan in (was, will):
        if isinstance(plan, Missing):
            return plan
    assert isinstance(was, TankPlan) and isinstance(will, TankPlan)
    times = Within.exactly(will.drawdown_L / was.drawdown_L) if was.drawdown_L > 0 else Within.exactly(1.0)
    assert before.water is not None and after.water is not None
    less = less_flow(before.water, after.water)
    assumptions = (*dict.fromkeys((*was.assumptions, *will.assumptions)), *_of_flow(before.water, after.water))
    now, then = _planned(was, before), _slower(_planned(will, after), less)
    return TankRuns(now, then, times, was.drawdown_L, will.drawdown_L, False, assumptions, less)


def less_flow(water: Water, changed: Water) -> float:
    """Return which share less a pump may give at other pressures; below 0 which share more. [1]"""
    if water.switch_kPa is None or changed.switch_kPa is None:
        return 0.0
    (was_start, was_stop), (start, stop) = water.switch_kPa, changed.switch_kPa
    more_kPa = ((start - was_start) + (stop - was_stop)) / 2
    # Against far more pressure it gives nothing at all, and no share of it says when.
    return min(FLOW_FALLS * more_kPa, 0.9)


def _of_flow(water: Water, changed: Water) -> tuple[str, ...]:
    """Say what a pump's flow is taken to be at other pressures; nothing at the same."""
    less = less_flow(water, changed)
    if abs(less) < _HARDLY:
        return ()
    kPa = abs(less) / FLOW_FALLS
    words = ("more", "less") if less > 0 else ("less", "more")
    return (_OTHER_FLOW.format(water.shown.of_pressure(kPa, digits=2), words[0], 100 * abs(less), words[1]),)


def _slower(runs: PumpRuns, less: float) -> PumpRuns:
    """Return runs with an end out where the pump gives a share less, or more, than it is taken to."""
    run_s, hour = runs.run_s, runs.in_an_hour
    return PumpRuns(
        None if run_s is None else _towards(run_s, run_s.value / (1 - less)),
        None if hour is None else _towards(hour, hour.value * (1 - less)),
        runs.a_day,
    )


def _towards(value: Within, end: float) -> Within:
    return Within(value.value, min(value.low, end), max(value.high, end))


def _planned(plan: TankPlan, site: Site) -> PumpRuns:
    """Return what Boyle's law and the pump's flow say."""
    if plan.fill_s is None or plan.shortest_cycle_s is None:
        return PumpRuns(None, None, None)
    assert site.water is not None
    in_an_hour = SECONDS_PER_HOUR / plan.shortest_cycle_s
    duty_pct = site.load(site.water.load).duty_pct
    # A use that is known gives the starts a day: at most so many tankfuls as it has, and fewer where it is drawn while
    # the pump runs.
    day_s = None if duty_pct is None else 864 * duty_pct
    a_day = None if day_s is None else Within.exactly(day_s / plan.fill_s)
    return PumpRuns(Within.exactly(plan.fill_s), Within.exactly(in_an_hour), a_day)


def _by_log(
    before: Site, after: Site, plans: tuple[TankPlan | Missing, TankPlan | Missing],
    off_s: FloatArray, run_s: FloatArray, seen: MeasuredLoad, use: float, *, mends: bool,
) -> TankRuns | Missing:  # fmt: skip
    water, changed = before.water, after.water
    assert water is not None and changed is not None
    flow = water.pump_L_per_min
    # In seconds of the pump a tank is known without its flow; litres need that.
    now_L = None if flow is None else tank_s(off_s, run_s) * flow / 60
    in_doubt = bool(seen.air_doubt)
    if in_doubt:
        times = _mended(plans[1], now_L) if mends else _with_little_air(water, changed)
    else:
        times = _times(water, changed, plans, now_L)
    if isinstance(times, Missing):
        return times
    # The run before the first rest has no rest of its own, and is a start all the same.
    starts_s = np.append(-np.median(run_s), np.cumsum(np.column_stack([off_s, run_s]).ravel())[::2])
    as_seen = _counted(Replayed(starts_s, run_s), seen, None)
    if times == Within.exactly(1.0):
        then = _used(as_seen, off_s, run_s, use)
        about_use = () if use == 1 else (_HOW_USED,)
        return TankRuns(as_seen, then, times, now_L, now_L, measured=True, assumptions=(_MEASURED, *about_use))
    # The two ends of what the tank may give go through the same water, so that an end has a run and a rate of its own.
    middle, few, many = (replayed(off_s, run_s, x) for x in (times.value, times.high, times.low))
    less = less_flow(water, changed)
    other = _slower(_counted(middle, seen, (few, many), use, len(run_s)), less)
    will_L = plans[1].drawdown_L if isinstance(plans[1], TankPlan) else None
    if in_doubt and not mends and now_L is not None:
        will_L = now_L * times.value
    of_flow = _of_flow(water, changed) or (_SAME_FLOW,)
    of_tank = _not_in_order(plans[0], now_L, in_doubt=in_doubt)
    assumptions = (_MEASURED, *of_flow, *((_NO_FLOW,) if now_L is None else ()), *of_tank)
    return TankRuns(as_seen, other, times, now_L, will_L, True, assumptions, less)


def _used(as_seen: PumpRuns, off_s: FloatArray, run_s: FloatArray, use: float) -> PumpRuns:
    """Return the runs of another use: more of the same runs, or, at the other end, taps that are open for longer."""
    a_day = None if as_seen.a_day is None else as_seen.a_day.scaled(use)
    if use == 1 or as_seen.run_s is None or a_day is None:
        return PumpRuns(as_seen.run_s, as_seen.in_an_hour if use == 1 else None, a_day)
    longer = replayed(off_s, run_s, 1.0, longer=use)
    if not len(longer.runs_s):
        return PumpRuns(None, None, a_day)
    usual = as_seen.run_s
    share = float(np.median(longer.runs_s)) / usual.value
    # Beside so many times the log's starts, each end with the chance that they had.
    starts = len(longer.runs_s) / len(run_s) / use
    # Those that were counted and those that will come are two lots of the same kind, as with another tank.
    below = hypot(sqrt(2) * (usual.value - usual.low), usual.value * min(share - 1, 0.0))
    above = hypot(sqrt(2) * (usual.high - usual.value), usual.value * max(share - 1, 0.0))
    return PumpRuns(
        Within(usual.value, max(usual.value - below, 0.0), usual.value + above),
        None,
        Within(a_day.value, a_day.low * min(starts, 1.0), a_day.high * max(starts, 1.0)),
    )


def _times(
    water: Water, changed: Water, plans: tuple[TankPlan | Missing, TankPlan | Missing], now_L: float | None
) -> Within | Missing:
    """Return how many times the water the tank gives after the change, with how far that may be off. [1]"""
    was, will = plans
    same_pressures = (water.air_kPa, water.switch_kPa) == (changed.air_kPa, changed.switch_kPa)
    if same_pressures and changed.volume_L == water.volume_L:
        return Within.exactly(1.0)
    if isinstance(was, Missing) or isinstance(will, Missing):
        # Whatever air is in it: at the same pressures twice the tank gives twice the water.
        if same_pressures:
            return _off(changed.volume_L / water.volume_L, VOLUME_OFF)
        return next(plan for plan in plans if isinstance(plan, Missing))
    # A tank that the log shows to be in order is that of the file: only the share of the two counts, and no flow. One
    # that is not is known by the pump's flow alone, and another tank or its air set right makes it what is written.
    share = None if now_L is None or was.drawdown_L <= 0 else now_L / was.drawdown_L
    mended = changed.volume_L != water.volume_L or changed.air_kPa != water.air_kPa
    if now_L is not None and mended and (share is None or not IN_ORDER <= share <= 1 / IN_ORDER):
        return _off(will.drawdown_L / now_L, FLOW_OFF)
    if was.drawdown_L <= 0:
        return Missing(
            "word on the pump's runs", (), "with the pre-charge of the site file the tank gives no water now"
        )
    return _off(will.drawdown_L / was.drawdown_L, VOLUME_OFF if same_pressures else PRESSURES_OFF)


def _mended(changed: TankPlan | Missing, now_L: float | None) -> Within | Missing:
    """Return the same of a tank whose air is in doubt and then is right: what it gives now only the flow tells. [1]"""
    if isinstance(changed, Missing):
        return changed
    if now_L is None:
        return Missing("word on the pump's runs", _FLOW, _LESS_WATER)
    return _off(changed.drawdown_L / now_L, FLOW_OFF)


def _with_little_air(water: Water, changed: Water) -> Within | Missing:
    """Return the same of a tank that keeps its air, whatever that is: as long as it is below both cut-ins. [1]"""
    # By Boyle's law the water goes with the air, so any little does: that of a tank filled at the pressure outside.
    drawdowns_L = []
    for each in (water, changed):
        if each.switch_kPa is None:
            return no_switch("word on the pump's runs", each)
        drawdowns_L.append(drawdown_L(each.volume_L, 0.0, *each.switch_kPa, atmosphere_kPa(each.height_m)))
    was, will = drawdowns_L
    return Within.exactly(1.0) if was == will else _off(will / was, PRESSURES_OFF)


def _off(value: float, share: float) -> Within:
    return Within(value, value * (1 - share), value * (1 + share))


def _not_in_order(was: TankPlan | Missing, now_L: float | None, *, in_doubt: bool) -> list[str]:
    if now_L is None or isinstance(was, Missing) or was.drawdown_L <= 0:
        return []
    share = now_L / was.drawdown_L
    if IN_ORDER <= share <= 1 / IN_ORDER and not in_doubt:
        return []
    return [
        f"By the log the tank gives {100 * share:.0f} % of what it should by the site file; another tank, or another "
        "pre-charge, is taken to be as it is written, with its air in order."
    ]


def _counted(
    runs: Replayed, seen: MeasuredLoad, ends: tuple[Replayed, Replayed] | None, use: float = 1.0, before: int = 0
) -> PumpRuns:
    """Return usual run, busiest hour and starts a day, with the ends that the `ends` of the tank's water leave."""
    rate = seen.starts_per_h.scaled(24.0)
    if ends is None:
        return PumpRuns(median_of(runs.runs_s), Within.exactly(_busiest(runs)), rate)
    few, many = ends
    if not len(runs.runs_s) or not len(few.runs_s) or not len(many.runs_s):
        return PumpRuns(None, None, None)
    usual, long, short = (float(np.median(each.runs_s)) for each in (runs, few, many))
    # The runs that are counted and those that will come are two lots of the same kind: each scatters about the median.
    lot = median_of(runs.runs_s) or Within(usual, float(runs.runs_s.min()), float(runs.runs_s.max()))
    below = hypot(sqrt(2) * (lot.low - usual), short - usual)
    above = hypot(sqrt(2) * (lot.high - usual), long - usual)
    count, fewest, most = (len(each.runs_s) for each in (runs, few, many))
    # One start more or less falls into any stretch of time.
    hour = Within(
        _busiest(runs), max(min(_busiest(few), _busiest(runs)) - 1, 0), max(_busiest(many), _busiest(runs)) + 1
    )
    starts = use * rate.value / before
    chance = (rate.high - rate.low) / 2 / rate.value if rate.value else 0.0
    return PumpRuns(
        Within(usual, max(usual - below, 0.0), usual + above),
        hour if use == 1 else None,
        Within(
            count * starts,
            max(min(fewest, count) - 1, 0) * starts * max(1 - chance, 0.0),
            (max(most, count) + 1) * starts * (1 + chance),
        ),
    )


def _busiest(runs: Replayed) -> float:
    return float(busiest_hour((runs.starts_s * 1e6).astype(np.int64)))
