"""Sums of amounts by groups: by the hour of the clock, by sign, and by the size of a number as a power of two."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from ..readings.blocks import firsts
from ..readings.chunk import MICROSECONDS, FloatArray, TimeArray, is_one_number, sums_of_runs
from ..readings.measured_span import Gap

#: A double's sign and exponent make so many sizes; those of one sign are half of them. [1]
SIZES: Final = 4096
HALF: Final = SIZES // 2
#: So far down are a double's sign and exponent. [bit]
_SHIFT: Final = 52
#: From runs of so many on, adding up by runs is quicker than by numbers, as measured. [1]
_RUN: Final = 6
_HOUR_US: Final = 3600 * MICROSECONDS
#: With fewer than one number in so many groups the groups are sought, and not all of them counted: quicker. [1]
_SPARSE: Final = 64
#: So many stretches are held before they are put together. [1]
_MOST_PARTS: Final = 64


def size_of(x: FloatArray) -> NDArray[np.int64]:
    """Return sign and power of two of each number as one index, from 0 to `SIZES`; negative ones from `HALF` on."""
    # The upper bits of a double are just that, so no logarithm has to be taken.
    return (np.ascontiguousarray(x).view(np.uint64) >> _SHIFT).view(np.int64)


@dataclass(frozen=True, slots=True)
class GroupSums:
    """Sums by groups of which few hold anything: the numbers of these, rising, and their sums, shape (amounts, n)."""

    group: NDArray[np.int64]
    sums: FloatArray

    @classmethod
    def of_all(cls, sums: FloatArray) -> GroupSums:
        """Return the sums of all groups, shape (amounts, groups), without the groups that hold nothing."""
        group = np.flatnonzero(sums.any(axis=0))
        return cls(group, sums[:, group])

    @classmethod
    def counted(cls, group: NDArray[np.int64], count: int) -> GroupSums:
        """Return how often each group is there, of `count`."""
        if not len(group):
            return cls(group, np.empty((1, 0)))
        if len(group) * _SPARSE > count:
            counts = np.bincount(group)
            at = np.flatnonzero(counts)
            return cls(at, counts[at][None].astype(np.float64))
        groups, counts = np.unique(group, return_counts=True)
        return cls(groups, counts[None].astype(np.float64))

    def of_each(self, amounts: int, count: int) -> FloatArray:
        """Return the sums of all groups, of which there are `count`; shape (amounts, count)."""
        sums = np.zeros((amounts, count))
        sums[:, self.group] = self.sums
        return sums


_NOTHING: Final = GroupSums(np.empty(0, np.int64), np.empty((1, 0)))


class GroupTotals:
    """Totals of such sums; part of a fold. What it carries grows with the groups that hold anything."""

    def __init__(self) -> None:
        self._parts: list[GroupSums] = []

    def add(self, sums: GroupSums) -> None:
        """Take the next sums in."""
        self._parts.append(sums)
        if len(self._parts) > _MOST_PARTS:
            self._parts = [self.result()]

    def result(self) -> GroupSums:
        """Return the totals so far."""
        parts = [part for part in self._parts if len(part.group)]
        if len(parts) < 2:
            return parts[0] if parts else _NOTHING
        # One after the other, as if each group had a running total: however many parts there are at once, the same.
        group, which = np.unique(np.concatenate([part.group for part in parts]), return_inverse=True)
        rows = np.concatenate([part.sums for part in parts], axis=1)
        return GroupSums(group, np.array([np.bincount(which, row, len(group)) for row in rows]))


def sums_by_size(x: FloatArray, *amounts: FloatArray) -> FloatArray:
    """Return each amount's sums by the size of `x`, of which there is at least one; shape (number of amounts, 4096)."""
    return _sums_by(size_of(x), SIZES, amounts)


def sums_by_sign(x: FloatArray, *amounts: FloatArray) -> FloatArray:
    """Return each amount's sum where `x`, at least one, is not below zero, and where it is; shape (amounts, 2)."""
    return _sums_by(x < 0, 2, amounts)


def _sums_by(group: NDArray[Any], count: int, amounts: Sequence[FloatArray]) -> FloatArray:
    """Return sums by group, of which there are `count`."""
    # Where neighbours are mostly of one group, what belongs to a run of them is put together first: far quicker.
    first = np.flatnonzero(group[1:] != group[:-1]) + 1
    if len(first) <= len(group) // _RUN:
        first = np.concatenate([[0], first])
        group, amounts = group[first], [sums_of_runs(amount, first) for amount in amounts]
    return np.array([_counted(group, amount, count) for amount in amounts])


def _counted(group: NDArray[Any], amount: FloatArray, count: int) -> FloatArray:
    if not is_one_number(amount):
        return np.asarray(np.bincount(group, amount, count), np.float64)
    counts = np.bincount(group, minlength=count) if amount[0] else np.zeros(count)
    return np.asarray(counts * amount[0], np.float64)


@dataclass(frozen=True)
class HourSums:
    """What some intervals hold hour by hour of the clock (UTC): hours since 1970, rising, and sums of shape (n, 3).

    These are drawn, returned [unit s] and time [s] in each. An interval counts wholly for the hour it begins in: good
    enough for a guess at what a gap held.
    """

    hour: TimeArray
    sums: FloatArray

    @classmethod
    def of(cls, start_us: TimeArray, above: FloatArray, below: FloatArray, length_s: FloatArray) -> HourSums:
        """Return the sums of intervals, at least one: where they begin [us], the amounts [unit s], how long [s]."""
        first = firsts(start_us, _HOUR_US)
        sums = [sums_of_runs(x, first) for x in (above, below, length_s)]
        return cls(start_us[first] // _HOUR_US, np.stack(sums, 1))

    @property
    def total(self) -> tuple[float, float, float]:
        """Drawn, returned [unit s] and time [s] in all."""
        drawn, returned, time_s = self.sums.sum(axis=0).tolist()
        return drawn, returned, time_s


class Hours:
    """Totals by hour of the clock (UTC); part of a fold. It grows by four numbers an hour."""

    def __init__(self) -> None:
        self._parts: list[HourSums] = []

    def add(self, sums: HourSums) -> None:
        """Take the next intervals in."""
        self._parts.append(sums)
        if len(self._parts) > _MOST_PARTS:
            self._parts = [self._together()]

    def _together(self) -> HourSums:
        """Return all so far, each hour once."""
        hour = np.concatenate([part.hour for part in self._parts])
        first = np.flatnonzero(np.diff(hour, prepend=-1))
        return HourSums(hour[first], np.add.reduceat(np.concatenate([part.sums for part in self._parts]), first))

    def like_around(self, gaps: list[Gap]) -> tuple[float, float] | None:
        """Return what gaps would have held had they been like the hours around them.

        Drawn and returned, both positive [unit s]; None where nothing was measured around one of them.
        """
        if not self._parts:
            return None
        together = self._together()
        hour, sums = together.hour, together.sums
        drawn = returned = 0.0
        for gap in gaps:
            # The hours in which the gap begins and ends, and those before and after them: a pump runs by the hour of
            # the day, so what is near in time is the likeliest.
            low, high = (gap.start_us - _HOUR_US) // _HOUR_US, (gap.stop_us + _HOUR_US) // _HOUR_US
            near = np.unique([low, low + 1, high - 1, high])
            at = np.searchsorted(hour, near)
            at = at[hour[np.minimum(at, len(hour) - 1)] == near]
            above, below, length_s = sums[at].sum(axis=0).tolist()
            if length_s <= 0:
                return None
            drawn += above / length_s * gap.length_s
            returned += below / length_s * gap.length_s
        return drawn, returned
