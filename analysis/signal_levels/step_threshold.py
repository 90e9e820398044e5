"""The smallest change of a signal that is a step and not noise, judged block by block."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from ..readings.chunk import FloatArray

#: A step is a change beyond this many standard deviations of the noise, and this many of the meter's smallest change.
NOISE_TIMES, GRAIN_TIMES = 6.0, 5.0
#: Of a coarse meter, a change beyond this share of all that the signal has ranged over is a step all the same.
OF_RANGE = 0.2
#: A change by a meter's smallest step is rounding where that is less than this share of the highest reading.
OF_READING = 0.1
#: With fewer changes than this, what was judged before holds.
ENOUGH = 64
#: Differences of no more than so many smallest changes say little by their median.
COARSE = 2.0
#: One less than the bits of infinity.
_BITS_OF_INFINITY = np.float64(np.inf).view(np.uint64) - np.uint64(1)


class Threshold:
    """Carries what earlier blocks showed: the range of the signal, and the last threshold."""

    def __init__(self) -> None:
        self._low, self._high = np.inf, -np.inf
        self._last: float | None = None

    def of(self, x: FloatArray, is_gap: NDArray[np.bool_]) -> float:
        """Return the smallest change that is a step among these readings; `is_gap` before which nothing was measured.

        Shapes (n,).
        """
        size = np.abs(x[1:] - x[:-1])
        if is_gap.any():
            size = size[~is_gap[1:]]
        return float(self._judge(size[None], np.array([x.min()]), np.array([x.max()]))[0])

    def of_rows(self, x: FloatArray, is_gap: NDArray[np.bool_]) -> FloatArray:
        """Return the same for rows of readings that follow each other, shapes (m, n): as if asked for one by one."""
        if is_gap.any():
            return np.array([self.of(*row) for row in zip(x, is_gap, strict=True)])
        size = x[:, 1:] - x[:, :-1]
        return self._judge(np.abs(size, out=size), x.min(axis=1), x.max(axis=1))

    def _judge(self, size: FloatArray, low: FloatArray, high: FloatArray) -> FloatArray:
        """Return the threshold of each row of differences without their signs; `low`, `high` are its extremes."""
        # The range goes on from row to row, as if each had been judged alone in its turn.
        low, high = np.minimum.accumulate(np.append(self._low, low)), np.maximum.accumulate(np.append(self._high, high))
        self._low, self._high = float(low[-1]), float(high[-1])
        grains = _least_above_zero(size)
        rows = zip(size, grains.tolist(), _middles(size), low[1:].tolist(), high[1:].tolist(), strict=True)
        return np.array([self._of_row(*row) for row in rows])

    def _of_row(self, size: FloatArray, grain: float, usual: float, low: float, high: float) -> float:
        if self._last is not None and len(size) < ENOUGH:
            return self._last
        if grain == np.inf:
            return self._last or 0.0
        # The smallest change among these readings is a meter's digit if it is small beside them: then one step of
        # rounding is noise. Of a signal with two values, nought and a load's draw, it is a step itself.
        rounding = 1.5 * grain if grain < OF_READING * max(abs(low), abs(high)) else grain / 2
        floor = min(GRAIN_TIMES * grain, max(OF_RANGE * (high - low), rounding))
        self._last = max(NOISE_TIMES * _noise(size, grain, usual), floor)
        return self._last


def _least_above_zero(size: FloatArray) -> FloatArray:
    """Return the smallest number of each row that is not nought; none is negative. Infinity where there is none.

    Numbers that are not negative are in the order of their bits; one less, those of nought are the largest.
    """
    less_one = (size.view(np.uint64) - np.uint64(1)).min(axis=1, initial=_BITS_OF_INFINITY)
    least: FloatArray = (less_one + np.uint64(1)).view(np.float64)
    return least


def _middles(size: FloatArray) -> list[float]:
    """Return the upper median of each row; nought where there are no columns."""
    middle = size.shape[1] // 2
    if not size.shape[1]:
        return [0.0] * len(size)
    return list(np.partition(size, middle, axis=1)[:, middle].tolist())


def _noise(size: FloatArray, grain: float, usual: float) -> float:
    """Return the standard deviation of the noise in readings whose differences have these sizes. [unit]."""
    rare = len(size) - max(len(size) // 10, 1)
    # A few steps cannot move the median of the differences: 1.4826 times it is a bell's standard deviation, which of a
    # difference is sqrt(2) times that of a reading.
    if usual > COARSE * grain:
        return 1.4826 * usual / math.sqrt(2.0)
    # Of a few digits the median is itself but a digit: the root mean square of the small differences, which steps are
    # not among, tells more; where most are nought, that of all but the largest tenth.
    small = size[size <= 2 * COARSE * grain] if usual > 0 else np.partition(size, rare)[:rare]
    return math.sqrt(float(np.square(small).sum()) / max(len(small), 1) / 2.0)
