"""Turn readings into the intervals that an integral runs over, for each kind of sampling."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from .blocks import gaps_before
from .chunk import MICROSECONDS, FloatArray, Sampling, TimeArray


@dataclass(frozen=True)
class Intervals:
    """Intervals on which every quantity runs linearly from a first to a last value.

    Parameters
    ----------
    start_us, stop_us : array of int64, shape (n,)
        Where each interval begins and ends. [us]
    first, last : mapping of str to array, shape (n,)
        Value of each quantity at either end, in the quantity's own unit.
    """

    start_us: TimeArray
    stop_us: TimeArray
    first: Mapping[str, FloatArray]
    last: Mapping[str, FloatArray]

    @cached_property
    def length_s(self) -> FloatArray:
        """Length of each interval. [s]."""
        length_us = self.stop_us - self.start_us
        # Most meters keep their rhythm to the microsecond: then one number serves all, and no array is made.
        if len(length_us) and length_us.min() == length_us.max():
            return np.broadcast_to(length_us[0] / MICROSECONDS, len(length_us))
        return np.asarray(length_us / MICROSECONDS, dtype=np.float64)

    def clipped(self, from_us: int | None, to_us: int | None) -> Intervals:
        """Return what lies between two instants, each None where open; an interval cut by one is cut linearly."""
        if from_us is None and to_us is None:
            return self
        low = self.start_us if from_us is None else np.maximum(self.start_us, from_us)
        high = self.stop_us if to_us is None else np.minimum(self.stop_us, to_us)
        keep = high > low
        return self.parts(np.flatnonzero(keep), low[keep], high[keep])

    def part(self, which: slice) -> Intervals:
        """Return some of the intervals, uncut; views, no copies."""
        first = last = {name: x[which] for name, x in self.last.items()}
        if self.first is not self.last:
            first = {name: x[which] for name, x in self.first.items()}
        return Intervals(self.start_us[which], self.stop_us[which], first, last)

    def picked(self, which: NDArray[np.intp]) -> Intervals:
        """Return some of the intervals, uncut, by their indices."""
        first, last = ({name: x[which] for name, x in ends.items()} for ends in (self.first, self.last))
        return Intervals(self.start_us[which], self.stop_us[which], first, last)

    def parts(self, which: NDArray[np.intp], low_us: TimeArray, high_us: TimeArray) -> Intervals:
        """Return parts of intervals, each cut linearly.

        Parameters
        ----------
        which : array of int, shape (m,)
            Of which interval each part is; one may have several.
        low_us, high_us : array of int64, shape (m,)
            From where to where, within that interval. [us]
        """
        start, length = self.start_us[which], (self.stop_us - self.start_us)[which]
        near, far = (low_us - start) / length, (high_us - start) / length
        # An end that is not cut keeps its very reading, which a + (b - a) would round.
        first, last = {}, {}
        for name, values in self.first.items():
            a, b = values[which], self.last[name][which]
            rise = b - a
            first[name] = np.where(near > 0, a + near * rise, a)
            last[name] = np.where(far < 1, a + far * rise, b)
        return Intervals(low_us, high_us, first, last)


@dataclass(frozen=True)
class Stretch:
    """Intervals that were measured, and the gaps between them."""

    measured: Intervals
    gap_start_us: TimeArray
    gap_stop_us: TimeArray


def between_readings(
    time_us: TimeArray,
    values: Mapping[str, FloatArray],
    *,
    sampling: Sampling,
    gap_limit_s: float,
    usual_interval_s: float | None,
    first_of_log: bool,
) -> Stretch:
    """Return the intervals that consecutive readings stand for, and the gaps that none stands for.

    Parameters
    ----------
    time_us, values : array of int64, mapping of str to array; shapes (n,)
        Instants of the readings, strictly increasing [us], and the quantities, none of them NaN.
    sampling : {'instant', 'mean', 'held'}
        ``instant``: linear between readings. ``mean``: a reading is the average since the one before it; the first
        of a log, and one after a gap, stands for one usual interval. ``held``: a reading stands until the next,
        however long that takes.
    gap_limit_s : float
        Longest spacing that is still one measurement; a longer one is a gap and is never bridged. [s]
    usual_interval_s : float or None
        The log's usual spacing; needed for ``mean``. [s]
    first_of_log : bool
        Whether the first reading is the log's very first, which a mean extends backwards.
    """
    start, stop = time_us[:-1], time_us[1:]
    first: Mapping[str, FloatArray] = {name: x[:-1] for name, x in values.items()}
    last: Mapping[str, FloatArray] = {name: x[1:] for name, x in values.items()}
    if sampling == "held":  # what a person read off stands until it is read again: there are no gaps
        return Stretch(Intervals(start, stop, first, first), start[:0], start[:0])
    is_gap = gaps_before(time_us, gap_limit_s)[1:]
    gap_start, gap_stop = start[is_gap], stop[is_gap]
    if sampling == "instant":
        whole = Intervals(start, stop, first, last)
        return Stretch(whole.picked(np.flatnonzero(~is_gap)) if len(gap_start) else whole, gap_start, gap_stop)
    # A mean tells of the time before it, but none is taken over a gap: after one it stands for one usual interval.
    usual_us = round((usual_interval_s or 0.0) * MICROSECONDS)
    start = np.where(is_gap, np.maximum(stop - usual_us, start), start)
    gap_stop = start[is_gap]
    if first_of_log:
        start, stop, last = np.concatenate([time_us[:1] - usual_us, start]), time_us, values
    return Stretch(Intervals(start, stop, last, last), gap_start, gap_stop)
