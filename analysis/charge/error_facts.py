"""What must be known of a signal, beside its integral, to tell how sure that is."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from shuntbook.analysis.readings.chunk import FloatArray

from .by_size import HALF, SIZES, size_of
from .equal_readings import EqualRuns, RunFacts
from .hidden_crossings import Crossings, Hidden
from .interval_sums import FINESIZES, IntervalSums, halves, sizes_of_wobble
from .noted import NoteFacts

#: The noise is read off this quantile of the second differences: low, so that steps between readings do not count even
#: where a load switches every few readings; lower still for means, which what they average makes uneven.
_QUIET_SHARE, _QUIET_SHARE_OF_MEANS = 0.25, 0.05
_QUIETEST: Final = 0.01
#: Where the lower quantile says so many times less, more than noise made the other: a load that switches at every
#: second reading. Common practice, no source. [1]
_NO_NOISE: Final = 0.5
#: The second difference of white noise is so many times as wide as the noise itself: 1, -2, 1 in quadrature.
_SECOND_DIFFERENCE: Final = math.sqrt(6.0)


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
    runs : RunFacts
        Its runs of equal readings.
    net, squares : float
        Integral of the signal, and of its square. [unit s], [unit2 s]
    highest : float
        Highest reading, without its sign. [unit]
    sizes_s : array, shape (4096,)
        Time by the sign and the power of two of the signal's size. [s]
    sizes_above, sizes_below : array, shape (2048,)
        What was drawn and returned, by the power of two of the signal's size. [unit s]
    sizes_hidden : array, shape (3, 2048)
        What steps through zero hide of draw and of return alike, by the power of two of the step's size; its rows are
        those of `CrossingSums`.
    wobble : array, shape (32768,)
        Second differences of the readings counted by their size.
    notes : NoteFacts or None
        What is known of readings that a person noted down.
    """

    intervals: int
    time_s: Parts
    all_s: float
    steps2: Parts
    steps4: Parts
    lengths2: float
    runs: RunFacts
    net: float
    squares: float
    highest: float
    sizes_s: FloatArray
    sizes_above: FloatArray
    sizes_below: FloatArray
    sizes_hidden: FloatArray
    wobble: NDArray[np.int64]
    notes: NoteFacts | None = None

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
            usual = self._by_quantile(share)
            low = self._by_quantile(_QUIET_SHARE_OF_MEANS) if still < _QUIET_SHARE_OF_MEANS else usual
            return low if low < usual * _NO_NOISE else usual
        if resolution <= 0 or still > 1 - _QUIET_SHARE:
            return 0.0
        return resolution / 2 / _z_within(still) / _SECOND_DIFFERENCE

    def quietest(self) -> float:
        """Return the noise as its quietest hundredth shows it: where loads switch all the time, the rest is theirs."""
        return self._by_quantile(_QUIETEST) if self.wobble.sum() else 0.0

    def _by_quantile(self, share: float) -> float:
        """Return the noise that has so many of the second differences below what so many are below. [unit]"""
        at = int(np.searchsorted(np.cumsum(self.wobble), share * int(self.wobble.sum())))
        return _middle(at) / _z_within(share) / _SECOND_DIFFERENCE

    def runs2(self, digit: float = 0.0) -> Parts:
        """Return the sums of the squares of the times that one error of the last digit stands. [s2]

        That is a run of equal readings, or all runs of one reading where the signal stands still.

        Parameters
        ----------
        digit : float
            The last digit, between which the readings may flip; 0 where it is not known. [unit]
        """
        return Parts(*self.runs.squares(digit).tolist())

    @property
    def nought_s(self) -> float:
        """The time that reads exactly nought. [s]"""
        return float(self.sizes_s[0] + self.sizes_s[HALF])

    def hidden(self, limit: float) -> Hidden:
        """Return what steps through zero hide that are larger than `limit`, of draw and of return alike."""
        first = int(size_of(np.array([abs(limit)]))[0]) + 1 if limit > 0 else 0
        return Hidden(*self.sizes_hidden[:, first:].sum(axis=1).tolist())

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
        self._wobble = np.zeros(FINESIZES, np.int64)
        self._last = np.empty(0)
        self._runs = EqualRuns()
        self._crossings = Crossings(linear=linear)

    def add(self, sums: IntervalSums) -> None:
        """Take the next intervals in."""
        self._intervals += sums.count
        self._lengths2 += sums.lengths2
        self._net += sums.net
        self._squares += sums.squares
        self._highest = max(self._highest, sums.highest)
        self._steps += sums.steps
        self._sizes_s += sums.sizes[0]
        self._sizes_above += halves(sums.sizes[1])
        self._sizes_below += halves(sums.sizes[2])
        self._runs.add(sums.runs)
        self._crossings.add(sums.crossings)
        first, last = sums.ends
        self._wobble += sums.wobble
        np.add.at(self._wobble, sizes_of_wobble(np.diff(np.concatenate([self._last, first]))), 1)
        self._last = np.concatenate([self._last, last])[-2:]

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
            runs=self._runs.result(),
            net=self._net,
            squares=self._squares,
            highest=self._highest,
            sizes_s=self._sizes_s.copy(),
            sizes_above=self._sizes_above.copy(),
            sizes_below=self._sizes_below.copy(),
            sizes_hidden=self._crossings.result(),
            wobble=self._wobble.copy(),
        )


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
