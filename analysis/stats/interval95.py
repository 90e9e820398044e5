"""A figure with its 95 % interval, and the budget it rests on."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import sqrt

from .distribution import Component, combine


@dataclass(frozen=True)
class HowSure:
    """How sure one figure is, in the figure's own unit.

    ``low`` and ``high`` are the ends of the 95 % interval, ``u95`` half of it, its larger half where it is lopsided.
    ``u`` is the standard uncertainty, the components in quadrature, without one-sided bounds; ``factor`` is half of the
    interval without those over ``u``, None where nothing is uncertain. ``components`` are the budget, largest first.
    """

    low: float
    high: float
    u: float
    factor: float | None
    u95: float
    components: tuple[Component, ...]

    @property
    def lopsided(self) -> bool:
        """Whether one half of the interval is longer than the other by more than the last digit that is shown."""
        return abs((self.high - self.low) - 2 * self.u95) > 0.05 * self.u95

    def share(self, component: Component) -> float:
        """Return a component's share of the squared uncertainty. [1]"""
        return component.u**2 / self.u**2 if self.u > 0 else 0.0


def judged(
    value: float,
    components: Sequence[Component],
    *,
    lower: float = 0.0,
    higher: float = 0.0,
    shift: float = 0.0,
) -> HowSure:
    """Return how sure a figure is, from independent sources of error; all in its unit.

    Parameters
    ----------
    lower, higher : float
        One-sided bounds: how much further the truth may lie below, or above, for a reason that no distribution
        describes.
    shift : float
        By how much the truth is likely to lie above the figure (below, if negative), because of how that is defined.
    """
    budget = sorted((part for part in components if part.u > 0), key=lambda part: -part.u)
    whole = combine(budget)
    # The interval shifts, but not beyond the figure itself: a reader must find it within its own interval.
    below, above = max(whole.half - shift, 0.0) + lower, max(whole.half + shift, 0.0) + higher
    return HowSure(
        low=value - below,
        high=value + above,
        u=whole.u,
        factor=whole.factor,
        u95=max(below, above),
        components=tuple(budget),
    )


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

    def map(self, function: Callable[[float], float]) -> Within:
        """Return what a rising function makes of value and ends."""
        return Within(function(self.value), function(self.low), function(self.high))

    @classmethod
    def exactly(cls, value: float) -> Within:
        """Return a value that nothing is known to be off."""
        return cls(value, value, value)


def limit(source: str, half_width: float, reason: str = "") -> Component:
    """Return an error that is known only by its limits: anywhere within plus and minus `half_width`."""
    return Component(source, half_width / sqrt(3), even=1, reason=reason)
