"""Runs of equal readings: within one, the error of the last digit is one.

What stands still near the border of two digits flips between them: its readings are then right in the mean by the share
of either, up to half a digit less that share. So the time of short runs that leave a reading and come back to it is set
against the time of that reading (from memory: the mean error of rounding with little noise on it).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..readings.chunk import FloatArray
from .grouped_sums import sums_by_sign

#: From so many equal readings on the signal stands still: a load that runs for four spacings has the same error each
#: time. Common practice, no source. [1]
_STILL: Final = 4
#: Flips between readings that lie further apart than so many last digits are none of the last digit. [1]
_ADJACENT: Final = 1.5
#: With more kinds of flips than this, digits are fine beside the noise, and none is counted as a flip. [1]
_KINDS: Final = 4096
#: So many times are held at least before those of a kind are put together. [1]
_MOST_WAITING: Final = 4 * _KINDS
#: What flips to either side for a hundredth of its time and more has noise of 0.21 digits (two normal tails), which
#: leaves less than this of the error (exp(-2 pi^2 0.21^2), the first harmonic of rounding, from memory). [1]
_SELDOM, _EVENED = 0.01, 0.4


@dataclass(frozen=True, slots=True)
class Run:
    """A run of equal readings: their value [unit], how long it lasted [s], how many they were."""

    value: float
    length_s: float
    count: int


class RunTimes(NamedTuple):
    """How long runs last, by their kind.

    That of runs that stand still is their reading; that of flips, short runs between two of one other reading, has
    that other one as imaginary part. [unit], [s]
    """

    kinds: NDArray[Any]
    times_s: FloatArray

    @classmethod
    def of(cls, kind: complex, time_s: float) -> RunTimes:
        """Return the time of one kind."""
        return cls(np.array([kind]), np.array([time_s]))

    @classmethod
    def together(cls, parts: Sequence[RunTimes]) -> RunTimes:
        """Return each kind of some times, at least one, once."""
        kinds, which = np.unique(np.concatenate([part.kinds for part in parts]), return_inverse=True)
        times_s = np.bincount(which, np.concatenate([part.times_s for part in parts]), len(kinds))
        return cls(kinds, times_s.astype(np.float64))


_NONE: Final = RunTimes(np.empty(0), np.empty(0))


class RunTimeTotals:
    """Total times by kind; part of a fold, which holds no more than so many kinds: with more it has none any more."""

    def __init__(self, most: float = math.inf) -> None:
        self._most = most
        self._parts: list[RunTimes] | None = []
        self._waiting, self._room = 0, _MOST_WAITING

    def add(self, times: RunTimes) -> None:
        """Take the next times in."""
        if self._parts is None or not len(times.kinds):
            return
        self._parts.append(times)
        self._waiting += len(times.kinds)
        if self._waiting > self._room:
            together = RunTimes.together(self._parts)
            self._parts = [together] if len(together.kinds) <= self._most else None
            # As many may wait as there are kinds, so that however many there are none is sorted again and again.
            self._waiting, self._room = 0, max(_MOST_WAITING, len(together.kinds))

    def result(self, more: RunTimes = _NONE) -> RunTimes:
        """Return the totals so far, with some that may change yet; none of too many kinds."""
        if self._parts is None:
            return _NONE
        together = RunTimes.together([*self._parts, more])
        return together if len(together.kinds) <= self._most else _NONE


@dataclass(frozen=True)
class RunSums:
    """The runs among some readings, at least one, whatever stands before and after them.

    ``first`` and ``last`` may go on beyond their ends; ``last`` is None where all readings are equal. ``second`` and
    ``before_last`` are the readings next to those two; NaN where there are none. Of the others ``squares`` are sums of
    the squares of the lengths of those that do not stand still (where nothing is returned, where nothing is drawn, and
    of all [s2]); ``still`` are the times of those that do, ``flips`` of those that shortly leave a reading.
    """

    first: Run
    last: Run | None
    second: float
    before_last: float
    squares: FloatArray
    still: RunTimes
    flips: RunTimes

    @classmethod
    def of(cls, x: FloatArray, change: FloatArray, length_s: FloatArray) -> RunSums:
        """Return the runs of readings; `change` is that from each to the next, shape (n - 1,)."""
        if not change.any():
            run = Run(float(x[0]), float(np.add.reduceat(length_s, [0])[0]), len(x))
            return cls(run, None, math.nan, math.nan, np.zeros(3), _NONE, _NONE)
        first = np.concatenate([[0], np.flatnonzero(change != 0) + 1])
        value, count = x[first], np.diff(first, append=len(x))
        runs_s = _lengths(first, count, length_s)
        runs = [Run(float(value[k]), float(runs_s[k]), int(count[k])) for k in (0, -1)]
        # Of the runs at both ends neither the length nor the other neighbour is known: they are left to `EqualRuns`.
        short = count < _STILL
        short[[0, -1]] = False
        still = np.flatnonzero(count[1:-1] >= _STILL) + 1
        flips = np.flatnonzero(short[1:-1] & (value[2:] == value[:-2])) + 1 if len(value) > 2 else still
        return cls(
            first=runs[0],
            last=runs[1],
            second=float(value[1]),
            before_last=float(value[-2]),
            squares=by_sign(value, runs_s * runs_s * short),
            still=RunTimes(value[still], runs_s[still]),
            flips=RunTimes(value[flips] + 1j * value[flips - 1], runs_s[flips]),
        )


def _lengths(first: NDArray[np.int64], count: NDArray[np.int64], length_s: FloatArray) -> FloatArray:
    """Return how long runs last, by the first of their readings and their number. [s]"""
    runs_s = length_s[first]
    runs_s[-1] = length_s[first[-1] :].sum()
    # Most runs are of one reading: only of the others any lengths are added up.
    longer = np.flatnonzero(count[:-1] > 1)
    if len(longer):
        ends = np.stack([first[longer], first[longer] + count[longer]], axis=1)
        runs_s[longer] = np.add.reduceat(length_s, ends.ravel())[::2]
    return runs_s


class EqualRuns:
    """Gather runs of equal readings; part of a fold, which carries one open run and the reading before it.

    Where readings stand still, runs of the same reading have the same error, and count as one.
    """

    def __init__(self) -> None:
        self._squares = np.zeros(3)
        self._still, self._flips = RunTimeTotals(), RunTimeTotals(_KINDS)
        self._open = Run(math.nan, 0.0, 0)
        self._before = math.nan

    def add(self, runs: RunSums) -> None:
        """Take the runs of the next readings in."""
        run = runs.first
        if run.value == self._open.value:
            run = Run(run.value, self._open.length_s + run.length_s, self._open.count + run.count)
        else:
            self._close(self._open, after=run.value)
            self._before = self._open.value
        if runs.last is not None:
            self._close(run, after=runs.second)
            self._squares += runs.squares
            self._still.add(runs.still)
            self._flips.add(runs.flips)
            run, self._before = runs.last, runs.before_last
        self._open = run

    def _close(self, run: Run, *, after: float) -> None:
        """Take in a run whose end is known."""
        if run.count >= _STILL:
            self._still.add(RunTimes.of(run.value, run.length_s))
        elif run.count:
            square = run.length_s * run.length_s
            self._squares += (square * (run.value >= 0), square * (run.value <= 0), square)
            if self._before == after:
                self._flips.add(RunTimes.of(complex(run.value, after), run.length_s))

    def result(self) -> RunFacts:
        """Return the runs so far."""
        # The last run may go on for any time, so it counts as one that stands still, however short it is yet.
        still = self._still.result(RunTimes.of(self._open.value, self._open.length_s) if self._open.count else _NONE)
        return RunFacts(self._squares.copy(), still, self._flips.result())


@dataclass(frozen=True, slots=True)
class RunFacts:
    """The runs of equal readings in a log.

    ``moving`` are sums of the squares of the lengths of those that do not stand still, see `RunSums` [s2]; ``still`` is
    how long each reading stands still, ``flips`` how long each flip of a reading to another, its host, lasts.
    """

    moving: FloatArray
    still: RunTimes
    flips: RunTimes

    def squares(self, digit: float) -> FloatArray:
        """Return the sums of the squares of the times over which the last digit has one error.

        By the digit, 0 where it is not known [unit]; where nothing is returned, where nothing is drawn, and of all
        [s2].
        """
        # Readings further apart are a load that switches shortly, whose rounding has nothing to do with the host's.
        near = np.abs(self.flips.kinds.real - self.flips.kinds.imag) <= _ADJACENT * digit
        value, host, flip_s = self.flips.kinds.real[near], self.flips.kinds.imag[near], self.flips.times_s[near]
        level, which = np.unique(np.concatenate([self.still.kinds, value, host]), return_inverse=True)
        own, of_host = np.split(which, [len(which) - len(host)])
        here_s = np.bincount(own, np.concatenate([self.still.times_s, flip_s]), len(level))
        above_s, below_s = (np.bincount(of_host, flip_s * side, len(level)) for side in (value > host, value < host))
        # With a share p rounded up the truth lies near p above the reading, so p of the time takes as much of the
        # error of the rest away. Flips to both sides are noise, which evens out the error of the whole digit.
        evened = np.where(np.minimum(above_s, below_s) > _SELDOM * here_s, _EVENED, 1.0)
        # Where a reading is left for longer than it stands the rest is below nought: nothing of its error is left.
        times_s = np.maximum(evened * (here_s - above_s - below_s), 0.0)
        return self.moving + by_sign(level, times_s**2)


def by_sign(values: FloatArray, squares: FloatArray) -> FloatArray:
    """Return sums of squares where nothing is returned, where nothing is drawn, and of all. [s2]"""
    if not len(values):
        return np.zeros(3)
    drawn, returned = sums_by_sign(values, squares)[0].tolist()
    # A reading of nought is neither drawn nor returned, and its digit may hide either: it counts for both.
    zero = values == 0
    neither = float(squares[zero].sum()) if zero.any() else 0.0
    return np.array([drawn, returned + neither, drawn + returned])
