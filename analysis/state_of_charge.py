"""State of charge by counting: from a start, over time, with an uncertainty that grows.

Counting never alters the measured amp-hours. It divides them by the rated capacity, and takes off what is lost in
charging; both are assumptions, listed with the result.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from .chunk import FloatArray, TimeArray
from .distribution import Component, combine
from .meter_figures import MeterFigures
from .missing import Missing
from .rested_state import rested_state
from .running_charge import RunningCharge
from .within import Within, limit

if TYPE_CHECKING:
    from .site_parts import Bank

#: Charge efficiency where the site file gives none: middle, and how far off it may be [%]. From memory: flooded 85 to
#: 95, AGM 95 to 98, LiFePO4 about 99; gel taken like AGM.
USUAL_CHARGE_EFFICIENCY_PCT: Final = {
    "flooded_lead_acid": (90.0, 5.0),
    "agm": (96.0, 2.0),
    "gel": (96.0, 2.0),
    "lifepo4": (99.0, 1.0),
}
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
    """State of charge over time, by counting.

    Parameters
    ----------
    time_us : array of int64, shape (n,)
        Instants, rising. [us]
    state_pct, low_pct, high_pct : array, shape (n,)
        State and the ends of its 95 % interval, cut to 0 and 100. [% of rated capacity]
    start_pct, end_pct : Within
        At the beginning and at the end. [%]
    uncovered_s : float
        Time in gaps; what flowed then is not in it. [s]
    assumptions : tuple of str
        What it rests on, in plain sentences.
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
    """Return how much of the charge put in comes out again, how far that may be off, and where it is from.

    Returns
    -------
    tuple of float, float and str
        From 0 to 1, its limit of error, and a plain sentence. [1], [1]
    """
    if bank.charge_efficiency_pct is not None:
        middle, off = bank.charge_efficiency_pct, min(STATED_EFFICIENCY_OFF_PCT, 100 - bank.charge_efficiency_pct)
        source = "bank.charge_efficiency_pct"
    else:
        middle, off = USUAL_CHARGE_EFFICIENCY_PCT.get(bank.chemistry or "other", (90.0, 10.0))
        source = "usual for its kind, from memory; bank.charge_efficiency_pct says it better"
    sentence = (
        f"Of the charge put in, {middle:g} % was taken to come out again, give or take {off:g} ({source}); it is "
        "higher when the bank is low and lower near full."
    )
    return middle / 100, off / 100, sentence


def start_of(bank: Bank, *, stated_pct: float | None = None, rested_V: float | None = None) -> Start | Missing:
    """Return the state that counting begins with: stated, else read from a rested voltage.

    Parameters
    ----------
    bank : Bank
        ``start_state_pct`` and ``rested_V`` of the site file stand in for what is not given here.
    stated_pct : float, optional
        State of charge at the log's beginning, if somebody knows it. [%]
    rested_V : float, optional
        Voltage after hours of rest before the log. [V]
    """
    if stated_pct is None and rested_V is None:
        stated_pct, rested_V = bank.start_state_pct, bank.rested_V
    if stated_pct is not None:
        off = STATED_START_OFF_PCT
        within = Within(stated_pct, max(stated_pct - off, 0.0), min(stated_pct + off, 100.0))
        said = f"The bank was {stated_pct:g} % full at the beginning, as stated; taken as within {off:g} %."
        return Start(within, limit("start", off), (said,))
    if rested_V is None:
        return Missing("state of charge", ("bank.start_state_pct", "bank.rested_V"), "counting needs a start")
    found = rested_state(bank, rested_V)
    if isinstance(found, Missing):
        return found
    # The interval's outer half stands for both, also where the other is cut off at full or empty.
    half = max(found.state_pct.high - found.state_pct.value, found.state_pct.value - found.state_pct.low)
    return Start(found.state_pct, limit("start", half / 0.95), found.assumptions)


def state_of_charge(
    running: RunningCharge, bank: Bank, start: Start | Missing, figures: MeterFigures
) -> StateOfCharge | Missing:
    """Count the state of charge from a start.

    Parameters
    ----------
    running : RunningCharge
        Drawn and returned charge over time, as measured.
    bank : Bank
        Its rated capacity and charge efficiency.
    start : Start or Missing
        What `start_of` gave.
    figures : MeterFigures
        How far the meter may be off; its factor and its zero are each one unknown for the whole log.

    Returns
    -------
    StateOfCharge or Missing
        State = start - (drawn - efficiency x returned) / capacity. The interval holds the start, the meter's factor,
        its zero (which grows with time) and the charge efficiency; not what flowed in gaps, and not a bank that has
        lost capacity with age.
    """
    if isinstance(start, Missing):
        return start
    if not len(running.time_us):
        return Missing("state of charge", because="the log has no stretch with two readings of current")
    efficiency, off, said = charge_efficiency(bank)
    per_Ah_pct = 100 / bank.capacity_Ah
    middle = start.state_pct.value - per_Ah_pct * (running.drawn_Ah - efficiency * running.returned_Ah)
    half = per_Ah_pct * _half_Ah(running, efficiency, off, start.error, figures, bank)
    low, high = (np.clip(middle + side * half, 0, 100) for side in (-1, 1))
    state = np.clip(middle, 0, 100)
    return StateOfCharge(
        running.time_us,
        state,
        low,
        high,
        start_pct=start.state_pct,
        end_pct=Within(float(state[-1]), float(low[-1]), float(high[-1])),
        uncovered_s=running.uncovered_s,
        assumptions=(*start.assumptions, said, *_said(running, bank, middle), *figures.assumed),
    )


def _half_Ah(
    running: RunningCharge, efficiency: float, off: float, start: Component, figures: MeterFigures, bank: Bank
) -> FloatArray:
    """Return half of the 95 % interval at each instant [Ah]."""
    meter = figures.current
    factor = (meter.reading_pct + meter.class_pct) / 100
    zero_A = meter.zero + meter.range_offset(running.highest_A)
    zero = limit("zero", zero_A) if figures.zero_check is None else Component("zero", figures.zero_check.u_A)
    counted_Ah = running.drawn_Ah - efficiency * running.returned_Ah
    start_Ah = start.u * bank.capacity_Ah / 100
    halves = [
        combine(
            [
                Component("start", start_Ah, even=1),
                limit("factor", factor * abs(net_Ah)),
                replace(zero, u=zero.u * hours),
                limit("charge efficiency", off * returned_Ah),
            ]
        ).half
        for net_Ah, hours, returned_Ah in zip(
            counted_Ah.tolist(), running.covered_h.tolist(), running.returned_Ah.tolist(), strict=True
        )
    ]
    return np.array(halves)


def _said(running: RunningCharge, bank: Bank, middle: FloatArray) -> list[str]:
    said = [f"Full is the rated {bank.capacity_Ah:g} Ah; an old bank holds less, and is then emptier than it seems."]
    if running.uncovered_s > 0:
        said.append(f"What flowed in {running.uncovered_s:.0f} s without readings is not counted.")
    if middle.max() > 100 or middle.min() < 0:
        said.append("Counting went beyond full or empty and was cut there; the start or the capacity is off.")
    return said
