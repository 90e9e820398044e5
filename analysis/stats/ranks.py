"""The middle of scattered values, the shift between two lots and a slope, with 95 % intervals from ranks alone.

Nothing is supposed of the shape of the scatter, no random draws are made, and wild values hardly matter.
"""

from __future__ import annotations

from functools import lru_cache
from math import hypot, inf, sqrt
from typing import Final

import numpy as np

from ..readings.chunk import FloatArray
from .interval95 import Within

#: From six values on, ranks alone give a two-sided interval of 95 % (Hollander and Wolfe, from memory: 2/64 < 5 %).
FEWEST: Final = 6
#: Values beyond this are thinned evenly: pairs grow with the square.
MOST: Final = 600
#: Up to so many pairs the distribution of the rank sum is counted out; beyond, the normal one is as good.
_MOST_COUNTED: Final = 3000
_Z95: Final = 1.959964  # two-sided 95 % of the normal distribution


def middle(x: FloatArray) -> Within:
    """Return the median of all pairwise means, and its 95 % interval by signed ranks.

    There are at least `FEWEST` values, scattered as likely up as down about their middle.

    References
    ----------
    Hodges and Lehmann (1963); the interval after Hollander and Wolfe (from memory).
    """
    x = _thinned(x)
    i, j = np.triu_indices(len(x))
    means = np.sort((x[i] + x[j]) / 2)
    k = _signed_rank(len(x))
    return Within(float(np.median(means)), float(means[k]), float(means[-1 - k]))


def median_of(x: FloatArray) -> Within | None:
    """Return the median of values of any distribution and its 95 % interval, two of them themselves; None below six."""
    n = len(x)
    if n < FEWEST:
        return None
    ordered = np.sort(x)
    below = np.arange(n)
    # How many lie below the true median is as the heads of n coins: counted out as long as floats hold their ways.
    if n <= 1000:
        ways = np.cumprod(np.concatenate([[1.0], (n - below[:-1]) / (below[:-1] + 1)])) * 0.5**n
        k = max(int(np.searchsorted(np.cumsum(ways), 0.025, side="right")) - 1, 0)
    else:
        k = int(n / 2 - _Z95 * sqrt(n) / 2)
    return Within(float(np.median(x)), float(ordered[k]), float(ordered[-1 - k]))


def median_read(x: FloatArray, gain: float) -> Within:
    """Return the median of readings that share an unknown factor within 1 ± `gain`; without ends below six values."""
    ranks = median_of(x)
    value = float(np.median(x))
    if ranks is None:
        return Within(value, -inf, inf)
    return widened(ranks, 0.95 * gain * abs(value))  # an even distribution's 95 %


def widened(interval: Within, off: float) -> Within:
    """Return an interval with what else may be off by so much put in; the two are independent of one another."""
    value = interval.value
    return Within(value, value - hypot(value - interval.low, off), value + hypot(interval.high - value, off))


def shift(before: FloatArray, after: FloatArray) -> Within | None:
    """Return by how much the values of one lot lie above those of another, with the 95 % interval by rank sums.

    It is the median of all differences after - before; its ends are those shifts that the rank-sum test does not
    refuse. None where the lots are too small for any interval of 95 %: less than four and four, say.

    References
    ----------
    Hodges and Lehmann (1963), Annals of Mathematical Statistics 34; interval after Moses, in Hollander and Wolfe (from
    memory).
    """
    before, after = _thinned(before), _thinned(after)
    k = _rank_sum(len(before), len(after))
    if k is None:
        return None
    gaps = np.sort((after[:, None] - before[None, :]).ravel())
    return Within(float(np.median(gaps)), float(gaps[k]), float(gaps[-1 - k]))


def theil_sen(x: FloatArray, y: FloatArray, reach: float = _Z95) -> tuple[float, float, float]:
    """Return the median slope of all pairs of points, and the low and high end of its interval, in units of y / x.

    The interval reaches so many standard deviations of Kendall's score, 1.96 for 95 %; `x` must not be all the same.

    References
    ----------
    Sen, P. K. (1968), Journal of the American Statistical Association 63, 1379-1389: the interval's ends are slopes
    of the rank (N -+ 1.96 sqrt(n (n - 1) (2 n + 5) / 18)) / 2 among the N; independent errors without ties are taken.
    """
    i, j = np.triu_indices(len(x), k=1)
    run = x[j] - x[i]
    slopes = np.sort((y[j] - y[i])[run != 0] / run[run != 0])
    n, count = len(x), len(slopes)
    # The ends are as many slopes from the lowest as from the highest, hence one rank more for the upper.
    half = reach * sqrt(n * (n - 1) * (2 * n + 5) / 18) / 2
    low, high = max(round(count / 2 - half), 1), min(round(count / 2 + half) + 1, count)
    return float(np.median(slopes)), float(slopes[low - 1]), float(slopes[high - 1])


def _thinned(x: FloatArray) -> FloatArray:
    if len(x) <= MOST:
        return x
    return x[np.linspace(0, len(x) - 1, MOST).round().astype(np.int64)]


def _signed_rank(n: int) -> int:
    """Return how many of the lowest pairwise means the interval leaves out: the signed-rank test's 2.5 % point."""
    ways = np.zeros(n * (n + 1) // 2 + 1)
    ways[0] = 1.0
    # Each rank counts or does not, equally likely.
    for rank in range(1, n + 1):
        ways[rank:] = (ways[rank:] + ways[: len(ways) - rank]) / 2
        ways[:rank] /= 2
    # The test refuses rank sums 0 to c; the interval begins at the pair mean after c others.
    return max(int(np.searchsorted(np.cumsum(ways), 0.025, side="right")) - 1, 0)


@lru_cache(maxsize=64)
def _rank_sum(n: int, m: int) -> int | None:
    """Return how many of the lowest differences the interval leaves out; None where it cannot leave out any."""
    if n * m > _MOST_COUNTED:
        return max(int(n * m / 2 - _Z95 * sqrt(n * m * (n + m + 1) / 12)), 0)
    ways = np.zeros(n * m + 1)
    ways[0] = 1.0
    # Ways to get a rank sum: the product of (1 - q^(m + i)) / (1 - q^i) for i = 1 to n (Mann and Whitney 1947).
    for i in range(1, n + 1):
        if m + i < len(ways):
            ways[m + i :] = ways[m + i :] - ways[: len(ways) - m - i]
        for start in range(i):
            ways[start::i] = np.cumsum(ways[start::i])
    k = int(np.searchsorted(np.cumsum(ways) / ways.sum(), 0.025, side="right")) - 1
    return k if n and m and k >= 0 else None
