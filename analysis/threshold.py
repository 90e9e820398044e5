"""The smallest change of a signal that is a step and not noise, judged block by block."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from .chunk import FloatArray

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


class Threshold:
    """Carries what earlier blocks showed: the range of the signal, and the last threshold."""

    def __init__(self) -> None:
        self._low, self._high = np.inf, -np.inf
        self._last: float | None = None

    def of(self, x: FloatArray, is_gap: NDArray[np.bool_]) -> float:
        """Return the smallest change that is a step among these readings.

        Parameters
        ----------
        x : array, shape (n,)
            The signal. [unit]
        is_gap : array of bool, shape (n,)
            Whether nothing was measured right before a reading.

        Notes
        -----
        The noise is judged by the median of the differences, which a few steps cannot move; where that is but a few of
        the meter's smallest changes, by the root mean square of the small differences, which steps are not among; where
        most differences are nought, by that of all but the largest tenth.
        """
        self._low, self._high = min(self._low, float(x.min())), max(self._high, float(x.max()))
        size = x[1:] - x[:-1]
        np.abs(size, out=size)
        if is_gap.any():
            size = size[~is_gap[1:]]
        if self._last is not None and len(size) < ENOUGH:
            return self._last
        grain = float(np.where(size > 0, size, np.inf).min(initial=np.inf))
        if grain == np.inf:
            return self._last or 0.0
        rounding = 1.5 * grain if grain < OF_READING * max(abs(self._low), abs(self._high)) else grain / 2
        floor = min(GRAIN_TIMES * grain, max(OF_RANGE * (self._high - self._low), rounding))
        self._last = max(NOISE_TIMES * _noise(size, grain), floor)
        return self._last


def _noise(size: FloatArray, grain: float) -> float:
    """Return the standard deviation of the noise in readings whose differences have these sizes. [unit]."""
    middle, rare = len(size) // 2, len(size) - max(len(size) // 10, 1)
    usual = float(np.partition(size, middle)[middle])
    if usual > COARSE * grain:
        return 1.4826 * usual / math.sqrt(2.0)
    small = size[size <= 2 * COARSE * grain] if usual > 0 else np.partition(size, rare)[:rare]
    return math.sqrt(float(np.square(small).sum()) / max(len(small), 1) / 2.0)
