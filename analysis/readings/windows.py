"""Readings in short windows, none of which reaches over the border of a block of readings."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from .blocks import gaps_before
from .chunk import FloatArray, TimeArray

#: Readings in a window. [1]
WINDOW: Final = 16


@dataclass(frozen=True)
class Windows:
    """Readings in windows, a column each, and the size of the change before each reading; infinite after a gap.

    Parameters
    ----------
    values, jumps : array, shape (16, m)
        In the unit of the signal; in place of all jumps the largest of each window may stand, shape (1, m).
    """

    # Calls that put the readings of a window together run along many windows: quicker than along its sixteen.
    values: FloatArray
    jumps: FloatArray

    @classmethod
    def of(cls, x: FloatArray, time_us: TimeArray, gap_limit_s: float | None) -> Windows:
        """Return readings in windows.

        Parameters
        ----------
        x, time_us : array of float64, of int64, shapes (m, n)
            Blocks of readings, a row each, and their instants [us]. No window reaches over a border, and what fills
            none is left out; the first change of a block is nought.
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
        return cls(windows, jumps)

    def __len__(self) -> int:
        """Return the number of windows."""
        return int(self.values.shape[1])

    @cached_property
    def sums(self) -> FloatArray:
        """The sum of each window; shape (m,)."""
        return np.asarray(self.values.sum(axis=0))

    @cached_property
    def squares(self) -> FloatArray:
        """The sum of the squares of each; shape (m,)."""
        return sums_of_products(self.values, self.values)

    @cached_property
    def largest_jump(self) -> FloatArray:
        """The largest change in each; shape (m,)."""
        return np.asarray(self.jumps.max(axis=0, initial=0.0))


def sums_of_products(a: FloatArray, b: FloatArray) -> FloatArray:
    """Return the sums of products of columns; shapes (n, m) to (m,)."""
    return np.asarray(np.einsum("ij,ij->j", a, b))


def in_groups(x: FloatArray, size: int, together: np.ufunc) -> FloatArray:
    """Return what every so many numbers are together, sums or the largest; shape (size * m,) to (m,)."""
    # Along the groups, one number of each at a time: many times quicker than group by group.
    result: FloatArray = together.reduce([x[k::size] for k in range(size)])
    return result


class Waiting:
    """Columns of numbers that wait until they are so many: NumPy's calls cost as much for few as for a thousand."""

    def __init__(self, many: int) -> None:
        self._many = many
        self._parts: list[tuple[NDArray[Any], ...]] = []
        self._count = 0

    def add(self, *arrays: NDArray[Any]) -> tuple[NDArray[Any], ...] | None:
        """Let the next columns wait, of each array as many; return all once they are many, else None."""
        if arrays[0].shape[-1]:
            self._parts.append(arrays)
            self._count += arrays[0].shape[-1]
        return self.rest() if self._count >= self._many else None

    def rest(self) -> tuple[NDArray[Any], ...] | None:
        """Return what waits, after which nothing does; None where that is nothing."""
        parts, self._parts, self._count = self._parts, [], 0
        if len(parts) < 2:
            return parts[0] if parts else None
        return tuple(np.concatenate(column, axis=-1) for column in zip(*parts, strict=True))


def _columns(x: NDArray[Any]) -> NDArray[Any]:
    whole = x.shape[1] - x.shape[1] % WINDOW
    return np.ascontiguousarray(x[:, :whole].reshape(-1, WINDOW).T)
