"""How a load that was measured would behave after a change: its starts, its runs, its draw at the meter."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import isfinite, sqrt
from typing import Final

import numpy as np

from ..bank.resistance import Resistance
from ..bank.sag import loaded_V
from ..bank.seen_starts import SeenStarts
from ..equipment.bank_voltage import usual_loaded_V
from ..equipment.demand import Demand, demand
from ..equipment.inverter_losses import beyond_idle_W, given_W, losses_of
from ..equipment.motor_start import direct_current_start_A
from ..forecast.measured_load import MeasuredLoad
from ..forecast.stretches import Stretches
from ..nameplate.measured_chain import RunTotals
from ..not_known import Missing
from ..readings.chunk import FloatArray
from ..site.site import Load, Site
from ..stats.interval95 import Within
from .tank_runs import TankRuns

_THE_SAME: Final = Within.exactly(1.0)


@dataclass(frozen=True)
class Factors:
    """After over before: runs' length, share of the time, draw at the meter, watts of a start, the bank's ohms. [1]

    `ohms` is None where the bank's cells are of another kind, and `amps` is what their volts make of the same watts.
    `less_flow` is which share less the pump may give, below 0 more: how much further out all amounts may be. [1]
    """

    length: float = 1.0
    use: float = 1.0
    draw: float = 1.0
    start: Within = _THE_SAME
    ohms: float | None = 1.0
    amps: float = 1.0
    less_flow: float = 0.0

    @property
    def starts(self) -> float:
        """Starts an hour: as much water by longer runs is fewer of them."""
        return self.use / self.length


def factors(before: Site, after: Site, load: Load, seen: MeasuredLoad, runs: TankRuns | Missing, use: float) -> Factors:
    """Return what changes of a load that was measured."""
    length, less = 1.0, runs.less_flow if isinstance(runs, TankRuns) else 0.0
    # As much water by fewer starts: each run is longer in the same proportion.
    if isinstance(runs, TankRuns) and runs.before.a_day and runs.after.a_day and runs.after.a_day.value > 0:
        length = use * runs.before.a_day.value / runs.after.a_day.value
    draw, start = _draw(before, after, load, seen), _start(before, after, load, seen)
    return Factors(length, use, draw, start, _ohms(before, after), _amps(before, after, seen), less)


def _draw(before: Site, after: Site, load: Load, seen: MeasuredLoad) -> float:
    """Return what another inverter, or a drive before the motor, makes of the draw at the meter."""
    was, will = before.inverter_of(load), after.inverter_of(load)
    of_load = _running(before, after, load)
    if seen.side == "ac" or was is None or will is None or (was is will and of_load == 1.0):
        return of_load
    # What the load takes behind the inverter is the plates' share of what was seen; the losses on the way follow it.
    ac_W = of_load * given_W(losses_of(was), seen.runs.run_W)
    return beyond_idle_W(losses_of(will), ac_W) / seen.runs.run_W


def _running(before: Site, after: Site, load: Load) -> float:
    """Return what another way of starting, or another wave, makes of the watts of running, by the plate. [1]"""
    both = _demands(before, after, load)
    return 1.0 if both is None else both[1].running_W / both[0].running_W


def _demands(before: Site, after: Site, load: Load) -> tuple[Demand, Demand] | None:
    """Return what a load asks of its inverter before and after, where it is started or fed another way."""
    was, will = before.inverter_of(load), after.inverter_of(load)
    old, new = before.load(load.name), after.load(load.name)
    if was is None or will is None or not (_other_start(old, new) or was.waveform != will.waveform):
        return None
    asked, other = demand(old, was), demand(new, will)
    return None if isinstance(asked, Missing) or isinstance(other, Missing) else (asked, other)


def _other_start(old: Load, new: Load) -> bool:
    # A load of which nothing is said is switched straight on.
    return (old.start or "direct") != (new.start or "direct")


def _start(before: Site, after: Site, load: Load, seen: MeasuredLoad) -> Within:
    """Return what another way of starting makes of the watts of a start that was seen, beside those of running. [1]"""
    both = _demands(before, after, load)
    if both is None:
        return _on_the_bank(before, after, load, seen)
    if not _other_start(before.load(load.name), after.load(load.name)):
        # Another wave makes a motor run harder; it starts as it did.
        was, will = (each.start_W().value / each.running_W for each in both)
        return Within.exactly(will / was)
    # What was seen of the start goes before the plate; without that the plate's own start stands in for it.
    times = _times_seen(seen) or both[0].start_W().value / both[0].running_W
    asks = both[1]
    # Amps behind an inverter are volt-amperes; at the bank only watts count.
    over = asks.start_VA.scaled(1 / asks.running_VA) if seen.side == "ac" else asks.start_W().scaled(1 / asks.running_W)
    new = over.scaled(1 / times)
    # A softer start of the same motor asks no more than the one that was seen.
    return new.map(lambda share: min(share, 1.0)) if asks.start != "direct" else new


def _times_seen(seen: MeasuredLoad) -> float | None:
    """Return the draw of a start over that of running, as a log showed it whole; None where it did not. [1]"""
    if not seen.start_resolved or seen.start_A is None or seen.run_A is None or not seen.run_A.value > 0:
        return None
    return seen.start_A.value / seen.run_A.value


def _on_the_bank(before: Site, after: Site, load: Load, seen: MeasuredLoad) -> Within:
    """Return the same of a load for direct current: behind its electronics it starts with no more than it runs on."""
    old, new = before.load(load.name), after.load(load.name)
    times, running_A = _times_seen(seen), 0.0 if seen.run_A is None else seen.run_A.value
    if load.inverter is not None or not _other_start(old, new) or times is None:
        return _THE_SAME
    amps = direct_current_start_A(new, running_A)
    if isinstance(amps, Missing) or new.start == "direct":
        return _THE_SAME
    return amps.map(lambda each: min(each / (times * running_A), 1.0))


def _ohms(before: Site, after: Site) -> float | None:
    """Return what more or fewer cells beside one another make of the bank's resistance (from memory)."""
    if before.bank.chemistry != after.bank.chemistry:
        return None
    return 1.0 if before.bank is after.bank else before.bank.capacity_Ah / after.bank.capacity_Ah


def _amps(before: Site, after: Site, seen: MeasuredLoad) -> float:
    """Return what the volts of cells of another kind make of the amps, the watts being the same. [1]"""
    if seen.side == "ac" or before.bank.chemistry == after.bank.chemistry:
        return 1.0
    return usual_loaded_V(before.bank)[0] / usual_loaded_V(after.bank)[0]


def load_after(seen: MeasuredLoad, by: Factors) -> MeasuredLoad:
    """Return the behaviour after a change; a start that was seen says nothing of one that is another."""
    if by == Factors():
        return seen
    runs = _runs(seen.runs, by)
    # What a stretch of time takes scatters with the square of a run, and with their number.
    scatter = by.draw * by.length * sqrt(by.starts)
    per_run = runs.energy_Wh / seen.runs.energy_Wh
    return replace(
        seen,
        runs=runs,
        starts_per_h=seen.starts_per_h.scaled(by.starts),
        duty=seen.duty.map(lambda share: min(share * by.use, 1.0)),
        run_W=None if seen.run_W is None else seen.run_W.scaled(by.draw),
        run_A=None if seen.run_A is None else seen.run_A.scaled(by.draw * by.amps),
        start_A=None if seen.start_A is None else _product(seen.start_A, by),
        peak_W=None if seen.peak_W is None else max(seen.peak_W * by.draw * by.start.value, runs.run_W),
        start_Wh=_finite(seen.start_Wh, by),
        resistance=_resistance(seen.resistance, by.ohms),
        starts=_starts(seen, by),
        scatter_Wh=None if seen.scatter_Wh is None else seen.scatter_Wh * scatter,
        scatter_Ah=None if seen.scatter_Ah is None else seen.scatter_Ah * scatter * by.amps,
        stretches_Wh=_stretched(seen.stretches_Wh, by, per_run),
        stretches_Ah=_stretched(seen.stretches_Ah, by, per_run * by.amps),
        gain_Wh=seen.gain_Wh + abs(by.less_flow),
        gain_Ah=seen.gain_Ah + abs(by.less_flow),
        digit_W=seen.digit_W * by.draw,
        digit_A=seen.digit_A * by.draw * by.amps,
    )


def _runs(was: RunTotals, by: Factors) -> RunTotals:
    """Return as many runs as were seen, each as long and as hard as it would be."""
    run_W, run_h = was.run_W * by.draw, was.run_h * by.length
    energy_Wh = run_W * run_h + was.start_Wh * by.draw * by.start.value
    charge_Ah = None if was.charge_Ah is None else was.charge_Ah * by.amps * energy_Wh / was.energy_Wh
    return replace(was, run_h=run_h, run_W=run_W, energy_Wh=energy_Wh, charge_Ah=charge_Ah)


def _product(amps: Within, by: Factors) -> Within:
    share = by.start.scaled(by.draw * by.amps)
    return Within(amps.value * share.value, amps.low * share.low, amps.high * share.high)


def _finite(start_Wh: Within, by: Factors) -> Within:
    """Return what a start takes beyond running; without ends where it had none."""
    factor = by.draw * by.start.value
    ends = (start_Wh.low, start_Wh.high)
    return Within(start_Wh.value * factor, *(x * factor if isfinite(x) else x for x in ends))


def _resistance(ohms: Resistance | Missing, times: float | None) -> Resistance | Missing:
    if times is None:
        return Missing("internal resistance", ("bank.resistance_mohm",), "the log is of cells of another kind")
    return ohms if isinstance(ohms, Missing) or times == 1.0 else replace(ohms, mohm=ohms.mohm.scaled(times))


def _starts(seen: MeasuredLoad, by: Factors) -> SeenStarts | Missing:
    """Return the dips of the starts that were seen as deep as the change makes them: by amps and ohms alike."""
    starts, before_V = seen.starts, seen.before_V
    if isinstance(starts, Missing) or (by.start == _THE_SAME and by.ohms == 1.0 and by.draw == 1.0):
        return starts
    if by.ohms is None or before_V is None:
        return Missing("word on the sag at start", ("bank.resistance_mohm",), "such a start was not seen")
    dips, times = starts.lowest_V.map(lambda volts: before_V - volts), by.ohms * by.draw
    # The least dip goes with the gentlest start, whose share is one of the amps.
    low, value, high = (
        _fallen_V(before_V, dip * share if dip > 0 else dip, times)
        for dip, share in ((dips.low, by.start.high), (dips.value, by.start.value), (dips.high, by.start.low))
    )
    if value is None:
        because = "the bank would not give through its resistance what such a start asks"
        return Missing("word on the sag at start", (), because)
    # No power is drawn from a bank below half of its voltage.
    low, high = before_V / 2 if low is None else low, value if high is None else high
    return replace(starts, lowest_V=Within(value, min(low, value), max(high, value)))


def _fallen_V(before_V: float, dip_V: float, times: float) -> float | None:
    """Return where a start takes a bank with so many times the ohms, or the watts; None where it cannot give them. [V]

    The watts stay as the volts fall, and not the amps: so the dip grows by more than the ohms do.
    """
    # A voltage above that before a start is scatter and stays.
    return before_V - dip_V if dip_V <= 0 else loaded_V(before_V, times * dip_V, before_V - dip_V)


def _stretched(was: Stretches | None, by: Factors, per_run: float) -> Stretches | None:
    """Return the timeline of rests and runs with both as long as they would be."""
    if was is None:
        return None
    lengths: FloatArray = np.diff(was.edges_h)
    rest_h, run_h = lengths[::2].copy(), lengths[1::2] * by.length
    # As much time for as many runs as their rate leaves: what is not run is rest.
    left_h = lengths.sum() / by.starts - run_h.sum()
    rest_h *= max(left_h, 1e-6 * float(lengths.sum())) / rest_h.sum()
    edges_h = np.append(0.0, np.cumsum(np.column_stack([rest_h, run_h]).ravel()))
    return Stretches(edges_h, was.taken * per_run)
