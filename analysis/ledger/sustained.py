"""The highest draw of a stretch of time: at one moment, and as a mean over ten minutes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, TypeAlias

import numpy as np

from ..charge.completed import CompletedIntervals
from ..readings.blocks import firsts
from ..readings.chunk import MICROSECONDS, FloatArray, TimeArray
from ..readings.integral import Intervals

#: A draw that lasts so long is called sustained: long enough to warm an inverter and its cables, short enough for one
#: demo; common practice, no source. [s]
SUSTAINED_S: Final = 600
_MINUTE_US: Final = 60 * MICROSECONDS
_MINUTES: Final = SUSTAINED_S // 60


@dataclass(frozen=True, slots=True)
class PeakDraw:
    """How much was drawn at most, in A or W.

    ``highest`` is the highest draw at any moment; None where nothing was measured. ``sustained`` is the highest mean
    over any ten whole minutes on end, all of them measured throughout: below 0 where more came back in each of them;
    None where there are no such ten.
    """

    highest: float | None
    sustained: float | None


NOTHING_SEEN: Final = PeakDraw(None, None)


class HighestDraw:
    """Follow the highest draw: part of a fold, which carries ten minutes."""

    def __init__(self) -> None:
        self._highest = self._sustained = -np.inf
        self._minute: TimeArray = np.empty(0, np.int64)
        self._covered_us: TimeArray = np.empty(0, np.int64)
        self._sums: FloatArray = np.empty(0)

    def add(self, pieces: CompletedIntervals) -> None:
        """Take the next intervals in."""
        if not len(pieces.measured.start_us):
            return
        self._highest = max(self._highest, pieces.sums.high)
        self._add_minutes(*pieces.once(by_minute))

    def _add_minutes(self, minute: TimeArray, covered_us: TimeArray, sums: FloatArray) -> None:
        minute, covered_us, sums = _put_together(
            np.concatenate([self._minute, minute]),
            np.concatenate([self._covered_us, covered_us]),
            np.concatenate([self._sums, sums]),
        )
        # Ten minutes are carried: nine before the next one, and that which may go on, whose window is looked at again.
        if len(minute) >= _MINUTES:
            ends = range(len(sums) - _MINUTES + 1, len(sums) + 1)  # ten of them
            # Along the log, one minute of each ten at a time: many times quicker than ten by ten.
            means = np.add.reduce([sums[k:end] for k, end in enumerate(ends)])
            if minute[-1] - minute[0] >= len(minute) or covered_us.min() < _MINUTE_US:
                is_whole = covered_us == _MINUTE_US
                whole = np.logical_and.reduce([is_whole[k:end] for k, end in enumerate(ends)])
                on_end = minute[_MINUTES - 1 :] - minute[: len(minute) - _MINUTES + 1] == _MINUTES - 1
                means = means[whole & on_end]
            self._sustained = max(self._sustained, float(means.max(initial=-np.inf)) / SUSTAINED_S)
        self._minute, self._covered_us = minute[-_MINUTES:].copy(), covered_us[-_MINUTES:].copy()
        self._sums = sums[-_MINUTES:].copy()

    def result(self) -> PeakDraw:
        """Return the highest draw so far."""
        highest, sustained = (x if np.isfinite(x) else None for x in (self._highest, self._sustained))
        return PeakDraw(highest, sustained)


Minutes: TypeAlias = tuple[TimeArray, TimeArray, FloatArray]
"""Minutes since 1970, rising; how much of each was measured [us]; what was drawn in it less what returned [unit s]."""


def by_minute(pieces: CompletedIntervals) -> Minutes:
    """Return what intervals, at least one, hold of each minute of the clock that they touch."""
    measured, (above, below) = pieces.measured, pieces.split
    begin = firsts(measured.start_us, _MINUTE_US)
    # In each minute only the last interval can pass its end, so no other has to be looked at.
    at_end = np.append(begin[1:], len(measured.start_us)) - 1
    first, last = measured.start_us[at_end] // _MINUTE_US, (measured.stop_us[at_end] - 1) // _MINUTE_US
    passes = first != last
    cut = at_end[passes]
    parts = _cut_at_minutes(measured.picked(cut), first[passes], last[passes])
    part_above, part_below = pieces.signal.integral(parts)
    covered_us, sums = measured.stop_us - measured.start_us, above - below
    # The intervals that pass the end of a minute are taken out of the minute they begin in, and their parts put in.
    covered_us[cut], sums[cut] = 0, 0.0
    whole = (np.add.reduceat(x, begin) for x in (covered_us, sums))
    minute = np.concatenate([first, parts.start_us // _MINUTE_US])
    order = np.argsort(minute, kind="stable")
    amounts = ((parts.stop_us - parts.start_us), part_above - part_below)
    covered_us, sums = (np.concatenate(pair)[order] for pair in zip(whole, amounts, strict=True))
    return _put_together(minute[order], covered_us, sums)


def _cut_at_minutes(measured: Intervals, first: TimeArray, last: TimeArray) -> Intervals:
    """Return intervals cut at every whole minute; they begin in minute `first` and end in `last`."""
    counts = last - first + 1
    which = np.repeat(np.arange(len(counts)), counts)
    minute = first[which] + np.arange(len(which)) - np.repeat(np.cumsum(counts) - counts, counts)
    low = np.maximum(measured.start_us[which], minute * _MINUTE_US)
    high = np.minimum(measured.stop_us[which], (minute + 1) * _MINUTE_US)
    return measured.parts(which, low, high)


def _put_together(minute: TimeArray, covered_us: TimeArray, sums: FloatArray) -> Minutes:
    """Return the same with each minute once; they rise."""
    first = np.flatnonzero(np.concatenate([[True], minute[1:] != minute[:-1]]))
    return minute[first], np.add.reduceat(covered_us, first), np.add.reduceat(sums, first)
