"""How far apart readings are, and how evenly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .chunk import MICROSECONDS, TimeArray
from .histogram import Histogram
from .pieces import Piece

#: Spacings within this share of each other are even: common practice, no source. [1]
EVEN = 0.1


@dataclass(frozen=True)
class Spacing:
    """The spread of the spacings that are no gaps.

    Parameters
    ----------
    usual_s : float or None
        The middle one (median). [s]
    low_s, high_s : float or None
        Those that 5 % and 95 % of all do not exceed. [s]
    """

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
    """Count the spacings; it carries one instant.

    Parameters
    ----------
    gap_limit_s : float or None
        A longer spacing is a gap and does not count. [s]
    """

    def __init__(self, gap_limit_s: float | None) -> None:
        self._limit_s = np.inf if gap_limit_s is None else gap_limit_s
        self._last: TimeArray = np.empty(0, dtype=np.int64)
        self._sizes = Histogram()

    def take(self, piece: Piece) -> None:
        """Take the next piece in."""
        time_us = np.concatenate([self._last, piece.new().time_us])
        self._last = time_us[-1:]
        spacing_s = np.diff(time_us) / MICROSECONDS
        self._sizes.add(spacing_s[spacing_s <= self._limit_s])

    def result(self) -> Spacing:
        """Return the spread so far."""
        return Spacing(*(self._sizes.quantile(share) for share in (0.5, 0.05, 0.95)))
