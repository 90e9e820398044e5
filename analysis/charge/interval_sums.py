"""What some intervals of a signal amount to by themselves, summed once for every line that holds all of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from shuntbook.analysis.readings.chunk import FloatArray, TimeArray
from shuntbook.analysis.readings.integral import Indices, crossed, inner

from .by_size import HALF, sums_by_sign, sums_by_size
from .equal_readings import RunSums
from .gap_guess import HourSums
from .hidden_crossings import CrossingSums

#: A double's exponent and four bits of its fraction make so many finer sizes.
FINESIZES: Final = 1 << 15
#: Where more than one interval in so many passes zero, all are treated alike: quicker, as measured.
_FEW: Final = 10


@dataclass(frozen=True)
class IntervalSums:
    """Sums over intervals, at least one, and what at their ends takes part in sums with those before and after.

    Parameters
    ----------
    hours : HourSums
        Drawn, returned [unit s] and time [s], hour by hour and in all.
    lengths2, net, squares : float
        Sums of squared lengths [s2], of signal x length [unit s] and of its square x length [unit2 s].
    low, high, highest : float
        Extremes of the signal at both ends of intervals; the highest at their latter ends, without sign. [unit]
    steps : array, shape (3, 2)
        Second and fourth powers of what steps do to draw, return and net.
    sizes : array, shape (3, 4096)
        Time, drawn and returned by the size of the signal. [s], [unit s], [unit s]
    wobble : array, shape (32768,)
        Second differences of the latter ends, counted by their size.
    ends : (array, array)
        The first two and the last two of the latter ends. [unit]
    runs, crossings : RunSums, CrossingSums
        Runs of equal latter ends, and where the signal changes its direction.
    """

    hours: HourSums
    lengths2: float
    net: float
    squares: float
    low: float
    high: float
    highest: float
    steps: FloatArray
    sizes: FloatArray
    wobble: NDArray[np.int64]
    ends: tuple[FloatArray, FloatArray]
    runs: RunSums
    crossings: CrossingSums

    @property
    def count(self) -> int:
        """Number of intervals. [1]"""
        return self.crossings.count


def interval_sums(
    start_us: TimeArray,
    ends: tuple[FloatArray, FloatArray],
    length_s: FloatArray,
    split: tuple[FloatArray, FloatArray],
    *,
    linear: bool,
) -> IntervalSums:
    """Sum up intervals, at least one.

    Parameters
    ----------
    start_us : array of int64, shape (n,)
        Where each begins. [us]
    ends : (array, array), shapes (n,)
        The signal at either end. [unit]
    length_s : array, shape (n,)
        Length of each. [s]
    split : (array, array), shapes (n,)
        What was drawn and what was returned in it. [unit s]
    linear : bool
        Whether the signal runs linearly between readings; else it stands still, and has no steps within an interval.
    """
    first, last = ends
    low, high = float(last.min()), float(last.max())
    highest = max(high, -low)
    if first is not last:
        low, high = min(low, float(first.min())), max(high, float(first.max()))
    middle = (first + last) * 0.5 if linear else last
    amount = middle * length_s
    change = last[1:] - last[:-1]
    at = crossed(first, last) if low < 0 < high else None
    return IntervalSums(
        hours=HourSums.of(start_us, *split, length_s),
        lengths2=inner(length_s, length_s),
        net=float(amount.sum()),
        squares=inner(middle, amount),
        low=low,
        high=high,
        highest=highest,
        steps=_steps(first, last, length_s, at, drawn=low >= 0) if linear else np.zeros((3, 2)),
        sizes=sums_by_size(middle, length_s, *split),
        wobble=np.bincount(sizes_of_wobble(change), minlength=FINESIZES),
        ends=(last[:2].copy(), last[-2:].copy()),
        runs=RunSums.of(last, change, length_s),
        crossings=CrossingSums.of(first, last, length_s, at, linear=linear),
    )


def sizes_of_wobble(change: FloatArray) -> NDArray[np.int64]:
    """Return the sizes of the changes of changes as indices, from 0 to 32767."""
    second = change[1:] - change[:-1]
    return np.abs(second, out=second).view(np.int64) >> 48


def halves(sizes: FloatArray) -> FloatArray:
    """Return sums by size without the sign; shape (4096,) to (2048,)."""
    return sizes[:HALF] + sizes[HALF:]


def _steps(first: FloatArray, last: FloatArray, length_s: FloatArray, at: Indices | None, *, drawn: bool) -> FloatArray:
    """Return what steps do to draw, return and net; `at` are the intervals that cross zero, None where all is alike."""
    net = last - first
    net *= length_s
    if at is None:
        both = _second_and_fourth(net)
        return np.array([both, (0.0, 0.0), both] if drawn else [(0.0, 0.0), both, both])
    few, rest = len(at) <= len(net) // _FEW, np.zeros((2, 2))
    which: Indices | slice = at if few else slice(None)
    through = net[which]
    if few:
        net[at] = 0.0
        squares = np.multiply(net, net, out=net)
        rest = sums_by_sign(last, squares, squares * squares).T
    above = (np.maximum(last[which], 0.0) - np.maximum(first[which], 0.0)) * length_s[which]
    parts = [_second_and_fourth(x) for x in (above, through - above, through)]
    return np.array([*rest, rest.sum(axis=0)]) + parts


def _second_and_fourth(x: FloatArray) -> FloatArray:
    """Return the sums of second and fourth powers; shape (2,)."""
    square = x * x
    return np.array([square.sum(), inner(square, square)])
