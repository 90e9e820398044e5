"""Rises that readings show of runs too brief for them: a lower bound of starts.

A reading above its neighbours on both sides proves that something was on in between and off around it, whether readings
are instants or means: so each peak between two troughs is at least one start, however far apart readings are. Peaks are
paired with troughs as in rainflow counting (four points; ASTM E1049, from memory), so that what other loads do
underneath does not matter.

The question answered here: how often did something start at the least, where readings are too far apart for plateaus?
It needs nothing before it but the readings; `steps` asks it beside the plateaus, and whether such rises are the load's
is judged where findings are, by its draw.
"""

from __future__ import annotations

import copy
import math
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..readings.chunk import MICROSECONDS, FloatArray, TimeArray

#: Rises are counted by quarters of an hour, and by their size in steps of this ratio. [s], [1]
QUARTER_S: Final = 900.0
RATIO: Final = 1.1
#: Readings closer together than this show runs of some seconds themselves. [s]
SLOW_S: Final = 2.0

#: Changes beyond so many standard deviations of the noise, and so many of a meter's smallest steps, are not noise.
NOISE_TIMES, GRAINS = 6.0, 2.5
#: This quantile of the changes that noise makes is so many times its standard deviation, if it is a bell's. [1], [1]
LOW, LOW_OF_NOISE = 0.2, 0.2533 * math.sqrt(2)
#: Fewer changes tell nothing of the noise.
ENOUGH: Final = 64


class _Turn(NamedTuple):
    """A turning point of the signal: its level [unit], when, and the voltage then [V]."""

    level: float
    at_us: int
    volts: float


@dataclass(frozen=True)
class Rises:
    """How many rises of which size [unit of the signal] there were in each quarter of an hour; arrays of one shape.

    Quarters are counted from 1970. ``volts`` is the mean voltage at their tops, NaN where none was read. ``charged``
    says whether the bank was charged at any time of that quarter: then clouds rise and fall as well; ``means`` whether
    readings are means: then a run of less than a spacing is a rise by less than its draw.
    """

    quarter: NDArray[np.int64]
    size: FloatArray
    count: NDArray[np.int64]
    volts: FloatArray
    charged: NDArray[np.bool_]
    means: bool

    def by_hour(self, which: NDArray[np.bool_]) -> tuple[NDArray[np.int64], TimeArray]:
        """Return how many of these rises four quarters on end hold, from each with any on, and its begin. [1], [us]."""
        quarters, at = np.unique(self.quarter[which], return_inverse=True)
        total = np.concatenate([[0], np.cumsum(np.bincount(at, self.count[which]))])
        hours = total[np.searchsorted(quarters, quarters + 4)] - total[:-1]
        return hours.astype(np.int64), quarters * int(QUARTER_S * MICROSECONDS)


class RiseCounter:
    """Counts rises as readings come, in order; carries a few turning points and the counts so far."""

    def __init__(self, *, means: bool) -> None:
        self._means = means
        self._turns: list[_Turn] = []
        self._counts: dict[tuple[int, int], tuple[int, float]] = {}
        self._charged: set[int] = set()
        self._least = 0.0

    def twin(self) -> RiseCounter:
        """Return a counter that can go on without changing this one."""
        twin = copy.copy(self)
        twin._turns, twin._counts, twin._charged = list(self._turns), dict(self._counts), set(self._charged)
        return twin

    def take(self, time_us: TimeArray, x: FloatArray, volts: FloatArray, is_gap: NDArray[np.bool_]) -> None:
        """Take readings in; the first of them was the last before. `is_gap` says before which nothing was measured."""
        least = self._least = _least_of(x, is_gap, self._least)
        self._charged.update(np.unique(time_us[x < -least] // int(QUARTER_S * MICROSECONDS)).tolist())
        # Between two readings that differ by no more than noise nothing turns: those are passed over as arrays, and the
        # others, few as a rule, looked at one by one.
        stands = np.zeros(len(x), dtype=bool)
        jumps = (np.abs(np.diff(x)) > least) | is_gap[1:]
        stands[1:] |= jumps
        stands[:-1] |= jumps
        at = np.flatnonzero(stands)
        columns = (column[at].tolist() for column in (time_us, x, volts, is_gap))
        for when_us, level, volt, after_gap in zip(*columns, strict=True):
            if after_gap:
                self._flush(least)
            self._add(_Turn(level, when_us, volt), least)

    def _add(self, turn: _Turn, least: float) -> None:
        """Add a reading; take out pairs of turning points that lie within those around them."""
        turns = self._turns
        # It goes on the same way: the reading before was no turning point.
        if len(turns) > 1 and (turns[-1].level - turns[-2].level) * (turn.level - turns[-1].level) >= 0:
            turns.pop()
        turns.append(turn)
        # The middle two of four are a rise of their own if both sides reach beyond them. Taken out, they leave the
        # larger rise around them whole: a kettle on top of a heater is one rise, and the heater another.
        while len(turns) > 3:
            a, b, c, d = turns[-4:]
            if abs(b.level - c.level) > min(abs(a.level - b.level), abs(c.level - d.level)):
                break
            self._count(max(b, c), abs(b.level - c.level), least)
            del turns[-3:-1]

    def _flush(self, least: float) -> None:
        """Count the peaks that are left, each by the lower of its sides, and begin anew."""
        turns = self._turns
        for a, b, c in zip(turns, turns[1:], turns[2:], strict=False):
            if b.level > max(a.level, c.level):
                self._count(b, b.level - max(a.level, c.level), least)
        self._turns = []

    def _count(self, top: _Turn, size: float, least: float) -> None:
        if size > max(least, 0.0):
            key = top.at_us // int(QUARTER_S * MICROSECONDS), math.floor(math.log(size, RATIO))
            count, volts = self._counts.get(key, (0, 0.0))
            self._counts[key] = count + 1, volts + top.volts

    def result(self) -> Rises:
        """Return the rises so far."""
        twin = self.twin()
        twin._flush(0.0)
        keys = sorted(twin._counts)
        counts = [twin._counts[key] for key in keys]
        count = np.array([number for number, _ in counts], dtype=np.int64)
        return Rises(
            quarter=np.array([quarter for quarter, _ in keys], dtype=np.int64),
            size=np.array([RATIO ** (step + 0.5) for _, step in keys]),
            count=count,
            volts=np.array([volts for _, volts in counts]) / count if keys else np.empty(0),
            charged=np.array([quarter in twin._charged for quarter, _ in keys], dtype=bool),
            means=self._means,
        )


def _least_of(x: FloatArray, is_gap: NDArray[np.bool_], before: float) -> float:
    """Return the smallest change that is none of noise; what held before where there are too few readings. [unit].

    Noise is judged by the smaller changes alone: where a load switches from reading to reading, most are its own.
    """
    size = np.abs(np.diff(x))[~is_gap[1:]]
    if (before and len(size) < ENOUGH) or not size.any():
        return before
    # A coarse meter has no smaller changes than its digit, and their lower fifth is then nought: digits set the limit.
    grain = float(size[size > 0].min())
    return max(NOISE_TIMES * float(np.quantile(size, LOW)) / LOW_OF_NOISE, GRAINS * grain)
