"""Runs of equal readings: within one, the error of the last digit is one."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .chunk import FloatArray
from .sizes import sums_by_sign

#: From so many equal readings on the signal stands still, and noise does not move its last digit: common practice, no
#: source. [1]
_STILL: Final = 8


@dataclass(frozen=True)
class Run:
    """A run of equal readings: their value [unit], how long it lasted [s], how many they were."""

    value: float
    length_s: float
    count: int


@dataclass(frozen=True)
class RunSums:
    """The runs among some readings, whatever stands before and after them.

    Parameters
    ----------
    first, last : Run
        Those at either end, which may go on beyond it; `last` is None where all readings are equal.
    squares : array, shape (3,)
        Sums of the squares of the lengths of the others that do not stand still: where nothing is returned, where
        nothing is drawn, and of all. [s2]
    still : tuple of Run
        The others that stand still.
    """

    first: Run
    last: Run | None
    squares: FloatArray
    still: tuple[Run, ...]

    @classmethod
    def of(cls, x: FloatArray, change: FloatArray, length_s: FloatArray) -> RunSums:
        """Return the runs of readings.

        Parameters
        ----------
        x, change : array, shape (n,) and (n - 1,)
            The readings, at least one, and the changes from each to the next. [unit]
        length_s : array, shape (n,)
            How long each stands. [s]
        """
        same = change == 0
        if same.all():
            return cls(_run(x, length_s, slice(None)), None, np.zeros(3), ())
        first, last = _alike(same), len(x) - _alike(same[::-1])
        ends = _run(x, length_s, slice(first)), _run(x, length_s, slice(last, None))
        if first == last:
            return cls(*ends, np.zeros(3), ())
        inside = slice(first, last)
        return cls(*ends, *_whole(x[inside], length_s[inside], same[first : last - 1]))


def _alike(same: NDArray[np.bool_]) -> int:
    """Return how many readings are equal at the beginning, where not all are."""
    return int(np.argmin(same)) + 1 if same[0] else 1


def _run(x: FloatArray, length_s: FloatArray, which: slice) -> Run:
    lengths_s = length_s[which]
    return Run(float(x[which][0]), float(lengths_s.sum()), len(lengths_s))


def _whole(x: FloatArray, length_s: FloatArray, same: NDArray[np.bool_]) -> tuple[FloatArray, tuple[Run, ...]]:
    """Sum up readings that make whole runs: the square of a run's length stands at its first reading, none after it."""
    squares = length_s * length_s
    equal = np.flatnonzero(same)
    if not len(equal):
        return by_sign(x, squares), ()
    begin = np.flatnonzero(np.diff(equal, prepend=-2) != 1)
    first, counts = equal[begin], np.diff(begin, append=len(equal)) + 1
    runs_s = length_s[first] + np.add.reduceat(length_s[equal + 1], begin)
    still = counts >= _STILL
    squares[equal + 1] = 0.0
    squares[first] = np.where(still, 0.0, runs_s * runs_s)
    columns = (y[still].tolist() for y in (x[first], runs_s, counts))
    return by_sign(x, squares), tuple(Run(*row) for row in zip(*columns, strict=True))


class EqualRuns:
    """Sum the squares of the lengths of runs of equal readings; part of a fold, which carries one open run.

    Where readings stand still, runs of the same reading have the same error, and count as one.
    """

    def __init__(self) -> None:
        self._done = np.zeros(3)
        self._still: dict[float, float] = {}
        self._open = Run(math.nan, 0.0, 0)

    def add(self, runs: RunSums) -> None:
        """Take the runs of the next readings in."""
        run, before = runs.first, self._open
        if run.value == before.value:
            run = Run(run.value, before.length_s + run.length_s, before.count + run.count)
        else:
            self._close(before)
        self._open = run
        if runs.last is not None:
            self._close(run)
            self._done += runs.squares
            for still in runs.still:
                self._stands(still)
            self._open = runs.last

    def _close(self, run: Run) -> None:
        if run.count >= _STILL:
            self._stands(run)
        elif run.count:
            square = run.length_s * run.length_s
            self._done += (square * (run.value >= 0), square * (run.value <= 0), square)

    def _stands(self, run: Run) -> None:
        self._still[run.value] = self._still.get(run.value, 0.0) + run.length_s

    def result(self) -> FloatArray:
        """Return the sums so far: where nothing is returned, where nothing is drawn, and of all; shape (3,). [s2]"""
        still = dict(self._still)
        still[self._open.value] = still.get(self._open.value, 0.0) + self._open.length_s
        runs_s = np.array([*still.values()])
        return self._done + by_sign(np.array([*still.keys()]), runs_s**2)


def by_sign(values: FloatArray, squares: FloatArray) -> FloatArray:
    """Return sums of squares where nothing is returned, where nothing is drawn, and of all. [s2]"""
    if not len(values):
        return np.zeros(3)
    drawn, returned = sums_by_sign(values, squares)[0].tolist()
    zero = values == 0
    neither = float(squares[zero].sum()) if zero.any() else 0.0
    return np.array([drawn, returned + neither, drawn + returned])
