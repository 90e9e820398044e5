"""A film of a display, opened to become a log; a library is loaded for it that nothing else needs."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from ...ingest.durations import seconds
from ...ingest.errors import InputError
from ...ingest.exports.delimited.stated import Stated
from ...ingest.exports.intake import Intake, meta_of, zone_stated
from ...ingest.film.library import require_opencv
from ...ingest.safe_files.whole_file import write_bytes
from ...ingest.zone import zone_of_computer

if TYPE_CHECKING:
    from ...ingest.film.frames import Film
    from ...ingest.film.overlay import FilmLook

_IN_FILM = re.compile(r"(?:(\d+):)?(\d{1,3}):(\d{2}(?:\.\d+)?)")


@dataclass(frozen=True)
class FilmStated:
    """What is said of a film: its display profile, when it began, and how far apart its stills are taken."""

    display: str
    start: datetime | None = None
    every: str | None = None


def take_in_film(sources: tuple[str, ...], film: FilmStated, stated: Stated) -> Intake:
    """Return a film as an export that is ready to be converted.

    Raises
    ------
    InputError
        If it cannot be opened, or its profile holds mistakes.
    """
    if len(sources) > 1:
        raise InputError("films are converted one at a time; name one film or one folder of stills")
    require_opencv()
    from ...ingest.film.display import load_display
    from ...ingest.film.film_export import FilmExport
    from ...ingest.film.frames import HIDDEN_S

    display = load_display(Path(film.display))
    stated = replace(
        stated,
        side=stated.side or display.side,
        sampling=stated.sampling or display.sampling,
        meter=stated.meter or display.meter,
    )
    zone = zone_stated(stated)
    own = zone or zone_of_computer()
    opened = opened_film(sources[0], film.every, own)
    export = FilmExport(opened, display, zone=own, start=film.start)
    # What a film hides for longer may be a whole run: nobody may bridge it by what stood before and after.
    gap_s = stated.gap_s or (HIDDEN_S if opened.apart_s < 1 else None)
    return Intake(
        export,
        replace(meta_of(export, stated, zone), profile=film.display, display_delay_s=float(display.delay_s)),
        gap_s,
    )


def picture_of_film(name: str, display: str, place: Path, *, every: str | None, at: str | None) -> FilmLook:
    """Write a frame of a film with its boxes, and return what is read in each.

    Raises
    ------
    InputError
        If film or profile cannot be opened, or the film ends before that moment.
    """
    require_opencv()
    from ...ingest.film.display import load_display
    from ...ingest.film.overlay import look_at_film

    at_s = None if at is None else film_moment(at, what="--at").total_seconds()
    look = look_at_film(opened_film(name, every), load_display(Path(display)), at_s)
    write_bytes(place, look.png)
    return look


def opened_film(name: str, every: str | None, zone: str | None = None) -> Film:
    """Return the film of a name; stills that say when they were taken say it by the clocks of a zone."""
    from ...ingest.film.frames import open_film

    return open_film(name, seconds(every, what="--every") if every else None, zone)


def at_moment(text: str, *, what: str) -> tuple[str, timedelta]:
    """Return the time that is stated by an option, and at which moment of the film it was: ``10:31:28@1:23``.

    Raises
    ------
    InputError
        If what follows the @ is no time of a film.
    """
    time, at, moment = text.rpartition("@")
    if not at:
        return text, timedelta()
    return time, film_moment(moment, what=what)


def film_moment(moment: str, *, what: str) -> timedelta:
    """Return a time of a film since its beginning.

    Raises
    ------
    InputError
        If it is none.
    """
    if (match := _IN_FILM.fullmatch(moment.strip())) is None:
        raise InputError(f"{what}: {moment!r} is no time of a film; write it like 1:23 or 1:02:03.5")
    return timedelta(hours=int(match[1] or 0), minutes=int(match[2]), seconds=float(match[3]))
