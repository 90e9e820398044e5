"""Readings in short windows, each a column of an array: what is told of windows is then told of many at once."""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from .blocks import gaps_before
from .chunk import FloatArray, TimeArray

#: Readings in a window. [1]
WINDOW: Final = 16


def in_windows(x: FloatArray, time_us: TimeArray, gap_limit_s: float | None) -> tuple[FloatArray, FloatArray]:
    """Return readings in windows, and the size of the change before each of them; infinite after a gap.

    Parameters
    ----------
    x, time_us : array of float64, of int64, shapes (m, n)
        Blocks of readings, a row each, and their instants [us]. No window reaches over a border, and what fills none
        is left out; the first change of a block is nought.

    Returns
    -------
    windows, jumps : array, shape (16, m n / 16)
    """
    windows = _columns(x)
    jumps = np.empty_like(windows)
    # A window's first change is that from the last reading of the window before it.
    np.subtract(windows[1:], windows[:-1], out=jumps[1:])
    np.subtract(windows[0, 1:], windows[-1, :-1], out=jumps[0, 1:])
    jumps[0, :: max(x.shape[1] // WINDOW, 1)] = 0.0
    is_gap = gaps_before(time_us, gap_limit_s)
    np.abs(jumps, out=jumps)
    if is_gap.any():
        jumps[_columns(is_gap)] = np.inf
    return windows, jumps


def _columns(x: NDArray[Any]) -> NDArray[Any]:
    # Calls that put the readings of a window together run along many windows: quicker than along its sixteen.
    whole = x.shape[1] - x.shape[1] % WINDOW
    return np.ascontiguousarray(x[:, :whole].reshape(-1, WINDOW).T)
