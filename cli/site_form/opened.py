"""A site file as it is opened for a form: slips in its notation are put right there, and told; the file stays."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ...analysis.site.site import Site
from ...ingest.toml.mistakes import notation_repaired
from ...ingest.toml.places import Where
from ...ingest.toml.repair import Mistake
from ..render.wording.numbers import shortened
from .remarks import FieldRemark, placed_mistake
from .system import GROUPS, field_at, field_path
from .typed import Typed

#: More of them than this no page shows, nor anybody fills in.
MOST_ITEMS = 100
_BOM = "\ufeff"


@dataclass(frozen=True)
class OpenedSite:
    """A site file's text, and what of its notation was put right in it.

    Parameters
    ----------
    text : str
        The text; no TOML where `broken` says why it is none.
    repairs : mapping
        By the path of the field, what was put right there, with the line of the file.
    doubts : mapping
        By the path of the field, what stands in the file and may mean two things.
    broken : tuple of str
        Why no form can be made of it, with the lines.
    """

    text: str
    repairs: Mapping[Where, tuple[FieldRemark, ...]]
    doubts: Mapping[Where, Typed]
    broken: tuple[str, ...] = ()


def opened_site(text: str) -> OpenedSite:
    """Return a site file's text as a form can take it."""
    plain = text.removeprefix(_BOM).replace("\r\n", "\n")
    notation = notation_repaired(plain, Site)
    if notation.data is None:
        lines = plain.split("\n")
        return OpenedSite(text, {}, {}, tuple(_with_line(each, lines) for each in notation.mistakes))
    if too_many := [group.label for group in GROUPS if _count(notation.data.get(group.key)) > MOST_ITEMS]:
        return OpenedSite(text, {}, {}, (f"{too_many[0]}: more than {MOST_ITEMS}, too many for a form",))
    repairs: dict[Where, tuple[FieldRemark, ...]] = {}
    doubts: dict[Where, Typed] = {}
    for mistake in notation.mistakes:
        where, remark = placed_mistake(mistake)
        if len(remark.right_lines) > 1:
            # The first reading stands in the text for the form's sake; the field shows what was written.
            doubts |= _as_written(mistake)
            continue
        remark = FieldRemark("put right", _with_line(mistake))
        repairs[field_path(where)] = (*repairs.get(field_path(where), ()), remark)
    if not notation.mistakes:
        return OpenedSite(text, {}, {})
    right = notation.text.replace("\n", "\r\n") if "\r\n" in text else notation.text
    return OpenedSite(_BOM + right if text.startswith(_BOM) else right, repairs, doubts)


def _count(table: object) -> int:
    return len(table) if isinstance(table, list) else 0


def _with_line(mistake: Mistake, lines: Sequence[str] = ()) -> str:
    """Return what is wrong with its line, and how that begins: a long text shows no numbers."""
    begins = f", '{shortened(lines[mistake.line - 1].strip(), 40)}'" if 0 < mistake.line <= len(lines) else ""
    return f"Line {mistake.line}{begins}: {mistake.sentence}" if mistake.line else mistake.sentence


def _as_written(mistake: Mistake) -> dict[Where, Typed]:
    field, written = field_at(mistake.where), re.search(r"\(got (.*)\)$", mistake.sentence)
    if field is None or written is None:
        return {}
    unit = field.units[0] if field.units and not field.others else ""
    return {field_path(mistake.where): Typed(written[1], unit)}
