"""The sum on paper beside the one that is really taken, step by step, in sentences to be read aloud."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from .numbers import amount, duration, signed

if TYPE_CHECKING:
    from ....analysis.nameplate.lesson import Lesson
    from ....analysis.nameplate.lesson_step import LessonStep

#: What stands before the figure beside the one on paper, by what it rests on.
_BASIS: Final = {"measured": "Measured", "estimated": "Reckoned", "assumed": "Partly assumed"}

#: A part of the difference is told where it is so much of the largest (common practice, no source). [1]
_WORTH_TELLING: Final = 0.005


def in_unit(step: LessonStep, value: float | None) -> str:
    """Return one of a step's figures in its unit; a length of time as people say it."""
    if step.unit == "h":
        return duration(None if value is None else value * 3600)
    # Nominal volts and a plate's watts are said as they are written: 24 V, not 24.0.
    if value is not None and value == round(value):
        return f"{value:,.0f} {step.unit}"
    return amount(value, step.unit)


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
    listed = ", ".join(f"{name} {signed(part, unit)}" for name, part in large)
    return f"{way}: {listed}." if len(large) == 1 else f"{way}: {listed}; {signed(whole, unit)} in all."
