"""How `convert` is called to read an export as a person chose, with a profile where options do not say it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Final

from ...ingest.errors import InputError, Question
from ...ingest.exports.choices import Choices, profile_of
from ...ingest.safe_files.whole_file import hidden_beside, take_free_place
from .profiles import is_of_folder
from .seen import is_read_alike

#: Endings that an export's name loses when a log or a profile is called after it.
_ENDINGS: Final = (".gz", ".zst", ".zip", ".csv", ".tsv", ".txt", ".log", ".xlsx", ".xls", ".ods")


#: So much of a name leaves room for an ending and a number. [bytes]
_LONGEST_STEM: Final = 200


def stem_of(name: str) -> str:
    """Return what a log or a profile of an export is called after: its name without its endings, not endless."""
    for ending in _ENDINGS:
        if name.lower().endswith(ending) and len(name) > len(ending):
            name = name[: -len(ending)]
    return name.encode()[:_LONGEST_STEM].decode(errors="ignore").rstrip(" .")


def can_keep(choices: Choices) -> bool:
    """Tell whether something was chosen that only a profile can say."""
    return choices != _by_options(choices)


def needs_profile(path: Path, choices: Choices) -> bool:
    """Tell whether an export is read otherwise by options alone, as far as its beginning shows."""
    return can_keep(choices) and not is_read_alike(path, choices, _by_options(choices))


def _by_options(choices: Choices) -> Choices:
    return replace(choices, columns={}, time=(), delimiter=None, header_line=None)


def kept_text(path: Path, choices: Choices) -> str:
    """Return the profile by which the next export is read as this one, in TOML.

    Raises
    ------
    InputError
        If no profile can say it.
    """
    profile = choices.profile
    if profile is not None and is_of_folder(profile):
        choices = replace(choices, profile=str(path.with_name(profile)))
    try:
        return profile_of([str(path)], choices)
    except Question:
        raise
    except InputError as error:
        # Nobody gave an option here that could be left out.
        raise InputError(str(error).partition("; leave --keep-profile")[0]) from None


def write_new(place: Path, text: str) -> None:
    """Write a text file whole, under a name that nothing has; `FileExistsError` where something has it."""
    with hidden_beside(place) as hidden:
        hidden.write_text(text, encoding="utf-8")
        take_free_place(hidden, place)
