"""The frames of a film: of a video file, of a folder of stills, or of pictures that come one after another."""

from __future__ import annotations

import math
import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import IO, TYPE_CHECKING, Final, NamedTuple

import numpy as np

from ..errors import InputError

if TYPE_CHECKING:
    from .straighten import Image

STILLS = (".jpg", ".jpeg", ".png", ".bmp", ".tif", ".tiff", ".webp")
#: So many frames a second are looked at: enough to see what holds, and most cameras take more.
LOOKED_AT: Final = 15.0
#: So often a reading is taken of what stands on the display. [s]
EVERY_S: Final = 0.2
#: A picture in a stream is not larger. [bytes]
_LARGEST = 50_000_000
_JPEG, _JPEG_END = b"\xff\xd8\xff", b"\xff\xd9"
_PNG, _PNG_END = b"\x89PNG\r\n\x1a\n", b"IEND\xaeB`\x82"


class FilmFrame(NamedTuple):
    """A picture, its number in the film counted from 1, and its time since the film began. [s]"""

    number: int
    time_s: float
    picture: Image


class Film(NamedTuple):
    """Where frames come from, how far apart those that are looked at are [s], and whether they can be had again.

    ``lasts_s`` is how long the file says that it lasts [s]; None where it does not say so.
    """

    name: str
    apart_s: float
    frames: Callable[[], Iterator[FilmFrame]]
    again: bool = True
    lasts_s: float | None = None


def open_film(name: str, stills_apart_s: float | None) -> Film:
    """Return the frames of a video file, of a folder of stills in the order of their names, or of standard input (-).

    Stills and pictures from standard input (JPEG or PNG, one after another) are `stills_apart_s` apart.

    Raises
    ------
    InputError
        If it is no film, or cannot be read.
    """
    path = Path(name)
    if name != "-" and not path.exists():
        raise InputError(f"{name}: there is no such film or folder of stills; check its name and folder")
    if name == "-" or path.is_dir():
        if stills_apart_s is None:
            raise InputError(f"{name}: stills do not say how far apart they are; add --every, such as --every 5s")
        if name == "-":
            return Film(
                "standard input", stills_apart_s, lambda: _of_stream(sys.stdin.buffer, stills_apart_s), again=False
            )
        stills = _stills_in(path)
        if not stills:
            raise InputError(f"{name}: holds no pictures ({', '.join(STILLS)})")
        return Film(name, stills_apart_s, lambda: _of_stills(stills, stills_apart_s))
    if path.suffix.lower() in STILLS:
        return Film(name, stills_apart_s or 1.0, lambda: _of_stills([path], 1.0))
    if stills_apart_s is not None:
        raise InputError(f"{name}: is a film, which has its own times; leave --every out")
    apart_s, lasts_s = _lengths_s(name)
    return Film(name, apart_s, lambda: _of_video(name, apart_s), lasts_s=lasts_s)


def _lengths_s(name: str) -> tuple[float, float | None]:
    """Return how far apart frames of a film are that are looked at, and how long it lasts as far as it says so. [s]"""
    import cv2

    # One decoder alone: others take a name with % for a pattern, or print a damaged file's bytes.
    video = cv2.VideoCapture(name, cv2.CAP_FFMPEG)
    rate = video.get(cv2.CAP_PROP_FPS) if video.isOpened() else 0.0
    count = video.get(cv2.CAP_PROP_FRAME_COUNT) if rate else 0.0
    video.release()
    if not 0.05 < rate < 1000:
        raise InputError(
            f"{name}: is no film that can be opened here; a file such as .mp4, .avi, .mkv or .webm is meant"
        )
    return max(1, round(rate / LOOKED_AT)) / rate, count / rate if count > 0 else None


def _stills_in(folder: Path) -> list[Path]:
    return sorted(file for file in folder.iterdir() if file.suffix.lower() in STILLS)


def frames_between(film: Film, from_s: float, to_s: float) -> Iterator[FilmFrame]:
    """Yield the frames of a film from one time to another [s]; what lies before is passed over unread."""
    path = Path(film.name)
    if path.is_dir():
        first = max(math.ceil(from_s / film.apart_s), 0)
        for frame in _of_stills(_stills_in(path)[first : int(to_s / film.apart_s) + 1], film.apart_s):
            yield FilmFrame(frame.number + first, frame.time_s + first * film.apart_s, frame.picture)
        return
    is_still = path.suffix.lower() in STILLS
    for frame in film.frames() if is_still else _of_video(film.name, film.apart_s, max(from_s, 0.0)):
        if frame.time_s > to_s:
            return
        # A film is entered at a whole picture before that time, from which those that follow are made.
        if frame.time_s >= from_s:
            yield frame


def length_of(film: Film) -> float:
    """Return how long a film lasts, as far as its file says it. [s]"""
    import cv2

    path = Path(film.name)
    if path.is_dir() or path.suffix.lower() in STILLS:
        return (len(_stills_in(path)) - 1) * film.apart_s if path.is_dir() else 0.0
    video = cv2.VideoCapture(film.name, cv2.CAP_FFMPEG)
    count, rate = video.get(cv2.CAP_PROP_FRAME_COUNT), video.get(cv2.CAP_PROP_FPS)
    video.release()
    return max(count - 1, 0.0) / rate if rate > 0 else 0.0


def _of_video(name: str, apart_s: float, from_s: float = 0.0) -> Iterator[FilmFrame]:
    import cv2

    video = cv2.VideoCapture(name, cv2.CAP_FFMPEG)
    with ExitStack() as stack:
        stack.callback(video.release)
        rate, number, due_s, last_s = video.get(cv2.CAP_PROP_FPS), 0, 0.0, -1.0
        if from_s:
            video.set(cv2.CAP_PROP_POS_MSEC, 1000 * from_s)
            number = round(from_s * rate)
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


def _of_stills(stills: list[Path], apart_s: float) -> Iterator[FilmFrame]:
    for k, still in enumerate(stills):
        yield FilmFrame(k + 1, k * apart_s, _decoded(still.read_bytes(), str(still)))


def _decoded(raw: bytes, name: str) -> Image:
    import cv2

    picture = cv2.imdecode(np.frombuffer(raw, np.uint8), cv2.IMREAD_COLOR) if raw else None
    if picture is None:
        raise InputError(f"{name}: is no picture that can be read; it may be damaged or cut short")
    return np.asarray(picture, dtype=np.uint8)


def _of_stream(stream: IO[bytes], apart_s: float) -> Iterator[FilmFrame]:
    """Yield the pictures of a stream; each begins and ends with the marks of its kind."""
    waiting, number = b"", 0
    while chunk := stream.read(1 << 16):
        waiting += chunk
        while (cut := _end_of_first(waiting)) > 0:
            picture = _decoded(waiting[:cut], f"standard input, picture {number + 1}")
            yield FilmFrame(number + 1, number * apart_s, picture)
            waiting, number = waiting[cut:], number + 1
        if len(waiting) > _LARGEST:
            raise InputError("standard input: holds no pictures; JPEG or PNG, one after another, are meant")
    if not number:
        raise InputError("standard input: holds no pictures; JPEG or PNG, one after another, are meant")


def _end_of_first(waiting: bytes) -> int:
    """Return where the first picture of some bytes ends; 0 where it is not whole yet."""
    if waiting.startswith(_PNG):
        at = waiting.find(_PNG_END)
        return at + len(_PNG_END) if at > 0 else 0
    if waiting.startswith(_JPEG):
        at = waiting.find(_JPEG_END + _JPEG[:2])
        return at + 2 if at > 0 else len(waiting) if waiting.endswith(_JPEG_END) else 0
    if len(waiting) >= len(_PNG):
        raise InputError("standard input: holds no pictures; JPEG or PNG, one after another, are meant")
    return 0


def first_picture(film: Film) -> Image:
    """Return a film's first frame."""
    for frame in film.frames():
        return frame.picture
    raise InputError(f"{film.name}: holds no frame")
