"""Readings typed in by a person who has only a display to look at."""

from __future__ import annotations

import queue
import threading
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Literal

from ..events import Event, Reading, Refused, Remark
from ..exports.display_line import (
    QUANTITIES_BY_HAND,
    DoubtfulLine,
    Standing,
    Word,
    amounts_among_words,
    holds_a_draw,
    parse_line,
)
from .address import Address
from .source import Cadence, Clock, LiveSource

if TYPE_CHECKING:
    from ..profiles.model import Profile


class HandReadings(LiveSource):
    """A person who types what a display shows; each line is a reading at that instant and stands until the next.

    Of a profile only its ``side`` counts; the address has no settings (`InputError`).
    """

    cadence: Cadence = "pushed"
    sampling = "held"
    may_type = (
        "type what the display shows: 900 W, 74.5 A 11.9 V, off; end when you are done",
        "anything else is a note at this moment; Ctrl-C ends",
    )

    def __init__(self, address: Address, profile: Profile | None, clock: Clock) -> None:
        super().__init__(clock)
        address.only()
        self.side: str = (profile and profile.side) or "dc"
        self.quantities: Sequence[str] = QUANTITIES_BY_HAND
        self._standing = Standing()
        self._last_us = 0
        self._ended = False
        self._guard = threading.Lock()
        self._typed: queue.SimpleQueue[Event | Word] = queue.SimpleQueue()

    def typed(self, text: str, at_us: int | None = None) -> bool:
        """Take a line; may be called from another thread than `read`."""
        # The screen's thread types while the meter's reads: the instant is taken and queued under one lock, so that
        # lines cannot overtake each other.
        with self._guard:
            if self._ended:
                return False
            now_us = self._next_us(at_us)
            try:
                line = parse_line(text)
                if line is Word.REMARK:
                    return False
                self._take(now_us, line)
            except DoubtfulLine as why:
                self._typed.put(Refused(now_us, "doubtful", text, str(why)))
        return True

    def reading_in(self, text: str) -> Mapping[str, float] | None:
        """Return the amounts of a note with amps or watts in it; None where they could mean several things."""
        if self._ended or not holds_a_draw(text):
            return None
        try:
            return amounts_among_words(text)
        except DoubtfulLine:
            return None

    def take_as(self, kind: Literal["reading", "note"], text: str, at_us: int) -> None:
        """Take a line that was in doubt; may be called from another thread than `read`."""
        with self._guard:
            if kind == "note":
                self._typed.put(Remark(at_us, "a note that may be a reading", f"{text!r} was kept as a note"))
            elif not self._ended:
                now_us = self._next_us(at_us)
                try:
                    self._take(now_us, amounts_among_words(text))
                except DoubtfulLine as why:
                    self._typed.put(Refused(now_us, "doubtful", text, str(why)))

    def _next_us(self, at_us: int | None = None) -> int:
        # two lines within a microsecond, or after the clock's own rounding, must still be in order
        return max(self._clock.now_us() if at_us is None else at_us, self._last_us + 1)

    def _take(self, now_us: int, line: dict[str, float] | Word) -> None:
        if isinstance(line, dict):
            self._put(self._standing.take(now_us, line, side=self.side))
        elif line is Word.OFF:
            self._put(self._standing.off(now_us))
        else:
            self._put(self._closing(now_us))
            self._typed.put(Word.END)

    def _put(self, readings: Sequence[Reading]) -> None:
        for reading in readings:
            self._typed.put(reading)
            self._last_us = reading.time_us

    def _closing(self, now_us: int) -> list[Reading]:
        """Return the reading that closes the last one."""
        self._ended = True
        return self._standing.end(now_us)

    def ending(self) -> list[Event]:
        """Return what was typed last, and what closes the reading that has stood until now."""
        with self._guard:
            # What stood to the end was drawn to the end: without a closing reading the last stretch would be lost.
            if not self._ended:
                self._put(self._closing(self._next_us()))
        return self.read(0.0)

    def open(self) -> None:
        """Do nothing: a person is always there."""

    def read(self, timeout_s: float) -> list[Event]:
        """Return what was typed since the last call; waits up to `timeout_s` for the first line."""
        events: list[Event] = []
        # Only the first line is waited for; what was typed meanwhile is taken along at once.
        wait_s: float = max(timeout_s, 0.0)
        while True:
            try:
                item = self._typed.get(block=wait_s > 0, timeout=wait_s or None)
            except queue.Empty:
                return events
            wait_s = 0.0
            if isinstance(item, Word):
                self.finished = True
            else:
                events.append(item)

    def close(self) -> None:
        """Do nothing."""
