"""Drawn and returned charge as they grow over time, in a bounded number of points: the base of every state."""

from __future__ import annotations

from collections.abc import Set
from dataclasses import dataclass

import numpy as np

from ..charge.completed import CURRENT, CompletedIntervals, PieceReader
from ..not_known import Refusal
from ..readings.blocks import firsts
from ..readings.chunk import SECONDS_PER_HOUR, Chunk, FloatArray, TimeArray, sums_of_runs
from ..readings.measured_span import HowRead


class CurrentFold:
    """A fold of the current at the bank, which carries one reading; `take` is what it does with the intervals.

    Raises
    ------
    Refusal
        If the log cannot say what went in and out of the bank.
    """

    def __init__(self, how: HowRead, quantities: Set[str]) -> None:
        if how.side != "dc" or "current_A" not in quantities:
            raise Refusal("what goes in and out of the bank needs amps measured on its DC side; this log has none")
        self._reader = PieceReader(how, CURRENT)

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        pieces = self._reader.take(chunk.with_values({"i": chunk.quantities["current_A"]}))
        if pieces is not None:
            self.take(pieces)

    def take(self, pieces: CompletedIntervals) -> None:
        """Take in what the next readings of the current complete, where somebody else reads them."""
        raise NotImplementedError


@dataclass(frozen=True)
class RunningCharge:
    """What had gone out and come back by each of some rising instants, since the log's first reading.

    Both charges are positive; ``covered_h`` is the time measured until then, to which gaps add nothing. The highest
    currents are those either way and into the bank; ``uncovered_s`` is the time in gaps, whose charge is not counted.
    """

    time_us: TimeArray
    drawn_Ah: FloatArray
    returned_Ah: FloatArray
    covered_h: FloatArray
    highest_A: float
    uncovered_s: float
    returned_A: float = 0.0


class RunningChargeFold(CurrentFold):
    """Follow drawn and returned charge over time, as a fold; it carries one reading and at most `most` points.

    Points are the last interval's end in each bucket of time; buckets are whole multiples of their width since 1970,
    and where there are more than `most`, neighbours are put together and the width doubles.
    """

    def __init__(self, how: HowRead, quantities: Set[str], *, most: int = 400) -> None:
        super().__init__(how, quantities)
        self._most = most
        self._width_us = 1_000_000
        self._time_us: TimeArray = np.empty(0, dtype=np.int64)
        self._sums: FloatArray = np.empty((0, 3))  # drawn, returned [A s], covered [s]
        self._last: FloatArray = np.zeros(3)
        self._highest_A = self._returned_A = 0.0
        self._gap_us = 0

    def take(self, pieces: CompletedIntervals) -> None:
        """Take in what the next readings of the current complete, where somebody else reads them."""
        self._gap_us += int((pieces.gap_stop_us - pieces.gap_start_us).sum())
        stop_us = pieces.measured.stop_us
        if not len(stop_us):
            return
        self._returned_A = max(self._returned_A, -pieces.sums.low)
        self._highest_A = max(self._highest_A, pieces.sums.high, self._returned_A)
        # Sums of each bucket first, and running totals of these alone: a log has far more readings than points.
        first = firsts(stop_us, self._width_us)
        last = np.append(first[1:], len(stop_us)) - 1
        growth = [sums_of_runs(x, first) for x in (*pieces.split, pieces.measured.length_s)]
        sums = self._last + np.cumsum(np.stack(growth, axis=1), axis=0)
        self._last = sums[-1]
        self._merge(np.concatenate([self._time_us, stop_us[last]]), np.concatenate([self._sums, sums]))
        while len(self._time_us) > self._most:
            self._width_us *= 2
            self._merge(self._time_us, self._sums)

    def _merge(self, time_us: TimeArray, sums: FloatArray) -> None:
        """Hold the last point of each bucket: totals only grow, so it says all that the others of it said."""
        last = np.append(firsts(time_us, self._width_us)[1:], len(time_us)) - 1
        self._time_us, self._sums = time_us[last], sums[last]

    def result(self) -> RunningCharge:
        """Return the points so far."""
        drawn, returned, covered = (self._sums / SECONDS_PER_HOUR).T
        gaps_s = self._gap_us / 1e6
        return RunningCharge(self._time_us, drawn, returned, covered, self._highest_A, gaps_s, self._returned_A)


@dataclass(frozen=True)
class FineReturn:
    """What had come back by each of many instants: charge, and energy where volts are known (in watt-hours then)."""

    charge: RunningCharge
    energy: RunningCharge | None
