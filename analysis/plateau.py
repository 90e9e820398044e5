"""A plateau: consecutive readings of which none differs much from the one before."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .chunk import MICROSECONDS, FloatArray, TimeArray

#: Readings kept from either end of a plateau, and from all of it: enough for a median, whatever its length.
EDGE, SAMPLE = 15, 256


@dataclass
class Trace:
    """One quantity over a plateau: readings at its beginning and end, a thinned sample, and the extremes."""

    head: FloatArray
    tail: FloatArray
    sample: FloatArray
    low: float
    high: float
    stride: int = 1

    @classmethod
    def of(cls, x: FloatArray) -> Trace:
        """Return the trace of a plateau's readings; shape (n,), in the quantity's unit."""
        trace = cls(x[:EDGE].copy(), x[-EDGE:].copy(), x, float(np.min(x)), float(np.max(x)))
        trace._thin()
        return trace

    def extended(self, x: FloatArray, offset: int) -> Trace:
        """Return the trace with the plateau's next readings; `offset` is the number of readings before them."""
        start = -offset % self.stride
        trace = Trace(
            np.concatenate([self.head, x])[:EDGE],
            np.concatenate([self.tail, x])[-EDGE:],
            np.concatenate([self.sample, x[start :: self.stride]]),
            min(self.low, float(np.min(x))),
            max(self.high, float(np.max(x))),
            self.stride,
        )
        trace._thin()
        return trace

    def _thin(self) -> None:
        while len(self.sample) > SAMPLE:
            self.sample = self.sample[::2].copy()
            self.stride *= 2

    @property
    def first(self) -> float:
        """Level at the beginning: median of the first readings."""
        return float(np.median(self.head))

    @property
    def last(self) -> float:
        """Level at the end: median of the last readings."""
        return float(np.median(self.tail))

    @property
    def usual(self) -> float:
        """Level as a rule: median of the sample."""
        return float(np.median(self.sample))


@dataclass
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
    sums : tuple of (float, float)
        Running integrals of the quantities at the first and at the last reading, by name. [unit s]
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
    after_gap: bool = False
    step_s: float = 0.0

    @property
    def length_s(self) -> float:
        """From its first to its last reading. [s]"""
        return (self.last_us - self.first_us) / MICROSECONDS

    def extended(self, time_us: TimeArray, values: dict[str, FloatArray], sums: dict[str, float]) -> Plateau:
        """Return the plateau with its next readings; `sums` are the running integrals at the last of them."""
        traces = {name: trace.extended(values[name], self.count) for name, trace in self.traces.items()}
        return Plateau(
            self.first_us,
            int(time_us[-1]),
            self.count + len(time_us),
            traces,
            {name: (first, sums[name]) for name, (first, _) in self.sums.items()},
            self.after_gap,
            self.step_s,
        )
