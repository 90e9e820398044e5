"""What was drawn and returned hour by hour, to say what a gap may have held."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from shuntbook.analysis.readings.blocks import firsts
from shuntbook.analysis.readings.chunk import MICROSECONDS, FloatArray, TimeArray
from shuntbook.analysis.readings.kept import kept

if TYPE_CHECKING:
    from shuntbook.analysis.readings.measured_span import Gap

_HOUR_US: Final = 3600 * MICROSECONDS
#: So many stretches are kept before they are put together. [1]
_MOST_PARTS: Final = 64


@dataclass(frozen=True)
class HourSums:
    """What some intervals hold hour by hour of the clock (UTC), and in all.

    Parameters
    ----------
    hour : array of int64, shape (n,)
        Hours since 1970, rising.
    sums : array, shape (n, 3)
        Drawn, returned [unit s] and time [s] in each. An interval counts wholly for the hour it begins in.
    """

    hour: TimeArray
    sums: FloatArray

    @classmethod
    def of(cls, start_us: TimeArray, above: FloatArray, below: FloatArray, length_s: FloatArray) -> HourSums:
        """Return the sums of intervals, at least one: where they begin [us], the amounts [unit s], how long [s]."""
        first = firsts(start_us, _HOUR_US)
        return cls(
            start_us[first] // _HOUR_US, np.stack([np.add.reduceat(x, first) for x in (above, below, length_s)], 1)
        )

    @kept
    def total(self) -> tuple[float, float, float]:
        """Drawn, returned [unit s] and time [s] in all."""
        drawn, returned, time_s = self.sums.sum(axis=0).tolist()
        return drawn, returned, time_s


class Hours:
    """Totals by hour of the clock (UTC); part of a fold. It grows by four numbers an hour.

    That an interval counts wholly for the hour it begins in is good enough for a guess, which is all it serves.
    """

    def __init__(self) -> None:
        self._parts: list[HourSums] = []

    def add(self, sums: HourSums) -> None:
        """Take the next intervals in."""
        self._parts.append(sums)
        if len(self._parts) > _MOST_PARTS:
            self._parts = [self._together()]

    def _together(self) -> HourSums:
        """Return all so far, each hour once."""
        hour = np.concatenate([part.hour for part in self._parts])
        first = np.flatnonzero(np.diff(hour, prepend=-1))
        return HourSums(hour[first], np.add.reduceat(np.concatenate([part.sums for part in self._parts]), first))

    def like_around(self, gaps: list[Gap]) -> tuple[float, float] | None:
        """Return what gaps would have held had they been like the hours around them.

        Parameters
        ----------
        gaps : list of Gap
            The gaps.

        Returns
        -------
        drawn, returned : float
            Both positive [unit s]; None where nothing was measured around one of them.
        """
        if not self._parts:
            return None
        known = self._together()
        hour, sums = known.hour, known.sums
        drawn = returned = 0.0
        for gap in gaps:
            low, high = (gap.start_us - _HOUR_US) // _HOUR_US, (gap.stop_us + _HOUR_US) // _HOUR_US
            near = np.unique([low, low + 1, high - 1, high])
            at = np.searchsorted(hour, near)
            at = at[hour[np.minimum(at, len(hour) - 1)] == near]
            above, below, length_s = sums[at].sum(axis=0).tolist()
            if length_s <= 0:
                return None
            drawn += above / length_s * gap.length_s
            returned += below / length_s * gap.length_s
        return drawn, returned
