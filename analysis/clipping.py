"""Readings cut off at the end of a meter's range."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from .chunk import FloatArray
from .pieces import Piece

#: So many readings at exactly the highest value, some of them this many in a row, are a flat top: common practice, no
#: source. A meter whose readings repeat more often than this by themselves has flat tops anyway.
LEAST_READINGS: Final = 5
LEAST_IN_A_ROW: Final = 3
MOST_REPEATS: Final = 0.5
#: At this share of its range a meter counts as at its end: common practice, no source. [1]
AT_END: Final = 0.999


@dataclass(frozen=True)
class Clipping:
    """Readings at the end of the range.

    Parameters
    ----------
    high, low : int
        Readings at exactly the highest value and at exactly the lowest; 0 where these are no flat tops.
    high_value, low_value : float or None
        Those values, in the quantity's unit.
    at_range : int or None
        Readings at the end of the meter's stated range or beyond; None where none is stated.
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
    """The highest value so far: how often it was read, and how often in a row."""

    def __init__(self) -> None:
        self.value = -np.inf
        self.count = self.longest = self._row = 0

    def add(self, x: FloatArray) -> None:
        if len(x) and (highest := float(x.max())) > self.value:
            self.value, self.count, self.longest, self._row = highest, 0, 0, 0
        at = x == self.value
        self.count += int(at.sum())
        if not at.any():
            self._row = 0
            return
        off = np.concatenate([[-1 - self._row], np.flatnonzero(~at), [len(x)]])
        rows = np.diff(off) - 1
        self.longest = max(self.longest, int(rows.max()))
        self._row = int(rows[-1])


class ClippingPart:
    """Follow both ends of what one quantity reads; it carries no readings.

    Parameters
    ----------
    name : str
        The quantity.
    range_end : float or None
        The end of the meter's range, in the quantity's unit, either way round.
    """

    def __init__(self, name: str, range_end: float | None = None) -> None:
        self._name, self._end = name, range_end
        self._high, self._low = _Top(), _Top()
        self._at_range = 0

    def take(self, piece: Piece) -> None:
        """Take the next piece in."""
        x = piece.having(self._name).new().quantities[self._name]
        self._high.add(x)
        self._low.add(-x)
        if self._end is not None:
            self._at_range += int((np.abs(x) >= AT_END * self._end).sum())

    def result(self, repeats: float | None = None) -> Clipping:
        """Return what was cut off so far; `repeats` is the share of readings that repeat by themselves. [1]"""
        high, low = (self._flat(top, repeats) for top in (self._high, self._low))
        at_range = None if self._end is None else self._at_range
        return Clipping(
            self._name, high, low, self._high.value if high else None, -self._low.value if low else None, at_range
        )

    @staticmethod
    def _flat(top: _Top, repeats: float | None) -> int:
        """Return the readings of a flat top that varies elsewhere and is worth cutting off: above nought."""
        varies = repeats is not None and repeats <= MOST_REPEATS
        flat = top.value > 0 and top.count >= LEAST_READINGS and top.longest >= LEAST_IN_A_ROW
        return top.count if varies and flat else 0
