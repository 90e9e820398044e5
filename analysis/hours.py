"""What was drawn and returned hour by hour, to say what a gap may have held."""

from __future__ import annotations

from collections import defaultdict

import numpy as np
from numpy.typing import NDArray

from .amounts import Gap
from .chunk import MICROSECONDS, FloatArray, TimeArray

_HOUR_US = 3600 * MICROSECONDS


class Hours:
    """Totals by hour of the clock (UTC); part of a fold. It grows by three numbers an hour.

    An interval counts wholly for the hour it begins in: good enough for a guess, which is all it serves.
    """

    def __init__(self) -> None:
        self._totals: defaultdict[int, list[float]] = defaultdict(lambda: [0.0, 0.0, 0.0])

    def add(self, start_us: TimeArray, above: FloatArray, below: FloatArray, length_s: FloatArray) -> FloatArray:
        """Take the next intervals in: where they begin [us], what was drawn and returned [unit s], how long [s].

        Returns
        -------
        array, shape (3,)
            The sums of the last three over all these intervals.
        """
        if not len(start_us):
            return np.zeros(3)
        first, hours = _begun(start_us)
        sums = np.array([np.add.reduceat(x, first) for x in (above, below, length_s)])
        for k, parts in zip(hours, sums.T.tolist(), strict=True):
            total = self._totals[k]
            for j, part in enumerate(parts):
                total[j] += part
        return np.asarray(sums.sum(axis=1))

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
        drawn = returned = 0.0
        for gap in gaps:
            low, high = (gap.start_us - _HOUR_US) // _HOUR_US, (gap.stop_us + _HOUR_US) // _HOUR_US
            near = [k for k in {low, low + 1, high - 1, high} if k in self._totals]
            above, below, length_s = (sum(self._totals[k][j] for k in near) for j in range(3))
            if length_s <= 0:
                return None
            drawn += above / length_s * gap.length_s
            returned += below / length_s * gap.length_s
        return drawn, returned


def _begun(start_us: TimeArray) -> tuple[NDArray[np.intp], list[int]]:
    """Return at which of the instants, which rise, an hour begins, and which hour that is."""
    low, high = int(start_us[0]) // _HOUR_US, int(start_us[-1]) // _HOUR_US
    if high - low < len(start_us):
        first = np.searchsorted(start_us, np.arange(low, high + 1) * _HOUR_US)
        first = first[np.diff(first, append=len(start_us)) > 0]
    else:
        first = np.concatenate([[0], np.flatnonzero(np.diff(start_us // _HOUR_US)) + 1])
    return first, (start_us[first] // _HOUR_US).tolist()
