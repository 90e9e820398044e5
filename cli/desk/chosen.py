"""What a person chose of the folder's files in a form, and what is wrong with it, by field."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from ...analysis.not_known import Refusal
from ...ingest.errors import InputError
from ..opening.prepared_log import read_site
from .desk_handler import R, errors_by_field
from .folder import Folder

if TYPE_CHECKING:
    from pathlib import Path

    from ...analysis.site.site import Site

#: What stands for no site file where a folder has some: an empty field is one that nobody has chosen in yet.
NO_SITE: Final = "-"
#: What a person may have done wrong: one sentence or several.
WRONG: Final = (InputError, Refusal)


@dataclass(frozen=True)
class ChosenSite:
    """The site files there are, newest first; the one that was chosen, "" for none; and what is wrong with that."""

    names: tuple[str, ...]
    name: str
    site: Site | None = None
    sentences: Mapping[str, str] | None = None

    @property
    def wrong(self) -> Mapping[str, str]:
        """What is wrong with it, for the form's field."""
        return self.sentences or {}

    @property
    def options(self) -> list[tuple[str, str]]:
        """What can be chosen."""
        return [*((name, name) for name in self.names), (NO_SITE, "without a site file")]


def chosen_site(folder: Folder, field: str) -> ChosenSite:
    """Return the site file that a field names; the newest where it says nothing."""
    names = tuple(entry.name for entry in folder.of_kind("site"))
    name = "" if field == NO_SITE else field or next(iter(names), "")
    if not name:
        return ChosenSite(names, "")
    site, sentences = tried(lambda: read_site(folder.existing(name)), folder, {"": "site"})
    # One that cannot be read answers nothing, and must not hide what can be said without it.
    return ChosenSite(names, name if site is not None else "", site, sentences)


def existing_file(folder: Folder, name: str) -> Path | None:
    """Return a file of the folder; None where nothing was chosen."""
    return folder.existing(name) if name else None


def tried(work: Callable[[], R], folder: Folder, fields: Mapping[str, str]) -> tuple[R | None, dict[str, str]]:
    """Return what some work comes to, or None and the sentences by the field that each is about.

    `fields` names a form's field for a word of a sentence; that of the empty word takes all others.
    """
    try:
        return work(), {}
    except WRONG as error:
        # A page names files as the folder does, and its fields have no options' names.
        sentences = [folder.without_path(str(each)) for each in error.args]
        words = {word: field for word, field in fields.items() if word}
        by_field = errors_by_field(InputError(*sentences), words)
        rest = by_field.pop("", "")
        if rest:
            of = fields.get("", "")
            by_field[of] = f"{by_field[of]} {rest}" if of in by_field else rest
        return None, {field: _without_option(sentence) for field, sentence in by_field.items()}


def _without_option(sentence: str) -> str:
    option, colon, rest = sentence.partition(": ")
    return rest[:1].upper() + rest[1:] if colon and option.startswith("--") else sentence


def as_argument(name: str) -> str:
    """Return a file's name as a command takes it: one that begins with a dash is no option."""
    return f"./{name}" if name.startswith("-") else name
