"""A frame of a film with the boxes drawn and, beside each, what is read in it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from ..errors import InputError
from ..quantities import find_unit
from .display import Display
from .field_reader import FieldReader
from .film_export import judged_frames
from .follow import CameraFollower
from .frames import Film, FilmFrame
from .stands import Seen
from .straighten import Image

#: Colours of what was read and of what was not, blue first.
_READ, _UNREAD, _DIGITS = (60, 200, 60), (0, 140, 255), (255, 200, 0)
#: Without a stated moment the first one counts at which all is read, no later than this. [s]
_WITHIN_S = 30.0


@dataclass(frozen=True)
class FieldSeen:
    """What is read in one box: in words, and whether it is a reading; else the words are the reason."""

    name: str
    text: str
    is_read: bool


@dataclass(frozen=True)
class FilmLook:
    """A frame with the boxes drawn: a PNG file's bytes, its time in the film [s], and what is read in each box."""

    png: bytes
    time_s: float
    fields: tuple[FieldSeen, ...]


def look_at_film(film: Film, display: Display, at_s: float | None) -> FilmLook:
    """Return one frame with what is read: that at a time [s], else the first in which all is read.

    Raises
    ------
    InputError
        If the film is shorter.
    """
    readers = [FieldReader(entry.box(), entry.shows) for entry in display.fields]
    moment = _moment(film, display, readers, at_s)
    first, frame = _frames(film, moment[0].number)
    follower = CameraFollower([reader.box for reader in readers])
    follower.moved(first.picture)
    moved = follower.moved(frame.picture)
    picture = frame.picture.copy()
    seen = []
    for k, (reader, one) in enumerate(zip(readers, moment, strict=True)):
        reader.look(frame.picture, moved, frame.time_s)
        field = _field_seen(one, f"field {k + 1} ({' or '.join(display.fields[k].quantities)})")
        _draw(picture, reader, moved, field)
        seen.append(field)
    return FilmLook(_as_png(picture), frame.time_s, tuple(seen))


def _moment(film: Film, display: Display, readers: list[FieldReader], at_s: float | None) -> tuple[Seen, ...]:
    first: tuple[Seen, ...] | None = None
    for moment in judged_frames(film, display, readers):
        first = first or moment
        if at_s is None:
            if all(seen.figure is not None for seen in moment):
                return moment
            if moment[0].time_s > _WITHIN_S:
                break
        elif moment[0].time_s >= at_s:
            return moment
    if first is None:
        raise InputError(f"{film.name}: holds no frame")
    if at_s is not None:
        raise InputError(f"--at: {film.name} ends before {at_s:g} s")
    return first


def _frames(film: Film, number: int) -> tuple[FilmFrame, FilmFrame]:
    """Return a film's first frame and the one of a number."""
    first: FilmFrame | None = None
    for frame in film.frames():
        first = first or frame
        if frame.number >= number:
            return first, frame
    raise InputError(f"{film.name}: changed while it was read")


def _field_seen(seen: Seen, name: str) -> FieldSeen:
    if seen.figure is None:
        return FieldSeen(name, seen.reason, is_read=False)
    unit = seen.figure.quantity.rsplit("_", 1)[1]
    return FieldSeen(name, f"{seen.figure.value:g} {find_unit(unit).symbol}", is_read=True)


def _draw(picture: Image, reader: FieldReader, moved: NDArray[np.float64], field: FieldSeen) -> None:
    """Draw a box, where its digits were found, and what is read in it."""
    colour = _READ if field.is_read else _UNREAD
    thick = max(round(picture.shape[1] / 640), 1)
    box = reader.box.corners
    corners = cv2.perspectiveTransform(box[None].astype(np.float64), moved)[0]
    cv2.polylines(picture, [np.round(corners).astype(np.int32)], isClosed=True, color=colour, thickness=thick)
    back = np.linalg.inv(reader.box.matrix() @ np.linalg.inv(moved))
    for outline in reader.digit_outlines():
        points = cv2.perspectiveTransform(outline[None].astype(np.float64), back)[0]
        cv2.polylines(picture, [np.round(points).astype(np.int32)], isClosed=True, color=_DIGITS, thickness=1)
    # The fonts of the library know no other letters; the whole reason stands on the terminal.
    text = field.text if field.is_read else "not read"
    size = 0.6 * thick
    (wide, high), _ = cv2.getTextSize(text, cv2.FONT_HERSHEY_SIMPLEX, size, thick)
    x, y = corners[:, 0].max() + 8 * thick, corners[:, 1].mean() + high / 2
    x = min(x, picture.shape[1] - wide - 4)
    low, high_at = (round(x) - 3, round(y - high) - 4), (round(x) + wide + 3, round(y) + 5)
    cv2.rectangle(picture, low, high_at, (0, 0, 0), cv2.FILLED)
    cv2.putText(picture, text, (round(x), round(y)), cv2.FONT_HERSHEY_SIMPLEX, size, colour, thick, cv2.LINE_AA)


def _as_png(picture: Image) -> bytes:
    _, png = cv2.imencode(".png", picture)
    return bytes(png.tobytes())
