"""A long log in a fixed number of points, with no peak lost."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .buckets import firsts
from .chunk import Chunk, FloatArray, TimeArray, has_missing


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
        x, time_us = chunk.quantities[self._quantity], chunk.time_us
        if has_missing(x):
            there = ~np.isnan(x)
            x, time_us = x[there], time_us[there]
        if not len(x):
            return
        first = firsts(time_us, self._width_us)
        self._append(time_us[first] // self._width_us, *(f.reduceat(x, first) for f in (np.minimum, np.maximum)))
        while len(self._bucket) > self._most:
            self._width_us *= 2
            bucket = self._bucket // 2
            first = np.flatnonzero(np.diff(bucket, prepend=bucket[0] - 1))
            self._bucket = bucket[first]
            self._low, self._high = np.minimum.reduceat(self._low, first), np.maximum.reduceat(self._high, first)

    def _append(self, bucket: TimeArray, low: FloatArray, high: FloatArray) -> None:
        """Put buckets, at least one, behind those there are; the last of these may go on."""
        kept = len(self._bucket)
        if kept and self._bucket[-1] == bucket[0]:
            kept -= 1
            low[0], high[0] = min(low[0], self._low[-1]), max(high[0], self._high[-1])
        self._bucket = np.concatenate([self._bucket[:kept], bucket])
        self._low, self._high = np.concatenate([self._low[:kept], low]), np.concatenate([self._high[:kept], high])

    def result(self) -> Envelope:
        """Return the buckets so far."""
        return Envelope(self._bucket * self._width_us, self._width_us, self._low.copy(), self._high.copy())
