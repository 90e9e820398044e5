"""A robust slope over time with its 95 % interval."""

from __future__ import annotations

from math import sqrt
from typing import Final

import numpy as np

from shuntbook.analysis.readings.chunk import FloatArray

Z95: Final = 1.959964  # two-sided 95 % of the normal distribution


def theil_sen(x: FloatArray, y: FloatArray, reach: float = Z95) -> tuple[float, float, float]:
    """Return the median slope of all pairs of points, and its interval: 95 % unless said otherwise.

    Parameters
    ----------
    x, y : array, shape (n,)
        Points; `x` must not be all the same.
    reach : float
        How many standard deviations of Kendall's score the interval reaches; 1.96 for 95 %. [1]

    Returns
    -------
    slope, low, high : float
        In units of y / x.

    References
    ----------
    Sen, P. K. (1968), Journal of the American Statistical Association 63, 1379-1389: the interval's ends are slopes
    of the rank (N -+ 1.96 sqrt(n (n - 1) (2 n + 5) / 18)) / 2 among the N; independent errors without ties are taken.
    """
    i, j = np.triu_indices(len(x), k=1)
    run = x[j] - x[i]
    slopes = np.sort((y[j] - y[i])[run != 0] / run[run != 0])
    n, count = len(x), len(slopes)
    half = reach * sqrt(n * (n - 1) * (2 * n + 5) / 18) / 2
    low, high = max(round(count / 2 - half), 1), min(round(count / 2 + half) + 1, count)
    return float(np.median(slopes)), float(slopes[low - 1]), float(slopes[high - 1])
