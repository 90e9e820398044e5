"""Hand a stream of readings on in fixed pieces with their neighbours, so that where chunks end makes no difference."""

from __future__ import annotations

import copy
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Final, Generic, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray

from .chunk import MICROSECONDS, Chunk, FloatArray, Result_co, TimeArray, has_missing, join

#: So many chunks may wait for their block to be full; then they are put together.
_MOST_WAITING: Final = 64


class Blocks:
    """Collects chunks and gives them out again in blocks of exactly `size` readings."""

    def __init__(self, size: int) -> None:
        self._size = size
        self._waiting: list[Chunk] = []
        self._count = 0

    def add(self, chunk: Chunk, most: int) -> Iterator[Chunk]:
        """Take a chunk in and yield the blocks that are full, up to so many as one."""
        whole = self.full(chunk)
        if whole is not None:
            for start in range(0, len(whole), most * self._size):
                yield whole.part(start, start + most * self._size)

    def full(self, chunk: Chunk) -> Chunk | None:
        """Take a chunk in and return the blocks that are full as one; None where none is."""
        if len(chunk):
            self._waiting.append(chunk)
            self._count += len(chunk)
        if self._count < self._size:
            # Of a live meter each reading is a chunk, which takes a dozen times the room of its numbers.
            if len(self._waiting) > _MOST_WAITING:
                self._waiting = [join(self._waiting)]
            return None
        # One block full or several: what is over waits, as a view of what was joined, so nothing is copied twice.
        whole = join(self._waiting)
        full = self._count - self._count % self._size
        self._waiting = [whole.part(full, self._count)] if full < self._count else []
        self._count -= full
        return whole.part(0, full)

    def apart(self, chunk: Chunk) -> Iterator[Chunk]:
        """Take a chunk in and yield the blocks that are full: one that began before it, and all others as one view."""
        first = min(-self._count % self._size, len(chunk))
        for part in (chunk.part(0, first), chunk.part(first, len(chunk))):
            if (full := self.full(part)) is not None:
                yield full

    def rest(self) -> Chunk | None:
        """Return the readings that do not fill a block yet; None if there are none."""
        return join(self._waiting) if self._waiting else None


def firsts(time_us: TimeArray, width_us: int) -> NDArray[np.intp]:
    """Return the index of the first instant in each bucket that holds one; of instants, at least one, that rise."""
    # Where a bucket holds eight instants and more, looking for its edge is quicker than dividing every instant.
    low, high = int(time_us[0]) // width_us, int(time_us[-1]) // width_us
    if high - low < len(time_us) // 8:
        first = np.searchsorted(time_us, np.arange(low, high + 1) * width_us)
        return first[np.diff(first, append=len(time_us)) > 0]
    bucket = time_us // width_us
    return np.concatenate([[0], np.flatnonzero(bucket[1:] != bucket[:-1]) + 1])


#: Readings in a piece, and the neighbours on either side that stand around it.
BLOCK: Final = 4096
AROUND: Final = 3

Number = TypeVar("Number", np.float64, np.int64)
Result = TypeVar("Result")


@dataclass(frozen=True)
class Piece:
    """Readings that are looked at now, those from `start` up to `stop`, among their neighbours.

    At the log's beginning and end there are no neighbours; `start` is 0 only there or where nothing stands before.
    """

    readings: Chunk
    start: int
    stop: int

    @cached_property
    def _lacking(self) -> frozenset[str]:
        """The quantities that are missing in some of the readings; asked for by many parts."""
        return frozenset(name for name, x in self.readings.quantities.items() if has_missing(x))

    def having(self, *names: str) -> Piece:
        """Return the piece without the readings in which one of these quantities is missing."""
        if self._lacking.isdisjoint(names):
            return self
        complete = np.ones(len(self.readings), dtype=bool)
        for name in names:
            complete &= ~np.isnan(self.readings.quantities[name])
        # The bounds move with what stays before each of them.
        readings = Chunk(self.readings.time_us[complete], {n: x[complete] for n, x in self.readings.quantities.items()})
        return Piece(readings, int(complete[: self.start].sum()), int(complete[: self.stop].sum()))

    def new(self) -> Chunk:
        """Return the readings that are looked at now, without their neighbours."""
        return self.readings.part(self.start, self.stop)

    def inside(self, marked: NDArray[np.bool_]) -> NDArray[np.int64]:
        """Return the indices of the marked readings that are looked at now; `marked` is of all, shape (n,)."""
        return np.flatnonzero(marked[self.start : self.stop]) + self.start


@dataclass(frozen=True)
class PieceRows:
    """Pieces that follow each other, a row each, so that one call serves all of them; arrays of shape (pieces, n)."""

    time_us: TimeArray
    quantities: Mapping[str, FloatArray]
    start: int
    stop: int

    @classmethod
    def of(cls, piece: Piece) -> PieceRows:
        """Return one piece as a row."""
        readings = piece.readings
        return cls(
            readings.time_us[None], {n: x[None] for n, x in readings.quantities.items()}, piece.start, piece.stop
        )

    def each(self) -> Iterator[Piece]:
        """Yield the pieces one by one."""
        for k, time_us in enumerate(self.time_us):
            yield Piece(Chunk(time_us, {n: x[k] for n, x in self.quantities.items()}), self.start, self.stop)


class Pieces:
    """Collects chunks and gives them out again in pieces of `BLOCK` readings, with `AROUND` neighbours each side."""

    def __init__(self) -> None:
        self._blocks = Blocks(BLOCK)
        self._carried: Chunk | None = None
        self._before = 0

    def add(self, chunk: Chunk) -> Iterator[Piece]:
        """Take a chunk in and yield the pieces whose neighbours are known."""
        for rows in self.together(chunk):
            yield from rows.each()

    def together(self, chunk: Chunk) -> Iterator[PieceRows]:
        """Take a chunk in and yield the pieces whose neighbours are known, as many at once as there are."""
        new = self._blocks.full(chunk)
        if new is None:
            return
        if self._carried is None:
            # The log's first piece has no neighbours before it, so its row is shorter than all others.
            yield self._rows(new.part(0, BLOCK))
            new = new.part(BLOCK, len(new))
        if len(new):
            assert self._carried is not None
            yield self._rows(join([self._carried, new]))

    def _rows(self, readings: Chunk) -> PieceRows:
        """Return readings, which are whole pieces after what was carried, as rows; carry the last ones."""
        before, around = self._before, len(readings) % BLOCK
        self._before = AROUND
        # The last readings have been neighbours only, so they are looked at next, with as many neighbours before them.
        self._carried = readings.part(len(readings) - 2 * AROUND, len(readings))
        rows = {n: _rows_of(x, around) for n, x in readings.quantities.items()}
        return PieceRows(_rows_of(readings.time_us, around), rows, before, BLOCK + around - AROUND)

    def rest(self) -> Piece | None:
        """Return the readings that wait for neighbours, as if the log ended here; None if there are none."""
        parts = [part for part in (self._carried, self._blocks.rest()) if part is not None]
        if not parts:
            return None
        readings = join(parts)
        return Piece(readings, self._before, len(readings))


def _rows_of(x: NDArray[Number], around: int) -> NDArray[Number]:
    """Return pieces of `BLOCK` and so many around them as rows; views, no copies."""
    # Neighbours stand in two rows at once: a row begins `BLOCK` behind the one before it, but is longer than that.
    x = np.ascontiguousarray(x)
    return np.ndarray((len(x) // BLOCK, BLOCK + around), x.dtype, x, strides=(BLOCK * x.itemsize, x.itemsize))


class PieceFold(Protocol[Result_co]):
    """An analysis that is fed piece by piece; it never sees where chunks end."""

    def take(self, piece: Piece) -> None:
        """Take the next piece in."""

    def result(self) -> Result_co:
        """Return what the pieces so far amount to."""


class InPieces(Generic[Result]):
    """Make a fold of a part: the tail carried is one piece and its neighbours."""

    def __init__(self, part: PieceFold[Result]) -> None:
        self._pieces = Pieces()
        self._part = part

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        for piece in self._pieces.add(chunk):
            self._part.take(piece)

    def result(self) -> Result:
        """Return what all readings so far amount to."""
        part, rest = self._part, self._pieces.rest()
        if rest is not None:
            # Asking changes nothing, so a copy takes in what still waits for neighbours.
            part = copy.deepcopy(part)
            part.take(rest)
        return part.result()


def gaps_before(time_us: TimeArray, gap_limit_s: float | None) -> NDArray[np.bool_]:
    """Return whether nothing was measured right before each reading, in shape (..., n); None bridges every spacing."""
    is_gap = np.zeros(time_us.shape, dtype=bool)
    if gap_limit_s is not None and time_us.shape[-1] > 1:
        # The first of a row has none before it that is known: it begins a log, or its own stretch.
        spacing_us, limit_us = time_us[..., 1:] - time_us[..., :-1], gap_limit_s * MICROSECONDS
        if spacing_us.max() > limit_us:
            is_gap[..., 1:] = spacing_us > limit_us
    return is_gap
