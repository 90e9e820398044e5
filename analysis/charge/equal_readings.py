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


class RunTimes(NamedTuple):
    """How long runs last, by their kind.

    That of runs that stand still is their reading; that of flips, short runs between two of one other reading, has
    that other one as imaginary part. [unit], [s]
    """

    kinds: NDArray[Any]
    times_s: FloatArray

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


class EqualRuns(NamedTuple):
    """Runs of equal readings that follow each other: their values [unit], how long they last [s], of how many readings.

    Shapes (n,).
    """

    value: FloatArray
    length_s: FloatArray
    readings: NDArray[np.int64]

    @classmethod
    def of(cls, x: FloatArray, change: FloatArray, length_s: FloatArray) -> EqualRuns:
        """Return the runs of readings, at least one; `change` is that from each to the next, shape (n - 1,)."""
        first = np.concatenate([[0], np.flatnonzero(change != 0) + 1])
        count = np.diff(first, append=len(x))
        runs_s = length_s[first]
        runs_s[-1] = length_s[first[-1] :].sum()
        # Most runs are of one reading: only of the others any lengths are added up.
        longer = np.flatnonzero(count[:-1] > 1)
        if len(longer):
            ends = np.stack([first[longer], first[longer] + count[longer]], axis=1)
            runs_s[longer] = np.add.reduceat(length_s, ends.ravel())[::2]
        return cls(x[first], runs_s, count)

    def followed_by(self, more: EqualRuns) -> EqualRuns:
        """Return these runs and those after them; where the last goes on with the first of these, both are one."""
        goes_on = len(self.value) > 0 and self.value[-1] == more.value[0]
        border = len(self.value) - int(goes_on)
        value = np.concatenate([self.value[:border], more.value])
        length_s = np.concatenate([self.length_s[:border], more.length_s])
        count = np.concatenate([self.readings[:border], more.readings])
        if goes_on:
            length_s[border] += self.length_s[-1]
            count[border] += self.readings[-1]
        return EqualRuns(value, length_s, count)

    def last(self, runs: int) -> EqualRuns:
        """Return the last few of them."""
        return EqualRuns(self.value[-runs:].copy(), self.length_s[-runs:].copy(), self.readings[-runs:].copy())


class EqualRunSums:
    """Sum up runs of equal readings; part of a fold, which carries one open run and the run before it.

    Where readings stand still, runs of the same reading have the same error, and count as one.
    """

    def __init__(self) -> None:
        self._squares = np.zeros(3)
        self._still, self._flips = RunTimeTotals(), RunTimeTotals(_KINDS)
        self._open = EqualRuns(np.empty(0), np.empty(0), np.empty(0, np.int64))

    def add(self, runs: EqualRuns) -> None:
        """Take the runs of the next readings in; what is open goes on with their first where that is equal."""
        # Of two carried runs the former is over and counted, and only tells what the open one stands beside.
        known = len(self._open.value) - 1
        value, length_s, readings = together = self._open.followed_by(runs)
        over = np.arange(max(known, 0), len(value) - 1)
        self._open = together.last(2)
        is_short = readings[over] < _STILL
        short, still = over[is_short], over[~is_short]
        self._squares += by_sign(value[short], length_s[short] ** 2)
        self._still.add(RunTimes(value[still], length_s[still]))
        flips = short[short > 0]
        flips = flips[value[flips + 1] == value[flips - 1]]
        self._flips.add(RunTimes(value[flips] + 1j * value[flips - 1], length_s[flips]))

    def result(self) -> RunFacts:
        """Return the runs so far."""
        # The last run may go on for any time, so it counts as one that stands still, however short it is yet.
        still = self._still.result(RunTimes(self._open.value[-1:], self._open.length_s[-1:]))
        return RunFacts(self._squares.copy(), still, self._flips.result())


@dataclass(frozen=True, slots=True)
class RunFacts:
    """The runs of equal readings in a log.

    ``moving`` are sums of the squares of the lengths of those that do not stand still: where nothing is returned, where
    nothing is drawn, and of all [s2]. ``still`` is how long each reading stands still, ``flips`` how long each flip of
    a reading to another, its host, lasts.
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
