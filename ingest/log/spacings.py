"""The spacings of a log's readings, counted while they pass by: the usual ones, and the pauses among them."""

from __future__ import annotations

from copy import deepcopy
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from .gap_limit import ALWAYS_ONE_S, GAP_TIMES, ONLY_CHANGES, GapLimit, gap_limit
from .pauses import Changes, Pauses
from .spacing_count import SpacingCount

#: A spacing is held against so many on either side of it: pairs of readings stay usual, bursts of three do not.
AROUND = 4
_ALWAYS_ONE_US = ALWAYS_ONE_S * 1e6


class IntervalCount:
    """Count spacings, those that keep to the rhythm around them apart from the pauses in it.

    A spacing is a pause where it is longer than `ALWAYS_ONE_S` and than `GAP_TIMES` the median of itself and the
    `AROUND` on either side of it. Twice `AROUND` spacings are carried along.
    """

    def __init__(self) -> None:
        self.usual, self.paused = SpacingCount(), SpacingCount()
        #: The slowest rhythm above `ALWAYS_ONE_S` that a spacing and all around it keep up. [us]
        self.slowest_us = 0
        self._pauses: Pauses | None = None
        self._changes: Changes | None = None
        self._last_us: NDArray[np.int64] = np.empty(0, dtype=np.int64)
        #: The last spacings with the level after each; the first `_counted` of them are counted.
        self._near_us = np.empty(0, dtype=np.int64)
        self._levels = np.empty(0)
        self._counted = 0

    def add(self, time_us: NDArray[np.int64], level: NDArray[np.float64] | None = None) -> None:
        """Take the next readings in: instants, increasing [us], and what shows a change (amps or watts)."""
        if not len(time_us):
            return
        level = np.full(len(time_us), np.nan) if level is None else level
        if self._pauses is None:
            self._pauses, self._changes = Pauses(float(level[0])), Changes(float(level[0]))
            level = level[1:]
        if self._changes is not None:
            self._changes.add(level)
        self._near_us = np.concatenate([self._near_us, np.diff(np.concatenate([self._last_us, time_us]))])
        self._levels = np.concatenate([self._levels, level])
        self._last_us = time_us[-1:]
        self._count(max(len(self._near_us) - AROUND, self._counted))
        behind = max(self._counted - AROUND, 0)
        self._near_us, self._levels = self._near_us[behind:].copy(), self._levels[behind:].copy()
        self._counted -= behind

    def _count(self, until: int) -> None:
        """Count the spacings before `until` that are not counted yet."""
        these = slice(self._counted, until)
        spacings_us, is_pause = self._near_us[these], np.zeros(until - self._counted, dtype=bool)
        if spacings_us.max(initial=0) > _ALWAYS_ONE_US:
            around = _Around(self._near_us)
            is_pause = around.pauses()[these]
            rhythms_us = around.least_us[these]
            self.slowest_us = max(self.slowest_us, int(rhythms_us[rhythms_us > _ALWAYS_ONE_US].max(initial=0)))
        self.usual.add(spacings_us[~is_pause])
        self.paused.add(spacings_us[is_pause])
        if self._pauses is not None:
            self._pauses.add(spacings_us, is_pause, self._levels[these])
        self._counted = until

    def _whole(self) -> IntervalCount:
        """Return a copy in which the last spacings are counted, too."""
        whole = deepcopy(self)
        whole._count(len(whole._near_us))
        return whole

    def quantile_s(self, share: float) -> float | None:
        """Return the spacing that `share` of all spacings do not exceed; None with fewer than two readings. [s]"""
        whole = self._whole()
        return whole.usual.with_all_of(whole.paused).quantile_s(share)

    def median_s(self) -> float | None:
        """Return the usual spacing. [s]"""
        return self.quantile_s(0.5)

    def gap_limit(self) -> GapLimit:
        """Return the longest spacing that is still one measurement, and what it could be as well."""
        whole = self._whole()
        limit = gap_limit(whole.usual, whole.paused, whole.slowest_us / 1e6, whole._pauses)
        if whole._changes is None or not whole._changes.are_all(whole.usual.with_all_of(whole.paused)):
            return limit
        return replace(limit, said=f"{limit.said}. {ONLY_CHANGES}" if limit.said else ONLY_CHANGES)


class _Around:
    """Each spacing beside the `AROUND` on either side of it; there are fewer at the ends of a log."""

    def __init__(self, spacings_us: NDArray[np.int64]) -> None:
        self._spacings_us = spacings_us
        padded = np.pad(spacings_us.astype(np.float64), AROUND, constant_values=np.nan)
        self._windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * AROUND + 1)
        self.least_us = np.fmin.reduce(self._windows, axis=1)

    def pauses(self) -> NDArray[np.bool_]:
        """Return which spacings are long beside the usual one around them, the median."""
        longest_us = np.maximum(GAP_TIMES * self.least_us, _ALWAYS_ONE_US)
        # Only where a spacing is long beside the shortest around it is the median worked out.
        long = np.asarray(self._spacings_us > longest_us)
        usual_us = np.nanmedian(self._windows[long], axis=1) if long.any() else np.empty(0)
        long[long] = self._spacings_us[long] > np.maximum(GAP_TIMES * usual_us, _ALWAYS_ONE_US)
        return long
