"""What ``check-site`` says of a site file's text, by the fields that it is about."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

from ...analysis.check_site.contradictions import contradicting
from ...analysis.check_site.unjudged import unjudged
from ...analysis.site.site import Site
from ...ingest.toml.mistakes import mistakes_of
from ...ingest.toml.places import Where
from ...ingest.toml.repair import Mistake
from .system import field_at, field_path

#: ``mistake``: the file is not taken; ``look again``: what is possible but does not go together; ``not judged``: what
#: would be judged if a key were there.
RemarkKind = Literal["mistake", "look again", "not judged"]


@dataclass(frozen=True)
class FieldRemark:
    """A sentence that stands beside a field."""

    kind: RemarkKind
    sentence: str


def remarks_by_field(text: str) -> dict[Where, list[FieldRemark]]:
    """Return what is said of a site file, by the path of each field that it is about, the gravest first.

    What is said of several figures stands at each of them; what is of no field at the path of its table, or at ``()``.
    """
    remarks: dict[Where, dict[FieldRemark, None]] = {}
    for where, remark in _remarks(text):
        remarks.setdefault(field_path(where), {}).setdefault(remark)
    return {where: list(each) for where, each in remarks.items()}


def _remarks(text: str) -> Iterator[tuple[Where, FieldRemark]]:
    text = text.removeprefix("\ufeff").replace("\r\n", "\n")
    # A file with mistakes cannot be judged: what does not go together is looked for in a sound one alone.
    mistakes = mistakes_of(text, Site)
    if mistakes:
        yield from map(_mistake, mistakes)
        return
    site = Site.model_validate(tomllib.loads(text))
    yield from _at_each((each.about, FieldRemark("look again", each.sentence)) for each in contradicting(site))
    yield from _at_each((each.about, FieldRemark("not judged", each.sentence)) for each in unjudged(site))


def _mistake(mistake: Mistake) -> tuple[Where, FieldRemark]:
    """Return a mistake at its field, or at that whose key, or the table whose header, was meant."""
    if field_at(mistake.where) is not None:
        return mistake.where, FieldRemark("mistake", mistake.sentence)
    # Of a table that needs one of several keys, the first of them is the place.
    if needed := re.match(r"needs (\w+)", mistake.sentence):
        return (*mistake.where, needed[1]), FieldRemark("mistake", mistake.sentence)
    # No field bears its name, so the sentence does.
    named = f"{mistake.where[-1]}: " if mistake.where and isinstance(mistake.where[-1], str) else ""
    remark = FieldRemark("mistake", f"{named}{mistake.sentence}")
    if key := re.search(r"(?:write|did you mean) (\w+)(?: = |\?|$)", mistake.sentence):
        meant = (*mistake.where[:-1], key[1])
        return (meant if field_at(meant) is not None else mistake.where), remark
    table = re.search(r"write \[+(\w+)", mistake.sentence)
    return ((table[1],) if table else mistake.where), remark


def _at_each(remarks: Iterable[tuple[tuple[Where, ...], FieldRemark]]) -> Iterator[tuple[Where, FieldRemark]]:
    # Whichever of the figures is wrong, its field is one of these.
    for about, remark in remarks:
        yield from ((where, remark) for where in about or ((),))
