"""A film as its form shows it: a moment of it, and what is read in each box then."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Final, NamedTuple

from ...ingest.errors import InputError
from ...ingest.film.library import require_opencv
from ..opening.films import film_moment, opened_film

if TYPE_CHECKING:
    from ...ingest.film.display import FieldEntry
    from ...ingest.film.frames import Film
    from ...ingest.film.overlay import FieldSeen

#: As far apart stills are taken to be for a look at one of them, until somebody says it.
_EVERY: Final = "1s"
#: So many boxes are remembered with what was read in them, so that only what was changed is read again.
_REMEMBERED: Final = 200


@dataclass(frozen=True)
class FilmAsked:
    """A film of the folder and a moment of it, as a person typed it; `every` is how far apart stills were taken."""

    path: Path
    at: str = ""
    every: str = ""

    @property
    def is_stills(self) -> bool:
        """Whether it is a folder of stills."""
        return self.path.is_dir()

    @property
    def tells_times(self) -> bool:
        """Whether it is a folder of stills that say themselves when they were taken."""
        return self.is_stills and self.opened().start_us is not None

    def opened(self) -> Film:
        """Return it.

        Raises
        ------
        InputError
            If it cannot be opened here.
        """
        require_opencv()
        if not self.is_stills:
            return opened_film(str(self.path), None)
        try:
            return opened_film(str(self.path), self.every or None)
        except InputError as error:
            if self.every or "--every" not in str(error):
                raise
        return opened_film(str(self.path), _EVERY)

    def moment_s(self) -> float:
        """Return the moment. [s]"""
        return film_moment(self.at, what="--at").total_seconds() if self.at else 0.0

    def length_s(self) -> float:
        """Return how long it lasts, as far as it says it. [s]"""
        return self.opened().lasts_s or 0.0

    def size(self) -> tuple[int, int]:
        """Return how wide and high its pictures are. [pixels]"""
        from ...ingest.film.frames import first_picture

        high, wide = first_picture(self.opened()).shape[:2]
        return wide, high

    def still(self) -> bytes:
        """Return the moment as a picture: a JPEG file's bytes."""
        film = self.opened()
        from ...ingest.film.overlay import still_of  # only now that the library is known to be there

        return still_of(film, self.moment_s())

    def read(self, entries: Sequence[FieldEntry | None]) -> list[FieldSeen | None]:
        """Return what is read in each box at that moment; nothing of those that are not drawn yet."""
        film = _FilmAsWas(self, self.path.stat().st_mtime_ns)
        return [None if entry is None else _read(film, entry.model_dump_json()) for entry in entries]


class _FilmAsWas(NamedTuple):
    """A film and when it was changed last: one that another took the place of is read anew. [ns since 1970]"""

    asked: FilmAsked
    changed_ns: int


@lru_cache(maxsize=_REMEMBERED)
def _read(film: _FilmAsWas, box: str) -> FieldSeen:
    """Return what is read in a box, which JSON describes."""
    from ...ingest.film.display import Display, FieldEntry
    from ...ingest.film.overlay import FieldSeen, read_at

    asked = film.asked
    # By itself, so that a box that is still wrong says nothing against the others.
    try:
        (seen,) = read_at(asked.opened(), Display(fields=[FieldEntry.model_validate_json(box)]), asked.moment_s())
    except InputError as error:
        sentence = str(error).removeprefix(f"{asked.path}: ")
        # Here a box is drawn, not written.
        if " and in the display profile " in sentence:
            sentence = f"{sentence.partition(', and in ')[0]}, and the box reaches beyond them; draw it again"
        return FieldSeen("", sentence, is_read=False)
    return seen
