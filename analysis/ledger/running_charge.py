"""Drawn and returned charge as they grow over time, in a bounded number of points: the base of every state."""

from __future__ import annotations

from collections.abc import Set
from dataclasses import dataclass

import numpy as np

from shuntbook.analysis.charge.completed import CURRENT, CompletedIntervals, PieceReader
from shuntbook.analysis.not_known import Refusal
from shuntbook.analysis.readings.blocks import firsts
from shuntbook.analysis.readings.chunk import SECONDS_PER_HOUR, Chunk, FloatArray, TimeArray
from shuntbook.analysis.readings.measured_span import HowRead


class MeasuredCurrent:
    """Turns readings of current into measured intervals; carries one reading.

    Parameters
    ----------
    how : HowRead
        What a reading stands for.
    quantities : set of str
        The quantities the log has.

    Raises
    ------
    Refusal
        If the log cannot say what went in and out of the bank.
    """

    def __init__(self, how: HowRead, quantities: Set[str]) -> None:
        if how.side != "dc" or "current_A" not in quantities:
            raise Refusal("what goes in and out of the bank needs amps measured on its DC side; this log has none")
        self._reader = PieceReader(how, CURRENT)

    def take(self, chunk: Chunk) -> CompletedIntervals | None:
        """Return what the next readings complete; None if none of them has a current."""
        return self._reader.take(chunk.time_us, {"i": chunk.quantities["current_A"]})


@dataclass(frozen=True)
class RunningCharge:
    """What had gone out and come back by each of some instants.

    Parameters
    ----------
    time_us : array of int64, shape (n,)
        Instants, rising. [us]
    drawn_Ah, returned_Ah : array, shape (n,)
        Since the log's first reading, both positive. [Ah]
    covered_h : array, shape (n,)
        Measured time until then; gaps add nothing. [h]
    highest_A : float
        The highest current either way. [A]
    uncovered_s : float
        Time in gaps: what flowed then is not counted. [s]
    returned_A : float
        The highest current into the bank. [A]
    """

    time_us: TimeArray
    drawn_Ah: FloatArray
    returned_Ah: FloatArray
    covered_h: FloatArray
    highest_A: float
    uncovered_s: float
    returned_A: float = 0.0


class RunningChargeFold:
    """Follow drawn and returned charge over time, as a fold; it carries one reading.

    Points are the last interval's end in each bucket of time; buckets are whole multiples of their width since 1970,
    and where there are more than `most`, neighbours are put together and the width doubles.

    Parameters
    ----------
    how : HowRead
        What a reading stands for.
    quantities : set of str
        The quantities the log has.
    most : int
        Highest number of points kept. [1]

    Raises
    ------
    Refusal
        If the log has no current on the DC side.
    """

    def __init__(self, how: HowRead, quantities: Set[str], *, most: int = 400) -> None:
        self._current = MeasuredCurrent(how, quantities)
        self._most = most
        self._width_us = 1_000_000
        self._time_us: TimeArray = np.empty(0, dtype=np.int64)
        self._sums: FloatArray = np.empty((0, 3))  # drawn, returned [A s], covered [s]
        self._last: FloatArray = np.zeros(3)
        self._highest_A = self._returned_A = 0.0
        self._gap_us = 0

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        stretch = self._current.take(chunk)
        if stretch is not None:
            self.take(stretch)

    def take(self, stretch: CompletedIntervals) -> None:
        """Take in what the next readings of the current complete, where somebody else reads them."""
        self._gap_us += int((stretch.gap_stop_us - stretch.gap_start_us).sum())
        if not len(stretch.measured.stop_us):
            return
        self._returned_A = max(self._returned_A, -stretch.sums.low)
        self._highest_A = max(self._highest_A, stretch.sums.high, self._returned_A)
        first = firsts(stretch.measured.stop_us, self._width_us)
        last = np.append(first[1:], len(stretch.measured.stop_us)) - 1
        growth = [np.add.reduceat(x, first) for x in (*stretch.split, stretch.measured.length_s)]
        sums = self._last + np.cumsum(np.stack(growth, axis=1), axis=0)
        self._last = sums[-1]
        self._merge(np.concatenate([self._time_us, stretch.measured.stop_us[last]]), np.concatenate([self._sums, sums]))
        while len(self._time_us) > self._most:
            self._width_us *= 2
            self._merge(self._time_us, self._sums)

    def _merge(self, time_us: TimeArray, sums: FloatArray) -> None:
        """Keep the last point of each bucket."""
        last = np.append(firsts(time_us, self._width_us)[1:], len(time_us)) - 1
        self._time_us, self._sums = time_us[last], sums[last]

    def result(self) -> RunningCharge:
        """Return the points so far."""
        drawn, returned, covered = (self._sums / SECONDS_PER_HOUR).T
        gaps_s = self._gap_us / 1e6
        return RunningCharge(self._time_us, drawn, returned, covered, self._highest_A, gaps_s, self._returned_A)
