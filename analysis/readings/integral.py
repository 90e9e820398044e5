"""The intervals that readings stand for, and exact integrals of current and power over them, apart by their sign."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Final, Protocol, TypeAlias

import numpy as np
from numpy.typing import NDArray

from .blocks import gaps_before
from .chunk import MICROSECONDS, Chunk, FloatArray, Sampling, TimeArray, is_one_number
from .energy_signals import contradicts

#: Bounds of what is not known.
_UNKNOWN: Final = (-math.inf, math.inf)
Indices: TypeAlias = NDArray[np.intp]
"""Which of some intervals are meant."""


@dataclass(frozen=True)
class Intervals:
    """Intervals on which every quantity runs linearly from a first to a last value.

    Parameters
    ----------
    start_us, stop_us : array of int64, shape (n,)
        Where each interval begins and ends. [us]
    first, last : mapping of str to array, shape (n,)
        Value of each quantity at either end, in the quantity's own unit.
    lengths_us : (float, float)
        No interval is shorter or longer than these. [us]
    bounds : mapping of str to (float, float)
        No value lies beyond these, where they are known.
    joined : mapping of str to array, shape (n + 1,), or None
        All values, where each interval begins with the one that ends the interval before it.
    """

    start_us: TimeArray
    stop_us: TimeArray
    first: Mapping[str, FloatArray]
    last: Mapping[str, FloatArray]
    lengths_us: tuple[float, float] | None = None
    bounds: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    joined: Mapping[str, FloatArray] | None = None

    @cached_property
    def length_s(self) -> FloatArray:
        """Length of each interval. [s]."""
        # Most meters keep their rhythm to the microsecond: then one number serves all, and no array is made.
        if self.lengths_us is not None and self.lengths_us[0] == self.lengths_us[1]:
            return np.broadcast_to(self.lengths_us[0] / MICROSECONDS, len(self.start_us))
        length_us = self.stop_us - self.start_us
        if self.lengths_us is None and len(length_us) and length_us.min() == length_us.max():
            return np.broadcast_to(length_us[0] / MICROSECONDS, len(length_us))
        return np.asarray(length_us / MICROSECONDS, dtype=np.float64)

    def clipped(self, from_us: int | None, to_us: int | None) -> Intervals:
        """Return what lies between two instants, each None where open; an interval cut by one is cut linearly."""
        if from_us is None and to_us is None:
            return self
        low = self.start_us if from_us is None else np.maximum(self.start_us, from_us)
        high = self.stop_us if to_us is None else np.minimum(self.stop_us, to_us)
        keep = high > low
        return self.parts(np.flatnonzero(keep), low[keep], high[keep])

    def part(self, which: slice) -> Intervals:
        """Return some of the intervals, uncut; views, no copies."""
        first = last = {name: x[which] for name, x in self.last.items()}
        if self.first is not self.last:
            first = {name: x[which] for name, x in self.first.items()}
        start_us, stop_us, joined = self.start_us[which], self.stop_us[which], None
        if self.joined is not None:
            low, high, _ = which.indices(len(self.start_us))
            joined = {name: x[low : max(low, high) + 1] for name, x in self.joined.items()}
        return replace(self, start_us=start_us, stop_us=stop_us, first=first, last=last, joined=joined)

    def picked(self, which: NDArray[np.intp]) -> Intervals:
        """Return some of the intervals, uncut, by their indices."""
        first, last = ({name: x[which] for name, x in ends.items()} for ends in (self.first, self.last))
        return Intervals(self.start_us[which], self.stop_us[which], first, last)

    def parts(self, which: NDArray[np.intp], low_us: TimeArray, high_us: TimeArray) -> Intervals:
        """Return parts of intervals, each cut linearly.

        Parameters
        ----------
        which : array of int, shape (m,)
            Of which interval each part is; one may have several.
        low_us, high_us : array of int64, shape (m,)
            From where to where, within that interval. [us]
        """
        start, length = self.start_us[which], (self.stop_us - self.start_us)[which]
        near, far = (low_us - start) / length, (high_us - start) / length
        # An end that is not cut keeps its very reading, which a + (b - a) would round.
        first, last = {}, {}
        for name, values in self.first.items():
            a, b = values[which], self.last[name][which]
            rise = b - a
            first[name] = np.where(near > 0, a + near * rise, a)
            last[name] = np.where(far < 1, a + far * rise, b)
        return Intervals(low_us, high_us, first, last)


@dataclass(frozen=True)
class Stretch:
    """Intervals that were measured, and the gaps between them."""

    measured: Intervals
    gap_start_us: TimeArray
    gap_stop_us: TimeArray


class Spaced(Protocol):
    """What must be known of readings to tell when the time between two of them was not measured; see `HowRead`."""

    @property
    def sampling(self) -> Sampling: ...  # noqa: D102
    @property
    def gap_limit_s(self) -> float: ...  # noqa: D102
    @property
    def delay_s(self) -> float | None: ...  # noqa: D102


def bridged_s(how: Spaced) -> float:
    """Return the longest spacing that is still one measurement [s].

    What a person read off stands until it is read again, however long that takes; what a film showed does not.
    """
    return math.inf if how.sampling == "held" and how.delay_s is None else how.gap_limit_s


def between_readings(
    time_us: TimeArray,
    values: Mapping[str, FloatArray],
    *,
    sampling: Sampling,
    gap_limit_s: float,
    usual_interval_s: float | None,
    first_of_log: bool,
    known: Chunk | None = None,
) -> Stretch:
    """Return the intervals that consecutive readings stand for, and the gaps that none stands for.

    Parameters
    ----------
    time_us, values : array of int64, mapping of str to array; shapes (n,)
        Instants of the readings, strictly increasing [us], and the quantities, none of them NaN.
    sampling : {'instant', 'mean', 'held'}
        ``instant``: linear between readings. ``mean``: a reading is the average since the one before it; the first
        of a log, and one after a gap, stands for one usual interval. ``held``: a reading stands until the next.
    gap_limit_s : float
        Longest spacing that is still one measurement; a longer one is a gap and is never bridged. [s]
    usual_interval_s : float or None
        The log's usual spacing; needed for ``mean``. [s]
    first_of_log : bool
        Whether the first reading is the log's very first, which a mean extends backwards.
    known : Chunk, optional
        The same readings, where more is known of them.
    """
    start, stop = time_us[:-1], time_us[1:]
    first: Mapping[str, FloatArray] = {name: x[:-1] for name, x in values.items()}
    last: Mapping[str, FloatArray] = {name: x[1:] for name, x in values.items()}
    has_none = known is not None and known.spacings_us()[1] <= gap_limit_s * MICROSECONDS
    if known is not None and has_none and not (sampling == "mean" and first_of_log):
        ends = {"instant": (first, last), "mean": (last, last), "held": (first, first)}[sampling]
        bounds = {name: known.extremes(name) for name in values}
        joined = values if sampling == "instant" else None
        return Stretch(Intervals(start, stop, *ends, known.spacings_us(), bounds, joined), start[:0], start[:0])
    is_gap = gaps_before(time_us, gap_limit_s)[1:]
    gap_start, gap_stop = start[is_gap], stop[is_gap]
    if sampling != "mean":
        whole = Intervals(start, stop, first, first if sampling == "held" else last)
        return Stretch(whole.picked(np.flatnonzero(~is_gap)) if len(gap_start) else whole, gap_start, gap_stop)
    # A mean tells of the time before it, but none is taken over a gap: after one it stands for one usual interval.
    usual_us = round((usual_interval_s or 0.0) * MICROSECONDS)
    start = np.where(is_gap, np.maximum(stop - usual_us, start), start)
    gap_stop = start[is_gap]
    if first_of_log:
        start, stop, last = np.concatenate([time_us[:1] - usual_us, start]), time_us, values
    return Stretch(Intervals(start, stop, last, last), gap_start, gap_stop)


def linear_split(x0: FloatArray, x1: FloatArray, length_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Integrate a signal that runs linearly from `x0` to `x1` on each interval.

    Returns
    -------
    above, below : array, shape (n,)
        Both positive; their difference is the integral. [unit s]
    """
    whole = x0 + x1
    whole *= length_s
    whole *= 0.5
    return _line_split(whole, x0, x1, length_s, None)


def _line_split(
    whole: FloatArray, x0: FloatArray, x1: FloatArray, length_s: FloatArray, bounds: tuple[float, float] | None
) -> tuple[FloatArray, FloatArray]:
    """Part the integral of a linear signal, `whole`, by sign; the signal lies within `bounds`, where they are known."""
    if (sides := _on_one_side(whole, bounds, x0, x1)) is not None:
        return sides
    above, below = _by_sign(whole)
    # Where the line passes zero it leaves two triangles, one on either side, of which `whole` is the difference.
    if len(at := crossed(x0, x1)):
        x0, x1, length_s = x0[at], x1[at], length_s[at]
        tau = zero_crossing(x0, x1)
        above[at], below[at] = _both_sides(x0 * tau * length_s / 2, x1 * (1.0 - tau) * length_s / 2)
    return above, below


def product_split(
    v0: FloatArray,
    v1: FloatArray,
    i0: FloatArray,
    i1: FloatArray,
    length_s: FloatArray,
    bounds: tuple[float, float] | None = None,
) -> tuple[FloatArray, FloatArray]:
    """Integrate the product of linear volts and amps, split where the current passes zero.

    The integral of v(t) i(t) with both linear is dt/6 (2 v0 i0 + v0 i1 + v1 i0 + 2 v1 i1) (Simpson's rule, exact for a
    parabola). The current lies within `bounds` and no volts below zero, where these are known. [A]

    Returns
    -------
    drawn, returned : array, shape (n,)
        Energy while the current is positive, and while it is negative; both positive. [W s]
    """
    whole = (v0 + v1) * (i0 + i1)  # and v0 i0 + v1 i1: the same sum with fewer products
    whole += v0 * i0
    whole += v1 * i1
    whole *= length_s
    whole /= 6
    if (sides := _on_one_side(whole, bounds, i0, i1)) is not None:
        return sides
    above, below = _by_sign(whole)
    # The same rule on either side of the instant at which the current is nought, so that one product falls away.
    if len(at := crossed(i0, i1)):
        v0, v1, i0, i1, length_s = v0[at], v1[at], i0[at], i1[at], length_s[at]
        tau = zero_crossing(i0, i1)
        at_zero = v0 + tau * (v1 - v0)
        near = tau * i0 * (2 * v0 + at_zero) * length_s / 6
        far = (1.0 - tau) * i1 * (at_zero + 2 * v1) * length_s / 6
        above[at], below[at] = _both_sides(near, far)
    return above, below


def zero_crossing(x0: FloatArray, x1: FloatArray) -> FloatArray:
    """Return the share of each interval before a linear signal passes zero; 1 where it keeps its sign. [1]"""
    crosses = (x0 < 0) != (x1 < 0)
    fall = np.where(crosses, x0 - x1, 1.0)
    return np.where(crosses, x0 / fall, 1.0)


def crossed(x0: FloatArray, x1: FloatArray) -> Indices:
    """Return on which intervals a linear signal passes zero: few of many, so only they are split."""
    return np.flatnonzero((x0 < 0) != (x1 < 0))


def inner(a: FloatArray, b: FloatArray) -> float:
    """Return the sum of products of two arrays; shapes (n,)."""
    if is_one_number(b):
        return float(a[0] * b[0] * len(a) if is_one_number(a) else a.sum() * b[0])
    # Not by a matrix library, whose threads cost more than they give here and whose sums depend on their number.
    return float(np.einsum("i,i->", a, b))


def _on_one_side(
    amount: FloatArray, bounds: tuple[float, float] | None, x0: FloatArray, x1: FloatArray
) -> tuple[FloatArray, FloatArray] | None:
    """Return amounts above and below zero where neither they nor their signal pass it, as most do not; else None.

    What is known to lie on one side, by the `bounds` of a signal that the amounts have the sign of, need not be read.
    """
    nothing = np.broadcast_to(0.0, len(amount))
    if bounds is not None and bounds[0] >= 0:
        return amount, nothing
    if all(x.min(initial=0.0) >= 0 for x in (x0, x1, amount)):
        return amount, nothing
    if all(x.max(initial=-math.inf) < 0 for x in (x0, x1, amount)):
        return nothing, -amount
    return None


def _by_sign(amount: FloatArray) -> tuple[FloatArray, FloatArray]:
    above = np.maximum(amount, 0.0)
    return above, above - amount


def _both_sides(near: FloatArray, far: FloatArray) -> tuple[FloatArray, FloatArray]:
    (near_above, near_below), (far_above, far_below) = _by_sign(near), _by_sign(far)
    return near_above + far_above, near_below + far_below


def charge_of(pieces: Intervals, line: FloatArray | None = None) -> tuple[FloatArray, FloatArray]:
    """Integrate the current: drawn and returned in each interval, both positive. [A s]

    `line` is mean of both ends x length of each, where somebody has worked it out.
    """
    if line is None:
        return linear_split(pieces.first["i"], pieces.last["i"], pieces.length_s)
    return _line_split(line, pieces.first["i"], pieces.last["i"], pieces.length_s, pieces.bounds.get("i"))


def energy_of(pieces: Intervals, _: FloatArray | None = None) -> tuple[FloatArray, FloatArray]:
    """Integrate power where it is given and agrees in sign with the current, else the product of volts and amps.

    Drawn and returned in each interval, both positive. [W s]
    """
    first, last, length_s = pieces.first, pieces.last, pieces.length_s
    if "i" not in first:
        return linear_split(first["p"], last["p"], length_s)
    if "p" not in first:
        amps = pieces.bounds.get("i") if pieces.bounds.get("v", _UNKNOWN)[0] >= 0 else None
        return product_split(first["v"], last["v"], first["i"], last["i"], length_s, amps)
    above, below = linear_split(first["p"], last["p"], length_s)
    # Power of the wrong sign at either end spoils the interval: a meter that gives watts without a sign while charging.
    wrong = np.flatnonzero(contradicts(first["p"], first["i"]) | contradicts(last["p"], last["i"]))
    if len(wrong):
        above, below = above.copy(), below.copy()
        v0, v1, i0, i1 = (end[name][wrong] for name in ("v", "i") for end in (first, last))
        above[wrong], below[wrong] = product_split(v0, v1, i0, i1, length_s[wrong])
    return above, below


def power_at(values: Mapping[str, FloatArray]) -> FloatArray:
    """Return power at one end of intervals, of the signals that `energy_signals` gave; shape (n,). [W]"""
    if "i" not in values:
        return values["p"]
    if "p" not in values:
        return values["v"] * values["i"]
    wrong = contradicts(values["p"], values["i"])
    return np.where(wrong, values["v"] * values["i"], values["p"]) if wrong.any() else values["p"]
