"""What a log's readings cover: the range of each quantity, and how far apart and how even the readings are."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..readings.blocks import Piece
from ..readings.chunk import MICROSECONDS, FloatArray, TimeArray
from ..stats.bounded import Histogram

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
        known = x[~np.isnan(x)]
        self._readings += len(known)
        self._missing += len(x) - len(known)
        if len(known):
            self._total += float(known.sum())
            self._low, self._high = min(self._low, float(known.min())), max(self._high, float(known.max()))

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


#: Spacings within this share of each other are even: common practice, no source. [1]
EVEN = 0.1


@dataclass(frozen=True)
class Spacing:
    """The spread of the spacings that are no gaps: the median, and those that 5 % and 95 % of all do not exceed. [s]"""

    usual_s: float | None
    low_s: float | None
    high_s: float | None

    @property
    def irregularity(self) -> float | None:
        """Half the spread from 5 % to 95 % as a share of the usual spacing; 0 is even. [1]."""
        if not self.usual_s or self.low_s is None or self.high_s is None:
            return None
        return (self.high_s - self.low_s) / (2 * self.usual_s)


class SpacingPart:
    """Count the spacings up to the gap limit; it carries one instant."""

    def __init__(self, gap_limit_s: float | None) -> None:
        self._limit_s = np.inf if gap_limit_s is None else gap_limit_s
        self._last: TimeArray = np.empty(0, dtype=np.int64)
        self._sizes = Histogram()

    def take(self, piece: Piece) -> None:
        """Take the next piece in."""
        # The last instant of the piece before makes the spacing between the two pieces.
        time_us = np.concatenate([self._last, piece.new().time_us])
        self._last = time_us[-1:]
        spacing_s = np.diff(time_us) / MICROSECONDS
        self._sizes.add(spacing_s[spacing_s <= self._limit_s])

    def result(self) -> Spacing:
        """Return the spread so far."""
        return Spacing(*(self._sizes.quantile(share) for share in (0.5, 0.05, 0.95)))
