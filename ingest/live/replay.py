"""A recorded log or an export, played as if it were being measured now: for demonstrations and for tests."""

from __future__ import annotations

import math
import weakref
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ..errors import InputError
from ..events import Event, Reading, Refused
from ..journal.opening import open_log
from ..log.log import Log
from ..safe_files.whole_file import passing_folder
from .address import Address
from .source import Cadence, Clock, LiveSource

if TYPE_CHECKING:
    from ..profiles.model import Profile

#: As many readings are handed over at once, so that a replay at full speed can still be stopped.
READINGS_AT_ONCE = 1000
_LOG_BEGINS = b"PAR1"
#: Settings that a log has no use for: it knows.
_OF_EXPORTS = ("zone", "sign")


class Replay(LiveSource):
    """A recording played back; each reading has the time it was measured at, not that at which it is played.

    An export is first converted to a log in a temporary folder, by the rules of `convert.convert`: so what is played is
    what a conversion would keep, and what it would reject is refused. The address is ``replay:FILE?speed=10``;
    ``speed=max`` plays as fast as can be. Of an export, ``zone`` is that of its stamps, and ``sign=return_positive``
    says that it counts charging as positive. `InputError` if the recording cannot be read or a setting is wrong.
    """

    cadence: Cadence = "pushed"

    def __init__(self, address: Address, profile: Profile | None, clock: Clock) -> None:
        super().__init__(clock)
        address.only("speed", *_OF_EXPORTS)
        self._speed = float("inf") if address.settings.get("speed") == "max" else address.number("speed", 1.0)
        self._refused: list[tuple[str, str]] = []
        path = Path(address.place)
        if _is_log(path):
            # Silently ignoring a wrong sign would be worse than refusing it.
            if profile is not None or address.settings.keys() & set(_OF_EXPORTS):
                raise InputError(
                    f"{address.text}: {path} is a log, which knows its columns, zone and sign; leave out what says so"
                )
            self._log = open_log(path)
        else:
            self._log = self._converted(address, profile)
        self.meta, self.quantities = self._log.meta, self._log.quantities
        self.side, self.sampling = self._log.meta.side, self._log.meta.sampling
        self._readings = _readings(self._log)
        self._next: Reading | None = None
        self._shift: tuple[int, int] | None = None

    def open(self) -> None:
        """Begin to play, or go on where it stopped."""
        # Opened again after a close it goes on where it stopped: what a recording holds cannot be missed.
        self._next = self._next or next(self._readings, None)
        self.finished = self._next is None
        if self._next is not None:
            self._shift = (self._clock.now_us(), self._next.time_us)

    def now_us(self) -> int:
        """Return the instant of the recording that is being played. [us]"""
        if self._next is None or self._shift is None:
            return self._clock.now_us()
        played_us, recorded_us = self._shift
        if self._speed == float("inf"):
            return self._next.time_us
        return recorded_us + round((self._clock.now_us() - played_us) * self._speed)

    def read(self, timeout_s: float) -> list[Event]:
        """Return the readings whose turn has come, or wait up to `timeout_s` for the next one's."""
        if self._next is None:
            self.finished = True
            return []
        events: list[Event] = [
            Refused(self._next.time_us, "not readable", text, reason) for reason, text in self._refused
        ]
        self._refused = []
        # Waiting ends after `timeout_s` at the latest, so that a replay can be stopped in the middle of a gap.
        rest_s = (self._next.time_us - self.now_us()) / 1e6 / self._speed
        if rest_s > 0:
            self._clock.sleep(min(rest_s, timeout_s))
        now_us = self.now_us()
        while self._next is not None and len(events) < READINGS_AT_ONCE:
            if self._speed != float("inf") and self._next.time_us > now_us:
                break
            events.append(self._next)
            self._next = next(self._readings, None)
        self.finished = self._next is None
        return events

    def close(self) -> None:
        """Stop playing."""
        self._shift = None

    def _converted(self, address: Address, profile: Profile | None) -> Log:
        """Convert an export to a log in a folder that lasts as long as this object."""
        stack = ExitStack()
        weakref.finalize(self, stack.close)
        log = stack.enter_context(passing_folder()) / "replayed.parquet"
        rejects = _convert(address, profile, log)
        self._refused = _rejected(rejects) if rejects is not None else []
        return open_log(log)


def _is_log(path: Path) -> bool:
    if path.is_dir():
        return True
    try:
        with path.open("rb") as file:
            return file.read(len(_LOG_BEGINS)) == _LOG_BEGINS
    except FileNotFoundError:
        raise InputError(f"{path}: there is no such file to replay") from None
    except OSError as error:
        raise InputError(f"{path}: cannot be read ({error.strerror})") from None


def _readings(log: Log) -> Iterator[Reading]:
    for part in log.scan():
        names = list(part.quantities)
        rows = np.column_stack([part.quantities[name] for name in names]).tolist()
        for time_us, row in zip(part.time_us.tolist(), rows, strict=True):
            yield Reading(time_us, {name: x for name, x in zip(names, row, strict=True) if not math.isnan(x)})


def _convert(address: Address, profile: Profile | None, log: Path) -> Path | None:
    """Convert an export as the command does when nothing is stated; return where its rejects are, if any."""
    from ..exports.convert import convert
    from ..exports.delimited.stated import Stated
    from ..exports.intake import take_in

    sign = address.settings.get("sign", "draw_positive")
    if sign not in ("draw_positive", "return_positive"):
        raise InputError(f"{address.text}: sign must be draw_positive or return_positive, not {sign!r}")
    reverse = sign == "return_positive"
    intake = take_in([address.place], Stated(profile=profile, zone=address.settings.get("zone"), reverse_sign=reverse))
    done = convert(
        intake.export, log, intake.meta, reverse_sign=reverse, allow_rejects=False, gap_limit_s=intake.gap_limit_s
    )
    return done.rejects_file


def _rejected(rejects: Path) -> list[tuple[str, str]]:
    """Return reason and text of each row that was rejected."""
    import csv

    with rejects.open(encoding="utf-8", newline="") as file:
        return [(f"line {row['line']}: {row['reason']}", row["text"]) for row in csv.DictReader(file)]
