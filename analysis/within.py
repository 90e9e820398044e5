"""A figure with the ends of its 95 % interval."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import sqrt

from .distribution import Component


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
