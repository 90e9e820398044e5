"""What flows from note to note: in the stretch that goes on, and in those that have ended."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ...analysis.readings.log_facts import only_ends

if TYPE_CHECKING:
    from ...analysis.charge.amounts import Charge
    from ...analysis.charge.charge import ChargeFold
    from ...analysis.readings.chunk import Chunk

#: So many of the newest stretches are kept to be shown.
_MOST = 100


@dataclass
class NotedStretch:
    """What flows from a note on until another ends it, as a ledger divides a log.

    ``ended_by`` is the text of a note that only ends; one that begins another stretch has none. ``sure`` is what has
    flowed, with its interval, once that was worked out.
    """

    text: str
    from_us: int
    fold: ChargeFold | None
    until_us: int | None = None
    ended_by: str | None = None
    is_whole: bool = False
    sure: Charge | None = None
    _is_told: bool = False

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in, until one has come that lies behind the end."""
        if self.is_whole:
            return
        if self.fold is not None:
            self.fold.add(chunk)
        self.is_whole = self.until_us is not None and int(chunk.time_us[-1]) >= self.until_us

    def end(self, us: int) -> None:
        """End it at an instant [us], once."""
        if self.until_us is None:
            self.until_us = us
            if self.fold is not None:
                self.fold.end_at(us)

    def is_news(self) -> bool:
        """Tell, once, that all of it is known."""
        is_news = self.is_whole and not self._is_told
        self._is_told = self.is_whole
        return is_news


class NotedStretches:
    """The newest stretch, and those before it that have ended; `new_fold` adds up from an instant on. [us]"""

    def __init__(self, new_fold: Callable[[int], ChargeFold | None]) -> None:
        self._new_fold = new_fold
        self.newest: NotedStretch | None = None
        self.ended: deque[NotedStretch] = deque(maxlen=_MOST)

    def __iter__(self) -> Iterator[NotedStretch]:
        """Return all, the oldest first."""
        yield from self.ended
        if self.newest is not None:
            yield self.newest

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        for stretch in self:
            stretch.add(chunk)

    def note(self, at_us: int, text: str, before: Chunk | None) -> None:
        """Begin a stretch at a note [us], or end the one that goes on; `before` is the reading before the note."""
        if only_ends(text):
            if self.newest is not None and self.newest.until_us is None:
                self.newest.ended_by = text.strip()
                self.newest.end(at_us)
            return
        if self.newest is not None:
            self.newest.end(at_us)
            self.ended.append(self.newest)
        self.newest = NotedStretch(text, at_us, self._new_fold(at_us))
        # With the reading before it, or what flows between that and the next would be in neither stretch.
        if before is not None:
            self.newest.add(before)
