"""What every live source and every clock of a capture offers."""

from __future__ import annotations

import time
from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from ..events import Event

if TYPE_CHECKING:
    from ..log.meta import LogMeta

Cadence = Literal["polled", "pushed"]


class SourceLost(Exception):  # noqa: N818 - a state, told by its name
    """The port, device or connection is gone or does not answer: what was captured is kept, and it is tried again."""

    def __init__(self, kind: str, sentence: str) -> None:
        super().__init__(sentence)
        self.kind = kind


class Clock(ABC):
    """The capture's clock: wall time that never steps, because it runs on the monotonic clock."""

    @abstractmethod
    def now_us(self) -> int:
        """Return the time since 1970-01-01T00:00:00Z. [us]"""

    @abstractmethod
    def sleep(self, length_s: float) -> None:
        """Wait."""

    def step_us(self) -> int:
        """Return how far the machine's clock is ahead of this one; nought where there is none beside it. [us]"""
        return 0


@dataclass
class SteadyClock(Clock):
    """The machine's clock when it was made, carried on by the monotonic clock.

    A step of the machine's clock does not move it; `step_us` tells how far they are apart.
    """

    _wall_us: int = field(default_factory=lambda: time.time_ns() // 1000)
    _start_ns: int = field(default_factory=time.monotonic_ns)

    def now_us(self) -> int:
        """Return its time. [us]"""
        return self._wall_us + (time.monotonic_ns() - self._start_ns) // 1000

    def sleep(self, length_s: float) -> None:
        """Wait."""
        time.sleep(max(length_s, 0.0))

    def step_us(self) -> int:
        """Return how far the two are apart by now. [us]"""
        return time.time_ns() // 1000 - self.now_us()


class LiveSource(ABC):
    """A meter that is being read; what only few kinds of source have, the others have here.

    Attributes
    ----------
    quantities : sequence of str
        What it can give; a reading may hold fewer.
    cadence : {'polled', 'pushed'}
        Whether each reading is asked for, or the meter sends them by itself.
    finished : bool
        Whether it has given all that it ever will: a meter never has.
    meta : LogMeta or None
        What a recording that is played says of itself.
    may_type : sequence of str
        In short lines, what a person may type beside notes; most sources take nothing else.
    """

    quantities: Sequence[str]
    cadence: Cadence
    side: str
    sampling: str
    finished: bool = False
    meta: LogMeta | None = None
    may_type: Sequence[str] = ()

    def __init__(self, clock: Clock) -> None:
        self._clock = clock

    @abstractmethod
    def open(self) -> None:
        """Open the port or connection; may be called again after `close`.

        Raises
        ------
        InputError
            If it can never work: no such port, permission denied, a setting that contradicts itself.
        SourceLost
            If it may work later.
        """

    @abstractmethod
    def read(self, timeout_s: float) -> list[Event]:
        """Ask once (polled), or return what has come within `timeout_s` (pushed; may be nothing).

        The time of a polled reading is the middle of the exchange.

        Raises
        ------
        SourceLost
            If the line is gone. A time-out or an odd answer of a device that may answer next time is an event.
        """

    @abstractmethod
    def close(self) -> None:
        """Close it; never raises."""

    def check(self) -> Sequence[str]:
        """Look once, right after it was opened, whether what it gives can be; return in sentences what is odd.

        Raises
        ------
        InputError
            If it must have been described wrongly: nobody wants a log of that.
        """
        return ()

    def ending(self) -> list[Event]:
        """Return what is still to be said when the capture ends; asked once, after the last `read`."""
        return []

    def typed(self, text: str, at_us: int | None = None) -> bool:  # noqa: ARG002 - of most sources nothing is typed
        """Take a line that a person finished now, or at `at_us`; return whether it was meant for this source [us].

        What was not is a note.
        """
        return False

    def reading_in(self, text: str) -> Mapping[str, float] | None:  # noqa: ARG002 - as above
        """Return the reading that a line, which `typed` left as a note, could be as well; None where it is clear."""
        return None

    def take_as(self, kind: Literal["reading", "note"], text: str, at_us: int) -> None:
        """Take a line of `at_us` that was in doubt: as the reading in it, or as a note that nobody was asked about."""
        raise NotImplementedError  # asked only of a source whose `reading_in` found one

    def now_us(self) -> int:
        """Return the time of what is being read: now, or the instant of a recording. [us]"""
        return self._clock.now_us()
