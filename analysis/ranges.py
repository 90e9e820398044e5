"""What each quantity's readings cover."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .chunk import FloatArray
from .histogram import Histogram
from .pieces import Piece

#: All but this share of the readings tell how much a quantity reads; the rest may be false ones. [1]
FALSE_SHARE = 0.001


@dataclass(frozen=True)
class QuantityRange:
    """What one quantity's readings cover; in its own unit, None where it was never read."""

    readings: int
    missing: int
    low: float | None
    high: float | None
    mean: float | None


class RangePart:
    """Follow lowest, highest and mean of one quantity."""

    def __init__(self, name: str) -> None:
        self._name = name
        self._readings = self._missing = 0
        self._total = 0.0
        self._low, self._high = np.inf, -np.inf

    def take(self, piece: Piece) -> None:
        """Take the next piece in."""
        x: FloatArray = piece.new().quantities[self._name]
        there = x[~np.isnan(x)]
        self._readings += len(there)
        self._missing += len(x) - len(there)
        if len(there):
            self._total += float(there.sum())
            self._low, self._high = min(self._low, float(there.min())), max(self._high, float(there.max()))

    def result(self) -> QuantityRange:
        """Return what was covered so far."""
        if not self._readings:
            return QuantityRange(0, self._missing, None, None, None)
        mean = self._total / self._readings
        return QuantityRange(self._readings, self._missing, self._low, self._high, mean)


class MostPart:
    """Find what nearly all readings of a quantity do not exceed, either way: a few false ones do not count."""

    def __init__(self, name: str) -> None:
        self._name = name
        self._sizes = Histogram()

    def take(self, piece: Piece) -> None:
        """Take the next piece in."""
        self._sizes.add(np.abs(piece.having(self._name).new().quantities[self._name]))

    def result(self) -> float | None:
        """Return it, to within 0.5 %; None where the quantity was never read."""
        return self._sizes.quantile(1 - FALSE_SHARE)
