"""The different values among many."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

#: Widest range, in values, that is looked through instead of sorted: a megabyte of marks.
_WIDEST = 1 << 20


def kinds(x: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.intp]]:
    """Return the different values, rising, and which of them each of `x` is; shapes (k,) and (n,).

    The same as ``np.unique`` with ``return_inverse``, some ten times as fast where the values lie close together.
    """
    low, high = (int(x.min()), int(x.max())) if len(x) else (0, _WIDEST)
    if high - low >= _WIDEST:
        return np.unique(x, return_inverse=True)
    at = x - low
    there = np.zeros(high - low + 1, dtype=bool)
    there[at] = True
    return np.flatnonzero(there) + low, (np.cumsum(there) - 1)[at]
