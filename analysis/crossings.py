"""What readings hide where the current changes its direction between two of them.

A step from drawing to returning is no straight line through zero: until its instant all was drawn, after it all was
returned. A line, or a mean over the interval, lets the two cancel, so both amounts come out too small by the same.
"""

from __future__ import annotations

import numpy as np

from .chunk import FloatArray
from .sizes import HALF, size_of


class Crossings:
    """Sum what steps through zero hide of draw and of return alike; part of a fold.

    A reading's neighbours tell a step from a slope, so an interval is judged when the next is known; what is carried
    are two intervals.

    Parameters
    ----------
    linear : bool
        Whether the signal is taken to run linearly between readings; else a reading is a mean over its interval.
    """

    def __init__(self, *, linear: bool) -> None:
        self._linear = linear
        self._hidden = np.zeros(HALF)
        self._tail = np.empty((3, 0))

    def add(self, first: FloatArray, last: FloatArray, length_s: FloatArray, *, changes_sign: bool) -> None:
        """Take the next intervals in.

        Parameters
        ----------
        first, last : array, shape (n,)
            The signal at either end. [unit]
        length_s : array, shape (n,)
            Their lengths. [s]
        changes_sign : bool
            Whether the signal is above zero at one of these ends and below at another.
        """
        new = [first, last, length_s]
        if not changes_sign:  # so only what is next to the intervals before and after counts
            keep = 2 * self._around
            new = [np.concatenate([x[:keep], x[max(keep, len(x) - keep) :]]) for x in new]
        rows = np.concatenate([self._tail, new], axis=1)
        self._tail = rows[:, -2 * self._around :].copy()  # a view would keep all of it
        self._judge(rows, self._hidden)

    def result(self) -> FloatArray:
        """Return what is hidden so far, by the power of two of the step's size; shape (2048,). [unit s]

        The last intervals are judged as if nothing changed after them.
        """
        hidden = self._hidden.copy()
        if not self._tail.shape[1]:
            return hidden
        _, last, length_s = self._tail[:, -1]
        after = np.repeat([[last], [last], [length_s]], self._around, axis=1)
        self._judge(np.concatenate([self._tail, after], axis=1), hidden)
        return hidden

    @property
    def _around(self) -> int:
        """How many intervals on either side tell a step from a slope."""
        return 1 if self._linear else 2

    def _judge(self, rows: FloatArray, hidden: FloatArray) -> None:
        """Add what the intervals hide that have enough others on either side. [unit s]"""
        if rows.shape[1] > 2 * self._around:
            step, amount = _of_lines(*rows) if self._linear else _of_means(*rows)
            np.add.at(hidden, size_of(step), amount)


Found = tuple[FloatArray, FloatArray]


def _of_lines(first: FloatArray, last: FloatArray, length_s: FloatArray) -> Found:
    """Return the sizes of steps, and what lines through zero hide, where they stand for steps.

    With a at the one end and -b at the other, a step anywhere between draws a dt / 2 in the mean, a line a dt / 2 x
    a / (a + b): less by a b dt / (2 (a + b)). A change no larger than its neighbours is a slope, and hides nothing.
    """
    at = np.flatnonzero(first[1:-1] * last[1:-1] < 0) + 1
    before, change, after = (np.abs(last[k] - first[k]) for k in (at - 1, at, at + 1))
    slope = (before + after) / 2 / change
    a, b = np.abs(first[at]), np.abs(last[at])
    return a + b, np.maximum(1 - slope, 0) * a * b / (a + b) / 2 * length_s[at]


def _of_means(_: FloatArray, mean: FloatArray, length_s: FloatArray) -> Found:
    """Return the sizes of steps, and what means hide.

    Between a before and -b after, a step at the share u of the interval makes its mean.

    The mean is a u - b (1 - u), of which a u was drawn and b (1 - u) returned; the smaller of the two is hidden. Where
    the signal goes on changing before and after, it is a slope, which hides a quarter of that.
    """
    before, after = mean[1:-3], mean[3:-1]
    at = np.flatnonzero(before * after < 0)
    a, b, m = before[at], -after[at], mean[at + 2]
    share = np.clip((m + b) / (a + b), 0, 1)
    slope = (np.abs(a - mean[at]) + np.abs(mean[at + 4] + b)) / np.abs(a + b)
    step = np.maximum(1 - slope, 0)
    hidden = np.minimum(np.abs(a * share), np.abs(b * (1 - share))) * length_s[at + 2]
    return np.abs(a + b), (step + (1 - step) / 4) * hidden
