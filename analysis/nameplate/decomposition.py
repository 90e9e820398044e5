"""Split the difference between two sums of products into what each factor made of it, with nothing left over.

Within a term, which is a product of factors, the additive log-mean Divisia index is used (B. W. Ang, Decomposition
analysis for policymaking in energy: which is the preferred method?, Energy Policy 32 (2004) 1131-1139; formula from
memory): a factor that goes from x to x' while the term goes from V to V' makes ``L(V', V) ln(x' / x)`` of the
difference, where ``L(a, b) = (a - b) / ln(a / b)`` and ``L(a, a) = a``. Terms add.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import fsum, isfinite, log, log1p, prod
from typing import Literal

#: What the second value of a factor rests on: a log, the plate and the site file, or nothing that is known here.
Basis = Literal["measured", "estimated", "assumed"]


@dataclass(frozen=True)
class Factor:
    """One factor of a term, as it was estimated and as it was measured.

    Parts of several terms whose factors have the same `name` are told together. `basis` is that of the measured value;
    `divides` tells that the term is divided by it, as by an efficiency or a voltage.
    """

    name: str
    estimated: float
    measured: float
    unit: str = ""
    basis: Basis = "measured"
    divides: bool = False


@dataclass(frozen=True)
class Term:
    """A product of factors, for instance the energy of running: hours x watts / efficiency."""

    name: str
    factors: tuple[Factor, ...]

    @property
    def estimated(self) -> float:
        """Its estimated value: the product of the estimated factors."""
        return prod(1 / f.estimated if f.divides else f.estimated for f in self.factors)

    @property
    def measured(self) -> float:
        """Its measured value: the product of the measured factors."""
        return prod(1 / f.measured if f.divides else f.measured for f in self.factors)


@dataclass(frozen=True)
class FactorEffect:
    """What one factor of one term made of the difference: ``effect``, in the unit of the sums, positive for more."""

    term: str
    factor: Factor
    effect: float


@dataclass(frozen=True)
class Decomposition:
    """The difference between two sums of terms, and its parts, which add up to it; a factor that agrees has none."""

    estimated: float
    measured: float
    parts: tuple[FactorEffect, ...]

    @property
    def difference(self) -> float:
        """Measured less estimated."""
        return self.measured - self.estimated

    def share(self, part: FactorEffect) -> float | None:
        """Return a part over the difference; None where there is no difference. [1]

        Parts of opposite sign cancel, so a share may be above 1 or below 0.
        """
        return part.effect / self.difference if self.difference else None


def decompose(terms: Sequence[Term]) -> Decomposition:
    """Split the difference between the measured and the estimated sum of terms, whatever their order.

    Where a term is zero on one side, or its sign changes, the factors that are zero or change sign make all of its
    difference: the limit of the formula as their value goes to zero. Where there are several, equally.

    Raises
    ------
    ValueError
        If a value is not finite, one that divides is not above 0, or two factors of a term change their sign, for
        which no split is defined.
    """
    parts = [part for term in terms for part in _parts(term)]
    return Decomposition(fsum(t.estimated for t in terms), fsum(t.measured for t in terms), tuple(parts))


def log_mean(a: float, b: float) -> float:
    """Return the logarithmic mean (a - b) / ln(a / b) of two numbers above 0; a where they are equal."""
    return (a - b) / _log_ratio(a, b) if a != b else a


def _log_ratio(a: float, b: float) -> float:
    """Return ln(a / b)."""
    # Close to one another the ratio is 1 plus next to nothing: log1p keeps the digits that log would lose. Far apart
    # the ratio itself may overflow, the difference of logarithms does not.
    return log1p((a - b) / b) if b / 2 < a < 2 * b else log(a) - log(b)


def _parts(term: Term) -> list[FactorEffect]:
    for factor in term.factors:
        _check(term, factor)
    changed = [f for f in term.factors if f.estimated != f.measured]
    before, after = term.estimated, term.measured
    # A term that is zero both times made no difference, whatever its other factors did.
    if not changed or before == after == 0:
        return []
    # Logarithms end at zero: what passes through it is looked at first.
    turned = [f for f in changed if _sign(f.estimated) != _sign(f.measured)]
    if _sign(before) != _sign(after):
        return [FactorEffect(term.name, f, (after - before) / len(turned)) for f in turned]
    # Two factors that turned leave the term's sign as it was, and no path between the two is the right one.
    if turned:
        raise ValueError(f"{term.name}: two factors change their sign, for which no split is defined")
    mean = log_mean(abs(after), abs(before)) * _sign(after)
    effects = [mean * (-1 if f.divides else 1) * _log_ratio(abs(f.measured), abs(f.estimated)) for f in changed]
    # What the floating-point sum leaves over goes to the largest part, so that the parts add up exactly.
    largest = max(range(len(effects)), key=lambda k: abs(effects[k]))
    effects[largest] += fsum([after, -before, *(-effect for effect in effects)])
    return [FactorEffect(term.name, f, effect) for f, effect in zip(changed, effects, strict=True)]


def _check(term: Term, factor: Factor) -> None:
    for value in (factor.estimated, factor.measured):
        if not isfinite(value) or (factor.divides and value <= 0):
            raise ValueError(f"{term.name}: {factor.name} is {value:g}")


def _sign(x: float) -> int:
    return (x > 0) - (x < 0)
