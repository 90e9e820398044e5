"""A quantity in a bounded number of points, with no peak lost: the whole log, or its last stretch that moves along."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .blocks import firsts
from .chunk import MICROSECONDS, Chunk, FloatArray, TimeArray, has_missing


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
