"""How often each spacing between readings occurs."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_MOST_KINDS = 20_000


class SpacingCount:
    """A histogram of spacings: exact to 1 ms, coarser only where there are very many different ones."""

    def __init__(self) -> None:
        self._grain_us = 1000
        self._kinds = np.empty(0, dtype=np.int64)
        self._counts = np.empty(0, dtype=np.int64)

    def add(self, spacings_us: NDArray[np.int64]) -> None:
        """Take spacings in. [us]"""
        if len(spacings_us):
            kinds = (spacings_us + self._grain_us // 2) // self._grain_us
            self._merge(kinds, np.ones(len(kinds), dtype=np.int64))

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
