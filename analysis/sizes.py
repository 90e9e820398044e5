"""The size of numbers as powers of two: an order that costs no logarithm."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from .chunk import FloatArray

#: A double's sign and exponent make so many sizes; those of one sign are half of them. [1]
SIZES: Final = 4096
HALF: Final = SIZES // 2
#: So far down are a double's sign and exponent. [bit]
_SHIFT: Final = 52
#: From runs of so many on, adding up by runs is quicker than by numbers, as measured. [1]
_RUN: Final = 6


def size_of(x: FloatArray) -> NDArray[np.int64]:
    """Return sign and power of two of each number as one index, from 0 to `SIZES`; negative ones from `HALF` on."""
    return (np.ascontiguousarray(x).view(np.int64) >> _SHIFT) & (SIZES - 1)


def sums_by_size(x: FloatArray, *amounts: FloatArray) -> FloatArray:
    """Return for each of some amounts its sums by the size of `x`; shape (number of amounts, 4096).

    Where neighbours are mostly of one size, what belongs to a run of them is put together first: far quicker.

    Parameters
    ----------
    x : array, shape (n,)
        Decides on the size; at least one. [any unit]
    amounts : arrays, shape (n,)
        What is summed. [their unit]
    """
    size = np.ascontiguousarray(x).view(np.int64) >> _SHIFT
    first = np.flatnonzero(size[1:] != size[:-1]) + 1
    if len(first) > len(size) // _RUN:
        size &= SIZES - 1
        return np.array([np.bincount(size, amount, SIZES) for amount in amounts])
    first = np.concatenate([[0], first])
    size = size[first] & (SIZES - 1)
    return np.array([np.bincount(size, np.add.reduceat(amount, first), SIZES) for amount in amounts])
