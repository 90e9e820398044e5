"""Of a few plain numbers the highest and the middle: NumPy's calls cost more than all there is to do."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from itertools import accumulate


def highest(x: Sequence[float]) -> float:
    """Return the highest number; NaN if one of them is, or there are none."""
    return math.nan if math.isnan(sum(x)) or not x else max(x)


def median(x: Sequence[float]) -> float:
    """Return the median; NaN if one of the numbers is."""
    if math.isnan(sum(x)):
        return math.nan
    ordered, middle = sorted(x), len(x) // 2
    return ordered[middle] if len(x) % 2 else (ordered[middle - 1] + ordered[middle]) / 2


def weighted_median(x: Sequence[tuple[float, float]]) -> float:
    """Return the median of numbers, each counted by its weight, which follows it; NaN if one of them is."""
    if math.isnan(sum([number for number, _ in x])):
        return math.nan
    ordered = sorted(x)
    reached = list(accumulate([weight for _, weight in ordered]))
    return ordered[bisect_left(reached, reached[-1] / 2)][0]
