"""The frames of a film: of a video file, of a folder of stills, or of pictures that come one after another."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import ExitStack
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Final, NamedTuple, Protocol

import numpy as np

from ..errors import InputError
from ..zone import zone_of_computer
from .pictures.decoded import decoded
from .pictures.film_file import made_at, was_cut_off
from .pictures.stills import STILLS, Stills, by_their_times, evenly, stills_in
from .pictures.stream import pictures_of

if TYPE_CHECKING:
    from .digit_places.straighten import Image

#: So many frames a second are looked at: enough to see what holds, and most cameras take more.
LOOKED_AT: Final = 15.0
#: So often a reading is taken of what stands on the display. [s]
EVERY_S: Final = 0.2
#: What a display shows that could not be read for longer is not known meanwhile: the gap limit of a film's log. [s]
HIDDEN_S: Final = 3.0
#: What a film's file may say of its frames a second; all else is none. [1/s]
_LEAST_RATE, _MOST_RATE = 0.05, 999.0


class FilmFrame(NamedTuple):
    """A picture, its number in the film counted from 1, and its time since the film began. [s]"""

    number: int
    time_s: float
    picture: Image


class FrameSource(Protocol):
    """Gives a film's frames from a time on [s]; some from a little before it."""

    def __call__(self, from_s: float = 0.0) -> Iterator[FilmFrame]:
        """Yield them in order."""


class Film(NamedTuple):
    """Where frames come from, how far apart those that are looked at are [s], and whether they can be had again.

    ``lasts_s`` is how long it lasts as far as its file says so [s]. ``start_us`` is when its first frame was taken, UTC
    since 1970 [us], where its stills tell that; ``whose`` says by which clock, and ``by_zone`` whether a local one.
    ``made`` is when it was made by its own file, which is a hint and no more: some cameras write when they began, some
    when they ended.
    """

    name: str
    apart_s: float
    frames: FrameSource
    again: bool = True
    lasts_s: float | None = None
    start_us: int | None = None
    whose: str = ""
    by_zone: bool = False
    made: datetime | None = None


def open_film(name: str, stills_apart_s: float | None, zone: str | None = None) -> Film:
    """Return the frames of a video file, of a folder of stills, or of standard input (-).

    Stills are `stills_apart_s` apart in the order of their names; where that is not said, they were taken when they
    say so themselves, by the clocks of a zone (this computer's, if none is named). Pictures from standard input (JPEG
    or PNG, one after another) do not say it.

    Raises
    ------
    InputError
        If it is no film, or cannot be read.
    """
    path = Path(name)
    if name == "-":
        if stills_apart_s is None:
            raise InputError("standard input: pictures do not say how far apart they are; add --every, such as 5s")
        apart_s = stills_apart_s
        return Film("standard input", apart_s, lambda from_s=0.0: _of_stream(apart_s, from_s), again=False)
    if not path.exists():
        raise InputError(f"{name}: there is no such film or folder of stills; check its name and folder")
    if path.is_dir():
        return _folder(path, stills_apart_s, zone or zone_of_computer())
    if path.suffix.lower() in STILLS:
        return _of(name, evenly([path], 1.0), stills_apart_s or 1.0)
    if stills_apart_s is not None:
        raise InputError(f"{name}: is a film, which has its own times; leave --every out")
    return _video(path)


def _folder(path: Path, apart_s: float | None, zone: str) -> Film:
    files = stills_in(path)
    if not files:
        raise InputError(f"{path}: holds no pictures ({', '.join(STILLS)})")
    if apart_s is not None:
        return _of(str(path), evenly(files, apart_s), apart_s)
    stills = by_their_times(files, zone, str(path))
    return _of(str(path), stills, stills.apart_s)


def _of(name: str, stills: Stills, apart_s: float) -> Film:
    return Film(
        name,
        apart_s,
        lambda from_s=0.0: _of_stills(stills, from_s),
        lasts_s=stills.times_s[-1],
        start_us=stills.start_us,
        whose=stills.whose,
        by_zone=stills.by_zone,
    )


def _video(path: Path) -> Film:
    """Return a video file as a film, once a frame of it can be had."""
    import cv2

    name = str(path)
    # One decoder alone: others take a name with % for a pattern, or print a damaged file's bytes.
    video = cv2.VideoCapture(name, cv2.CAP_FFMPEG)
    with ExitStack() as stack:
        stack.callback(video.release)
        if not video.isOpened():
            raise InputError(f"{name}: {_why_none(path)}")
        rate, count = video.get(cv2.CAP_PROP_FPS), video.get(cv2.CAP_PROP_FRAME_COUNT)
        if not video.grab():
            raise InputError(f"{name}: no picture of this film can be read; it may be damaged, or hold sound alone")
    is_rate = _LEAST_RATE < rate < _MOST_RATE
    apart_s = max(1, round(rate / LOOKED_AT)) / rate if is_rate else 1 / LOOKED_AT
    lasts_s = count / rate if count > 0 and is_rate else None
    return Film(name, apart_s, lambda from_s=0.0: _of_video(name, apart_s, from_s), lasts_s=lasts_s, made=made_at(path))


def _why_none(path: Path) -> str:
    if path.stat().st_size == 0:
        return "is empty; copy the film again from its camera"
    if was_cut_off(path):
        return (
            "this film was cut off before its camera had finished it, and cannot be opened: what tells where its "
            "pictures are is written last; copy it again from the camera"
        )
    return "is no film that can be opened here; a file such as .mp4, .avi, .mkv or .webm with pictures in it is meant"


def frames_between(film: Film, from_s: float, to_s: float) -> Iterator[FilmFrame]:
    """Yield the frames of a film from one time to another [s]; what lies before is passed over unread."""
    for frame in film.frames(max(from_s, 0.0)):
        if frame.time_s > to_s:
            return
        # A film is entered at a whole picture before that time, from which those that follow are made.
        if frame.time_s >= from_s:
            yield frame


def _of_video(name: str, apart_s: float, from_s: float = 0.0) -> Iterator[FilmFrame]:
    import cv2

    video = cv2.VideoCapture(name, cv2.CAP_FFMPEG)
    with ExitStack() as stack:
        stack.callback(video.release)
        rate, number, due_s, last_s = video.get(cv2.CAP_PROP_FPS), 0, 0.0, -1.0
        rate = rate if _LEAST_RATE < rate < _MOST_RATE else LOOKED_AT
        if from_s:
            video.set(cv2.CAP_PROP_POS_MSEC, 1000 * from_s)
            number = round(from_s * rate)
        # Frames between those that are looked at are let go unconverted.
        while video.grab():
            time_s = video.get(cv2.CAP_PROP_POS_MSEC) / 1000
            # Some files do not tell their times: then frames are evenly spaced.
            time_s = time_s if time_s > last_s else max(number / rate, last_s + 0.5 / rate)
            number, last_s = number + 1, time_s
            if time_s < due_s - 0.25 / rate:
                continue
            due_s = time_s + apart_s
            ok, picture = video.retrieve()
            if ok:
                yield FilmFrame(number, time_s, np.asarray(picture, dtype=np.uint8))


def _of_stills(stills: Stills, from_s: float) -> Iterator[FilmFrame]:
    for k, (still, time_s) in enumerate(zip(stills.files, stills.times_s, strict=True)):
        if time_s >= from_s:
            yield FilmFrame(k + 1, time_s, decoded(still.read_bytes(), str(still)))


def _of_stream(apart_s: float, from_s: float) -> Iterator[FilmFrame]:
    for k, raw in enumerate(pictures_of(sys.stdin.buffer)):
        if k * apart_s >= from_s:
            yield FilmFrame(k + 1, k * apart_s, decoded(raw, f"standard input, picture {k + 1}"))


def first_picture(film: Film) -> Image:
    """Return a film's first frame."""
    for frame in film.frames():
        return frame.picture
    raise InputError(f"{film.name}: holds no frame")
