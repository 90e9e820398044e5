"""Spacings counted, and what readings say of a meter: whether it pauses while nothing changes, or writes changes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

#: More different spacings than these are no rhythm: they are counted more coarsely, and memory stays bounded.
_MOST_KINDS = 20_000


def _counted(kinds: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return the different numbers, rising, and how often each occurs."""
    low = int(kinds.min())
    if int(kinds.max()) - low >= len(kinds):
        return np.unique(kinds, return_counts=True)
    # A rhythm keeps to few lengths, which are counted without sorting.
    counts = np.bincount(kinds - low)
    at = np.flatnonzero(counts)
    return at + low, counts[at]


class SpacingCount:
    """A histogram of spacings: exact to 1 ms, coarser only where there are very many different ones."""

    def __init__(self) -> None:
        self._grain_us = 1000
        self._kinds = np.empty(0, dtype=np.int64)
        self._counts = np.empty(0, dtype=np.int64)

    def add(self, spacings_us: NDArray[np.int64]) -> None:
        """Take spacings in. [us]"""
        if len(spacings_us):
            self._merge(*_counted((spacings_us + self._grain_us // 2) // self._grain_us))

    def _merge(self, kinds: NDArray[np.int64], counts: NDArray[np.int64]) -> None:
        self._kinds, inverse = np.unique(np.concatenate([self._kinds, kinds]), return_inverse=True)
        weights = np.concatenate([self._counts, counts])
        self._counts = np.bincount(inverse, weights=weights, minlength=len(self._kinds)).astype(np.int64)
        while len(self._kinds) > _MOST_KINDS:
            self._coarsen()

    def _coarsen(self) -> None:
        self._grain_us *= 2
        kinds, counts = self._kinds // 2, self._counts
        self._kinds, self._counts = kinds[:0], counts[:0]
        self._merge(kinds, counts)

    def with_all_of(self, other: SpacingCount) -> SpacingCount:
        """Return the spacings of both."""
        both = SpacingCount()
        both._grain_us = max(self._grain_us, other._grain_us)
        for part in (self, other):
            both._merge(part._kinds // (both._grain_us // part._grain_us), part._counts)
        return both

    @property
    def sizes_s(self) -> NDArray[np.float64]:
        """The different spacings, rising. [s]"""
        return np.asarray(self._kinds * self._grain_us / 1e6)

    def longest_s(self, *, to_s: float = np.inf) -> float:
        """Return the longest spacing of no more than `to_s`; 0 where there is none. [s]"""
        return float(self.sizes_s[self.sizes_s <= to_s].max(initial=0.0))

    def count(self, *, to_s: float) -> int:
        """Return how many spacings are no longer than `to_s`. [s]"""
        return int(self._counts[self.sizes_s <= to_s].sum())

    def total_s(self, to_s: float | NDArray[np.float64] = np.inf) -> NDArray[np.float64]:
        """Return the length of all spacings that are no longer than `to_s`, for each of these. [s]"""
        totals = np.concatenate([[0.0], np.cumsum(self.sizes_s * self._counts)])
        return np.asarray(totals[np.searchsorted(self.sizes_s, to_s, side="right")])

    def quantile_s(self, share: float) -> float | None:
        """Return the spacing that `share` of all do not exceed; None where none was counted. [s]"""
        if not len(self._kinds):
            return None
        reached = np.searchsorted(np.cumsum(self._counts), share * self._counts.sum())
        return float(self.sizes_s[min(int(reached), len(self._kinds) - 1)])


#: As many pauses show a habit; more would only cost memory.
_MOST_PAUSES = 20_000
#: So many pauses are needed to tell a habit: common practice, no source.
_FEWEST = 10
#: The ends of a pause are one level where they differ by less than this share of the swing of the readings before it;
#: a pause stands elsewhere from this share on: common practice, no source. [1]
_ONE_LEVEL, _ELSEWHERE = 0.2, 0.5
#: A reading that differs from the one before by this share of all that was read so far is a change; where nearly all
#: are, and so many, so unevenly spaced, a meter writes changes alone: common practice, no source. [1]
_CHANGE, _NEARLY_ALL, _FEWEST_CHANGES, _UNEVEN = 0.2, 0.9, 20, 5.0
#: So few readings are equal to the one before, and so many differ by less than two least steps, of so many looked at,
#: where a meter writes each small change; more than the last share of what flows matters. All of it: common practice,
#: no source. [1]
_FEW_EQUAL, _LEAST_STEPS, _MOST_STEPS, _MATTERS = 0.01, 0.25, 4096, 1e-3
#: So many pauses must begin and end at one level; so many elsewhere than most: common practice, no source. [1]
_MOSTLY, _SOME = 0.9, 0.1


@dataclass(frozen=True)
class UnbrokenReadings:
    """Readings on end without a pause: lowest, highest and last level, and what a mean is made of."""

    low: float
    high: float
    total: float
    count: float
    last: float

    @classmethod
    def beginning_at(cls, level: float) -> UnbrokenReadings:
        """Return one that holds a first reading, or none where that is NaN."""
        return cls(level, level, float(np.nan_to_num(level)), float(not np.isnan(level)), level)


class Pauses:
    """Records of the pauses as they pass: how long, the level at both ends, swing and mean of the burst before each.

    A meter that keeps only changes pauses while nothing changes. So its bursts hold a change, its pauses begin and end
    at one level, and they stand at several levels, or at next to nothing. One that looks now and then, or only while a
    load runs, pauses whatever the level is, or always at that of its trigger. It begins with the first reading's level.
    """

    def __init__(self, level: float) -> None:
        self._burst = UnbrokenReadings.beginning_at(level)
        #: length [us], level before, level after; swing, mean and readings of the burst before
        self._records: NDArray[np.float64] = np.empty((6, 0))

    def add(self, spacings_us: NDArray[np.int64], is_pause: NDArray[np.bool_], levels: NDArray[np.float64]) -> None:
        """Take the next spacings in [us], which of them are pauses, and the level after each."""
        if not len(spacings_us):
            return
        burst, at = self._burst, np.flatnonzero(is_pause)
        # A burst begins with the reading after a pause; the first goes on with what is known of it.
        begins = np.concatenate([[0], at + 1])
        x = np.concatenate([[np.nan], levels])
        known = ~np.isnan(x)
        low, high = np.fmin.reduceat(x, begins), np.fmax.reduceat(x, begins)
        total, count = np.add.reduceat(np.where(known, x, 0.0), begins), np.add.reduceat(known.astype(float), begins)
        low[0], high[0] = np.fmin(low[0], burst.low), np.fmax(high[0], burst.high)
        total[0], count[0] = total[0] + burst.total, count[0] + burst.count
        x[0] = burst.last
        self._burst = UnbrokenReadings(*(float(part[-1]) for part in (low, high, total, count, x)))
        if not len(at) or self._records.shape[1] >= _MOST_PAUSES:
            return
        mean = total[:-1] / np.maximum(count[:-1], 1.0)
        new = np.stack([spacings_us[at].astype(float), x[at], x[at + 1], (high - low)[:-1], mean, count[:-1]])
        self._records = np.concatenate([self._records, new], axis=1)[:, :_MOST_PAUSES]

    def of_changes_only(self, to_s: float) -> bool:
        """Tell whether the pauses no longer than `to_s` are those of a meter that keeps only changes. [s]"""
        length_us, before, after, swing, mean, count = self._records
        # A reading alone between two pauses is no burst: what came before goes on.
        burst = np.maximum.accumulate(np.where(count > 1, np.arange(len(count)), 0))
        swing, mean = swing[burst], mean[burst]
        apart, level = np.abs(after - before), (before + after) / 2
        these = (length_us <= to_s * 1e6) & ~np.isnan(apart)
        if these.sum() < _FEWEST:
            return False
        apart, level, swing, mean = apart[these], level[these], swing[these], mean[these]
        # Against the swing of the burst before, since what is much for a lamp is nothing for a pump.
        if (apart < _ONE_LEVEL * swing).mean() < _MOSTLY:
            return False
        # A trigger lets readings begin and end at one and the same level; a meter of changes falls silent at any, or at
        # rest where one load switches.
        elsewhere = np.abs(level - np.median(level)) > _ELSEWHERE * np.median(swing)
        next_to_nothing = np.abs(level) < _ONE_LEVEL * np.abs(mean - level)
        return bool(elsewhere.mean() >= _SOME or next_to_nothing.mean() >= _MOSTLY)


class Changes:
    """Counts the readings that are changes: a meter that writes a value when it changes writes nothing else."""

    def __init__(self, level: float) -> None:
        self._last = self._low = self._high = level
        self._changes = self._readings = self._equal = 0
        self._steps: NDArray[np.float64] = np.empty(0)
        #: What flows by straight lines more than by levels that stand until the next, and without its sign. [A s]
        self._more = self._flow = 0.0

    def add(self, levels: NDArray[np.float64], spacings_us: NDArray[np.int64]) -> None:
        """Take the next spacings in [us], and the levels after them."""
        x = np.concatenate([[self._last], levels])
        # Held against all that was read so far: the noise of a level is no change.
        steps = np.diff(x)
        change = np.abs(steps)
        self._readings += len(change) - int(np.count_nonzero(np.isnan(change)))
        self._equal += int(np.count_nonzero(change == 0))
        if len(self._steps) < _MOST_STEPS:
            self._steps = np.concatenate([self._steps, steps[change > 0]])[:_MOST_STEPS]
        # Where the same comes again and again, nobody writes changes alone.
        if self._equal <= _FEW_EQUAL * self._readings + 1:
            # A product of vectors would wake all processors for it.
            flow = np.nan_to_num(x)
            self._more += float((np.diff(flow) * spacings_us).sum()) / 2e6
            self._flow += float((np.abs(flow[:-1]) * spacings_us).sum()) / 1e6
        self._changes += int(np.count_nonzero(change > _CHANGE * self._reach(x)))
        self._last = float(x[-1])

    def _reach(self, x: NDArray[np.float64]) -> NDArray[np.float64] | float:
        """Take levels in, and return how far apart all were up to each but the first."""
        # Most stretches lie within what was read before them.
        if np.fmin.reduce(x) >= self._low and np.fmax.reduce(x) <= self._high:
            return self._high - self._low
        low = np.fmin.accumulate(np.concatenate([[self._low], x]))[1:]
        high = np.fmax.accumulate(np.concatenate([[self._high], x]))[1:]
        self._low, self._high = float(low[-1]), float(high[-1])
        return (high - low)[1:]

    def are_all(self, spacings: SpacingCount) -> bool:
        """Tell whether the log holds hardly anything but changes, at spacings that are nobody's rhythm."""
        short_s, long_s = spacings.quantile_s(0.1), spacings.quantile_s(0.9)
        if not short_s or not long_s or long_s < _UNEVEN * short_s:
            return False
        return self._changes >= max(_FEWEST_CHANGES, _NEARLY_ALL * self._readings) or self._are_steps()

    def _are_steps(self) -> bool:
        """Tell whether hardly a reading is as the one before and many differ by one least step or a little more.

        Noise gives the same reading again about as often as the next one, and a fine reading no least step.
        """
        if self._equal > _FEW_EQUAL * self._readings or len(self._steps) < _FEWEST_CHANGES:
            return False
        sizes = np.abs(self._steps)
        least = self._steps[sizes < 2 * sizes.min()]
        # What only rises is no level that somebody waits to change.
        up = float((least > 0).mean())
        return len(least) >= max(_FEWEST_CHANGES, _LEAST_STEPS * len(sizes)) and 0.1 < up < 0.9

    @property
    def matter(self) -> bool:
        """Whether it matters for what flows if each reading stands until the next one."""
        return abs(self._more) > _MATTERS * self._flow
