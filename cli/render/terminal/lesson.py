"""The sum on paper beside the measured one, step by step, as lines for a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ....analysis.not_known import Missing
from ..wording.lesson import on_paper, really, what_differs
from ..wording.numbers import capital

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from ....analysis.nameplate.lesson import Lesson
    from ....analysis.nameplate.lesson_step import LessonStep


def lesson_lines(lesson: Lesson) -> list[str]:
    """Return both sums in both directions, a sentence a line."""
    beside = "the measured one" if lesson.measured else "the plate's with all losses"
    lines = [f"The sum on paper, step by step, beside {beside}:", *_steps(lesson.steps), what_differs(lesson)]
    # Why there is no way back is in JSON: to be told what cannot be had helps nobody who asked for a forecast.
    if isinstance(lesson.back, Missing):
        return lines
    return [*lines, "", "Back again, from the measured amp-hours:", *_steps(lesson.back)]


def _steps(steps: Sequence[LessonStep]) -> Iterator[str]:
    # A sentence a line: whoever reads them to others finds the place again.
    for number, step in enumerate(steps, 1):
        yield f"  {number}. {capital(step.name)}"
        yield from (f"     {text}" for text in (on_paper(step), really(step), step.why))
