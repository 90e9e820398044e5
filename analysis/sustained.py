"""The highest draw of a stretch of time: at one moment, and as a mean over ten minutes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from .chunk import MICROSECONDS, FloatArray, TimeArray
from .intervals import Intervals
from .signal_integral import Ends, Integral, Window

#: A draw that lasts so long is called sustained: long enough to warm an inverter and its cables, short enough for one
#: demo; common practice, no source. [s]
SUSTAINED_S: Final = 600
_MINUTE_US: Final = 60 * MICROSECONDS
_MINUTES: Final = SUSTAINED_S // 60


@dataclass(frozen=True)
class Highest:
    """How much was drawn at most.

    Parameters
    ----------
    highest : float or None
        The highest draw at any moment; None where nothing was measured. [A] or [W]
    sustained : float or None
        The highest mean over any ten whole minutes on end, all of them measured throughout; below 0 where more came
        back in each of them; None where there are no such ten. [A] or [W]
    """

    highest: float | None
    sustained: float | None


NOTHING_SEEN: Final = Highest(None, None)


class HighestDraw:
    """Follow the highest draw within a window: part of a fold, which carries ten minutes.

    Parameters
    ----------
    window : (int or None, int or None)
        Only between these instants. [us]
    integral, ends : callable
        As those of `SignalIntegral`.
    """

    def __init__(self, window: Window, integral: Integral, ends: Ends) -> None:
        self._window, self._integral, self._ends = window, integral, ends
        self._highest = self._sustained = -np.inf
        self._minute: TimeArray = np.empty(0, np.int64)
        self._covered_us: TimeArray = np.empty(0, np.int64)
        self._sums: FloatArray = np.empty(0)

    def add(self, measured: Intervals) -> None:
        """Take the next intervals in."""
        measured = measured.clipped(*self._window)
        if not len(measured.start_us):
            return
        ends = np.concatenate([self._ends(measured.first), self._ends(measured.last)])
        self._highest = max(self._highest, float(ends.max()))
        pieces = by_minute(measured)
        above, below = self._integral(pieces)
        self._add_minutes(pieces.start_us // _MINUTE_US, pieces.stop_us - pieces.start_us, above - below)

    def _add_minutes(self, minute: TimeArray, covered_us: TimeArray, sums: FloatArray) -> None:
        minute = np.concatenate([self._minute, minute])
        first = np.flatnonzero(np.concatenate([[True], minute[1:] != minute[:-1]]))
        minute = minute[first]
        covered_us = np.add.reduceat(np.concatenate([self._covered_us, covered_us]), first)
        sums = np.add.reduceat(np.concatenate([self._sums, sums]), first)
        if len(minute) >= _MINUTES:
            windows = np.lib.stride_tricks.sliding_window_view
            whole = windows(covered_us == _MINUTE_US, _MINUTES).all(axis=1)
            on_end = minute[_MINUTES - 1 :] - minute[: len(minute) - _MINUTES + 1] == _MINUTES - 1
            means = windows(sums, _MINUTES).sum(axis=1)[whole & on_end] / SUSTAINED_S
            self._sustained = max(self._sustained, float(means.max(initial=-np.inf)))
        self._minute, self._covered_us = minute[-_MINUTES:].copy(), covered_us[-_MINUTES:].copy()
        self._sums = sums[-_MINUTES:].copy()

    def result(self) -> Highest:
        """Return the highest draw so far."""
        highest, sustained = (x if np.isfinite(x) else None for x in (self._highest, self._sustained))
        return Highest(highest, sustained)


def by_minute(measured: Intervals) -> Intervals:
    """Return the same intervals cut at every whole minute."""
    first = measured.start_us // _MINUTE_US
    counts = (measured.stop_us - 1) // _MINUTE_US - first + 1
    if len(counts) and counts.max() == 1:
        return measured
    which = np.repeat(np.arange(len(counts)), counts)
    minute = first[which] + np.arange(len(which)) - np.repeat(np.cumsum(counts) - counts, counts)
    low = np.maximum(measured.start_us[which], minute * _MINUTE_US)
    high = np.minimum(measured.stop_us[which], (minute + 1) * _MINUTE_US)
    return measured.parts(which, low, high)
