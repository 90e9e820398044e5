"""The last stretch of a quantity in a bounded number of points, for a chart that moves along."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .chunk import MICROSECONDS, Chunk, FloatArray, TimeArray


@dataclass(frozen=True)
class Recent:
    """Lowest and highest reading of each time bucket that holds one, up to the newest reading.

    Parameters
    ----------
    quantity : str
        What was followed; its name ends in its unit.
    width_s : float
        Length of a bucket. [s]
    buckets : int
        How many buckets the whole stretch has. [1]
    bucket : array of int64, shape (n,)
        Numbers of the buckets, increasing: each begins at its number times `width_s` since 1970. [1]
    low, high : array of float64, shape (n,)
        Lowest and highest reading. [unit of the quantity]
    """

    quantity: str
    width_s: float
    buckets: int
    bucket: TimeArray
    low: FloatArray
    high: FloatArray


class RecentFold:
    """Keep the lowest and highest reading per bucket over the last stretch of time, as a fold.

    It carries `buckets` buckets and nothing else; which they are depends only on the readings.

    Parameters
    ----------
    quantity : str
        Which quantity to follow.
    width_s : float
        Length of a bucket, at least a millisecond. [s]
    buckets : int
        How many buckets the stretch has. [1]
    """

    def __init__(self, quantity: str, *, width_s: float, buckets: int) -> None:
        self._quantity, self._buckets = quantity, buckets
        self._width_us = max(round(width_s * MICROSECONDS), 1000)
        self._bucket = np.empty(0, dtype=np.int64)
        self._low = np.empty(0)
        self._high = np.empty(0)

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in, and let go of what is too old."""
        x = chunk.quantities[self._quantity]
        there = ~np.isnan(x)
        if not there.any():
            return
        bucket = np.concatenate([self._bucket, chunk.time_us[there] // self._width_us])
        low, high = np.concatenate([self._low, x[there]]), np.concatenate([self._high, x[there]])
        first = np.flatnonzero(np.concatenate([[True], bucket[1:] != bucket[:-1]]))
        kept = bucket[first] > bucket[-1] - self._buckets
        self._bucket = bucket[first][kept]
        self._low = np.minimum.reduceat(low, first)[kept]
        self._high = np.maximum.reduceat(high, first)[kept]

    def result(self) -> Recent:
        """Return the buckets of the last stretch."""
        width_s = self._width_us / MICROSECONDS
        return Recent(self._quantity, width_s, self._buckets, self._bucket.copy(), self._low.copy(), self._high.copy())
