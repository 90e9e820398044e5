"""A made-up meter on a pseudo-terminal that can be pulled out and plugged in again, and what its tests share."""

from __future__ import annotations

import os
import threading
import time
import tty
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

from shuntbook.ingest.events import Event, Reading
from shuntbook.ingest.live.address import parse_address
from shuntbook.ingest.live.serial_lines import SerialLines
from shuntbook.ingest.live.source import SteadyClock
from shuntbook.ingest.profiles.columns import ColumnEntry
from shuntbook.ingest.profiles.model import Profile
from shuntbook.ingest.profiles.serial_part import SerialPart

#: Far more than anything here takes, so that a busy machine fails no test. [s]
PATIENCE_S = 60.0


class LiveProfile(Profile):
    """A profile with the part for lines of text."""

    serial: SerialPart | None = None


class Meter:
    """The device's end of a port; `path` is the port's name, which stays the same when it is plugged in again."""

    def __init__(self, folder: Path) -> None:
        self.path = folder / "port"
        self._master = self._slave = -1
        self.plug_in()

    def plug_in(self) -> None:
        """Let the port appear."""
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        self.path.symlink_to(os.ttyname(self._slave))

    def pull_out(self) -> None:
        """Let the port vanish."""
        if self._master < 0:
            return
        self.path.unlink()
        os.close(self._master)
        os.close(self._slave)
        self._master = self._slave = -1

    def send(self, data: bytes) -> None:
        """Send bytes."""
        while data:
            data = data[os.write(self._master, data) :]

    def answer(self, replies: Callable[[bytes], bytes | None], questions: int) -> threading.Thread:
        """Answer as many questions, each a line, in a thread of its own."""

        def run() -> None:
            asked = b""
            with suppress(OSError):
                for _ in range(questions):
                    while b"\n" not in asked:
                        asked += os.read(self._master, 100)
                    question, asked = asked.split(b"\n", 1)
                    if (reply := replies(question)) is not None:
                        self.send(reply)

        thread = threading.Thread(target=run, daemon=True)
        thread.start()
        return thread


def profile(text: str) -> LiveProfile:
    """Return a profile from the text of its file."""
    import tomllib

    return LiveProfile.model_validate(tomllib.loads(text))


def lines_of(meter: Meter, text: str | None, settings: str = "") -> SerialLines:
    """Return the source that reads a meter."""
    address = parse_address(f"serial:{meter.path}{settings}")
    return SerialLines(address, profile(text) if text else None, SteadyClock())


def take(source: SerialLines, enough: Callable[[list[Event]], bool], wait_s: float = 0.2) -> list[Event]:
    """Read until there is enough, or patience is at its end."""
    events: list[Event] = []
    until = time.monotonic() + PATIENCE_S
    while not enough(events) and time.monotonic() < until:
        events += source.read(wait_s)
    return events


def settle(source: SerialLines) -> None:
    """Let the source see that the line is at rest, so that the next byte begins a line."""
    assert source.read(0.05) == []


def readings(events: list[Event]) -> list[Reading]:
    """Return the readings among events."""
    return [event for event in events if isinstance(event, Reading)]


def column(place: str | int, **said: object) -> ColumnEntry:
    """Return where a quantity stands."""
    return ColumnEntry.model_validate({"column": place, **said})
