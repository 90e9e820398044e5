"""A long log in a fixed number of points, with no peak lost."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .chunk import Chunk, FloatArray, TimeArray


@dataclass(frozen=True)
class Envelope:
    """Lowest and highest reading of a quantity in each time bucket that holds one.

    ``time_us`` is each bucket's beginning, ``width_us`` its length; a bucket without readings is absent.
    """

    time_us: TimeArray
    width_us: int
    low: FloatArray
    high: FloatArray


class EnvelopeFold:
    """Keep the lowest and highest reading per bucket of time, as a fold.

    Buckets are whole multiples of their width since 1970; when there are more than `most`, neighbours are put together
    and the width doubles, so the result depends only on the readings.

    Parameters
    ----------
    quantity : str
        Which quantity to follow.
    most : int
        Highest number of buckets kept; a log with no more readings keeps each of them. [1]
    """

    def __init__(self, quantity: str, *, most: int = 12_000) -> None:
        self._quantity = quantity
        self._most = most
        self._width_us = 1000
        self._bucket = np.empty(0, dtype=np.int64)
        self._low = np.empty(0)
        self._high = np.empty(0)

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        x = chunk.quantities[self._quantity]
        there = ~np.isnan(x)
        bucket, x = chunk.time_us[there] // self._width_us, x[there]
        self._merge(
            np.concatenate([self._bucket, bucket]), np.concatenate([self._low, x]), np.concatenate([self._high, x])
        )
        while len(self._bucket) > self._most:
            self._width_us *= 2
            self._merge(self._bucket // 2, self._low, self._high)

    def _merge(self, bucket: TimeArray, low: FloatArray, high: FloatArray) -> None:
        if not len(bucket):
            return
        first = np.flatnonzero(np.concatenate([[True], bucket[1:] != bucket[:-1]]))
        self._bucket = bucket[first]
        self._low = np.minimum.reduceat(low, first)
        self._high = np.maximum.reduceat(high, first)

    def result(self) -> Envelope:
        """Return the buckets so far."""
        return Envelope(self._bucket * self._width_us, self._width_us, self._low.copy(), self._high.copy())
