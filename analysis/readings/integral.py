"""Exact integrals of linear pieces, split into what is above zero and what is below."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from .chunk import FloatArray

Indices: TypeAlias = NDArray[np.intp]
"""Which of some intervals are meant."""


def zero_crossing(x0: FloatArray, x1: FloatArray) -> FloatArray:
    """Return where on each interval a linear signal passes zero.

    Parameters
    ----------
    x0, x1 : array, shape (n,)
        The signal at either end of each interval, in any one unit.

    Returns
    -------
    array, shape (n,)
        Share of the interval's length before the crossing; 1 where the signal keeps its sign. [1]
    """
    crosses = (x0 < 0) != (x1 < 0)
    fall = np.where(crosses, x0 - x1, 1.0)
    return np.where(crosses, x0 / fall, 1.0)


def linear_split(x0: FloatArray, x1: FloatArray, length_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Integrate linear pieces over time, the part above zero and the part below it apart.

    Parameters
    ----------
    x0, x1 : array, shape (n,)
        The signal at either end. [unit]
    length_s : array, shape (n,)
        Length of each interval. [s]

    Returns
    -------
    above, below : array, shape (n,)
        Both positive; their difference is the integral. [unit s]
    """
    whole = x0 + x1
    whole *= length_s
    whole *= 0.5
    above, below = _by_sign(whole)
    if len(at := crossed(x0, x1)):
        x0, x1, length_s = x0[at], x1[at], length_s[at]
        tau = zero_crossing(x0, x1)
        above[at], below[at] = _both_sides(x0 * tau * length_s / 2, x1 * (1.0 - tau) * length_s / 2)
    return above, below


def product_split(
    v0: FloatArray, v1: FloatArray, i0: FloatArray, i1: FloatArray, length_s: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Integrate the product of two linear pieces, split where the current passes zero.

    The integral of v(t) i(t) with both linear is dt/6 (2 v0 i0 + v0 i1 + v1 i0 + 2 v1 i1) (Simpson's rule, exact for a
    parabola).

    Parameters
    ----------
    v0, v1 : array, shape (n,)
        Voltage at either end. [V]
    i0, i1 : array, shape (n,)
        Current at either end, draw positive. [A]
    length_s : array, shape (n,)
        Length of each interval. [s]

    Returns
    -------
    drawn, returned : array, shape (n,)
        Energy while the current is positive, and while it is negative. [W s]
    """
    whole = (v0 + v1) * (i0 + i1)  # and v0 i0 + v1 i1: the same sum with fewer products
    whole += v0 * i0
    whole += v1 * i1
    whole *= length_s
    whole /= 6
    above, below = _by_sign(whole)
    if len(at := crossed(i0, i1)):
        v0, v1, i0, i1, length_s = v0[at], v1[at], i0[at], i1[at], length_s[at]
        tau = zero_crossing(i0, i1)
        at_zero = v0 + tau * (v1 - v0)
        near = tau * i0 * (2 * v0 + at_zero) * length_s / 6
        far = (1.0 - tau) * i1 * (at_zero + 2 * v1) * length_s / 6
        above[at], below[at] = _both_sides(near, far)
    return above, below


def inner(a: FloatArray, b: FloatArray) -> float:
    """Return the sum of products of two arrays; shapes (n,).

    Not by a matrix library, whose threads cost more than they give here and whose sums depend on their number.
    """
    return float(np.einsum("i,i->", a, b))


def crossed(x0: FloatArray, x1: FloatArray) -> Indices:
    """Return on which intervals a linear signal passes zero: few of many, so only they are split."""
    return np.flatnonzero((x0 < 0) != (x1 < 0))


def _by_sign(amount: FloatArray) -> tuple[FloatArray, FloatArray]:
    above = np.maximum(amount, 0.0)
    return above, above - amount


def _both_sides(near: FloatArray, far: FloatArray) -> tuple[FloatArray, FloatArray]:
    (near_above, near_below), (far_above, far_below) = _by_sign(near), _by_sign(far)
    return near_above + far_above, near_below + far_below
