"""Buckets of time: whole multiples of their width since 1970."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .chunk import TimeArray


def firsts(time_us: TimeArray, width_us: int) -> NDArray[np.intp]:
    """Return the index of the first instant in each bucket that holds one.

    Where buckets hold several they are looked for, since dividing every instant costs more.

    Parameters
    ----------
    time_us : array of int64, shape (n,)
        Instants, at least one; they rise. [us]
    width_us : int
        The buckets' width. [us]
    """
    low, high = int(time_us[0]) // width_us, int(time_us[-1]) // width_us
    if high - low < len(time_us) // 8:
        first = np.searchsorted(time_us, np.arange(low, high + 1) * width_us)
        return first[np.diff(first, append=len(time_us)) > 0]
    bucket = time_us // width_us
    return np.concatenate([[0], np.flatnonzero(bucket[1:] != bucket[:-1]) + 1])
