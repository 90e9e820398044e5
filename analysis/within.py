"""A figure with its 95 % interval, and the interval that several independent errors make together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from math import factorial, prod

COVERAGE = 0.95


@dataclass(frozen=True)
class Within:
    """A value and the ends of its 95 % interval, all in the unit that the holder's name says."""

    value: float
    low: float
    high: float

    def holds(self, true: float) -> bool:
        """Tell whether a value lies in the interval."""
        return self.low <= true <= self.high

    def scaled(self, factor: float) -> Within:
        """Return the same in another unit; `factor` is above 0."""
        return Within(self.value * factor, self.low * factor, self.high * factor)


def half_width_95(half_widths: Sequence[float]) -> float:
    """Return half of the 95 % interval of a sum of independent errors, each anywhere within its limits.

    Parameters
    ----------
    half_widths : sequence of float
        Limits +-a of each error, all values between them equally likely (JCGM 100, 4.3.7). [any one unit]

    Returns
    -------
    float
        From the distribution of the sum itself, not from a coverage factor by habit. [the same unit]

    Notes
    -----
    The sum of n rectangular errors has a distribution in closed form, a sum over the 2^n corners. A part below 1 % of
    the largest moves the result by less than 0.01 % and is left out, which keeps the closed form exact in floats.
    """
    largest = max(half_widths, default=0.0)
    parts = [a / largest for a in half_widths if a > 0.01 * largest] if largest > 0 else []
    if not parts:
        return 0.0
    low, high = 0.0, sum(parts)
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if 2 * _cumulative(parts, middle) - 1 < COVERAGE else (low, middle)
    return high * largest


def _cumulative(parts: Sequence[float], x: float) -> float:
    """Return the chance that the sum of the errors is below `x`."""
    n = len(parts)
    corners = (
        prod(signs) * max(x + sum(s * a for s, a in zip(signs, parts, strict=True)), 0.0) ** n
        for signs in product((1, -1), repeat=n)
    )
    return sum(corners) / (factorial(n) * prod(2 * a for a in parts))
