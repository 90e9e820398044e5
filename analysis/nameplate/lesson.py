"""The sum as people do it on paper beside what is really taken, step by step: there from the plate, and back again.

Every figure is one of the three sums (paper, plate, measured); what each step makes of the difference is the
decomposition that parts these, so nothing is reckoned a second time.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import isclose
from typing import Final

from ..equipment.plate_power import beyond_the_plate
from ..not_known import Missing
from ..site.site import Load, Site
from ..wording import figure
from .estimate import Estimate, PaperSum
from .lesson_back import steps_back
from .lesson_step import BothSums, LessonStep
from .measured_chain import DrawnSum, drawn_by_plate, paper_against
from .reasons import DUTY, FROM_HP, FROM_VA, IDLE, INVERTER, LOAD, STARTS, TOGETHER, VOLTAGE

#: Factors of the decomposition that the step of the watts tells of.
_OF_LOAD: Final = (FROM_VA, FROM_HP, LOAD, TOGETHER)
#: From so many times the running amps on a start's highest reading is worth telling (common practice, no source). [1]
_SURGES: Final = 1.5


@dataclass(frozen=True)
class Lesson:
    """Both sums in both directions: `steps` from the plate to amp-hours, `back` from the measured ones to watts.

    `difference_Ah` is what is really taken less the sum on paper, to which the steps' parts add up; None where no
    amp-hours are known.
    """

    load: str
    measured: bool
    steps: tuple[LessonStep, ...]
    back: tuple[LessonStep, ...] | Missing
    difference_Wh: float
    difference_Ah: float | None


def lesson(
    site: Site,
    load: Load,
    paper: PaperSum,
    drawn: DrawnSum,
    *,
    plate: Estimate | None = None,
    running_only: bool = False,
) -> Lesson:
    """Set the sum on paper beside what is taken, step by step.

    Parameters
    ----------
    drawn : DrawnSum
        What is taken in the same hours, by the log or by the plate.
    plate : Estimate, optional
        The plate's own estimate for these hours, where it gives one.
    running_only : bool
        Whether the hours are those that the load ran, so that its pauses are in neither sum.
    """
    inverter = site.inverter_of(load)
    energy, charge = paper_against(paper, drawn, on_inverter=inverter is not None)
    by_plate = None if plate is None else drawn_by_plate(plate)
    sums = BothSums(load, inverter, site.bank, paper, drawn, plate, by_plate, energy, charge, running_only)
    return Lesson(
        load.name,
        drawn.measured,
        tuple(_there(sums)),
        steps_back(sums),
        energy.difference,
        None if charge is None else charge.difference,
    )


def _there(sums: BothSums) -> Iterator[LessonStep]:
    """Yield the steps from the plate to the share of the bank."""
    yield _watts(sums)
    if sums.at_load:
        yield _at_bank(sums)
    yield _hours(sums)
    # Of a plate's starts nothing is known: a step with nought on both sides would say that they take nothing.
    if sums.drawn.measured:
        yield _starts(sums)
    if sums.drawn.idle_Wh:
        yield _idle(sums)
    yield _watt_hours(sums)
    yield _volts(sums)
    yield _amp_hours(sums)
    yield _share(sums)


def _watts(sums: BothSums) -> LessonStep:
    drawn, plate = sums.drawn, sums.plate
    # At the bank one meter sees load and inverter as one; the sums are then held together there.
    if sums.inverter is None or drawn.load_W is not None:
        real, basis = drawn.load_W, drawn.load_basis
        of_plate = None if plate is None else plate.load_W
        how = "at the load while it ran" if drawn.measured else "what it takes while it runs"
    else:
        real, basis = drawn.running_W, drawn.power_basis
        of_plate = None if plate is None else plate.through_W
        how = "at the bank while it ran"
    figures = sums.paper.power_W, of_plate, real
    on_paper = sums.paper.words
    if sums.paper.of == "W":
        on_paper = "as a display shows them" if sums.paper.by_display else "the plate's watts"
    return sums.step("watts", "W", figures, (on_paper, how), _why_watts(sums), basis=basis, parts=_OF_LOAD)


def _why_watts(sums: BothSums) -> str:
    paper, on_inverter = sums.paper, sums.inverter is not None
    if paper.by_display:
        sentences = ["The plate says too little, so the watts that the log shows stand in for it."]
    elif paper.of == "hp":
        sentences = ["Horsepower is what the shaft gives. The motor takes in more than that."]
    elif paper.of == "VA" and on_inverter:
        sentences = [*_volt_amperes(sums)]
    else:
        direct = "On direct current volts times amps are watts."
        sentences = [direct if paper.of == "VA" else "A plate's watts are watts already."]
        if sums.drawn.measured:
            sentences = ["A plate tells one figure, and in use the load takes what its work asks."]
    if sums.inverter is not None and not paper.by_display:
        sentences += [f"{part.because}." for part in beyond_the_plate(sums.load, sums.inverter)]
    if on_inverter and sums.drawn.load_W is None:
        sentences.append("The meter sits at the bank, so the inverter's loss is in its figure.")
    return " ".join(sentences)


def _volt_amperes(sums: BothSums) -> Iterator[str]:
    yield "Volts times amps are volt-amperes, and watts are only a part of these."
    if sums.load.phases == 3:
        yield "Three phases count the root of 3 on top."
    factor = _power_factor(sums.estimate)
    if factor is not None:
        whose = "the plate's" if sums.load.power_factor is not None else "a usual"
        yield f"By {whose} power factor {figure(100 * factor, '%')} are watts."


def _power_factor(estimate: Estimate | None) -> float | None:
    """Return the power factor that the plate was reckoned with. [1]"""
    # Not watts over volts times amps: three phases, a drive or a modified sine are in that as well.
    steps = () if estimate is None else estimate.steps
    return next((step.value for step in steps if step.step == "power factor"), None)


def _at_bank(sums: BothSums) -> LessonStep:
    drawn, plate = sums.drawn, sums.plate
    assert drawn.load_W is not None
    # Two logs may disagree by more than the inverter loses: then nothing is said of a loss.
    lost = 1 - drawn.load_W / drawn.through_W
    why = f"The inverter keeps {figure(100 * lost, '%')} of what goes into it." if lost > 0 else "No loss shows here."
    # What it takes for itself is a step of its own where it is known apart, so it is not in these watts.
    figures = sums.paper.power_W, None if plate is None else plate.through_W, drawn.through_W
    how = "the same, as if nothing were lost", "what the bank gives for it while it runs"
    return sums.step("watts at the bank", "W", figures, how, why, basis=drawn.power_basis, parts=(INVERTER,))


def _hours(sums: BothSums) -> LessonStep:
    paper, drawn, plate = sums.paper, sums.drawn, sums.plate
    how = "all of the time", "the time it ran" if drawn.measured else "the time it runs"
    figures = paper.hours, None if plate is None else plate.run_h, drawn.run_h
    return sums.step("hours", "h", figures, how, _why_hours(sums), parts=(DUTY,))


def _why_hours(sums: BothSums) -> str:
    paper, drawn = sums.paper, sums.drawn
    # A report holds a plate against the runs alone; a forecast against all the time asked for.
    if sums.running_only:
        return "Both sums are for the time that it ran, so no pause is in them."
    share = figure(100 * drawn.run_h / paper.hours, "%")
    pauses = not isclose(drawn.run_h, paper.hours, rel_tol=1e-9)
    if drawn.measured:
        return f"It pauses: it ran {share} of the time." if pauses else "In the log it never paused."
    if sums.load.duty_pct is None:
        return "How much of the time it runs is not given, so all of it is taken."
    return f"It pauses: the site file gives {share} of the time." if pauses else "The site file says it never pauses."


def _starts(sums: BothSums) -> LessonStep:
    drawn = sums.drawn
    # What lies beyond the settled draw is the starts', unless the draw sinks during the runs.
    if drawn.start_Wh >= 0:
        why = "Each start takes more than running does, and no plate tells it."
    else:
        why = "The draw sank in the runs by more than the starts took."
    running_A = None if drawn.bank_V is None else drawn.running_W / drawn.bank_V
    if drawn.start_A is not None and running_A is not None and drawn.start_A > _SURGES * running_A:
        least = "" if drawn.start_resolved else "at least "
        why += (
            f" For a moment one asked {least}{figure(drawn.start_A, 'A')} of the bank. {sums.must_bear} must bear that."
        )
    how = "no start is reckoned", "what it took beyond its settled draw"
    figures = 0.0, None if sums.plate is None else sums.plate.start_Wh, drawn.start_Wh
    return sums.step("starts", "Wh", figures, how, why, basis=drawn.power_basis, parts=(STARTS,))


def _idle(sums: BothSums) -> LessonStep:
    drawn, plate = sums.drawn, sums.plate
    figures = 0.0, None if plate is None else plate.idle_Wh, drawn.idle_Wh
    how = "no idling is reckoned", "what the inverter takes for itself"
    why = "An inverter that is on draws this whether or not anything runs."
    return sums.step("idling", "Wh", figures, how, why, basis="estimated", parts=(IDLE,))


def _watt_hours(sums: BothSums) -> LessonStep:
    paper, drawn, plate = sums.paper, sums.drawn, sums.plate
    how = "watts times hours", "all that was taken" if drawn.measured else "all that it takes"
    why = "A watt is how fast it goes. A watt-hour is how much has gone."
    figures = paper.energy_Wh, None if plate is None else plate.energy_Wh, drawn.energy_Wh
    return sums.step("watt-hours", "Wh", figures, how, why, basis=drawn.power_basis)


def _volts(sums: BothSums) -> LessonStep:
    paper, drawn, plate = sums.paper, sums.drawn, sums.plate
    how = "the bank's nominal voltage", _how_volts(drawn)
    figures = paper.nominal_V, None if plate is None else plate.bank_V, drawn.bank_V
    why = _why_volts(sums)
    return sums.step("volts", "V", figures, how, why, basis=drawn.volts_basis, parts=(VOLTAGE,))


def _how_volts(drawn: DrawnSum) -> str:
    if drawn.bank_V is None:
        return "the log has no amps to tell them by"
    return "what the bank stood at under it" if drawn.volts_basis == "measured" else "a bank under load"


def _why_volts(sums: BothSums) -> str:
    volts, nominal_V = sums.drawn.bank_V, sums.paper.nominal_V
    # Nearer than a reading of volts can tell, nobody would call it a difference.
    if volts is None:
        return "Without them no watt-hour becomes an amp-hour."
    if isclose(volts, nominal_V, rel_tol=5e-4):
        return "Here the two agree."
    stood = "stood" if sums.drawn.volts_basis == "measured" else "stands"
    lower = volts < nominal_V
    return (
        f"Nominal volts are a name. The bank {stood} {'lower' if lower else 'higher'}, so the same watt-hours are "
        f"{'more' if lower else 'fewer'} amp-hours."
    )


def _amp_hours(sums: BothSums) -> LessonStep:
    paper, drawn, plate = sums.paper, sums.drawn, sums.plate
    counted = drawn.charge_basis == "measured"
    how = (
        "watt-hours over nominal volts",
        "what the meter counted" if counted else "watt-hours over the volts under load",
    )
    why = "The bank's plate is written in amp-hours, so here the two can be held together."
    figures = paper.charge_Ah, None if plate is None else plate.charge_Ah, drawn.charge_Ah
    return sums.step("amp-hours", "Ah", figures, how, why, basis=drawn.charge_basis)


def _share(sums: BothSums) -> LessonStep:
    bank, paper, drawn, plate = sums.bank, sums.paper, sums.drawn, sums.plate
    # People take all of the plate for theirs; what the owner allows is told beside it.
    size_Ah, usable_Ah = bank.capacity_Ah, bank.usable_Ah
    why = f"Both are shares of the {figure(size_Ah, 'Ah')} on the bank's plate."
    if usable_Ah is not None and drawn.charge_Ah is not None:
        why += f" Of what you allow to be used it is {figure(100 * drawn.charge_Ah / usable_Ah, '%')}."
    charges = paper.charge_Ah, None if plate is None else plate.charge_Ah, drawn.charge_Ah
    on_paper, by_plate, real = (None if x is None else 100 * x / size_Ah for x in charges)
    how = "of a full bank", "of a full bank"
    return sums.step("share of the bank", "%", (on_paper, by_plate, real), how, why, basis=drawn.charge_basis)
