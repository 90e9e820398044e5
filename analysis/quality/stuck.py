"""Readings that stand still: the same value to the last digit for improbably long."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..readings.blocks import Piece
from ..readings.chunk import Chunk, FloatArray, join

#: A stretch shorter than this is not judged, nor a value of fewer than so many of the meter's smallest steps, which
#: repeats by itself: common practice, no source. [1]
LEAST_READINGS: Final = 60
LEAST_DIGITS: Final = 20.0
#: Where readings repeat more often than this by themselves, a stretch of them says nothing; and how improbable one must
#: be otherwise: common practice, no source. [1]
MOST_REPEATS: Final = 0.9
IMPROBABLE: Final = 1e-15
#: The other quantities move where at least so many, and this share, of their readings change; they stand still as well
#: where no more than a few do, about the ends: common practice, no source.
LEAST_MOVES, SHARE_MOVES, FEW_MOVES = 10, 0.2, 4
#: The runs before one that tell how often readings repeated just then; and how many long ones are kept.
_BEFORE: Final = 20
_KEPT: Final = 16


@dataclass(frozen=True)
class Stuck:
    """A stretch in which a quantity stood still.

    ``others_moved`` tells whether the other quantities went on meanwhile; if not, the meter or its line hung.
    ``swing`` is what the first of them ranged over, in its own unit.
    """

    quantity: str
    start_us: int
    stop_us: int
    readings: int
    value: float
    others_moved: bool
    swing: float


@dataclass(frozen=True)
class Repeats:
    """How often a quantity's readings repeat, noughts apart, and the stretches that are improbable.

    ``share`` is that of readings, not nought, that are followed by the same; None where there are none. ``grain`` is
    the smallest change seen, infinite where there was none.
    """

    share: float | None
    stuck: tuple[Stuck, ...]
    grain: float


@dataclass(frozen=True)
class _Run:
    """A run of equal readings.

    `moves` of its steps changed another quantity, the first of which went from `low` to `high`; `before` is the mean
    length of the runs before.
    """

    start_us: int
    stop_us: int
    readings: int
    value: float
    moves: int
    low: float
    high: float
    before: float

    def after(self, begun: _Run) -> _Run:
        """Return the run that this one goes on with; its last reading is the first of this one."""
        low, high = float(np.fmin(begun.low, self.low)), float(np.fmax(begun.high, self.high))
        readings, moves = begun.readings + self.readings - 1, begun.moves + self.moves
        return replace(begun, stop_us=self.stop_us, readings=readings, moves=moves, low=low, high=high)


class StuckPart:
    """Follow the runs of equal readings of one quantity, which is among those `watched`.

    The others move when it should; the first of them is followed closely. It carries the last reading and the open run,
    the lengths of the 20 runs before it, and the 16 longest.
    """

    def __init__(self, name: str, watched: tuple[str, ...]) -> None:
        self._name, self._others = name, tuple(other for other in watched if other != name)
        self._tail: Chunk | None = None
        self._open: _Run | None = None
        self._lengths: FloatArray = np.empty(0)
        self._long: list[_Run] = []
        self._pairs = self._repeats = 0
        self._grain = np.inf

    def take(self, piece: Piece) -> None:
        """Take the next piece in."""
        new = piece.having(self._name).new()
        if not len(new):
            return
        new = Chunk(new.time_us, {name: new.quantities[name] for name in (self._name, *self._others)})
        readings = new if self._tail is None else join([self._tail, new])
        self._tail = new.part(len(new) - 1, len(new))
        x = readings.quantities[self._name]
        change = np.diff(x)
        self._pairs += int((x[1:] != 0).sum())
        self._repeats += int(((change == 0) & (x[1:] != 0)).sum())
        self._grain = min(self._grain, float(np.abs(change[change != 0]).min(initial=np.inf)))
        self._follow(readings, x, change == 0)

    def _follow(self, readings: Chunk, x: FloatArray, same: NDArray[np.bool_]) -> None:
        """Close the runs that end here, and leave the last one open; `same` is of the steps between readings."""
        ends = np.flatnonzero(~same)
        first, last = np.concatenate([[0], ends + 1]), np.append(ends, len(x) - 1)
        count = last - first + 1
        # What the open run held before goes into the first run here; one reading of it is both the tail's and this
        # one's.
        if self._open is not None:
            count[0] += self._open.readings - 1
        lengths = np.concatenate([self._lengths, count])
        # Of the thousands of short runs none can be improbable, so only long ones become records; nought is a load at
        # rest.
        worth = np.flatnonzero((count >= LEAST_READINGS) & (x[first] != 0)).tolist()
        runs = {}
        for k in {*worth, len(count) - 1}:
            at = len(self._lengths) + k
            run = self._run(readings.part(first[k], last[k] + 1), lengths[max(at - _BEFORE, 0) : at])
            runs[k] = run if k or self._open is None else run.after(self._open)
        self._open = runs.pop(len(count) - 1)
        self._long = _longest([*self._long, *runs.values()])
        self._lengths = lengths[:-1][-_BEFORE:]

    def _run(self, readings: Chunk, before: FloatArray) -> _Run:
        """Return a run of equal readings, at least one, by the lengths of those before it."""
        steps = [np.diff(readings.quantities[name]) for name in self._others]
        moved = np.any([(step != 0) & ~np.isnan(step) for step in steps], axis=0)
        low = high = np.nan
        if self._others:
            other = readings.quantities[self._others[0]]
            low, high = float(np.fmin.reduce(other)), float(np.fmax.reduce(other))
        start_us, stop_us = readings.time_us[[0, -1]].tolist()
        value = float(readings.quantities[self._name][0])
        mean = float(before.mean()) if len(before) else 0.0
        return _Run(start_us, stop_us, len(readings), value, int(np.sum(moved)), low, high, mean)

    def result(self) -> Repeats:
        """Return the improbable stretches so far, in order."""
        runs = self._long if self._open is None else [*self._long, self._open]
        stuck = [self._stretch(run) for run in runs if self._is_stuck(run)]
        share = self._repeats / self._pairs if self._pairs else None
        return Repeats(share, tuple(sorted(stuck, key=lambda run: run.start_us)), float(self._grain))

    def _is_stuck(self, run: _Run) -> bool:
        steps = run.readings - 1
        if run.readings < LEAST_READINGS or abs(run.value) < LEAST_DIGITS * self._grain:
            return False
        # The stretch itself must not make repeating look usual, so it is taken out of the count.
        elsewhere = (self._repeats - steps) / max(self._pairs - steps, 1)
        # A signal may repeat more often at one time than at another: the more frequent of both is the cautious one.
        share = max(elsewhere, 1 - 1 / run.before if run.before else 0.0)
        # Each repeat is taken as a throw of its own: so many in a row have the share to that power as their chance.
        return share <= MOST_REPEATS and share**steps < IMPROBABLE and (self._moved(run) or run.moves <= FEW_MOVES)

    def _moved(self, run: _Run) -> bool:
        return run.moves >= max(LEAST_MOVES, SHARE_MOVES * run.readings)

    def _stretch(self, run: _Run) -> Stuck:
        swing = run.high - run.low if self._others else 0.0
        return Stuck(self._name, run.start_us, run.stop_us, run.readings, run.value, self._moved(run), swing)


def _longest(runs: list[_Run]) -> list[_Run]:
    return sorted(runs, key=lambda run: -run.readings)[:_KEPT]
