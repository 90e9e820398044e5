"""Exact integrals of linear pieces, split into what is above zero and what is below."""

from __future__ import annotations

import numpy as np

from .chunk import FloatArray


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
    tau = zero_crossing(x0, x1)
    crossing = tau < 1.0
    near = np.where(crossing, x0 * tau, x0 + x1) * length_s / 2
    far = np.where(crossing, x1 * (1.0 - tau), 0.0) * length_s / 2
    return _by_sign(near, far)


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
    tau = zero_crossing(i0, i1)
    crossing = tau < 1.0
    at_zero = v0 + tau * (v1 - v0)
    whole = 2 * v0 * i0 + v0 * i1 + v1 * i0 + 2 * v1 * i1
    near = np.where(crossing, tau * i0 * (2 * v0 + at_zero), whole) * length_s / 6
    far = np.where(crossing, (1.0 - tau) * i1 * (at_zero + 2 * v1), 0.0) * length_s / 6
    return _by_sign(near, far)


def inner(a: FloatArray, b: FloatArray) -> float:
    """Return the sum of products of two arrays; shapes (n,).

    Not by a matrix library, whose threads cost more than they give here and whose sums depend on their number.
    """
    return float(np.einsum("i,i->", a, b))


def _by_sign(near: FloatArray, far: FloatArray) -> tuple[FloatArray, FloatArray]:
    above = np.maximum(near, 0.0) + np.maximum(far, 0.0)
    below = np.maximum(-near, 0.0) + np.maximum(-far, 0.0)
    return above, below
