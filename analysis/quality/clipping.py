"""Readings cut off at the end of a meter's range."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from ..readings.blocks import Piece
from ..readings.chunk import FloatArray

#: So many readings at exactly the highest value, and this many times those at the next lower one, are a flat top:
#: common practice, no source. A meter whose readings repeat more often than this by themselves has flat tops anyway.
LEAST_READINGS: Final = 5
TIMES_NEXT: Final = 5.0
MOST_REPEATS: Final = 0.5
#: Between these shares of its range a meter is at its end; what is far beyond was not read but made: common practice,
#: no source. [1]
AT_END: Final = (0.999, 1.2)


@dataclass(frozen=True)
class Clipping:
    """Readings at exactly the highest value and at exactly the lowest, with these; 0 where they are no flat tops.

    `at_range` counts those at the end of the meter's stated range; None where none is stated.
    """

    quantity: str
    high: int
    low: int
    high_value: float | None
    low_value: float | None
    at_range: int | None

    @property
    def clipped(self) -> int:
        """Readings that say "at least that much"."""
        return max(self.high + self.low, self.at_range or 0)


class _Top:
    """The two highest values so far, the highest first, and how often each was read."""

    def __init__(self) -> None:
        self.counts: dict[float, int] = {}

    def add(self, x: FloatArray) -> None:
        # The two highest of a piece are enough: whatever is among the two highest of all is among those of its piece.
        for _ in range(2):
            if len(x):
                highest = float(x.max())
                self.counts[highest] = self.counts.get(highest, 0) + int((x == highest).sum())
                x = x[x < highest]
        self.counts = dict(sorted(self.counts.items(), reverse=True)[:2])

    def flat(self) -> int:
        """Return how many readings make a flat top above nought; 0 where it is none."""
        (value, count), (_, below) = [*self.counts.items(), (0.0, 0), (0.0, 0)][:2]
        return count if value > 0 and count >= max(LEAST_READINGS, TIMES_NEXT * below) else 0


class ClippingPart:
    """Follow both ends of what one quantity reads, and the end of the meter's range; it carries no readings."""

    def __init__(self, name: str, range_end: float | None = None) -> None:
        self._name, self._end = name, range_end
        self._high, self._low = _Top(), _Top()
        self._at_range = 0

    def take(self, piece: Piece) -> None:
        """Take the next piece in."""
        x = piece.having(self._name).new().quantities[self._name]
        self._high.add(x)
        # A flat bottom is a flat top turned over.
        self._low.add(-x)
        if self._end is not None:
            share = np.abs(x) / self._end
            self._at_range += int(((share >= AT_END[0]) & (share <= AT_END[1])).sum())

    def result(self, repeats: float | None = None) -> Clipping:
        """Return what was cut off so far; `repeats` is the share of readings that repeat by themselves. [1]"""
        # Where readings repeat by themselves, the highest does so as well, and that says nothing of the range.
        varies = repeats is not None and repeats <= MOST_REPEATS
        high, low = (top.flat() if varies else 0 for top in (self._high, self._low))
        return Clipping(
            self._name,
            high,
            low,
            next(iter(self._high.counts)) if high else None,
            -next(iter(self._low.counts)) if low else None,
            None if self._end is None else self._at_range,
        )
