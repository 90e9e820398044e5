"""A film of a display as an export: its readings some times a second, and the frames that gave none."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import chain
from pathlib import Path
from typing import Any, Final, NamedTuple

import numpy as np

from ..errors import InputError
from ..exports.delimited.rows import RowBatch
from ..exports.intake import start_us
from ..exports.texts.decode import Source
from ..log.log import Readings
from ..safe_files.rejects import Reject
from ..zone import LocalClock
from .digit_places.straighten import Image
from .display import Display
from .field_reader import FieldReader
from .follow import CameraFollower
from .frames import EVERY_S, Film, FilmFrame
from .live_reading import HoldTimes, LiveReading, Misread, MisreadSums
from .seen import Seen
from .stands import AROUND_S, BLOCK_S

_ROWS_AT_ONCE: Final = 600
#: A film that ends so much before its file says so is not whole, of its length and [s]: some count a frame or two more.
_ENDS_EARLY, _ENDS_S = 0.98, 1.0
_CHUNK = 1 << 22
#: How long digits may stay unknown before the film is read all the same [s], and how many pictures of a stream wait.
_LEARNS_S: Final = 60.0
_WAITING: Final = 45


class FilmSource(Source):
    """A film or a folder of stills among the sources of a log; it is opened by what decodes it."""

    def __post_init__(self) -> None:
        """Look at nothing: a film is no text."""
        self.compression, self.is_container = None, False

    def stamp(self) -> None:
        """Work out the SHA-256 and size of the film, or of all stills in the order of their names."""
        if self.digest or self.path is None:
            return
        digest, size = hashlib.sha256(), 0
        files = sorted(file for file in self.path.iterdir() if file.is_file()) if self.path.is_dir() else [self.path]
        for one in files:
            with one.open("rb") as file:
                while chunk := file.read(_CHUNK):
                    digest.update(chunk)
                    size += len(chunk)
        self.digest, self.size = digest.hexdigest(), size


@dataclass
class FilmLayout:
    """What a film was taken for, in words and for the JSON document; ``clock`` says whose its times are."""

    name: str
    display: Display
    clock: str
    remarks: tuple[str, ...] = ()

    @property
    def ac(self) -> bool:
        """Whether the profile says that it is behind an inverter."""
        return self.display.side == "ac"

    def as_document(self) -> dict[str, Any]:
        """Return the same for JSON."""
        return {
            "dialect": None,
            "quantities": [
                {"name": name, "column": None, "unit": name.rsplit("_", 1)[1]} for name in self.display.quantities
            ],
            "time": {"columns": [], "style": self.clock},
        }

    def describe(self) -> list[str]:
        """Return in words, a line each, what was taken for what."""
        return [
            f"layout: a film; of its displays are read {', '.join(self.display.quantities)}",
            f"time: {self.clock}",
        ]


class NotRead(NamedTuple):
    """How often displays were looked at, and gave no value; the commonest reason, and when it was first. [s]"""

    looks: int
    times: int
    reason: str
    first_s: float


@dataclass
class _Rows:
    """Readings and rejects that wait to be handed on."""

    quantities: Sequence[str]
    time_us: list[int] = field(default_factory=list)
    values: list[dict[str, float]] = field(default_factory=list)
    rejects: list[Reject] = field(default_factory=list)

    def batch(self) -> RowBatch:
        """Return them, and begin anew."""
        columns = {q: np.array([row.get(q, np.nan) for row in self.values]) for q in self.quantities}
        batch = RowBatch(Readings(np.array(self.time_us, dtype=np.int64), columns), self.rejects)
        self.time_us, self.values, self.rejects = [], [], []
        return batch


class FilmExport:
    """A film of a display, read by a profile; `start` is when its first frame was taken, else the log is undated.

    Raises
    ------
    InputError
        If it cannot be read.
    """

    counted = True
    local: LocalClock | None = None
    moved: Sequence[str] = ()
    markers: Sequence[tuple[int, str]] = ()

    def __init__(self, film: Film, display: Display, *, zone: str, start: datetime | None) -> None:
        self._film, self._display = film, display
        path = None if film.name == "standard input" else Path(film.name)
        self.sources = [FilmSource(film.name, path)]
        self._layout = FilmLayout(film.name, display, film.whose or "the film's own clock, frame by frame")
        self.layouts = [self._layout]
        self.quantities = display.quantities
        # What a person says goes before what the stills say of themselves: a camera's clock may be wrong.
        own_us = film.start_us if start is None else start_us(start, zone)
        self.undated = own_us is None
        self.needs_zone = start.tzinfo is None if start is not None else film.by_zone
        self._start_us = own_us or 0
        self._begins = tuple(self._of_beginning()) if start is None else ()
        self._begin()

    def _begin(self) -> None:
        self._misread = MisreadSums(len(self._display.fields))
        self._holds = HoldTimes(len(self._display.fields))
        self._looks = 0
        self._reasons: Counter[str] = Counter()
        self._first_s: dict[str, float] = {}

    def batches(self) -> Iterator[RowBatch]:
        """Yield the readings in order, and the frames that gave none."""
        rows, due_s = _Rows(self.quantities), -1.0
        last_s = 0.0
        self._begin()
        for moment in judged_frames(self._film, self._display):
            last_s = moment[0].time_s
            if moment[0].time_s < due_s - 1e-6:
                continue
            due_s = moment[0].time_s + EVERY_S - self._film.apart_s / 2 if self._film.apart_s < EVERY_S else 0.0
            self._take(moment, rows)
            self._misread.add(moment)
            self._holds.add(moment)
            if len(rows.time_us) + len(rows.rejects) >= _ROWS_AT_ONCE:
                yield rows.batch()
        yield rows.batch()
        self._layout.remarks = (*self._begins, *self._of_end(last_s))

    @property
    def misread(self) -> Misread:
        """How many of the values read so far may be wrong."""
        return self._misread.result()

    @property
    def holds_s(self) -> float:
        """How long the display shows each value, by those read so far. [s]"""
        return self._holds.usual_s

    @property
    def left_out(self) -> NotRead:
        """How often displays gave no value so far, and mostly why."""
        (reason, _), *_ = self._reasons.most_common(1) or [("", 0)]
        return NotRead(self._looks, self._reasons.total(), reason, self._first_s.get(reason, 0.0))

    @property
    def why_nothing(self) -> str:
        """Why no value was read, where none was."""
        left = self.left_out
        return (
            "no value could be read in this film ('shuntbook look' with the same --display shows its boxes): "
            f"{left.times} looks at its displays gave none, mostly since {left.reason}"
        )

    def _take(self, moment: Sequence[Seen], rows: _Rows) -> None:
        """Take the reading of one frame, and tell of each display that gave none why."""
        values = {seen.figure.quantity: seen.figure.value for seen in moment if seen.figure is not None}
        if values:
            rows.time_us.append(self._start_us + round(moment[0].time_s * 1e6))
            rows.values.append(values)
        for seen, entry in zip(moment, self._display.fields, strict=True):
            self._looks += 1
            if seen.figure is None:
                self._reasons[seen.reason] += 1
                self._first_s.setdefault(seen.reason, seen.time_s)
                rows.rejects.append(Reject(self._film.name, seen.number, seen.reason, _told(entry.quantities, seen)))

    def _of_beginning(self) -> Iterator[str]:
        """Yield what the film itself says of when it was taken, where nobody else did: its camera may be wrong."""
        if self._film.whose:
            yield f"times by {self._film.whose} (--start says another)"
        elif self._film.made is not None:
            yield (
                f"by its own file the film was made at {self._film.made:%Y-%m-%dT%H:%M:%S} UTC, as its camera has it, "
                "when it began or when it ended; look whether that is right before you take it for --start"
            )

    def _of_end(self, last_s: float) -> Iterator[str]:
        """Yield that the film ends before its own file says it does, where that is so."""
        lasts_s = self._film.lasts_s
        if lasts_s is not None and last_s < _ENDS_EARLY * lasts_s - _ENDS_S:
            yield (
                f"the film can be read to {_in_film(last_s)} only, though its file says that it lasts "
                f"{_in_film(lasts_s)}; it may be damaged or not wholly copied"
            )


def _in_film(time_s: float) -> str:
    return f"{round(time_s) // 60}:{round(time_s) % 60:02d}"


def _told(names: Sequence[str], seen: Seen) -> str:
    """Return what was glimpsed in a frame, for who looks it up."""
    return f"{' or '.join(names)} at {seen.time_s:.2f} s: {seen.glimpse.glyphs!r}"


def judged_frames(
    film: Film, display: Display, readers: Sequence[FieldReader] | None = None
) -> Iterator[tuple[Seen, ...]]:
    """Yield each frame that is looked at, seconds late: what stood on each display then, or why that is not known.

    New `readers`, one a field of the display, are the caller's where it asks them afterwards.
    """
    film, display = fitted(film, display)
    readers = readers or [FieldReader(entry.box(), entry.shows) for entry in display.fields]
    frames = learnt(film, readers)
    reading = LiveReading(display, film.apart_s, BLOCK_S, AROUND_S, readers)
    for frame in frames:
        yield from reading.add(frame.number, frame.time_s, frame.picture)
    yield from reading.end()


def fitted(film: Film, display: Display) -> tuple[Film, Display]:
    """Return a film, and a display profile in its pixels; of a film that cannot be had again all frames are left."""
    if display.picture is None:
        return film, display
    frames = film.frames()
    if (first := next(frames, None)) is None:
        raise InputError(f"{film.name}: holds no frame")
    if not film.again:
        film = film._replace(frames=lambda from_s=0.0: chain([first] if from_s <= 0 else [], frames))
    high, wide = first.picture.shape[:2]
    return film, display.fitted(wide, high, film.name)


def learnt(film: Film, readers: Sequence[FieldReader]) -> Iterator[FilmFrame]:
    """Let readers learn where the digits are from a film's first seconds; return all its frames."""
    follower, frames = CameraFollower([reader.box for reader in readers]), film.frames()
    waiting: list[FilmFrame] = []
    for frame in frames:
        if not waiting:
            refuse_beyond(frame.picture, readers, film.name)
        # A stream cannot be had again; of a film the first frame alone shows that there is one.
        waiting += [frame] if not film.again or not waiting else []
        moved = follower.moved(frame.picture)
        for reader in readers:
            reader.look(frame.picture, moved, frame.time_s)
        if all(reader.model for reader in readers) or frame.time_s > _LEARNS_S or len(waiting) >= _WAITING:
            break
    for reader in readers:
        reader.learn_from_few()
        reader.rewind()
    return film.frames() if film.again else chain(waiting, frames)


def refuse_beyond(picture: Image, readers: Sequence[FieldReader], name: str) -> None:
    """Refuse boxes that do not lie in the picture."""
    high, wide = picture.shape[:2]
    for k, reader in enumerate(readers):
        corners = reader.box.corners
        beyond = (corners < 0).any(axis=1) | (corners > (wide, high)).any(axis=1)
        if beyond.any():
            x, y = corners[int(np.argmax(beyond))]
            raise InputError(
                f"{name}: its pictures are {wide} by {high} pixels, and in the display profile fields[{k + 1}].corners "
                f"reach beyond them, to [{x:g}, {y:g}]; draw them on a frame of this film, or say with picture on how "
                "large pictures they were drawn"
            )
