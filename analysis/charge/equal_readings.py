"""Runs of equal readings: within one, the error of the last digit is one.

What stands still near the border of two digits flips between them: its readings are then right in the mean by the share
of either, up to half a digit less that share. So the time of short runs that leave a reading and come back to it is set
against the time of that reading (from memory: the mean error of rounding with little noise on it).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from shuntbook.analysis.readings.chunk import FloatArray

from .by_size import sums_by_sign

#: From so many equal readings on the signal stands still: a load that runs for four spacings has the same error each
#: time. Common practice, no source. [1]
_STILL: Final = 4
#: Flips between readings that lie further apart than so many last digits are none of the last digit. [1]
_ADJACENT: Final = 1.5
#: With more kinds of flips than this, digits are fine beside the noise, and none is counted as a flip. [1]
_KINDS: Final = 4096
#: What flips to either side for a hundredth of its time and more has noise of 0.21 digits (two normal tails), which
#: leaves less than this of the error (exp(-2 pi^2 0.21^2), the first harmonic of rounding, from memory). [1]
_SELDOM, _EVENED = 0.01, 0.4


@dataclass(frozen=True)
class Run:
    """A run of equal readings: their value [unit], how long it lasted [s], how many they were."""

    value: float
    length_s: float
    count: int


@dataclass(frozen=True)
class Flips:
    """Short runs between two of one other reading, by kind.

    Parameters
    ----------
    kinds : array of complex, shape (n,)
        The reading, and as imaginary part the one before and after it. [unit]
    times_s : array, shape (n,)
        How long those of a kind last in all. [s]
    """

    kinds: NDArray[np.complex128]
    times_s: FloatArray


NO_FLIPS: Final = Flips(np.empty(0, np.complex128), np.empty(0))


def _flips(x: FloatArray, length_s: FloatArray, over: int | None = None) -> Flips:
    """Return the flips among readings; where `over` is given, those that reach from before that reading to behind it.

    A flip of n readings has the same reading before and after it, and n equal ones of another between.
    """
    kinds, times_s, changes = [], [], x[1:] != x[:-1]
    for n in range(1, _STILL):
        at = np.flatnonzero(changes[:-n] & (x[: -n - 1] == x[n + 1 :]))
        for k in range(2, n + 1):
            at = at[~changes[at + k - 1]]
        if over is not None:
            at = at[(at < over) & (at + n + 1 >= over)]
        kinds.append(x[at + 1] + 1j * x[at])
        times_s.append(np.sum([length_s[at + k] for k in range(1, n + 1)], axis=0))
    all_kinds, which = np.unique(np.concatenate(kinds), return_inverse=True)
    sums_s = np.bincount(which, np.concatenate(times_s), len(all_kinds))
    return Flips(all_kinds, sums_s.astype(np.float64))


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
    flips : Flips
        Which readings flip to another and back, between others of them.
    ends : (array, array)
        The first and the last readings and how long they stand, which may flip together with those before and after
        them; shapes (2, up to 4). [unit] and [s]
    """

    first: Run
    last: Run | None
    squares: FloatArray
    still: tuple[Run, ...]
    flips: Flips
    ends: tuple[FloatArray, FloatArray]

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
        ends = np.array([x[:_STILL], length_s[:_STILL]]), np.array([x[-_STILL:], length_s[-_STILL:]])
        if same.all():
            return cls(_run(x, length_s, slice(None)), None, np.zeros(3), (), NO_FLIPS, ends)
        first, last = _alike(same), len(x) - _alike(same[::-1])
        outer = _run(x, length_s, slice(first)), _run(x, length_s, slice(last, None))
        flips = _flips(x, length_s)
        if first == last:
            return cls(*outer, np.zeros(3), (), flips, ends)
        inside = slice(first, last)
        return cls(*outer, *_whole(x[inside], length_s[inside], same[first : last - 1]), flips, ends)


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
    """Gather runs of equal readings; part of a fold, which carries one open run and four readings.

    Where readings stand still, runs of the same reading have the same error, and count as one.
    """

    def __init__(self) -> None:
        self._done = np.zeros(3)
        self._still: dict[float, float] = {}
        self._flips: dict[tuple[float, float], float] | None = {}
        self._tail = np.empty((2, 0))
        self._open = Run(math.nan, 0.0, 0)

    def add(self, runs: RunSums) -> None:
        """Take the runs of the next readings in."""
        if self._flips is not None:
            around = np.concatenate([self._tail, runs.ends[0]], axis=1)
            self._flipped(runs.flips)
            self._flipped(_flips(around[0], around[1], over=self._tail.shape[1]))
        self._tail = np.concatenate([self._tail, runs.ends[1]], axis=1)[:, -_STILL:]
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

    def _flipped(self, flips: Flips) -> None:
        """Take flips in; too many kinds are none of a coarse digit, and none is kept."""
        if self._flips is None:
            return
        kinds = zip(flips.kinds.real.tolist(), flips.kinds.imag.tolist(), strict=True)
        for kind, length_s in zip(kinds, flips.times_s.tolist(), strict=True):
            self._flips[kind] = self._flips.get(kind, 0.0) + length_s
        if len(self._flips) > _KINDS:
            self._flips = None

    def result(self) -> RunFacts:
        """Return the runs so far."""
        still = dict(self._still)
        if self._open.count:
            still[self._open.value] = still.get(self._open.value, 0.0) + self._open.length_s
        return RunFacts(self._done.copy(), still, dict(self._flips or {}))


@dataclass(frozen=True)
class RunFacts:
    """The runs of equal readings in a log.

    Parameters
    ----------
    moving : array, shape (3,)
        Sums of the squares of the lengths of those that do not stand still; see `RunSums`. [s2]
    still : dict of float to float
        How long each reading stands still. [s]
    flips : dict of (float, float) to float
        How long each kind of flip, of a reading and that before and after it, lasts in all. [s]
    """

    moving: FloatArray
    still: dict[float, float]
    flips: dict[tuple[float, float], float]

    def squares(self, digit: float) -> FloatArray:
        """Return the sums of the squares of the times over which the last digit has one error.

        Parameters
        ----------
        digit : float
            The last digit; 0 where it is not known. [unit]

        Returns
        -------
        array, shape (3,)
            Where nothing is returned, where nothing is drawn, and of all. [s2]
        """
        levels = self._levels(digit)
        times_s = np.maximum([*levels.values()], 0.0)
        return self.moving + by_sign(np.array([*levels.keys()]), times_s**2)

    def _levels(self, digit: float) -> dict[float, float]:
        """Return the time for which each reading stands, less that in which it flips to the next digit. [s]"""
        levels, above, below = dict(self.still), dict[float, float](), dict[float, float]()
        for (value, host), length_s in self.flips.items():
            if abs(value - host) > _ADJACENT * digit:
                continue
            levels[value] = levels.get(value, 0.0) + length_s
            side = above if value > host else below
            side[host] = side.get(host, 0.0) + length_s
        all_s = dict(levels)
        for host in above.keys() | below.keys():
            up_s, down_s, here_s = above.get(host, 0.0), below.get(host, 0.0), all_s.get(host, 0.0)
            evened = _EVENED if min(up_s, down_s) > _SELDOM * here_s else 1.0
            levels[host] = evened * (here_s - up_s - down_s)
        return levels


def by_sign(values: FloatArray, squares: FloatArray) -> FloatArray:
    """Return sums of squares where nothing is returned, where nothing is drawn, and of all. [s2]"""
    if not len(values):
        return np.zeros(3)
    drawn, returned = sums_by_sign(values, squares)[0].tolist()
    zero = values == 0
    neither = float(squares[zero].sum()) if zero.any() else 0.0
    return np.array([drawn, returned + neither, drawn + returned])
