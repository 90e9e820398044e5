"""The size of numbers as powers of two: an order that costs no logarithm."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from shuntbook.analysis.readings.chunk import FloatArray

#: A double's sign and exponent make so many sizes; those of one sign are half of them. [1]
SIZES: Final = 4096
HALF: Final = SIZES // 2
#: So far down are a double's sign and exponent. [bit]
_SHIFT: Final = 52
#: From runs of so many on, adding up by runs is quicker than by numbers, as measured. [1]
_RUN: Final = 6


def size_of(x: FloatArray) -> NDArray[np.int64]:
    """Return sign and power of two of each number as one index, from 0 to `SIZES`; negative ones from `HALF` on."""
    return (np.ascontiguousarray(x).view(np.uint64) >> _SHIFT).view(np.int64)


def sums_by_size(x: FloatArray, *amounts: FloatArray) -> FloatArray:
    """Return for each of some amounts its sums by the size of `x`; shape (number of amounts, 4096).

    Parameters
    ----------
    x : array, shape (n,)
        Decides on the size; at least one. [any unit]
    amounts : arrays, shape (n,)
        What is summed. [their unit]
    """
    return _sums_by(size_of(x), SIZES, amounts)


def sums_by_sign(x: FloatArray, *amounts: FloatArray) -> FloatArray:
    """Return for each of some amounts its sum where `x` is not below zero, and where it is; shape (amounts, 2).

    Parameters
    ----------
    x : array, shape (n,)
        Decides on the sign; at least one. [any unit]
    amounts : arrays, shape (n,)
        What is summed. [their unit]
    """
    return _sums_by(x < 0, 2, amounts)


def _sums_by(group: NDArray[Any], count: int, amounts: Sequence[FloatArray]) -> FloatArray:
    """Return sums by group, of which there are `count`.

    Where neighbours are mostly of one group, what belongs to a run of them is put together first: far quicker.
    """
    first = np.flatnonzero(group[1:] != group[:-1]) + 1
    if len(first) <= len(group) // _RUN:
        first = np.concatenate([[0], first])
        group, amounts = group[first], [np.add.reduceat(amount, first) for amount in amounts]
    return np.array([np.bincount(group, amount, count) for amount in amounts])
