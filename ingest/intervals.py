"""The spacings of a log's readings, counted while they pass by."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

#: A spacing of up to five times the 95th percentile is still one measurement, and ten seconds always are.
GAP_TIMES, GAP_LEAST_S = 5.0, 10.0
_MOST_KINDS = 20_000


class IntervalCount:
    """A histogram of spacings: exact to 1 ms, coarser only where a log has very many different ones."""

    def __init__(self) -> None:
        self._grain_us = 1000
        self._kinds = np.empty(0, dtype=np.int64)
        self._counts = np.empty(0, dtype=np.int64)
        self._last: int | None = None

    def add(self, time_us: NDArray[np.int64]) -> None:
        """Take the next instants in; shape (n,), increasing [us]."""
        if not len(time_us):
            return
        before = time_us[:0] if self._last is None else np.array([self._last])
        self._last = int(time_us[-1])
        steps = np.diff(np.concatenate([before, time_us]))
        self._merge((steps + self._grain_us // 2) // self._grain_us, np.ones(len(steps), dtype=np.int64))
        while len(self._kinds) > _MOST_KINDS:
            self._grain_us *= 2
            kinds, counts = self._kinds // 2, self._counts
            self._kinds, self._counts = self._kinds[:0], self._counts[:0]
            self._merge(kinds, counts)

    def _merge(self, kinds: NDArray[np.int64], counts: NDArray[np.int64]) -> None:
        kinds, inverse = np.unique(np.concatenate([self._kinds, kinds]), return_inverse=True)
        self._counts = np.bincount(
            inverse, weights=np.concatenate([self._counts, counts]), minlength=len(kinds)
        ).astype(np.int64)
        self._kinds = kinds

    def quantile_s(self, share: float) -> float | None:
        """Return the spacing that `share` of all spacings do not exceed; None with fewer than two readings [s]."""
        if not len(self._kinds):
            return None
        reached = np.searchsorted(np.cumsum(self._counts), share * self._counts.sum())
        return float(self._kinds[min(int(reached), len(self._kinds) - 1)] * self._grain_us / 1e6)

    def median_s(self) -> float | None:
        """Return the usual spacing [s]."""
        return self.quantile_s(0.5)

    def gap_limit_s(self) -> float:
        """Return the longest spacing that is still one measurement: ``max(5 x the 95th percentile, 10 s)`` [s]."""
        return max(GAP_TIMES * (self.quantile_s(0.95) or 0.0), GAP_LEAST_S)
