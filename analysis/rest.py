"""Find the stretch of a log that could be a true rest, to propose it for a check of the meter's zero."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import sqrt
from typing import Final

import numpy as np

from .block_means import BlockMeans
from .chunk import MICROSECONDS, Chunk, FloatArray, TimeArray
from .integral import inner
from .pieces import InPieces, Piece, gaps_before
from .ranges import MostPart
from .threshold import Threshold
from .zero_check import smallest_step

#: A rest lasts at least this long and has at least so many readings: common practice, no source.
LEAST_S: Final = 60.0
LEAST_READINGS: Final = 10
#: It is level where means of blocks of it stay within so many times what the noise from reading to reading lets them,
#: and one of the meter's smallest steps: common practice, no source; sun that balances a load wanders further. [1]
LEVEL_TIMES: Final = 10.0
#: It is near zero where it reads less than this share of what the log reads at most (`MostPart`): common practice, no
#: source; an offset is a small part of a meter's range; a standing draw may be as small. [1]
NEAR: Final = 0.01


@dataclass(frozen=True)
class Rest:
    """A level stretch near zero. Whether nothing flowed then, only the person can say.

    Parameters
    ----------
    start_us, stop_us : int
        Its first and last reading. [us]
    readings : int
        How many it holds.
    mean_A, u_A : float
        Their mean and its standard uncertainty, from means of blocks; not less than the meter's smallest step over
        sqrt(12) (GUM F.2.2.1). [A]
    """

    start_us: int
    stop_us: int
    readings: int
    mean_A: float
    u_A: float


class RestFold(InPieces[Rest | None]):
    """Find the best rest, as a fold: level, the nearest to zero, the surest known.

    The tail it carries is one piece, the block means of the stretch that goes on, and the best one so far.

    Parameters
    ----------
    gap_limit_s : float or None
        A longer spacing ends a stretch. [s]
    """

    def __init__(self, gap_limit_s: float | None) -> None:
        super().__init__(RestPart(gap_limit_s))

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        super().add(Chunk(chunk.time_us, {"current_A": chunk.quantities["current_A"]}))


class RestPart:
    """The same for pieces of readings that have amps."""

    def __init__(self, gap_limit_s: float | None) -> None:
        self._gap_limit_s = gap_limit_s
        self._threshold = Threshold()
        self._start_us = self._stop_us = 0
        self._means = BlockMeans()
        self._squares_A2 = 0.0
        self._most = MostPart("current_A")
        self._grain_A = np.inf
        self._best: Rest | None = None

    def take(self, piece: Piece) -> None:
        """Take the next piece in."""
        piece = piece.having("current_A")
        x, time_us = piece.readings.quantities["current_A"], piece.readings.time_us
        if not len(x):
            return
        is_gap = gaps_before(time_us, self._gap_limit_s)
        change = np.abs(np.diff(x, prepend=x[0]))
        self._grain_A = min(self._grain_A, float(change[change > 0].min(initial=np.inf)))
        self._most.take(piece)
        starts = piece.inside(is_gap | (change > self._threshold.of(x, is_gap))).tolist()
        bounds = [piece.start, *starts, piece.stop]
        for a, b in pairwise(bounds):
            if a in starts:
                self._close()
            if b > a:
                self._grow(time_us[a:b], x[a:b], change[a:b])

    def _grow(self, time_us: TimeArray, x: FloatArray, change_A: FloatArray) -> None:
        if not self._means.count:
            self._start_us, self._squares_A2 = int(time_us[0]), 0.0
            change_A = change_A[1:]
        self._stop_us = int(time_us[-1])
        self._squares_A2 += inner(change_A, change_A)
        self._means.add(x)

    def _close(self) -> None:
        """End the stretch that goes on, and keep it if it is the best so far."""
        self._best = self._better()
        self._means = BlockMeans()

    def _better(self) -> Rest | None:
        found = self._candidate()
        if found is None or (self._best is not None and _distance_A(self._best) <= _distance_A(found)):
            return self._best
        return found

    def _candidate(self) -> Rest | None:
        """Return the stretch that goes on, if it is long enough and level."""
        count, length_s = self._means.count, (self._stop_us - self._start_us) / MICROSECONDS
        if count < LEAST_READINGS or length_s < LEAST_S:
            return None
        blocks = self._means.blocks()
        noise_A = sqrt(self._squares_A2 / (count - 1) / 2)
        digit_A = smallest_step(self._grain_A, self._most.result() or 0.0)
        if np.ptp(blocks) > LEVEL_TIMES * noise_A / sqrt(count // len(blocks)) + digit_A:
            return None
        return Rest(self._start_us, self._stop_us, count, self._means.mean, self._means.uncertainty()[0])

    def result(self) -> Rest | None:
        """Return the best rest so far; None where no stretch is level and near zero."""
        best = self._better()
        if best is None or abs(best.mean_A) > NEAR * (self._most.result() or 0.0):
            return None
        digit_A = smallest_step(self._grain_A, self._most.result() or 0.0) / sqrt(12)
        return Rest(best.start_us, best.stop_us, best.readings, best.mean_A, max(best.u_A, digit_A))


def _distance_A(rest: Rest) -> float:
    """Return how far from zero a rest may be: the smaller, the likelier nothing flowed. [A]"""
    return abs(rest.mean_A) + 2 * rest.u_A
