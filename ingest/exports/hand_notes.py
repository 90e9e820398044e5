"""The adapter for notes typed afterwards: a clock time a line and what the display showed, ``10:02 900 W``."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from ..errors import InputError
from ..events import Reading
from ..log.log import Readings
from ..safe_files.rejects import Reject
from ..zone import NO_TIME, LocalClock, zone_named
from .delimited.rows import RowBatch
from .display_line import QUANTITIES_BY_HAND, DoubtfulLine, Standing, Word, holds_a_draw, parse_line
from .texts.decode import Source, find_encoding, open_source

#: Notes of a person are short; something longer is another kind of file. [bytes]
_LARGEST_BYTES = 4_000_000
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}")
_LINE = re.compile(r"(?:(\d{4}-\d{2}-\d{2})[ T]+)?(\d{1,2}):(\d{2})(?::(\d{2}(?:[.,]\d{1,6})?))?\s*(.*)")
_EPOCH = datetime(1970, 1, 1)
#: A clock that falls back by more than this has passed midnight; by less, the lines are not in order.
_MIDNIGHT = timedelta(hours=12)


@dataclass
class NotesLayout:
    """What the notes were taken for, in words and for the JSON document."""

    name: str
    encoding: str
    quantities: tuple[str, ...]
    ac: bool = False
    remarks: tuple[str, ...] = ()

    def as_document(self) -> dict[str, Any]:
        """Return the same for JSON."""
        return {
            "dialect": {"encoding": self.encoding, "delimiter": None},
            "quantities": [{"name": name, "column": None, "unit": name.rsplit("_", 1)[1]} for name in self.quantities],
            "time": {"columns": [], "style": "a clock time at the beginning of each line"},
        }

    def describe(self) -> list[str]:
        """Return in words, a line each, what was taken for what."""
        return [
            f"layout: notes, a line a reading, {self.encoding}",
            "time: the clock time at the beginning of a line",
            f"quantities: {', '.join(self.quantities)}",
        ]


@dataclass
class _Taken:
    """What has come of the lines so far."""

    readings: list[Reading] = field(default_factory=list)
    rejects: list[Reject] = field(default_factory=list)
    markers: list[tuple[int, str]] = field(default_factory=list)


class HandNotes:
    """Notes of one display, each line standing until the next: ``convert NOTES.txt --profile hand``.

    A line is a clock time, with a date before it if need be, and what `display_line.parse_line` understands; anything
    else after the time is a remark and becomes a marker. A line with a date alone says on which day the following ones
    are; a clock that falls back by more than twelve hours has passed midnight. Lines that begin with # are passed over.
    ``path`` may be ``-``, standard input; `start` is the day of the first line, if the notes do not say it.

    Raises
    ------
    InputError
        If it cannot be read, is no such file, or no day is known.
    """

    sampling = "held"
    undated = False
    counted = False
    moved: Sequence[str] = ()
    needs_zone = True

    def __init__(self, path: str | Path, zone: str, start: datetime | date | None, *, side: str = "dc") -> None:
        source = open_source(str(path))
        self.sources = [source]
        self.local = LocalClock(zone_named(zone, what="--zone"))
        text, encoding = _text(source)
        reader = _NotesReader(source.name, self.local, _day(start), side)
        self._taken = reader.read(text)
        self.markers = self._taken.markers
        names = {name for reading in self._taken.readings for name in reading.values}
        self.quantities = tuple(name for name in QUANTITIES_BY_HAND if name in names)
        self.layouts = [NotesLayout(source.name, encoding, self.quantities, remarks=tuple(reader.remarks()))]

    def batches(self) -> Iterator[RowBatch]:
        """Yield the readings, and the lines that could not be read."""
        readings = self._taken.readings
        time_us = np.array([reading.time_us for reading in readings], dtype=np.int64)
        values = {q: np.array([r.values.get(q, np.nan) for r in readings], dtype=np.float64) for q in self.quantities}
        yield RowBatch(Readings(time_us, values), list(self._taken.rejects))


def looks_like_note(line: str) -> bool:
    """Tell whether a line could be one of notes: a clock time and what the display showed, in cells of no table."""
    match = _LINE.fullmatch(line.strip())
    return match is not None and bool(match[5]) and not re.match(r"[,;|\t]", match[5])


def _text(source: Source) -> tuple[str, str]:
    # Counted on the way: a packed file may be far larger than it looks.
    raw = b""
    for chunk in source.chunks():
        raw += chunk
        if len(raw) > _LARGEST_BYTES:
            raise InputError(f"{source.name}: is too large for notes typed by hand; is it an export?")
    encoding = find_encoding(raw, source.name)
    return raw.decode(encoding, "replace"), encoding


def _day(start: datetime | date | None) -> date | None:
    if isinstance(start, datetime):
        if start.tzinfo is not None:
            raise InputError("--start: for notes give the day alone, such as 2026-06-13, and the zone with --zone")
        return start.date()
    return start


class _Unreadable(ValueError):  # noqa: N818 - a state, told by its name
    """A line that gives nothing, and why."""


class _NotesReader:
    """Reads the lines in order, and keeps what stands."""

    def __init__(self, name: str, local: LocalClock, day: date | None, side: str) -> None:
        self._name, self._local, self._day, self._side = name, local, day, side
        self._standing, self._taken = Standing(), _Taken()
        self._last: datetime | None = None
        self._last_us = NO_TIME
        self._closed = self._ended = False

    def read(self, text: str) -> _Taken:
        """Take all lines in."""
        for number, line in enumerate(text.splitlines(), 1):
            if not (plain := line.strip()) or plain.startswith("#"):
                continue
            try:
                self._line(plain)
            except (_Unreadable, DoubtfulLine) as why:
                self._taken.rejects.append(Reject(self._name, number, str(why), line[:2000]))
        return self._taken

    def remarks(self) -> list[str]:
        """Return what should be known about the notes, in sentences."""
        if self._closed or not self._taken.readings:
            return []
        return ["the notes end without off or end, so the last reading stands for no time"]

    def _line(self, text: str) -> None:
        if _DATE.fullmatch(text):
            self._day, self._last = _date(text), None
            return
        match = _LINE.fullmatch(text)
        if match is None:
            raise _Unreadable("does not begin with a clock time such as 10:02 or 10:02:30")
        if self._ended:
            raise _Unreadable("comes after end; convert the lines after it as a file of their own")
        time_us = self._instant(match)
        self._take(time_us, match[5])
        self._last_us = time_us

    def _take(self, time_us: int, text: str) -> None:
        line = parse_line(text)
        if isinstance(line, dict):
            self._taken.readings += self._standing.take(time_us, line, side=self._side)
            self._closed = False
        elif line is Word.REMARK:
            if not text:
                raise _Unreadable("says nothing after the time")
            if holds_a_draw(text):
                raise _Unreadable(
                    "holds an amount and words; write the amount alone, and the words on a line a second later"
                )
            self._taken.markers.append((time_us, text))
        else:
            self._taken.readings += (self._standing.off if line is Word.OFF else self._standing.end)(time_us)
            self._closed, self._ended = True, line is Word.END

    def _instant(self, match: re.Match[str]) -> int:
        """Return a line's instant in UTC. [us]."""
        moment = self._moment(match)
        local_us = np.array([(moment - _EPOCH) // timedelta(microseconds=1)], dtype=np.int64)
        time_us = int(self._local.to_utc(local_us)[0])
        if time_us == NO_TIME:
            raise _Unreadable("this time never was on the clocks of the zone (they went forward)")
        # Lines are never sorted: notes out of order are a slip, and which line is wrong only their writer knows.
        if time_us <= self._last_us:
            raise _Unreadable(
                "is not later than the line before; if it is the next day, put a line with the date above"
            )
        self._last = moment
        return time_us

    def _moment(self, match: re.Match[str]) -> datetime:
        """Return a line's local date and time."""
        stated = match[1]
        day = _date(stated) if stated else self._day
        if day is None:
            raise InputError(
                f"{self._name}: does not say on which day it was; put a line such as 2026-06-13 at the top, "
                "or add --start 2026-06-13"
            )
        hour, minute = int(match[2]), int(match[3])
        second_us = round(float((match[4] or "0").replace(",", ".")) * 1e6)
        if hour > 23 or minute > 59 or second_us >= 60_000_000:
            raise _Unreadable("is no time of day")
        moment = datetime(day.year, day.month, day.day, hour, minute) + timedelta(microseconds=second_us)
        # A person seldom writes the date again after midnight.
        if stated is None and self._last is not None and self._last - moment > _MIDNIGHT:
            moment += timedelta(days=1)
        self._day = moment.date()
        return moment


def _date(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise _Unreadable(f"{text} is no date") from None
