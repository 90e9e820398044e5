"""What must be known of a signal, beside its integral, to tell how sure that is: summed stretch by stretch."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..readings.chunk import FloatArray, TimeArray
from ..readings.integral import Indices, crossed, inner
from .display_delay import DelayFacts, StartFacts
from .equal_readings import EqualRuns, EqualRunSums, RunFacts
from .grouped_sums import HALF, SIZES, GroupSums, GroupTotals, HourSums, size_of, sums_by_sign, sums_by_size
from .hidden_crossings import Crossings, CrossingSums, Hidden
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
#: A double's exponent and four bits of its fraction make so many finer sizes, which lie so far up. [1], [bit]
_FINE_SIZES, _FINE_SHIFT = 1 << 15, 48
#: Where more than one interval in so many passes zero, all are treated alike: quicker, as measured.
_FEW: Final = 10


class Parts(NamedTuple):
    """One figure for what is drawn, for what is returned, and for both with their signs."""

    drawn: float
    returned: float
    net: float


@dataclass(frozen=True)
class IntervalSums:
    """Sums over intervals, at least one, and what at their ends takes part in sums with those before and after.

    Parameters
    ----------
    hours : HourSums
        Drawn, returned [unit s] and time [s], hour by hour and in all.
    lengths2, net, squares, low, high, highest, sizes, wobble
        See `ErrorFacts`; of these intervals alone. The highest is that of their latter ends, the extremes of both.
    steps : array, shape (3, 2)
        Second and fourth powers of what steps do to draw, return and net.
    ends : (array, array)
        The first two and the last two of the latter ends. [unit]
    runs, crossings : EqualRuns, CrossingSums
        Runs of equal latter ends, None of what is not read but worked out: it has no last digit of its own; and where
        the signal changes its direction.
    """

    hours: HourSums
    lengths2: float
    net: float
    squares: float
    low: float
    high: float
    highest: float
    steps: FloatArray
    sizes: GroupSums
    wobble: GroupSums
    ends: tuple[FloatArray, FloatArray]
    runs: EqualRuns | None
    crossings: CrossingSums

    @classmethod
    def of(
        cls,
        start_us: TimeArray,
        ends: tuple[FloatArray, FloatArray],
        length_s: FloatArray,
        means: tuple[FloatArray, FloatArray],
        split: tuple[FloatArray, FloatArray],
        *,
        linear: bool,
        joined: bool,
        is_read: bool = True,
    ) -> IntervalSums:
        """Sum up intervals, at least one.

        By where they begin, the signal at either end [unit], their lengths, the mean of both ends [unit] and that times
        the length [unit s], what was drawn and returned in each [unit s], whether the signal runs `linear` between
        readings, else it stands still, whether each begins as the one before it ends, and whether a meter gave it.
        """
        (first, last), (middle, amount) = ends, means
        low, high = float(last.min()), float(last.max())
        highest, others = max(high, -low), first[:1] if joined or first is last else first
        low, high = min(low, float(others.min())), max(high, float(others.max()))
        # What changes from end to end is, of joined intervals, what changes within each.
        step = last - first if linear else None
        change = step[1:] if step is not None and joined else last[1:] - last[:-1]
        at = crossed(first, last) if low < 0 < high else None
        return cls(
            hours=HourSums.of(start_us, *split, length_s),
            lengths2=inner(length_s, length_s),
            net=float(amount.sum()),
            squares=inner(middle, amount),
            low=low,
            high=high,
            highest=highest,
            wobble=GroupSums.counted(_sizes_of_wobble(change), _FINE_SIZES),
            runs=EqualRuns.of(last, change, length_s) if is_read else None,
            # Last, since it writes over the steps, in which the changes lie.
            steps=np.zeros((3, 2)) if step is None else _steps(ends, length_s, at, step, drawn=low >= 0),
            sizes=GroupSums.of_all(sums_by_size(middle, length_s, *split)),
            ends=(last[:2].copy(), last[-2:].copy()),
            crossings=CrossingSums.of(first, last, length_s, at, linear=linear),
        )


def _sizes_of_wobble(change: FloatArray) -> NDArray[np.int64]:
    """Return the sizes of the changes of changes as indices, from 0 to 32767."""
    second = change[1:] - change[:-1]
    return np.abs(second, out=second).view(np.int64) >> _FINE_SHIFT


def _steps(
    ends: tuple[FloatArray, FloatArray], length_s: FloatArray, at: Indices | None, net: FloatArray, *, drawn: bool
) -> FloatArray:
    """Return what steps, `net`, do to draw, return and net; `at` are those that cross zero, None where all is alike."""
    net *= length_s
    # All on one side of zero: a step is one of draw alone, or of return alone.
    if at is None:
        both = _second_and_fourth(net, out=net)
        return np.array([both, (0.0, 0.0), both] if drawn else [(0.0, 0.0), both, both])
    (first, last), few, others = ends, len(at) <= len(net) // _FEW, np.zeros((2, 2))
    which: Indices | slice = at if few else slice(None)
    through = net[which]
    if few:
        # The others are told apart by their latter ends, which are on the same side as the former ones.
        net[at] = 0.0
        squares = np.multiply(net, net, out=net)
        others = sums_by_sign(last, squares, squares * squares).T
    # A step through zero is as much of draw as lies above zero, and the rest of return.
    above = (np.maximum(last[which], 0.0) - np.maximum(first[which], 0.0)) * length_s[which]
    parts = [_second_and_fourth(x) for x in (above, through - above, through)]
    return np.array([*others, others.sum(axis=0)]) + parts


def _second_and_fourth(x: FloatArray, out: FloatArray | None = None) -> FloatArray:
    """Return the sums of second and fourth powers; shape (2,)."""
    square = np.multiply(x, x, out=out)
    return np.array([square.sum(), inner(square, square)])


@dataclass(frozen=True, slots=True)
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
        Its runs of equal readings; none of volts x amps, which are not read.
    net, squares : float
        Integral of the signal, and of its square. [unit s], [unit2 s]
    highest : float
        Highest reading, without its sign; with `Charge.in_log_up_to` that of all of the log. [unit]
    by_size : GroupSums
        Time, and what was drawn and returned, by the sign and the power of two of the signal. [s], [unit s], [unit s]
    hidden_by_size : GroupSums
        What steps through zero hide of draw and of return alike, by the power of two of the step's size; its rows are
        those of `CrossingSums`.
    by_wobble : GroupSums
        Second differences of the readings counted by their size.
    notes : NoteFacts or None
        What is known of readings that a person noted down.
    late : DelayFacts or None
        What is known of readings that were read from a display in a film.
    starts : StartFacts or None
        What loads were switched on between readings that stand until the next.
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
    by_size: GroupSums
    hidden_by_size: GroupSums
    by_wobble: GroupSums
    notes: NoteFacts | None = None
    late: DelayFacts | None = None
    starts: StartFacts | None = None

    @property
    def sizes(self) -> FloatArray:
        """What `by_size` holds, of every size; shape (3, 4096)."""
        return self.by_size.of_each(3, SIZES)

    def noise(self, resolution: float = 0.0, *, of_means: bool = False) -> float:
        """Return the standard deviation of the readings' noise, beside a last digit. [unit]"""
        total = float(self.by_wobble.sums.sum())
        if total == 0:
            return 0.0
        still = float(self.by_wobble.sums[0, self.by_wobble.group == 0].sum()) / total
        share = _QUIET_SHARE_OF_MEANS if of_means else _QUIET_SHARE
        if still < share:
            usual = self._by_quantile(share)
            low = self._by_quantile(_QUIET_SHARE_OF_MEANS) if still < _QUIET_SHARE_OF_MEANS else usual
            return low if low < usual * _NO_NOISE else usual
        # Readings so often equal hide the noise in the digit; where nearly all are, none is left to see.
        if resolution <= 0 or still > 1 - _QUIET_SHARE:
            return 0.0
        # Three readings fall into one digit where their second difference stays within half of it: the share of those
        # that do tells how many of its own widths half a digit is.
        return resolution / 2 / _z_within(still) / _SECOND_DIFFERENCE

    def quietest(self) -> float:
        """Return the noise as its quietest hundredth shows it: where loads switch all the time, the rest is theirs."""
        return self._by_quantile(_QUIETEST) if len(self.by_wobble.group) else 0.0

    def _by_quantile(self, share: float) -> float:
        """Return the noise that has so many of the second differences below what so many are below. [unit]"""
        counts = np.cumsum(self.by_wobble.sums)
        at = int(self.by_wobble.group[np.searchsorted(counts, share * counts[-1])])
        return _middle(at) / _z_within(share) / _SECOND_DIFFERENCE

    def runs2(self, digit: float = 0.0) -> Parts:
        """Return the sums of the squares of the times that one error of the last digit stands. [s2]

        That is a run of equal readings, or all runs of one reading where the signal stands still; between the digit's
        neighbours it may flip. It is 0 where it is not known.
        """
        return Parts(*self.runs.squares(digit).tolist())

    @property
    def nought_s(self) -> float:
        """The time that reads exactly nought. [s]"""
        return float(self.by_size.sums[0, self.by_size.group % HALF == 0].sum())

    def hidden(self, limit: float) -> Hidden:
        """Return what steps through zero hide that are larger than `limit`, of draw and of return alike."""
        first = _size(limit) + 1 if limit > 0 else 0
        return Hidden(*self.hidden_by_size.of_each(3, HALF)[:, first:].sum(axis=1).tolist())

    def near_zero(self, limit: float) -> tuple[float, float, float, float]:
        """Return time [s] and integral [unit s] of what lies closer to zero than `limit`, above and below it apart.

        Sizes are known by powers of two, so what is up to twice as far may be counted too. What reads exactly zero is
        left out: a zero that is off would show. All are positive: time above, time below, amount above, amount below.
        """
        top = _size(limit) + 1 if limit > 0 else 1
        time_s, drawn, returned = self.sizes
        return (
            float(time_s[1:top].sum()),
            float(time_s[HALF + 1 : HALF + top].sum()),
            float((drawn[:HALF] + drawn[HALF:])[:top].sum()),
            float((returned[:HALF] + returned[HALF:])[:top].sum()),
        )


class ErrorSums:
    """Add up `ErrorFacts` of a signal, which runs `linear` between readings or stands still; part of a fold.

    What it carries are two readings and one open run of equal readings.
    """

    def __init__(self, *, linear: bool) -> None:
        self._intervals = 0
        self._steps = np.zeros((3, 2))
        self._lengths2 = self._net = self._squares = self._highest = 0.0
        self._sizes, self._wobble = GroupTotals(), GroupTotals()
        self._last = np.empty(0)
        self._runs = EqualRunSums()
        self._crossings = Crossings(linear=linear)

    def add(self, sums: IntervalSums) -> None:
        """Take the next intervals in."""
        self._intervals += sums.crossings.count
        self._lengths2 += sums.lengths2
        self._net += sums.net
        self._squares += sums.squares
        self._highest = max(self._highest, sums.highest)
        self._steps += sums.steps
        self._sizes.add(sums.sizes)
        if sums.runs is not None:
            self._runs.add(sums.runs)
        self._crossings.add(sums.crossings)
        first, last = sums.ends
        self._wobble.add(sums.wobble)
        # The second differences that reach over the border between two stretches are in neither of them.
        across = _sizes_of_wobble(np.diff(np.concatenate([self._last, first])))
        self._wobble.add(GroupSums.counted(across, _FINE_SIZES))
        self._last = np.concatenate([self._last, last])[-2:]

    def result(self) -> ErrorFacts:
        """Return the facts so far."""
        by_size = self._sizes.result()
        time_s = by_size.of_each(3, SIZES)[0]
        above, below = float(time_s[1:HALF].sum()), float(time_s[HALF + 1 :].sum())
        return ErrorFacts(
            intervals=self._intervals,
            time_s=Parts(above, below, above + below),
            all_s=float(time_s.sum()),
            steps2=Parts(*self._steps[:, 0].tolist()),
            steps4=Parts(*self._steps[:, 1].tolist()),
            lengths2=self._lengths2,
            runs=self._runs.result(),
            net=self._net,
            squares=self._squares,
            highest=self._highest,
            by_size=by_size,
            hidden_by_size=self._crossings.result(),
            by_wobble=self._wobble.result(),
        )


def _size(limit: float) -> int:
    return int(size_of(np.array([abs(limit)]))[0])


def _middle(fine_size: int) -> float:
    """Return the middle of what one finer size holds. [unit]"""
    edges = np.array([fine_size << _FINE_SHIFT, (fine_size + 1) << _FINE_SHIFT], np.int64).view(np.float64)
    return float(edges.mean())


@lru_cache(maxsize=256)
def _z_within(share: float) -> float:
    """Return how many standard deviations from its mean a normal variable stays with this probability. [1]"""
    z = np.linspace(0, 6, 6001)
    density = np.exp(-z * z / 2)
    area = np.concatenate([[0.0], np.cumsum(density[1:] + density[:-1])])
    return float(np.interp(share * area[-1], area, z))
