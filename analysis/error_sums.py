"""What must be known of a signal, beside its integral, to tell how sure that is."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .chunk import FloatArray
from .crossings import Crossings
from .integral import inner
from .sizes import HALF, SIZES, size_of, sums_by_size

#: The noise is read off this quantile of the second differences: low, so that steps between readings do not count even
#: where a load switches every few readings; lower still for means, which what they average makes uneven.
_QUIET_SHARE, _QUIET_SHARE_OF_MEANS = 0.25, 0.05
#: The second difference of white noise is so many times as wide as the noise itself: 1, -2, 1 in quadrature.
_SECOND_DIFFERENCE: Final = math.sqrt(6.0)
#: From so many equal readings on the signal stands still, and noise does not move its last digit: common practice, no
#: source. [1]
_STILL: Final = 8
#: A double's exponent and four bits of its fraction make so many finer sizes.
_FINESIZES: Final = 1 << 15


@dataclass(frozen=True)
class Parts:
    """One figure for what is drawn, for what is returned, and for both with their signs."""

    drawn: float
    returned: float
    net: float


@dataclass(frozen=True)
class ErrorFacts:
    """What a signal was like, in the unit of the signal and in seconds.

    Parameters
    ----------
    intervals : int
        Number of intervals. [1]
    time_s : Parts
        Time above zero, time below it, and both; what reads exactly zero is in none. [s]
    all_s : float
        All of the time. [s]
    steps2, steps4 : Parts
        Sums of the second and fourth power of change x length, over intervals: what the instants of steps can do.
    lengths2 : float
        Sum of the squares of the intervals' lengths. [s2]
    runs2 : Parts
        Sum of the squares of the times that one error of the last digit stands: a run of equal readings, or all runs of
        one reading where the signal stands still. [s2]
    net, squares : float
        Integral of the signal, and of its square. [unit s], [unit2 s]
    highest : float
        Highest reading, without its sign. [unit]
    sizes_s : array, shape (4096,)
        Time by the sign and the power of two of the signal's size. [s]
    sizes_above, sizes_below : array, shape (2048,)
        What was drawn and returned, by the power of two of the signal's size. [unit s]
    sizes_hidden : array, shape (2048,)
        What steps through zero hide of draw and of return alike, by the power of two of the step's size. [unit s]
    wobble : array, shape (32768,)
        Second differences of the readings counted by their size.
    """

    intervals: int
    time_s: Parts
    all_s: float
    steps2: Parts
    steps4: Parts
    lengths2: float
    runs2: Parts
    net: float
    squares: float
    highest: float
    sizes_s: FloatArray
    sizes_above: FloatArray
    sizes_below: FloatArray
    sizes_hidden: FloatArray
    wobble: NDArray[np.int64]

    def noise(self, resolution: float = 0.0, *, of_means: bool = False) -> float:
        """Return the standard deviation of the readings' noise. [unit]

        Parameters
        ----------
        resolution : float
            The last digit. Where so many readings are equal that the noise is hidden by it, the share of equal ones
            tells how much of it there can be. [unit]
        of_means : bool
            Whether the readings are means.
        """
        total = int(self.wobble.sum())
        if total == 0:
            return 0.0
        still = int(self.wobble[0]) / total
        share = _QUIET_SHARE_OF_MEANS if of_means else _QUIET_SHARE
        if still < share:
            at = int(np.searchsorted(np.cumsum(self.wobble), share * total))
            return _middle(at) / _z_within(share) / _SECOND_DIFFERENCE
        if resolution <= 0 or still > 1 - _QUIET_SHARE:
            return 0.0
        return resolution / 2 / _z_within(still) / _SECOND_DIFFERENCE

    def hidden(self, limit: float) -> float:
        """Return what steps through zero hide that are larger than `limit`, of draw and of return alike. [unit s]"""
        first = int(size_of(np.array([abs(limit)]))[0]) + 1 if limit > 0 else 0
        return float(self.sizes_hidden[first:].sum())

    def near_zero(self, limit: float) -> tuple[float, float, float, float]:
        """Return time and integral of what lies closer to zero than `limit`, above and below it apart.

        Sizes are known by powers of two, so what is up to twice as far may be counted too. What reads exactly zero is
        left out: a zero that is off would show.

        Returns
        -------
        above_s, below_s, above, below : float
            All positive. [s], [s], [unit s], [unit s]
        """
        half = HALF
        top = int(size_of(np.array([abs(limit)]))[0]) + 1 if limit > 0 else 1
        return (
            float(self.sizes_s[1:top].sum()),
            float(self.sizes_s[half + 1 : half + top].sum()),
            float(self.sizes_above[:top].sum()),
            float(self.sizes_below[:top].sum()),
        )


class ErrorSums:
    """Add up `ErrorFacts`, interval by interval; part of a fold.

    What it carries are two readings and one open run of equal readings.

    Parameters
    ----------
    linear : bool
        Whether the signal runs linearly between readings; else it stands still, and has no steps within an interval.
    """

    def __init__(self, *, linear: bool) -> None:
        self._linear = linear
        self._intervals = 0
        self._steps = np.zeros((3, 2))  # second and fourth powers of what steps do to draw, return and net
        self._lengths2 = self._net = self._squares = self._highest = 0.0
        self._sizes_s = np.zeros(SIZES)
        self._sizes_above, self._sizes_below = np.zeros(HALF), np.zeros(HALF)
        self._wobble = np.zeros(_FINESIZES, np.int64)
        self._last = np.empty(0)
        self._runs = _Runs()
        self._crossings = Crossings(linear=linear)

    def add(
        self, first: FloatArray, last: FloatArray, length_s: FloatArray, above: FloatArray, below: FloatArray
    ) -> None:
        """Take the next intervals in.

        Parameters
        ----------
        first, last : array, shape (n,)
            The signal at either end. [unit]
        length_s : array, shape (n,)
            Length of each interval. [s]
        above, below : array, shape (n,)
            What was drawn and what was returned in it. [unit s]
        """
        if not len(length_s):
            return
        self._intervals += len(length_s)
        squares = length_s * length_s
        self._lengths2 += float(squares.sum())
        self._add_sizes((first + last) * 0.5 if self._linear else last, length_s, above, below)
        self._runs.add(last, length_s, squares)
        self._add_wobble(last)
        low, high = float(last.min()), float(last.max())
        self._highest = max(self._highest, high, -low)
        if first is not last:
            low, high = min(low, float(first.min())), max(high, float(first.max()))
        self._crossings.add(first, last, length_s, changes_sign=low < 0 < high)
        if self._linear:
            self._add_steps(first, last, length_s, low=low, high=high)

    def _add_sizes(self, middle: FloatArray, length_s: FloatArray, above: FloatArray, below: FloatArray) -> None:
        amount = middle * length_s
        self._net += float(amount.sum())
        self._squares += inner(middle, amount)
        sizes_s, sizes_above, sizes_below = sums_by_size(middle, length_s, above, below)
        self._sizes_s += sizes_s
        self._sizes_above += sizes_above[:HALF] + sizes_above[HALF:]
        self._sizes_below += sizes_below[:HALF] + sizes_below[HALF:]

    def _add_steps(self, first: FloatArray, last: FloatArray, length_s: FloatArray, *, low: float, high: float) -> None:
        net = last - first
        net *= length_s
        powers = _second_and_fourth(net)
        if low >= 0:
            self._steps += [powers, (0.0, 0.0), powers]
        elif high <= 0:
            self._steps += [(0.0, 0.0), powers, powers]
        else:
            above = np.maximum(last, 0.0)
            above -= np.maximum(first, 0.0)
            above *= length_s
            self._steps += [_second_and_fourth(above), _second_and_fourth(above - net), powers]

    def _add_wobble(self, last: FloatArray) -> None:
        readings = np.concatenate([self._last, last])
        self._last = readings[-2:].copy()
        if len(readings) > 2:
            change = np.diff(readings)
            second = change[1:] - change[:-1]
            np.add.at(self._wobble, np.abs(second, out=second).view(np.int64) >> 48, 1)

    def result(self) -> ErrorFacts:
        """Return the facts so far."""
        half = HALF
        above = float(self._sizes_s[1:half].sum())
        below = float(self._sizes_s[half + 1 :].sum())
        return ErrorFacts(
            intervals=self._intervals,
            time_s=Parts(above, below, above + below),
            all_s=float(self._sizes_s.sum()),
            steps2=Parts(*self._steps[:, 0].tolist()),
            steps4=Parts(*self._steps[:, 1].tolist()),
            lengths2=self._lengths2,
            runs2=self._runs.result(),
            net=self._net,
            squares=self._squares,
            highest=self._highest,
            sizes_s=self._sizes_s.copy(),
            sizes_above=self._sizes_above.copy(),
            sizes_below=self._sizes_below.copy(),
            sizes_hidden=self._crossings.result(),
            wobble=self._wobble.copy(),
        )


class _Runs:
    """Sum the squares of the lengths of runs of equal readings: within one, the error of the last digit is one.

    Where readings stand still, runs of the same reading have the same error, and count as one.
    """

    def __init__(self) -> None:
        self._done = np.zeros(3)
        self._still: dict[float, float] = {}
        self._value = math.nan
        self._open_s, self._open_count = 0.0, 0

    def add(self, x: FloatArray, length_s: FloatArray, squares: FloatArray) -> None:
        changes = np.flatnonzero(x[1:] != x[:-1]) + 1
        if not len(changes):
            self._go_on(x, length_s)
            return
        first, last = int(changes[0]), int(changes[-1])
        self._go_on(x[:first], length_s[:first])
        self._end()
        self._add_whole(x[first:last], length_s[first:last], squares[first:last])
        self._go_on(x[last:], length_s[last:])

    def _go_on(self, x: FloatArray, length_s: FloatArray) -> None:
        """Let the open run grow by equal readings; where they are others, it ends and they begin one."""
        if x[0] != self._value:
            self._end()
            self._value = float(x[0])
        self._open_s += float(length_s.sum())
        self._open_count += len(x)

    def _end(self) -> None:
        if self._open_count:
            self._close(*(np.array([y]) for y in (self._value, self._open_s, self._open_count, 0.0)))
        self._open_s, self._open_count = 0.0, 0

    def _add_whole(self, x: FloatArray, length_s: FloatArray, squares: FloatArray) -> None:
        """Take in readings that make whole runs: most are of one reading, so only longer ones are put together."""
        if not len(x):
            return
        self._done += _by_sign(x, squares)
        equal = np.flatnonzero(x[1:] == x[:-1])
        if not len(equal):
            return
        begin = np.flatnonzero(np.diff(equal, prepend=-2) != 1)
        first, counts = equal[begin], np.diff(begin, append=len(equal)) + 1
        runs_s, singly = (y[first] + np.add.reduceat(y[equal + 1], begin) for y in (length_s, squares))
        self._close(x[first], runs_s, counts, singly)

    def _close(self, values: FloatArray, runs_s: FloatArray, counts: NDArray[np.int64], counted: FloatArray) -> None:
        """Take in runs, of which some squares were counted already. [unit], [s], [1], [s2]"""
        still = counts >= _STILL
        self._done += _by_sign(values, np.where(still, 0.0, runs_s * runs_s) - counted)
        for value, run_s in zip(values[still].tolist(), runs_s[still].tolist(), strict=True):
            self._still[value] = self._still.get(value, 0.0) + run_s

    def result(self) -> Parts:
        still = dict(self._still)
        still[self._value] = still.get(self._value, 0.0) + self._open_s
        runs_s = np.array([*still.values()])
        return Parts(*(self._done + _by_sign(np.array([*still.keys()]), runs_s**2)).tolist())


def _by_sign(values: FloatArray, squares: FloatArray) -> FloatArray:
    """Return sums of squares where nothing is returned, where nothing is drawn, and of all. [s2]"""
    total = float(squares.sum())
    low, high = float(values.min(initial=np.inf)), float(values.max(initial=-np.inf))
    drawn = total if low >= 0 else inner(squares, (values >= 0).astype(np.float64))
    returned = total if high <= 0 else 0.0 if low > 0 else inner(squares, (values <= 0).astype(np.float64))
    return np.array([drawn, returned, total])


def _second_and_fourth(x: FloatArray) -> tuple[float, float]:
    """Return the sums of second and fourth powers."""
    square = x * x
    return float(square.sum()), inner(square, square)


def _middle(fine_size: int) -> float:
    """Return the middle of what one finer size holds. [unit]"""
    edges = np.array([fine_size << 48, (fine_size + 1) << 48], np.int64).view(np.float64)
    return float(edges.mean())


def _z_within(share: float) -> float:
    """Return how many standard deviations from its mean a normal variable stays with this probability. [1]"""
    z = np.linspace(0, 6, 6001)
    density = np.exp(-z * z / 2)
    area = np.concatenate([[0.0], np.cumsum(density[1:] + density[:-1])])
    return float(np.interp(share * area[-1], area, z))
