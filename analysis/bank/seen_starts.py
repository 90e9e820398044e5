"""What the starts of a log did to the bank's voltage, and so what the next one will do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Final

import numpy as np

from ..cycles.cycle import Cycle
from ..not_known import Missing
from ..readings.chunk import FloatArray, Sampling
from ..stats.interval95 import Component, Within, combine, limit
from ..stats.ranks import FEWEST
from ..sureness.meter_figures import Accuracy

#: A start that readings could have missed is taken as seen where the chance that all of them missed it is below this:
#: common practice, no source. [1]
_MISSED: Final = 0.05
#: How far beyond the lowest of values that thin out evenly towards an end that end lies with 95 %, in distances from
#: the first to the fifth: (1 + c)^4 = 20 (after Robson and Whitlock 1964, from memory). [1]
_BEYOND: Final = 20 ** (1 / 4) - 1
_AVERAGED: Final = (
    "Meters average, often without saying so: the low end allows that a reading shows 45 % of how far the bank falls; "
    'one that does not is told by meters.sampling = "instant".'
)
#: How much of a start's dip the lowest of readings that are too far apart to show it is taken to show at least: meters
#: average over half a second or so without saying it, and a small pump's start may be over in a quarter of one (common
#: practice, no source; 95 % of simulated meters show as much). [1]
SHOWN_OF_A_DIP: Final = 0.45


@dataclass(frozen=True)
class SeenStarts:
    """The starts of a log, as the bank's voltage saw them.

    `lowest_V` is the lowest voltage at the next start, and where it lies with 95 %. `whole` tells whether the readings
    showed the whole of a start: each of them, or so many that not all can have missed it.
    """

    lowest_V: Within
    count: int
    whole: bool
    assumptions: tuple[str, ...]


def seen_starts(
    cycles: Sequence[Cycle],
    voltage: Accuracy | None,
    *,
    start_s: float,
    interval_s: float | None,
    sampling: Sampling = "instant",
    instants: bool = False,
) -> SeenStarts | Missing:
    """Return what the starts of a load did to the bank's voltage; Missing with fewer than six seen with their volts.

    Parameters
    ----------
    cycles : sequence of Cycle
        Its runs, from a log of a meter at the bank.
    voltage : Accuracy or None
        How far the volts may be off.
    start_s : float
        How long a start lasts. [s]
    interval_s : float or None
        Usual spacing of the readings; None where that is not known. [s]
    sampling : {'instant', 'mean', 'held'}
        What one reading stands for.
    instants : bool
        Whether the meter is stated to average over nothing.

    Notes
    -----
    Where readings are too far apart to show a start whole, each shows what it happens to meet: one in dt / start_s
    meets it, and n starts miss it together with the chance (1 - start_s / dt)^n. The lowest of many is the start's, or
    what the meter's own averaging leaves of it: the low end allows for that.
    The interval is Student's for a next value, mean and scatter being those seen, or the least and the most seen where
    these lie further out, with the meter's limits. A bank that ran down in the log falls as deep from where it stands.
    """
    # Where an array shares the draw the bank falls less; such starts count only where the log has no others.
    alone = [cycle for cycle in cycles if not cycle.array_may_share] or list(cycles)
    seen = [(volts, cycle) for cycle in alone if (volts := _lowest(cycle)) is not None]
    if len(seen) < FEWEST:
        because = f"it needs {FEWEST} starts seen with the bank's volts, and the log has {len(seen)}"
        return Missing("word on the sag at start", (), because)
    lowest = np.array([volts for volts, _ in seen])
    resolved = all(cycle.surge_resolved for _, cycle in seen)
    whole = resolved or (sampling == "instant" and _met(len(seen), start_s, interval_s))
    assumptions = [f"By the {len(seen)} starts of the log, the bank as full and as warm as it was then."]
    if not resolved:
        assumptions.append(
            "The readings show a part of each start; the lowest of them all is nearest to how far it falls."
            if whole
            else "The readings are too far apart to show a start whole: the bank falls further than they say."
        )
    next_V = _run_down(_next(lowest, voltage, alone) if resolved else _next_of_parts(lowest, voltage), alone, lowest)
    if not resolved and not instants:
        next_V = _averaged(next_V, lowest, alone)
        assumptions.append(_AVERAGED)
    return SeenStarts(next_V, len(seen), whole, tuple(assumptions))


def _lowest(cycle: Cycle) -> float | None:
    if cycle.lowest_V is not None:
        return cycle.lowest_V
    return None if cycle.before_V is None or cycle.sag_V is None else cycle.before_V - cycle.sag_V


def _met(count: int, start_s: float, interval_s: float | None) -> bool:
    """Tell whether readings so far apart have met a start, so many having passed."""
    if interval_s is None:
        return False
    return (1 - min(start_s / interval_s, 1.0)) ** count < _MISSED


def _next(lowest: FloatArray, voltage: Accuracy | None, cycles: Sequence[Cycle]) -> Within:
    """Return the median of the lowest voltages of starts seen whole, and the ends of what the next one does [V]."""
    count, meter = len(lowest), _meter(lowest, voltage)
    # One more value than those seen: its own scatter, and that of their mean (Student).
    scatter = Component("scatter", float(lowest.std(ddof=1)) * sqrt(1 + 1 / count), dof=count - 1)
    half, meter_V = combine([scatter, *meter]).half, combine(meter).half
    # What was seen once may come again, whatever the scatter of the others makes likely.
    low = min(float(lowest.min()) - meter_V, float(lowest.mean()) - half)
    high = max(float(lowest.max()) + meter_V, float(lowest.mean()) + half)
    before = [cycle.before_V for cycle in cycles if cycle.before_V is not None]
    middle = float(np.median(lowest))
    # No start lifts the voltage.
    high = max(min(high, max(before) + meter_V), middle) if before else high
    return Within(middle, low if low > 0 else float(lowest.min()), high)


def _next_of_parts(lowest: FloatArray, voltage: Accuracy | None) -> Within:
    """Return the same where readings show parts of starts.

    Each falls at least as far as was read of it, so the usual reading is the upper end; the lowest of all is nearest to
    how far it falls. [V]
    """
    meter_V = combine(_meter(lowest, voltage)).half
    # The twentieth part that fell furthest is taken for the start itself, so that one wild reading is not.
    usual, high = np.quantile(lowest, [0.05, 0.5]).tolist()
    # How thinly the lowest readings lie says how much further the unseen bottom may be.
    first, fifth = np.sort(lowest)[[0, 4]].tolist()
    below_V = _BEYOND * (fifth - first) + meter_V
    return Within(usual, first - below_V if below_V < first else first / 2, high + meter_V)


def _averaged(next_V: Within, lowest: FloatArray, cycles: Sequence[Cycle]) -> Within:
    """Return the same with a low end for a meter that shows a part of each dip, since it averages. [V]"""
    before = [cycle.before_V for cycle in cycles if cycle.before_V is not None]
    if not before:
        return next_V
    before_V, first = float(np.median(before)), float(lowest.min())
    # Either the readings missed the bottom, which `low` allows for already, or they average over it: hardly both.
    low = before_V - max(before_V - first, 0.0) / SHOWN_OF_A_DIP
    return Within(next_V.value, min(next_V.low, max(low, first / 2)), next_V.high)


def _run_down(usual_V: Within, cycles: Sequence[Cycle], lowest: FloatArray) -> Within:
    """Return the same, low enough for the deepest fall from where the bank stood last: it may have run down. [V]"""
    before = [(cycle.before_V, fell) for cycle in cycles if cycle.before_V is not None and (fell := _lowest(cycle))]
    if not before:
        return usual_V
    # What repeats from start to start is the fall and not the voltage it ends at.
    last_V, deepest_V = before[-1][0], max(stood - fell for stood, fell in before)
    meter_V = max(float(lowest.min()) - usual_V.low, 0.0)
    low = min(usual_V.low, last_V - deepest_V - meter_V)
    return Within(usual_V.value, low if low > 0 else usual_V.low, usual_V.high)


def _meter(lowest: FloatArray, voltage: Accuracy | None) -> list[Component]:
    return [] if voltage is None else [_off(voltage, float(np.median(lowest)))]


def _off(voltage: Accuracy, volts: float) -> Component:
    """Return how far the voltmeter may be off."""
    return limit("volts", voltage.gain * volts + voltage.range_offset(volts) + voltage.zero + voltage.resolution / 2)
