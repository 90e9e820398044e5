"""State of charge by counting, with an uncertainty that grows.

Counting never alters the measured amp-hours. It divides them by the rated capacity, and takes off what is lost in
charging; both are assumptions, listed with the result.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from ..ledger.running_charge import RunningCharge
from ..not_known import Missing
from ..readings.chunk import FloatArray, TimeArray
from ..site.battery_kinds import kind_of
from ..stats.interval95 import EVEN, Component, Within, combine, halves_of_even, limit
from ..sureness.meter_figures import MeterFigures
from .rested_state import rested_state

if TYPE_CHECKING:
    from ..site.tables import Bank

#: How far a stated efficiency may be off, since it falls towards full (Stevens and Corey, Sandia): common practice,
#: no source. [%]
STATED_EFFICIENCY_OFF_PCT: Final = 5.0

#: How far a stated start may be off: common practice, no source. [%]
STATED_START_OFF_PCT: Final = 5.0


@dataclass(frozen=True)
class Start:
    """The state of charge that counting begins with, its limits of error, and where it is from."""

    state_pct: Within
    error: Component
    assumptions: tuple[str, ...]


@dataclass(frozen=True)
class StateOfCharge:
    """State of charge over time, by counting, at instants that rise: arrays of shape (n,).

    State and the ends of its 95 % interval are of the rated capacity and cut to 0 and 100. What flowed in gaps, which
    last `uncovered_s`, is not in it.
    """

    time_us: TimeArray
    state_pct: FloatArray
    low_pct: FloatArray
    high_pct: FloatArray
    start_pct: Within
    end_pct: Within
    uncovered_s: float
    assumptions: tuple[str, ...]


def charge_efficiency(bank: Bank) -> tuple[float, float, str]:
    """Return how much of the charge put in comes out again, from 0 to 1, its limit of error, and where it is from."""
    if bank.charge_efficiency_pct is not None:
        middle, off = bank.charge_efficiency_pct, min(STATED_EFFICIENCY_OFF_PCT, 100 - bank.charge_efficiency_pct)
        source = "bank.charge_efficiency_pct"
    else:
        usual = kind_of(bank.chemistry).charge_efficiency
        middle, off, source = usual.value, usual.off, usual.source
    sentence = (
        f"Of the charge put in, {middle:g} % was taken to come out again, give or take {off:g} ({source}); it is "
        "higher when the bank is low and lower near full."
    )
    return middle / 100, off / 100, sentence


def start_of(bank: Bank, *, stated_pct: float | None = None, rested_V: float | None = None) -> Start | Missing:
    """Return the state that counting begins with: stated [%], else read from a voltage after hours of rest [V].

    ``start_state_pct`` and ``rested_V`` of the site file stand in where neither is given.
    """
    # What is given for this log goes before what the site file says once for all.
    if stated_pct is None and rested_V is None:
        stated_pct, rested_V = bank.start_state_pct, bank.rested_V
    if stated_pct is not None:
        off = STATED_START_OFF_PCT
        within = Within(stated_pct, max(stated_pct - off, 0.0), min(stated_pct + off, 100.0))
        assumption = f"The bank was {stated_pct:g} % full at the beginning, as stated; taken as within {off:g} %."
        return Start(within, limit("start", off), (assumption,))
    if rested_V is None:
        return Missing("state of charge", ("bank.start_state_pct", "bank.rested_V"), "counting needs a start")
    rested = rested_state(bank, rested_V)
    if isinstance(rested, Missing):
        return rested
    # The interval's outer half stands for both, also where the other is cut off at full or empty.
    half = max(rested.state_pct.high - rested.state_pct.value, rested.state_pct.value - rested.state_pct.low)
    return Start(rested.state_pct, limit("start", half / 0.95), rested.assumptions)


def state_of_charge(
    running: RunningCharge, bank: Bank, start: Start | Missing, figures: MeterFigures
) -> StateOfCharge | Missing:
    """Count the state of charge from a start: start - (drawn - efficiency x returned) / capacity.

    The interval holds the start, the meter's factor, its zero (which grows with time) and the charge efficiency; not
    what flowed in gaps, and not a bank that has lost capacity with age.
    """
    if isinstance(start, Missing):
        return start
    if not len(running.time_us):
        return Missing("state of charge", because="the log has no stretch with two readings of current")
    efficiency, off, efficiency_source = charge_efficiency(bank)
    # Draw empties the bank by what was measured; only what is put in loses a share.
    per_Ah_pct = 100 / bank.capacity_Ah
    middle = start.state_pct.value - per_Ah_pct * (running.drawn_Ah - efficiency * running.returned_Ah)
    half = per_Ah_pct * _half_Ah(running, efficiency, off, start.error, figures, bank)
    low, high = (np.clip(middle + side * half, 0, 100) for side in (-1, 1))
    # State and interval are cut each by itself: full is full, however uncertain the count.
    state = np.clip(middle, 0, 100)
    return StateOfCharge(
        running.time_us,
        state,
        low,
        high,
        start_pct=start.state_pct,
        end_pct=Within(float(state[-1]), float(low[-1]), float(high[-1])),
        uncovered_s=running.uncovered_s,
        assumptions=(*start.assumptions, efficiency_source, *_remarks(running, bank, middle), *figures.assumed),
    )


def _half_Ah(
    running: RunningCharge, efficiency: float, off: float, start: Component, figures: MeterFigures, bank: Bank
) -> FloatArray:
    """Return half of the 95 % interval at each instant [Ah]."""
    meter = figures.current
    zero_A = meter.zero + meter.range_offset(running.highest_A)
    zero = limit("zero", zero_A) if figures.zero_check is None else Component("zero", figures.zero_check.u_A)
    counted_Ah = running.drawn_Ah - efficiency * running.returned_Ah
    start_Ah = start.u * bank.capacity_Ah / 100
    # Factor and zero are one unknown each for the whole log, so they grow with what was counted and do not average out.
    factor_Ah, efficiency_Ah = meter.gain * np.abs(counted_Ah), off * running.returned_Ah
    if zero.even == 1:
        start_each_Ah = np.full(len(counted_Ah), start_Ah * EVEN)
        return halves_of_even(np.stack([start_each_Ah, factor_Ah, zero.u * EVEN * running.covered_h, efficiency_Ah]))
    halves = [
        combine(
            [
                Component("start", start_Ah, even=1),
                limit("factor", factor),
                replace(zero, u=zero.u * hours),
                limit("charge efficiency", returned),
            ]
        ).half
        for factor, hours, returned in zip(
            factor_Ah.tolist(), running.covered_h.tolist(), efficiency_Ah.tolist(), strict=True
        )
    ]
    return np.array(halves)


def _remarks(running: RunningCharge, bank: Bank, middle: FloatArray) -> list[str]:
    remarks = [f"Full is the rated {bank.capacity_Ah:g} Ah; an old bank holds less, and is then emptier than it seems."]
    if running.uncovered_s > 0:
        remarks.append(f"What flowed in {running.uncovered_s:.0f} s without readings is not counted.")
    if middle.max() > 100 or middle.min() < 0:
        remarks.append("Counting went beyond full or empty and was cut there; the start or the capacity is off.")
    return remarks
