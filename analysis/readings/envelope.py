"""A quantity in a bounded number of points, with no peak lost: the whole log, or its last stretch that moves along."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .blocks import firsts
from .chunk import MICROSECONDS, Chunk, FloatArray, TimeArray


@dataclass(frozen=True)
class Envelope:
    """Lowest and highest reading of a quantity in each time bucket that holds one.

    ``time_us`` is each bucket's beginning, ``width_us`` its length; a bucket without readings is absent.
    """

    time_us: TimeArray
    width_us: int
    low: FloatArray
    high: FloatArray

    def in_one(self) -> Envelope:
        """Return the whole as one bucket; none where there was none."""
        if not len(self.time_us):
            return self
        width_us = int(self.time_us[-1] - self.time_us[0]) + self.width_us
        return Envelope(self.time_us[:1].copy(), width_us, *(np.array([x]) for x in (self.low.min(), self.high.max())))


class EnvelopeFold:
    """Keep the lowest and highest reading per bucket of time, as a fold.

    Buckets are whole multiples of their width since 1970; when there are more than `most`, neighbours are put together
    and the width doubles, so the result depends only on the readings; a log with no more readings keeps each of them.
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
        readings = chunk.with_values({"x": chunk.quantities[self._quantity]}).having("x")
        if not len(readings):
            return
        x, first = readings.quantities["x"], firsts(readings.time_us, self._width_us)
        bucket = np.concatenate([self._bucket, readings.time_us[first] // self._width_us])
        if _distinct(bucket) > self._most:
            # Two neighbours are one bucket of twice the width; halving their numbers keeps whole multiples since 1970.
            # How often is sought by the numbers alone, so that readings are put together but once.
            halved = bisect_left(range(64), True, key=lambda k: _distinct(bucket >> k) <= self._most)
            self._width_us <<= halved
            if len(self._bucket):
                self._bucket, self._low, self._high = _put_together(self._bucket >> halved, self._low, self._high)
            first = firsts(readings.time_us, self._width_us)
        low, high = np.minimum.reduceat(x, first), np.maximum.reduceat(x, first)
        self._append(readings.time_us[first] // self._width_us, low, high)

    def _append(self, bucket: TimeArray, low: FloatArray, high: FloatArray) -> None:
        """Put buckets, at least one, behind the earlier ones, whose last may go on."""
        earlier = len(self._bucket)
        # A chunk may end within a bucket, which the next one then goes on with.
        if earlier and self._bucket[-1] == bucket[0]:
            earlier -= 1
            low[0], high[0] = min(low[0], self._low[-1]), max(high[0], self._high[-1])
        self._bucket = np.concatenate([self._bucket[:earlier], bucket])
        self._low, self._high = np.concatenate([self._low[:earlier], low]), np.concatenate([self._high[:earlier], high])

    def result(self) -> Envelope:
        """Return the buckets so far."""
        return Envelope(self._bucket * self._width_us, self._width_us, self._low.copy(), self._high.copy())


def _distinct(bucket: TimeArray) -> int:
    """Return how many different buckets there are, at least one, whose numbers rise."""
    return 1 + int(np.count_nonzero(bucket[1:] != bucket[:-1]))


def _put_together(bucket: TimeArray, low: FloatArray, high: FloatArray) -> tuple[TimeArray, FloatArray, FloatArray]:
    """Return buckets, whose numbers rise and may stand several times, each once with its lowest and highest."""
    first = np.flatnonzero(np.diff(bucket, prepend=bucket[0] - 1))
    return bucket[first], np.minimum.reduceat(low, first), np.maximum.reduceat(high, first)


@dataclass(frozen=True)
class Recent:
    """Of each time bucket that holds readings, up to the newest, four at most: first, lowest, highest and last.

    A line through them leaves nothing out that a bucket's breadth could show, and slants nowhere but between readings.

    Parameters
    ----------
    quantity : str
        What was followed; its name ends in its unit.
    width_s, buckets : float, int
        Length of a bucket [s], and how many the whole stretch has. [1]
    time_us : array of int64, shape (n,)
        Instants of the readings, increasing. [us]
    value : array of float64, shape (n,)
        What was read. [unit of the quantity]
    """

    quantity: str
    width_s: float
    buckets: int
    time_us: TimeArray
    value: FloatArray

    @property
    def bucket(self) -> TimeArray:
        """Number of each reading's bucket, which begins at that times `width_s` since 1970. [1]"""
        return self.time_us // round(self.width_s * MICROSECONDS)

    @property
    def at(self) -> FloatArray:
        """When each was read, in buckets since 1970. [1]"""
        return self.time_us / (self.width_s * MICROSECONDS)


class RecentFold:
    """Keep the first, lowest, highest and last reading per bucket over the last stretch of time, as a fold.

    It carries `buckets` buckets, of `width_s` [s] but at least a millisecond, and nothing else; which readings they
    hold depends only on the readings.
    """

    def __init__(self, quantity: str, *, width_s: float, buckets: int) -> None:
        self._quantity, self._buckets = quantity, buckets
        self._width_us = max(round(width_s * MICROSECONDS), 1000)
        self._time_us = np.empty(0, dtype=np.int64)
        self._value = np.empty(0)

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in, and let go of what is too old."""
        readings = Chunk(chunk.time_us, {"x": chunk.quantities[self._quantity]}).having("x")
        if not len(readings):
            return
        time_us = np.concatenate([self._time_us, readings.time_us])
        value = np.concatenate([self._value, readings.quantities["x"]])
        bucket = time_us // self._width_us
        # Empty buckets count as well: what is carried is a stretch of time, not so many buckets with readings.
        young = bucket > bucket[-1] - self._buckets
        time_us, value = time_us[young], value[young]
        few = _four_of_each(bucket[young], value)
        self._time_us, self._value = time_us[few], value[few]

    def result(self) -> Recent:
        """Return the readings of the last stretch."""
        width_s = self._width_us / MICROSECONDS
        return Recent(self._quantity, width_s, self._buckets, self._time_us.copy(), self._value.copy())


def _four_of_each(bucket: TimeArray, value: FloatArray) -> NDArray[np.intp]:
    """Return the indices of each bucket's first, lowest, highest and last value, in order; bucket numbers rise."""
    first = np.flatnonzero(np.diff(bucket, prepend=bucket[0] - 1))
    counts = np.diff(first, append=len(bucket))
    extremes = []
    for extreme in (np.minimum, np.maximum):
        # Of several readings that are as low, or as high, the earliest: then it makes no difference where chunks end.
        at = np.flatnonzero(value == np.repeat(extreme.reduceat(value, first), counts))
        extremes.append(at[np.flatnonzero(np.diff(bucket[at], prepend=bucket[0] - 1))])
    return np.unique(np.concatenate([first, first + counts - 1, *extremes]))
