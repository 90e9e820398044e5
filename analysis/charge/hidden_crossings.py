"""What readings hide where the current changes its direction between two of them.

A step from drawing to returning is no straight line through zero: until its instant all was drawn, after it all was
returned. A line, or a mean over the interval, lets the two cancel, so both amounts come out too small by the same.

What a mean hides needs the levels on either side of the step, which the means beside it give where they hold. Where the
next but one turns back (a pump that ran for hardly longer than a spacing), the top was never seen, and more is hidden.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..readings.chunk import FloatArray
from ..readings.integral import Indices, crossed
from .grouped_sums import HALF, GroupSums, GroupTotals, size_of

#: A level does not hold where the mean after it turns back by this share of the step: common practice, no source. [1]
_TURNS: Final = 0.15
#: What bumps hide beyond what their means say, as shares of it: so much in any case, and as much again as bumps are of
#: all. By simulated days with sun, clouds and a pump whose runs last 0.8 to 5 spacings; no source. [1]
_BUMPS: Final = 0.5
#: Where hardly a level holds, runs are as short as the spacing, and some leave no mean on the other side of zero: at
#: most so many times more. From the same days. [1]
_UNSEEN: Final = 0.8
#: How far these may be off, as one error of a log: where levels hold, and of bumps; and of each by itself, squared.
#: From the same days. [1]
_OF_HELD, _OF_BUMPS, _OF_EACH = 0.1, 0.5, 0.15


@dataclass(frozen=True)
class Hidden:
    """What is hidden of draw and of return alike.

    ``held`` by steps between two levels that hold, ``bumps`` by those to a level that does not, as its one mean says:
    the least [unit s]; ``squares`` is the sum of squares of what each hides. [unit2 s2]
    """

    held: float
    bumps: float = 0.0
    squares: float = 0.0

    @property
    def likely(self) -> float:
        """The most likely amount. [unit s]"""
        # A bump's mean gives the least it can hide. The more of all is bumps, the shorter the runs are beside the
        # spacing, and the higher above their means the tops that were not seen.
        all_of_it = self.held + self.bumps
        return self.held + self.bumps * (_BUMPS + self.bumps / all_of_it) if all_of_it > 0 else 0.0

    @property
    def unseen(self) -> float:
        """How much more may be hidden where hardly a level holds, by bumps that stay on one side. [unit s]"""
        # Squared, so that it fades where most levels hold: there hardly a run is short enough to stay on one side.
        all_of_it = self.held + self.bumps
        return _UNSEEN * self.bumps * (self.bumps / all_of_it) ** 2 if all_of_it > 0 else 0.0

    @property
    def u(self) -> float:
        """Its standard uncertainty. [unit s]"""
        return math.sqrt((_OF_HELD * self.held) ** 2 + (_OF_BUMPS * self.bumps) ** 2 + _OF_EACH * self.squares)


@dataclass(frozen=True)
class CrossingSums:
    """What some intervals, so many, hide by themselves, whatever stands before and after them.

    ``hidden`` is what those hide that have enough others on either side, by the step's size, of 2048: between levels
    that hold, by bumps [unit s], and the squares of both; None is nothing. ``first`` and ``last``, of shape (3, up to
    4), are the intervals at either end, which are judged with those before and after them.
    """

    count: int
    hidden: GroupSums | None
    first: FloatArray
    last: FloatArray

    @classmethod
    def of(
        cls, first: FloatArray, last: FloatArray, length_s: FloatArray, at: Indices | None, *, linear: bool
    ) -> CrossingSums:
        """Return the sums of intervals, from the signal at either end, and which of them pass zero, as `crossed` says.

        `at` is None where the signal has one sign all the time. It is taken to run `linear` between readings; else a
        reading is a mean over its interval.
        """
        rows, edge = (first, last, length_s), 2 * _around(linear)
        hidden = None
        if at is not None:
            by_size = np.zeros((3, HALF))
            _judge(rows, at, by_size, linear=linear)
            hidden = GroupSums.of_all(by_size)
        ends = (np.array([x[part] for x in rows]) for part in (slice(edge), slice(-edge, None)))
        return cls(len(length_s), hidden, *ends)


class Crossings:
    """Sum what steps through zero hide of draw and of return alike; part of a fold.

    A reading's neighbours tell a step from a slope, so an interval is judged when the next is known; what is carried
    are two intervals, or four of means.
    """

    def __init__(self, *, linear: bool) -> None:
        self._linear = linear
        self._hidden = GroupTotals()
        self._tail = np.empty((3, 0))

    def add(self, sums: CrossingSums) -> None:
        """Take the next intervals in."""
        if sums.hidden is not None:
            self._hidden.add(sums.hidden)
        # The intervals on either side of the border between two stretches: each is judged here or in one of them.
        around = np.concatenate([self._tail, sums.first], axis=1)
        if around[:2].min() < 0 < around[:2].max():
            self._hidden = self._judged(around)
        self._tail = np.concatenate([self._tail, sums.last], axis=1)[:, -2 * _around(self._linear) :].copy()

    def _judged(self, rows: FloatArray) -> GroupTotals:
        """Return what is hidden with what intervals hide that have enough others on either side."""
        hidden = self._hidden.result().of_each(3, HALF)
        _judge(rows, crossed(*rows[:2]), hidden, linear=self._linear)
        totals = GroupTotals()
        totals.add(GroupSums.of_all(hidden))
        return totals

    def result(self) -> GroupSums:
        """Return what is hidden so far, by the power of two of the step's size, as in `CrossingSums`.

        The last intervals are judged as if nothing changed after them.
        """
        if not self._tail.shape[1]:
            return self._hidden.result()
        _, last, length_s = self._tail[:, -1]
        after = np.repeat([[last], [last], [length_s]], _around(self._linear), axis=1)
        rows = np.concatenate([self._tail, after], axis=1)
        return self._judged(rows).result()


class _StepsThroughZero(NamedTuple):
    """Steps: their sizes [unit], what each hides [unit s], and whether it leads to a level that does not hold."""

    size: FloatArray
    hidden: FloatArray
    to_bump: NDArray[np.bool_]


def _around(linear: bool) -> int:
    """Return how many intervals on either side tell a step from a slope."""
    return 1 if linear else 2


def _judge(rows: Sequence[FloatArray] | FloatArray, at: Indices, hidden: FloatArray, *, linear: bool) -> None:
    """Add what the intervals hide that have enough others on either side."""
    first, last, length_s = rows
    if len(length_s) <= 2 * _around(linear):
        return
    if linear:
        steps = _of_lines(first, last, length_s, at)
        np.add.at(hidden[0], size_of(steps.size), steps.hidden)
        return
    # Of means all are judged, not those at which the mean itself changes sign: the one that holds the step may have
    # either sign, and the levels before and after it decide. What bumps hide goes into the second row.
    steps = _of_means(last, length_s)
    np.add.at(hidden, (steps.to_bump.astype(int), size_of(steps.size)), steps.hidden)
    np.add.at(hidden[2], size_of(steps.size), steps.hidden * steps.hidden)


def _slope(before: FloatArray, step: FloatArray, after: FloatArray) -> FloatArray:
    """Return how much of a step's size changed on either side of it in the same direction. [1]"""
    # What changes in the other direction is the end of a short run, and no slope.
    way = np.sign(step)
    return (np.maximum(way * before, 0.0) + np.maximum(way * after, 0.0)) / np.abs(step)


def _of_lines(first: FloatArray, last: FloatArray, length_s: FloatArray, at: Indices) -> _StepsThroughZero:
    """Return what straight lines through zero hide, where they stand for steps."""
    at = at[(at > 0) & (at < len(last) - 1) & (first[at] * last[at] < 0)]
    before, change, after = (last[k] - first[k] for k in (at - 1, at, at + 1))
    a, b = np.abs(first[at]), np.abs(last[at])
    # A change no larger than its neighbours on both sides together is a slope, which the line tells rightly.
    share = np.maximum(1 - _slope(before, change, after) / 2, 0.0)
    # From a to -b a step anywhere in the interval dt draws a dt / 2 in the mean. The line draws a triangle up to its
    # zero, a / (a + b) of the interval: a dt / 2 x a / (a + b). The step draws more by a b dt / (2 (a + b)).
    return _StepsThroughZero(a + b, share * a * b / (a + b) / 2 * length_s[at], np.zeros(len(at), dtype=bool))


def _of_means(mean: FloatArray, length_s: FloatArray) -> _StepsThroughZero:
    """Return what means hide, of steps that fall into the third of five of them."""
    before, after = mean[1:-3], mean[3:-1]
    at = np.flatnonzero(before * after < 0)
    a, b, m, change = before[at], -after[at], mean[at + 2], after[at] - before[at]
    # With the step from a to -b at the share u of the interval its mean is m = a u - b (1 - u), which tells u. What was
    # drawn, a u, and returned, b (1 - u), cancel but for m: the smaller of the two is hidden of both.
    share = np.clip((m + b) / (a + b), 0, 1)
    hidden = np.minimum(np.abs(a * share), np.abs(b * (1 - share))) * length_s[at + 2]
    # Where the signal goes on changing before and after, it is a slope, which hides a quarter: with a = b it falls from
    # a / 2 to -a / 2 within the interval and hides a / 8, a step in its middle a / 2.
    led, goes_on = a - mean[at], mean[at + 4] + b
    step = np.maximum(1 - _slope(led, change, goes_on), 0)
    turns = np.minimum(led * np.sign(change), goes_on * np.sign(change)) < -_TURNS * np.abs(change)
    return _StepsThroughZero(np.abs(change), (step + (1 - step) / 4) * hidden, turns)
