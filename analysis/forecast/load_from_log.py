"""Learn from a log's runs how a load behaves."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import inf, nan, sqrt
from typing import Final

import numpy as np

from ..bank.resistance import resistance_of_cycles
from ..bank.seen_starts import SeenStarts, seen_starts
from ..cycles.cycle import Cycle, Cycles
from ..nameplate.measured_chain import RunTotals, run_totals
from ..not_known import Missing, Refusal
from ..readings.chunk import SECONDS_PER_HOUR, FloatArray
from ..readings.measured_span import HowRead
from ..site.motor_tables import USUAL_START_S
from ..stats.interval95 import WITHIN, Component, Within, combine
from ..stats.ranks import FEWEST, median_read
from ..sureness.meter_figures import MeterFigures
from .measured_load import MeasuredLoad
from .stretches import Stretches

_AS_IN_LOG: Final = "It is taken to be used as it was in the log: as often, as long, by as many."


def measured_load(
    cycles: Cycles,
    *,
    log: str,
    how: HowRead,
    figures: MeterFigures,
    start_s: float = USUAL_START_S,
    assumed_V: float | None = None,
) -> MeasuredLoad:
    """Return how a load behaves by its runs.

    Parameters
    ----------
    cycles : Cycles
        Its cycles, with the plate's draw they were sought by.
    log : str
        The log's name, for sentences.
    start_s : float
        How long a start of it lasts. [s]
    assumed_V : float, optional
        Bank voltage to reckon watts with where the log has amps alone. [V]

    Raises
    ------
    Refusal
        If the log shows no whole run of it, or not what it took.
    """
    name, side = cycles.load or "the load", how.side
    if not cycles.cycles:
        raise Refusal(_not_seen(cycles, name, log))
    if not any(cycle.complete for cycle in cycles.cycles):
        raise Refusal(f"{log}: no run of '{name}' was seen from start to stop, so it does not say what one takes")
    # Amps without volts have no watts: with a voltage assumed they can at least be told, and are said to be assumed.
    amps_alone = assumed_V is not None and all(cycle.energy_Wh is None for cycle in cycles.cycles)
    assumed = []
    if amps_alone and assumed_V is not None:
        cycles = _with_volts(cycles, assumed_V)
        assumed = [
            f"The log has amps and no volts: its watts are amps x {assumed_V:.4g} V, assumed; the Ah are as measured."
        ]
    try:
        runs = run_totals(cycles)
    except Refusal as why:
        raise Refusal(f"{log}: {why}") from None
    taken = _taken(cycles, runs)
    gain_A, gain_W = figures.current.gain, figures.power_gain
    # The summary keeps the rate of starts alone: the time measured is how many there were over that.
    covered_h = len(cycles.cycles) / (cycles.summary.starts_per_hour or nan)
    # Runs that were not seen whole still began, so they count as starts; how long a run is, whole ones tell.
    starts_per_h = _rate(taken, None, len(cycles.cycles), covered_h)
    running = _rate(taken, "run_s", starts_per_h.value * covered_h * 3600 * runs.run_h / runs.runs, covered_h)
    # Watts worked out of amps have the digit of these.
    digit_W = figures.power.resolution if figures.power else figures.current.resolution * (runs.bank_V or 0.0)
    return MeasuredLoad(
        load=name,
        log=log,
        side=side,
        runs=runs,
        covered_h=covered_h,
        starts_per_h=starts_per_h,
        duty=Within(*(min(x / SECONDS_PER_HOUR, 1.0) for x in (running.value, running.low, running.high))),
        run_W=_usual(_known(taken, "run_W"), gain_W),
        run_A=_usual(_known(taken, "run_A"), gain_A),
        start_A=_start_A(taken) if side == "dc" else None,
        peak_W=max(_known(taken, "peak_W"), default=None),
        start_resolved=all(cycle.surge_resolved for cycle in taken),
        start_Wh=_start_Wh(taken, runs, gain_W),
        bank_V=None if amps_alone else _bank_V(taken, figures.voltage.gain),
        before_V=_before_V(taken, runs) if side == "dc" else None,
        resistance=resistance_of_cycles(taken, current=figures.current, voltage=figures.voltage),
        starts=_starts(taken, figures, how, start_s),
        scatter_Wh=_scatter(taken, "energy_Wh"),
        scatter_Ah=_scatter(taken, "charge_Ah"),
        stretches_Wh=Stretches.of(taken, "energy_Wh"),
        stretches_Ah=Stretches.of(taken, "charge_Ah"),
        gain_Wh=gain_W,
        gain_Ah=gain_A,
        digit_W=_digit_u(digit_W),
        digit_A=_digit_u(figures.current.resolution),
        volts_assumed=amps_alone,
        remarks=(*_remarks(cycles, runs, taken, name), *assumed),
    )


def _digit_u(resolution: float) -> float:
    """Return what a last digit does to a draw: the levels in a run and below it are each even within a digit."""
    return sqrt(2) * resolution / WITHIN


def _starts(taken: list[Cycle], figures: MeterFigures, how: HowRead, start_s: float) -> SeenStarts | Missing:
    if how.side == "ac":
        return Missing("word on the sag at start", (), "a meter behind an inverter does not see the bank's volts")
    interval_s, sampling = how.usual_interval_s, how.sampling
    return seen_starts(
        taken,
        figures.voltage,
        start_s=start_s,
        interval_s=interval_s,
        sampling=sampling,
        instants=figures.instants,
    )


def _with_volts(cycles: Cycles, volts: float) -> Cycles:
    """Return cycles whose watts are their amps at a voltage."""

    def times(amps: float | None) -> float | None:
        return None if amps is None else amps * volts

    return replace(
        cycles,
        cycles=tuple(
            replace(c, run_W=times(c.run_A), energy_Wh=times(c.charge_Ah), energy_u95_Wh=times(c.charge_u95_Ah))
            for c in cycles.cycles
        ),
    )


def _taken(cycles: Cycles, runs: RunTotals) -> list[Cycle]:
    """Return the cycles that `run_totals` counted."""
    return [cycle for cycle in cycles.cycles if cycle.complete and (runs.lower_bound or not cycle.array_may_share)]


def _not_seen(cycles: Cycles, name: str, log: str) -> str:
    others = cycles.summary.other_runs
    by_plate = ""
    if cycles.expected is not None:
        by_plate = f" (by its plate it draws about {cycles.expected:.3g} {cycles.signal.rsplit('_', 1)[1]})"
    seen = f"; it shows {others} runs of other loads" if others else ""
    return (
        f"{log}: no run of '{name}' was seen in it{by_plate}{seen}; name a log in which it ran, or leave --measured out"
    )


def _known(taken: list[Cycle], field: str) -> list[float]:
    return [x for cycle in taken if (x := getattr(cycle, field)) is not None]


def _usual(known: Sequence[float], gain: float) -> Within | None:
    """Return the median with its interval, the meter's factor in it; without ends for few runs, None for none."""
    if not known:
        return None
    return median_read(np.array(known, dtype=np.float64), gain)


def _start_Wh(taken: list[Cycle], runs: RunTotals, gain: float) -> Within:
    """Return what a start takes beyond running [Wh]; the value is the mean, so that the parts add up."""
    beyond = [
        cycle.energy_Wh - cycle.run_W * cycle.run_s / SECONDS_PER_HOUR
        for cycle in taken
        if cycle.energy_Wh is not None and cycle.run_W is not None and cycle.run_s is not None
    ]
    usual = _usual(beyond, gain)
    # The median of the runs need not be their mean: the ends are moved out to hold it, never in.
    mean = runs.start_Wh / runs.runs
    return Within(mean, -inf, inf) if usual is None else Within(mean, min(usual.low, mean), max(usual.high, mean))


def _bank_V(taken: list[Cycle], gain: float) -> Within | None:
    volts = [cycle.energy_Wh / cycle.charge_Ah for cycle in taken if cycle.energy_Wh and cycle.charge_Ah]
    return _usual(volts, gain)


def _start_A(taken: list[Cycle]) -> Within | None:
    """Return the usual highest reading of a start, with the least and the most that were seen. [A]"""
    known = _known(taken, "surge_A")
    return Within(float(np.median(known)), min(known), max(known)) if known else None


def _before_V(taken: list[Cycle], runs: RunTotals) -> float | None:
    known = _known(taken, "before_V")
    # While running the voltage is lower than before: on the safe side where a start is to be held.
    return float(np.median(known)) if known else runs.bank_V


def _rate(taken: list[Cycle], field: str | None, total: float, covered_h: float) -> Within:
    """Return an amount of all runs an hour, with the interval that how they fell leaves [unit/h]."""
    value, scatter = total / covered_h, _scatter(taken, field)
    if scatter is None:
        return Within(value, -inf, inf)
    # The more hours were measured, the better their mean rate is known: with the root of their number.
    half = combine([Component("chance", scatter / sqrt(covered_h), dof=len(taken) - 1)]).half
    return Within(value, max(value - half, 0.0), value + half)


def _scatter(taken: list[Cycle], field: str | None) -> float | None:
    """Return the standard deviation of what an hour takes [unit], from how rest, run and amount vary together.

    A run with the rest before it is a renewal: over a long time t the amount scatters with the variance
    t / m Var(amount - rate x length), m the mean length (renewals with rewards, W. L. Smith 1955, from memory).
    Without a field, each run counts as one.
    """
    pairs = [
        (cycle.off_before_s + cycle.run_s, amount)
        for cycle in taken
        if cycle.off_before_s is not None
        and cycle.run_s is not None
        and (amount := 1.0 if field is None else getattr(cycle, field)) is not None
    ]
    if len(pairs) < FEWEST:
        return None
    # What is left of an amount after the part that goes with its length: runs twice as long after rests twice as long
    # make no hour different from another.
    length_s, amount = np.array(pairs).T
    left_over: FloatArray = amount - amount.sum() / length_s.sum() * length_s
    variance = float(left_over @ left_over) / (len(pairs) - 1)
    return sqrt(variance / (float(length_s.mean()) / SECONDS_PER_HOUR))


def _remarks(cycles: Cycles, runs: RunTotals, taken: list[Cycle], name: str) -> list[str]:
    remarks = [_AS_IN_LOG]
    if cycles.expected is None:
        remarks.append(
            f"The plate of '{name}' says too little to know its runs by; those of the largest draw were taken."
        )
    # A run counts with the rest before it, which the first has not: one more is needed.
    if len(taken) < FEWEST + 1:
        remarks.append(
            f"{len(taken)} runs are too few for more than a rough interval: none to running without a break."
        )
    if (brief := cycles.summary.too_brief) > 0:
        remarks.append(f"At least {brief:,} more runs were too brief to be measured: it takes more than is told here.")
    if runs.left_out:
        remarks.append(
            f"{runs.left_out} of {len(cycles.cycles)} runs are left out: not seen whole, or the array may have given "
            "part of their draw."
        )
    if runs.lower_bound:
        remarks.append("In all of the runs the array may have given part of the draw: these are lower bounds.")
    if not all(cycle.surge_resolved for cycle in taken):
        remarks.append("The readings are too far apart to show the whole of a start, which draws more than they say.")
    if not _known(taken, "before_V") and _known(taken, "sag_V"):
        remarks.append("For the voltage before a start that while running was taken, which is lower.")
    return remarks
