"""A frame of a film with the boxes drawn and, beside each, what is read in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from ..errors import InputError
from ..quantities import find_unit
from .digit_places.straighten import Image
from .display import Display, FieldEntry
from .field_reader import FieldReader
from .film_export import fitted, judged_frames, refuse_beyond
from .follow import CameraFollower
from .frames import Film, FilmFrame, first_picture, frames_between
from .seen import Seen
from .stands import AROUND_S, BLOCK_S, FrameJudge

#: Colours of what was read and of what was not, blue first.
_READ, _UNREAD, _DIGITS = (60, 200, 60), (0, 140, 255), (255, 200, 0)
#: Without a stated moment the first one counts at which all is read, no later than this. [s]
_WITHIN_S = 30.0
#: What is read at one moment is read of a part of the film around it: so long on either side to learn where the digits
#: stand, and so long for what must stand for three seconds to be believed [s]; or of so many frames, if that is more.
_LEARNT_S, _JUDGED_S, _PART_FRAMES = 1.6, 3.2, 4
#: A still that is shown is no wider; its boxes are in pixels of the film all the same. [pixels]
_SHOWN_WIDE = 1920


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
    if not film.again:
        raise InputError(f"{film.name}: can be had only once, so there is no looking at it; put it into a file first")
    film, display = fitted(film, display)
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
        field = _field_seen(one, display.fields[k], f"field {k + 1} ({' or '.join(display.fields[k].quantities)})")
        _draw(picture, reader, moved, field)
        seen.append(field)
    return FilmLook(_as_png(picture), frame.time_s, tuple(seen))


def still_of(film: Film, at_s: float) -> bytes:
    """Return the frame at a time [s], moved back to where the first frame had it: a JPEG file's bytes.

    Corners that are drawn on it are those of a display profile.

    Raises
    ------
    InputError
        If there is no frame.
    """
    first = first_picture(film)
    high, wide = first.shape[:2]
    picture = first
    if (frame := _frame_at(film, at_s)) is not None and frame.picture.shape == first.shape:
        follower = CameraFollower(())
        follower.moved(first)
        back = np.linalg.inv(follower.moved(frame.picture))
        picture = np.asarray(cv2.warpPerspective(frame.picture, back, (wide, high)), dtype=np.uint8)
    if (scale := _SHOWN_WIDE / wide) < 1:
        picture = np.asarray(cv2.resize(picture, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA), np.uint8)
    _, jpeg = cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, 92])
    return bytes(jpeg.tobytes())


def _frame_at(film: Film, at_s: float) -> FilmFrame | None:
    # Some films have no frame for a while.
    slack_s = max(1.0, 2 * film.apart_s)
    best: FilmFrame | None = None
    for frame in frames_between(film, at_s - slack_s, at_s + slack_s):
        if best is not None and frame.time_s > at_s + film.apart_s / 2:
            break
        best = frame
    return best


def read_at(film: Film, display: Display, at_s: float) -> tuple[FieldSeen, ...]:
    """Return what is read in each box at a time [s], by what stands in the film shortly before and after it.

    Raises
    ------
    InputError
        If boxes lie beyond the picture, or there is no frame.
    """
    readers = [FieldReader(entry.box(), entry.shows) for entry in display.fields]
    first, follower = first_picture(film), CameraFollower([reader.box for reader in readers])
    refuse_beyond(first, readers, film.name)
    follower.moved(first)
    learnt_s, judged_s = (max(each, _PART_FRAMES * film.apart_s) for each in (_LEARNT_S, _JUDGED_S))
    for frame in frames_between(film, at_s - learnt_s, at_s + learnt_s):
        moved = follower.moved(frame.picture)
        for reader in readers:
            reader.look(frame.picture, moved, frame.time_s)
    for reader in readers:
        reader.learn_from_few()
    # Once more, now that it is known where the digits stand; too soon for them to be learnt anew.
    glimpses = []
    for frame in frames_between(film, at_s - judged_s, at_s + judged_s):
        moved = follower.moved(frame.picture)
        looks = (reader.look(frame.picture, moved, frame.time_s) for reader in readers)
        glimpses.append([Seen(frame.number, frame.time_s, glimpse) for glimpse in looks])
    if not glimpses:
        raise InputError(f"{film.name}: ends before {at_s:g} s")
    return tuple(
        _judged_at([row[k] for row in glimpses], entry, film.apart_s, at_s) for k, entry in enumerate(display.fields)
    )


def _judged_at(frames: Sequence[Seen], entry: FieldEntry, apart_s: float, at_s: float) -> FieldSeen:
    """Return what stood on one display at a time, by the frames before and after it."""
    judge = FrameJudge(entry, apart_s, BLOCK_S, AROUND_S)
    judged = [*(seen for frame in frames for seen in judge.add(frame)), *judge.end()]
    return _field_seen(min(judged, key=lambda seen: abs(seen.time_s - at_s)), entry, " or ".join(entry.quantities))


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


def _field_seen(seen: Seen, entry: FieldEntry, name: str) -> FieldSeen:
    if seen.figure is None:
        return FieldSeen(name, seen.reason, is_read=False)
    # As the display has it, to be held against what one sees: with its noughts, and in its own unit.
    units = [one.unit for one in entry.in_turn] or [entry.unit or ""]
    unit = units[entry.quantities.index(seen.figure.quantity)]
    return FieldSeen(name, f"{seen.figure.text} {find_unit(unit).symbol}", is_read=True)


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
