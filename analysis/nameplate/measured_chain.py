"""The chain of figures that a log's runs give, set beside the estimate's, factor by factor.

Energy is a sum of terms: running (time x watts of the load / efficiency of its inverter), and what the starts take
beyond that. Charge is the same with one factor more, 1 / bank voltage.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import fsum

from ..cycles.cycle import Cycle, Cycles
from ..not_known import Refusal
from ..readings.chunk import SECONDS_PER_HOUR
from .decomposition import Basis, Decomposition, Factor, Term, decompose
from .estimate import Estimate, PaperSum
from .reasons import (
    ALL_TOGETHER,
    DUTY,
    FROM_HP,
    FROM_VA,
    HOURS,
    IDLE,
    INVERTER,
    INVERTER_AND_IDLE,
    LOAD,
    STARTS,
    TOGETHER,
    VOLTAGE,
    Explained,
    explained,
)


@dataclass(frozen=True)
class RunTotals:
    """What the whole runs of a load took together, above the baseline before each; draw out of the bank is positive.

    `left_out` counts runs that were not seen whole, or during which the array may have shared the load; where it may
    have shared all of them they are taken, and `lower_bound` says so. `run_W` is the settled draw, the mean over
    running time. The 95 % intervals' halves take the runs' own as fully correlated: an upper bound. Charge is None
    where amps were not read throughout. `start_A` is the highest reading of a start, the whole of it where all starts
    are `start_resolved`.
    """

    runs: int
    left_out: int
    run_h: float
    energy_Wh: float
    run_W: float
    charge_Ah: float | None = None
    energy_u95_Wh: float | None = None
    charge_u95_Ah: float | None = None
    lower_bound: bool = False
    start_A: float | None = None
    start_resolved: bool = False

    @property
    def start_Wh(self) -> float:
        """What the starts and uneven running took beyond the settled draw; below 0 where the draw sank. [Wh]"""
        return self.energy_Wh - self.run_W * self.run_h

    @property
    def bank_V(self) -> float | None:
        """Bank voltage while running, as the runs' energy over their charge. [V]"""
        return self.energy_Wh / self.charge_Ah if self.charge_Ah else None


def run_totals(cycles: Cycles) -> RunTotals:
    """Add up the whole runs of a load.

    Raises
    ------
    Refusal
        If no run was seen whole, watts were not read throughout, or the runs took no energy.
    """
    if cycles.two_kinds is not None and cycles.two_kinds.own is None:
        raise Refusal("two kinds of runs of like draw were seen, and the log does not tell which are the load's")
    whole = [cycle for cycle in cycles.cycles if cycle.complete]
    if not whole:
        raise Refusal("no run of the load was seen whole, so there is nothing to set beside its plate")
    alone = [cycle for cycle in whole if not cycle.array_may_share]
    # A run that the array fed in part shows too little draw; such runs are better than none, and said to be too low.
    taken = alone or whole
    run_s, energy_Wh = _total(taken, "run_s"), _total(taken, "energy_Wh")
    settled_W = [cycle.run_W for cycle in taken if cycle.run_W is not None]
    if run_s is None or energy_Wh is None or len(settled_W) < len(taken):
        raise Refusal(
            "watts (or volts and amps together) were not read throughout the runs, so they have no energy to set "
            "beside the plate's"
        )
    if not (energy_Wh > 0 and run_s > 0):
        raise Refusal(
            f"the runs took {energy_Wh:.3g} Wh above what was drawn before them, which is not above 0: there is "
            "nothing to divide among reasons; look whether draw and return are swapped"
        )
    run_W = fsum(w * (c.run_s or 0.0) for w, c in zip(settled_W, taken, strict=True)) / run_s
    return RunTotals(
        runs=len(taken),
        left_out=len(cycles.cycles) - len(taken),
        run_h=run_s / SECONDS_PER_HOUR,
        energy_Wh=energy_Wh,
        run_W=run_W,
        charge_Ah=_total(taken, "charge_Ah"),
        energy_u95_Wh=_total(taken, "energy_u95_Wh"),
        charge_u95_Ah=_total(taken, "charge_u95_Ah"),
        lower_bound=not alone,
        start_A=max((cycle.surge_A for cycle in taken if cycle.surge_A is not None), default=None),
        start_resolved=all(cycle.surge_resolved for cycle in taken),
    )


@dataclass(frozen=True)
class DrawnSum:
    """What a load takes out of the bank in the same hours as a sum on paper, part by part: by its plate, or by a log.

    The energy is `through_W` x `run_h` + `start_Wh` + `idle_Wh`; `running_W` is what the bank gives while it runs, with
    what of the idle draw falls into that. `load_W` is what the load itself takes; None where a meter at the bank saw it
    and its inverter as one. `start_A` is the highest reading of a start, at least that unless `start_resolved`.
    Each basis tells what a figure rests on; None as `bank_V` is that the volts, and so the amp-hours, are not known.
    """

    run_h: float
    load_W: float | None
    through_W: float
    running_W: float
    start_Wh: float
    idle_Wh: float
    bank_V: float | None
    measured: bool = False
    load_basis: Basis = "estimated"
    power_basis: Basis = "estimated"
    volts_basis: Basis = "estimated"
    charge_basis: Basis = "estimated"
    start_A: float | None = None
    start_resolved: bool = False

    @property
    def energy_Wh(self) -> float:
        """What it takes."""
        return self.through_W * self.run_h + self.start_Wh + self.idle_Wh

    @property
    def charge_Ah(self) -> float | None:
        """What it takes; None where the bank's volts are not known."""
        return None if self.bank_V is None else self.energy_Wh / self.bank_V


def drawn_by_plate(plate: Estimate) -> DrawnSum:
    """Return what a load takes by its plate, part by part."""
    apart = _idles_while_running(plate)
    # A curve's efficiency holds the idle draw of running; what is left of it then is that of the rest of the time.
    idle_Wh = plate.idle_W * (plate.hours if apart else plate.hours - plate.run_h)
    through_W = plate.dc_W - (plate.idle_W if apart else 0.0)
    load_W = plate.dc_W if plate.ac_W is None else plate.ac_W
    return DrawnSum(plate.run_h, load_W, through_W, plate.dc_W, 0.0, idle_Wh, plate.dc_voltage_V)


def drawn_by_runs(runs: RunTotals, *, through_inverter: bool, load_ac_W: float | None = None) -> DrawnSum:
    """Return what the runs of a log at the bank took, part by part; `load_ac_W` as for `measured_against_estimate`."""
    # A load on the bank itself has nothing between it and the meter: what the bank gave is what it took.
    return DrawnSum(
        runs.run_h,
        load_ac_W if through_inverter else runs.run_W,
        runs.run_W,
        runs.run_W,
        runs.start_Wh,
        0.0,
        runs.bank_V,
        measured=True,
        load_basis="measured",
        power_basis="measured",
        volts_basis="measured",
        charge_basis="measured",
        start_A=runs.start_A,
        start_resolved=runs.start_resolved,
    )


def paper_against_estimate(plate: Estimate) -> Explained:
    """Explain what the sum on paper leaves out: the way from it to the estimate."""
    energy, charge = paper_against(plate.paper, drawn_by_plate(plate), on_inverter=plate.ac_W is not None)
    return explained(plate.load, energy, charge, on_paper=True)


def paper_against(paper: PaperSum, drawn: DrawnSum, *, on_inverter: bool) -> tuple[Decomposition, Decomposition | None]:
    """Split the difference between the sum on paper and what is taken, in Wh and in Ah; None where Ah are not known."""
    time: Basis = "measured" if drawn.measured else "estimated"
    factors = [
        Factor("hours", paper.hours, paper.hours, "h", time),
        Factor(DUTY, 1.0, drawn.run_h / paper.hours, "", time),
        *_power_on_paper(paper, drawn, on_inverter=on_inverter),
    ]
    terms = [
        Term("running", tuple(factors)),
        Term("starts", (Factor(STARTS, 0.0, drawn.start_Wh, "Wh", time),)),
        Term("idle", (Factor(IDLE, 0.0, drawn.idle_Wh, "Wh", drawn.power_basis),)),
    ]
    # A log of watts alone has energy and no charge to split.
    if drawn.bank_V is None:
        return decompose(terms), None
    volts = Factor(VOLTAGE, paper.nominal_V, drawn.bank_V, "V", drawn.volts_basis, divides=True)
    return decompose(terms), decompose(_with(volts, terms))


def _power_on_paper(paper: PaperSum, drawn: DrawnSum, *, on_inverter: bool) -> tuple[Factor, ...]:
    """Return the way from what people take for the load's watts to its watts at the bank."""
    # One meter sees load and inverter as one: to part them would be a guess, so they stay one factor.
    if drawn.load_W is None:
        return (Factor(TOGETHER, paper.power_W, drawn.through_W, "W", drawn.power_basis),)
    through = Factor(INVERTER, 1.0, drawn.load_W / drawn.through_W, "", drawn.power_basis, divides=True)
    # Volts times amps become watts by a factor of their own, the power factor; plate watts and horsepower are held
    # against the watts taken in.
    if paper.of == "VA" and on_inverter:
        volt_amps = Factor("volts x amps", paper.power_W, paper.power_W, "VA", drawn.load_basis)
        return (volt_amps, Factor(FROM_VA, 1.0, drawn.load_W / paper.power_W, "", drawn.load_basis), through)
    name = FROM_HP if paper.of == "hp" else LOAD
    load = Factor(name, paper.power_W, drawn.load_W, "W", drawn.load_basis)
    return (load, through) if on_inverter else (load,)


def measured_against_estimate(plate: Estimate, runs: RunTotals, *, load_ac_W: float | None = None) -> Explained:
    """Explain why the runs took more or less than `plate` gives for the time they ran.

    `load_ac_W` is the load's settled draw behind the inverter in the same runs, from a log there; without it the load
    and the inverter's loss cannot be told apart and are one factor.
    """
    hours = Factor(HOURS, plate.run_h, runs.run_h, "h")
    return _explained(plate, runs, (hours,), load_ac_W)


def habit_against_measured(plate: Estimate, runs: RunTotals, *, load_ac_W: float | None = None) -> Explained:
    """Explain why the load took more or less than `plate` gives for all the hours looked at, by its duty cycle.

    What an inverter draws while the load rests is left out on both sides: runs do not show it.
    """
    looked_at = Factor("hours", plate.hours, plate.hours, "h")
    duty = Factor(DUTY, plate.run_h / plate.hours, runs.run_h / plate.hours)
    return _explained(plate, runs, (looked_at, duty), load_ac_W)


def _explained(plate: Estimate, runs: RunTotals, time: tuple[Factor, ...], load_ac_W: float | None) -> Explained:
    # What starts take is no part of a plate's estimate, so that term is nought on its side.
    terms = [
        Term("running", (*time, *_power(plate, runs.run_W, load_ac_W))),
        Term("starts", (Factor(STARTS, 0.0, runs.start_Wh, "Wh"),)),
    ]
    charge = None
    if runs.bank_V is not None:
        volts = Factor(VOLTAGE, plate.dc_voltage_V, runs.bank_V, "V", divides=True)
        charge = decompose(_with(volts, terms))
    return explained(plate.load, decompose(terms), charge)


def _power(plate: Estimate, run_W: float, load_ac_W: float | None) -> tuple[Factor, ...]:
    """Return the factors of the draw at the bank while running, as far as the logs tell them apart."""
    if plate.ac_W is None:
        return (Factor(LOAD, plate.dc_W, run_W, "W"),)
    idles = _idles_while_running(plate)
    # One meter sees load and inverter as one: to part them would be a guess, so they stay one factor.
    if load_ac_W is None:
        return (Factor(ALL_TOGETHER if idles else TOGETHER, plate.dc_W, run_W, "W"),)
    through = Factor(INVERTER_AND_IDLE if idles else INVERTER, plate.ac_W / plate.dc_W, load_ac_W / run_W, divides=True)
    return (Factor(LOAD, plate.ac_W, load_ac_W, "W"), through)


def _idles_while_running(plate: Estimate) -> bool:
    """Tell whether the estimate adds the inverter's idle draw to what the load takes through it."""
    # Where the draw is held apart it lies on top of AC power over efficiency; half of it tells that from rounding.
    through_W = 0.0 if plate.ac_W is None or plate.efficiency is None else plate.ac_W / plate.efficiency
    return plate.idle_W > 0 and plate.dc_W > through_W + plate.idle_W / 2


def _with(volts: Factor, terms: Sequence[Term]) -> list[Term]:
    """Return terms of charge for terms of energy."""
    return [replace(term, factors=(*term.factors, volts)) for term in terms]


def _total(cycles: Sequence[Cycle], name: str) -> float | None:
    """Return the sum over the cycles; None where one of them does not have it."""
    values = [getattr(cycle, name) for cycle in cycles]
    return None if any(value is None for value in values) else fsum(values)
