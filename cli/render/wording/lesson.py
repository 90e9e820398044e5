"""The sum on paper beside the one that is really taken, step by step, in sentences to be read aloud."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from . import numbers

if TYPE_CHECKING:
    from ....analysis.nameplate.lesson import Lesson
    from ....analysis.nameplate.lesson_step import LessonStep
    from ....analysis.nameplate.plate_check import PlateCheck
    from ....analysis.nameplate.reasons import Reason

#: What stands before the figure beside the one on paper, by what it rests on.
_BASIS: Final = {"measured": "Measured", "estimated": "Reckoned", "assumed": "Partly assumed"}

#: A part of the difference is told where it is so much of the largest (common practice, no source). [1]
_WORTH_TELLING: Final = 0.005


def in_unit(step: LessonStep, value: float | None) -> str:
    """Return one of a step's figures in its unit; a length of time as people say it."""
    if step.unit == "h":
        return numbers.duration(None if value is None else value * 3600)
    # Nominal volts and a plate's watts are said as they are written: 24 V, not 24.0.
    if value is not None and value == round(value):
        return f"{value:,.0f} {step.unit}"
    return numbers.amount(value, step.unit)


def on_paper(step: LessonStep) -> str:
    """Say a step of the sum on paper."""
    return f"On paper, {step.how_on_paper}: {in_unit(step, step.paper)}."


def basis_of(step: LessonStep) -> str:
    """Say what the figure beside the one on paper rests on."""
    if step.basis is None:
        return "Not known"
    # Only the volts themselves are ever assumed; what follows from them was measured in part.
    return "Assumed" if step.basis == "assumed" and step.unit == "V" else _BASIS[step.basis]


def really(step: LessonStep) -> str:
    """Say the same step of the other sum, with what its figure rests on."""
    text = f"{basis_of(step)}, {step.how_really}"
    return f"{text}." if step.real is None else f"{text}: {in_unit(step, step.real)}."


def what_differs(lesson: Lesson) -> str:
    """Say what each step makes of the way from the sum on paper to the other, the largest first."""
    in_Ah = lesson.difference_Ah is not None
    whole, unit = (lesson.difference_Ah, "Ah") if in_Ah else (lesson.difference_Wh, "Wh")
    parts = [(step.name, (step.charge_Ah if in_Ah else step.energy_Wh) or 0.0) for step in lesson.steps]
    parts.sort(key=lambda each: -abs(each[1]))
    # What is nothing beside the largest would be read aloud for nothing.
    large = [(name, part) for name, part in parts if abs(part) > _WORTH_TELLING * abs(parts[0][1])]
    way = f"From paper to what {'was measured' if lesson.measured else 'is reckoned with losses'}"
    if not large:
        return f"{way} there is no difference."
    listed = ", ".join(f"{name} {numbers.signed(part, unit)}" for name, part in large)
    return f"{way}: {listed}." if len(large) == 1 else f"{way}: {listed}; {numbers.signed(whole, unit)} in all."


def plate(check: PlateCheck) -> str:
    """Set the measurement beside estimate and paper, with the figures of the table."""
    estimate, seen = check.estimate, check.comparison
    text = (
        f"In {numbers.duration(estimate.hours * 3600)} of running the {numbers.shortened(estimate.load)} took "
        f"{numbers.plus_minus(seen.measured_energy_Wh, check.runs.energy_u95_Wh, 'Wh')}: "
        f"{_against(seen.energy_ratio, estimate.energy_Wh, 'Wh')} "
        f"reckoned from its nameplate, and {_against(seen.paper_energy_ratio, estimate.paper_Wh, 'Wh')} on paper."
    )
    # Behind an inverter there is energy alone.
    if seen.charge_ratio is None or seen.paper_charge_ratio is None:
        return text
    return (
        f"{text} In charge it took {numbers.plus_minus(seen.measured_charge_Ah, check.runs.charge_u95_Ah, 'Ah')}: "
        f"{_against(seen.charge_ratio, estimate.charge_Ah, 'Ah')} from the nameplate, and "
        f"{_against(seen.paper_charge_ratio, estimate.paper_Ah, 'Ah')} on paper."
    )


def reason_said(reason: Reason) -> str:
    """Say a reason with its amounts: ``the pump drew less than its plate ...: −42.0 Wh``."""
    # A reason that moved neither is told with 0 Wh, so that it has a figure.
    effects = [numbers.signed(reason.energy_Wh, "Wh")] if reason.energy_Wh or not reason.charge_Ah else []
    effects += [numbers.signed(reason.charge_Ah, "Ah")] if reason.charge_Ah else []
    return f"{reason.because}: {', '.join(effects)}"


def by_habit(check: PlateCheck) -> str | None:
    """Say what the sum by habit comes to, for all the time measured; None where not every run was seen whole."""
    if check.habit is None:
        return None
    name, hours = numbers.shortened(check.estimate.load), numbers.duration(check.habit.hours * 3600)
    paper = numbers.amount(check.habit.paper_Wh, "Wh")
    return (
        f"By habit one reckons all the time: {hours} on paper are {paper}. The {name} ran "
        f"{numbers.percent(check.runs.run_h / check.habit.hours)} of it and took "
        f"{numbers.plus_minus(check.runs.energy_Wh, check.runs.energy_u95_Wh, 'Wh')}."
    )


def _against(ratio: float, expected: float, unit: str) -> str:
    """Say by how much more or less something is than expected, in the whole per cents of the table's ratio."""
    # Rounded before the 100 are taken off, else words and table might differ by one.
    percent = round(100 * ratio) - 100
    beside = numbers.amount(expected, unit)
    return f"{abs(percent)} % {'more' if percent > 0 else 'less'} than the {beside}" if percent else f"as the {beside}"
