"""Profiles of a folder that fit an export which nobody has said anything about."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

from ...ingest.errors import Choice, InputError, Question
from ...ingest.exports.choices import Choices, stated_of
from ...ingest.exports.preview import preview
from ...ingest.profiles.model import load_profile

if TYPE_CHECKING:
    from ...ingest.exports.preview import Preview
    from ...ingest.profiles.model import Profile

#: More are not looked at, and more not offered. Common practice, no source.
_MOST_LOOKED_AT: Final = 40
_MOST_OFFERED: Final = 3


#: The one for notes, which comes with the program; all others are files of the folder.
OF_NOTES: Final = "hand"


def is_of_folder(profile: str) -> bool:
    """Tell a profile that is a file from the one that comes with the program."""
    return profile != OF_NOTES


def fitting_profiles(path: Path, seen: Preview, profiles: Sequence[Path], *, is_asked: bool) -> Question | None:
    """Return the question whether an export is of a meter that a profile of the folder describes.

    None where no profile fits, or none reads it otherwise than it is read without (`is_asked`: something is open then).
    """
    names = frozenset(column.name.strip().lower() for column in seen.columns)
    fitting = []
    for profile in profiles[:_MOST_LOOKED_AT]:
        facts = profile.stat()
        if not _may_fit(profile, names, facts.st_mtime_ns):
            continue
        by_it = preview([str(path)], stated_of(Choices(profile=str(profile))))
        if by_it.error is None and by_it.question is None and (is_asked or by_it.readings != seen.readings):
            fitting.append(profile.name)
    if not fitting:
        return None
    evidence = f"All columns that {' and '.join(fitting[:_MOST_OFFERED])} names are in this file."
    choices = [Choice(f"yes: read it by {name}", {"profile": name}) for name in fitting[:_MOST_OFFERED]]
    what = "Is this from the same meter as before?"
    return Question(evidence, what, evidence, [*choices, Choice("no: another meter, or other settings", {})])


@lru_cache(maxsize=4 * _MOST_LOOKED_AT)
def _may_fit(path: Path, names: frozenset[str], _changed_ns: int) -> bool:
    """Tell whether a profile names columns, and only such as there are; it may still read them as something else."""
    try:
        profile = load_profile(str(path))
    except InputError:
        return False
    named = {place.strip().lower() for place in _places(profile) if isinstance(place, str)}
    return bool(named) and named <= names


def _places(profile: Profile) -> Iterable[object]:
    time = profile.time
    return [
        *((time.column, time.date, time.clock) if time is not None else ()),
        *(place for entry in profile.quantities.values() for place in (entry.column, entry.minus)),
    ]
