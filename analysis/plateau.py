"""A plateau: consecutive readings of which none differs much from the one before."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from .chunk import MICROSECONDS, FloatArray, TimeArray

#: Readings kept from either end of a plateau, and from all of it: enough for a median, whatever its length.
EDGE, SAMPLE = 15, 128
_SHORT = 40  # up to this many numbers Python sorts faster than NumPy


def median(x: FloatArray) -> float:
    """Return the median of readings, shape (n,); NaN if one of them is NaN or there are none."""
    n = len(x)
    middle = n // 2
    if n > _SHORT:
        ordered: Sequence[float] | FloatArray = np.partition(x, [middle - 1, middle])
        total = float(x.sum())
    else:
        ordered = sorted(x.tolist())
        total = sum(ordered)
    if not n or math.isnan(total):
        return math.nan
    return float(ordered[middle] if n % 2 else (ordered[middle - 1] + ordered[middle]) / 2)


class Trace(NamedTuple):
    """What is kept of one quantity over a plateau.

    Attributes
    ----------
    first, last, usual : float
        Level at the beginning, at the end and as a rule: medians of readings. [unit]
    low, high : float
        Extremes. [unit]
    readings : array
        All of them where there are no more than `EDGE`; else empty. [unit]
    """

    first: float
    last: float
    usual: float
    low: float
    high: float
    readings: FloatArray


_NONE = np.empty(0)


@dataclass
class Growing:
    """One quantity over a plateau that may still grow: its ends, a thinned sample, the extremes."""

    head: FloatArray
    tail: FloatArray
    sample: FloatArray
    low: float
    high: float
    stride: int = 1

    @classmethod
    def of(cls, x: FloatArray) -> Growing:
        """Return the beginning of a plateau; `x` has shape (n,), in the quantity's unit."""
        growing = cls(x[:EDGE].copy(), x[-EDGE:].copy(), x.copy(), float(x.min()), float(x.max()))
        growing._thin()
        return growing

    def extended(self, x: FloatArray, offset: int) -> Growing:
        """Return the same with the plateau's next readings; `offset` is the number of readings before them."""
        start = -offset % self.stride
        growing = Growing(
            np.concatenate([self.head, x])[:EDGE],
            np.concatenate([self.tail, x])[-EDGE:],
            np.concatenate([self.sample, x[start :: self.stride]]),
            float(np.minimum(self.low, x.min())),
            float(np.maximum(self.high, x.max())),
            self.stride,
        )
        growing._thin()
        return growing

    def _thin(self) -> None:
        while len(self.sample) > SAMPLE:
            self.sample = self.sample[::2].copy()
            self.stride *= 2

    def closed(self, count: int) -> Trace:
        """Return what is kept of it; `count` is the number of readings."""
        return _trace(self.head, self.tail, self.sample, (self.low, self.high), count)


def trace_of(x: FloatArray) -> Trace:
    """Return what is kept of a whole plateau's readings; shape (n,), in the quantity's unit."""
    n = len(x)
    if n == 1:
        value = float(x[0])
        return Trace(value, value, value, value, value, x.copy())
    stride = 1
    while (n - 1) // stride + 1 > SAMPLE:
        stride *= 2
    return _trace(x[:EDGE], x[-EDGE:], x[::stride], (float(x.min()), float(x.max())), n)


def _trace(head: FloatArray, tail: FloatArray, sample: FloatArray, extremes: tuple[float, float], count: int) -> Trace:
    first = median(head)
    if count <= EDGE:
        return Trace(first, first, first, *extremes, head.copy())
    return Trace(first, median(tail), median(sample), *extremes, _NONE)


@dataclass(frozen=True, slots=True)
class Plateau:
    """Consecutive readings at one level.

    Attributes
    ----------
    first_us, last_us : int
        Its first and last reading. [us]
    count : int
        Number of readings.
    traces : dict of str to Trace
        By quantity name: the signal and whatever else was read.
    sums : dict of str to (float, float)
        Running integrals of amps and watts at the first and at the last reading, by name. [unit s]
    least : float
        The smallest change that stood out from the noise where it began. [unit of the signal]
    step : float
        Change of the signal from the reading before it to its first. [unit]
    after_gap : bool
        Whether nothing was measured right before it.
    step_s : float
        Time between the reading before it and its first. [s]
    """

    first_us: int
    last_us: int
    count: int
    traces: dict[str, Trace]
    sums: dict[str, tuple[float, float]]
    least: float
    step: float
    after_gap: bool
    step_s: float

    @property
    def length_s(self) -> float:
        """From its first to its last reading. [s]."""
        return (self.last_us - self.first_us) / MICROSECONDS


@dataclass
class OpenPlateau:
    """The last plateau of the readings so far, which the next may continue; attributes as of `Plateau`."""

    first_us: int
    last_us: int
    count: int
    growing: dict[str, Growing]
    sums: dict[str, tuple[float, float]]
    least: float
    step: float
    after_gap: bool
    step_s: float

    def extended(self, time_us: TimeArray, values: dict[str, FloatArray], sums: dict[str, float]) -> OpenPlateau:
        """Return the plateau with its next readings; `sums` are the running integrals at the last of them."""
        return replace(
            self,
            last_us=int(time_us[-1]),
            count=self.count + len(time_us),
            growing={name: growing.extended(values[name], self.count) for name, growing in self.growing.items()},
            sums={name: (first, sums[name]) for name, (first, _) in self.sums.items()},
        )

    def closed(self) -> Plateau:
        """Return it as it stands."""
        traces = {name: growing.closed(self.count) for name, growing in self.growing.items()}
        rest = self.sums, self.least, self.step, self.after_gap, self.step_s
        return Plateau(self.first_us, self.last_us, self.count, traces, *rest)
