"""Cut a stream of chunks into blocks of a fixed number of readings, so that a fold cannot see where chunks end."""

from __future__ import annotations

from collections.abc import Iterator

from .chunk import Chunk, join


class Blocks:
    """Collects chunks and gives them out again in blocks of exactly `size` readings.

    Parameters
    ----------
    size : int
        Readings in a block. [1]
    """

    def __init__(self, size: int) -> None:
        self._size = size
        self._waiting: list[Chunk] = []
        self._count = 0

    def add(self, chunk: Chunk) -> Iterator[Chunk]:
        """Take a chunk in and yield the blocks that are full."""
        whole = self.full(chunk)
        if whole is not None:
            for start in range(0, len(whole), self._size):
                yield whole.part(start, start + self._size)

    def full(self, chunk: Chunk) -> Chunk | None:
        """Take a chunk in and return the blocks that are full as one; None where none is."""
        if len(chunk):
            self._waiting.append(chunk)
            self._count += len(chunk)
        if self._count < self._size:
            return None
        whole = join(self._waiting)
        full = self._count - self._count % self._size
        self._waiting = [whole.part(full, self._count)] if full < self._count else []
        self._count -= full
        return whole.part(0, full)

    def rest(self) -> Chunk | None:
        """Return the readings that do not fill a block yet; None if there are none."""
        return join(self._waiting) if self._waiting else None
