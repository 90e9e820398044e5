"""What a figure or a word of a site file may be."""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, cast

from pydantic import AfterValidator, Field, StringConstraints

from .motor_tables import CODE_LETTERS_KVA_PER_HP

#: A figure beyond it is a slip of the pen, and its fourth power no number any more.
MOST = 1e15

#: So is one below it: no plate has so little, and what is divided by it would be no number any more.
LEAST = 1e-9


def _not_hardly_any(figure: float) -> float:
    """Return a figure that is none, or one to reckon with."""
    if 0 < figure < LEAST:
        raise ValueError(f"must be 0 or at least {LEAST:g}")
    return figure


def _enough(figure: float) -> float:
    """Return a figure above nought to reckon with."""
    if figure < LEAST:
        raise ValueError(f"must be at least {LEAST:g}")
    return figure


Positive = Annotated[float, Field(gt=0, le=MOST), AfterValidator(_enough)]
NotNegative = Annotated[float, Field(ge=0, le=MOST), AfterValidator(_not_hardly_any)]
#: Three hundred years: longer than any log. [s]
Seconds = Annotated[float, Field(gt=0, le=1e10), AfterValidator(_enough)]
Percent = Annotated[float, Field(gt=0, le=100), AfterValidator(_enough)]
Fraction = Annotated[float, Field(gt=0, le=1), AfterValidator(_enough)]
Share = Annotated[float, Field(ge=0, lt=100)]  # [%]
Name = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=200)]
Origin = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1)]
CurvePoint = Annotated[tuple[Positive, Percent], Field(strict=False)]

LifePoint = Annotated[tuple[Percent, Positive], Field(strict=False)]


def known_phases(phases: int) -> int:
    """Return one or three."""
    if phases not in (1, 3):
        raise ValueError("must be 1 or 3")
    return phases


def known_code_letter(letter: str) -> str:
    """Return a letter of the published table."""
    if letter not in CODE_LETTERS_KVA_PER_HP:
        raise ValueError("must be a motor's code letter: one capital from A to V, but not I, O or Q")
    return letter


def known_gauge(gauge: str) -> str:
    """Return a size of the American wire gauge."""
    sizes = [*(str(size) for size in range(1, 41)), "1/0", "2/0", "3/0", "4/0"]
    if gauge not in sizes:
        raise ValueError("must be a wire size in AWG such as '6' or '2/0'")
    return gauge


def rising(points: tuple[CurvePoint, ...]) -> tuple[CurvePoint, ...]:
    """Return points of a curve whose watts rise."""
    if not points:
        raise ValueError("needs at least one pair of AC watts and percent, such as [300, 88]")
    watts = [ac_W for ac_W, _ in points]
    if any(later <= earlier for earlier, later in pairwise(watts)):
        raise ValueError("must have its AC watts in rising order")
    return points


def ever_fewer(rows: tuple[LifePoint, ...]) -> tuple[LifePoint, ...]:
    """Return rows of a battery's cycle life, whose depths rise and whose cycles fall."""
    if not rows:
        raise ValueError("needs at least one pair of depth in % and cycles, such as [50, 1200]")
    if any(deeper <= pct or fewer >= cycles for (pct, cycles), (deeper, fewer) in pairwise(rows)):
        raise ValueError("must go from shallow to deep, with fewer cycles the deeper: [[50, 1200], [80, 600]]")
    return rows


def one_or_two(amps: object) -> object:
    """Return a figure alone as a list of one."""
    # Text and true or false are told here, in words of amps: left to the list that follows, its message would say that
    # a list is wanted.
    if isinstance(amps, str | bool):
        raise ValueError("must be a number of amps, or two in [square brackets]: without a break, and for a moment")
    return (amps,) if isinstance(amps, int | float) else amps


def continuous_first(amps: tuple[float, ...]) -> tuple[float, ...]:
    """Return what is allowed for good, then what is allowed for a moment."""
    if len(amps) not in (1, 2):
        raise ValueError("must be one figure, or two: without a break and for a moment, such as [100, 200]")
    if amps[-1] < amps[0]:
        raise ValueError("must have its continuous amps first: those for a moment are more, such as [100, 200]")
    return amps


def SI(value: float | None, us_value: float | None, factor: float) -> float | None:
    """Return the figure in the units used inside, from whichever key was given."""
    return value if us_value is None else us_value * factor


def needed_SI(value: float | None, us_value: float | None, factor: float) -> float:
    """Return the same for a figure without which the table is not accepted, so that it is never None here."""
    return cast(float, SI(value, us_value, factor))
