"""What ``check-site`` says of a site file's text, by the fields that it is about."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any, Final, Literal

from ...analysis.check_site.contradictions import contradicting
from ...analysis.check_site.unjudged import unjudged
from ...analysis.site.site import Site
from ...analysis.site.unit_tables import Units
from ...ingest.toml.edit import edited
from ...ingest.toml.mistakes import mistakes_of
from ...ingest.toml.places import Where
from ...ingest.toml.repair import Mistake
from .system import GROUPS, field_at, field_path
from .typed import typed_of

#: ``mistake``: the file is not taken; ``look again``: what is possible but does not go together; ``not judged``: what
#: would be judged if a key were there; ``put right``: a slip in the file's notation, which the form shows put right;
#: ``taken``: how several figures in one field were taken.
RemarkKind = Literal["mistake", "look again", "not judged", "put right", "taken"]


#: A line to write, as sentences give it: ``write hp = 0.75``, ``, or capacity_Ah = 1.15``.
_VALUE: Final = r"(\"[^\"]*\"|\[[^\]]*\]|-?\d+(?:\.\d+)?(?:e[+-]?\d+)?|true|false)"
_LINE: Final = re.compile(rf"(?:write|, or) (\w+) = {_VALUE}")
_AS_LINE: Final = re.compile(rf"(write|, or) (\w+) = {_VALUE}")
#: The same where the key goes without saying: ``if 90 % is meant, write 90``.
_VALUE_ALONE: Final = re.compile(rf"meant, write {_VALUE}")


@dataclass(frozen=True)
class RightLine:
    """What to write in place of what stands ``at`` a path: a key of the same table, and its value as TOML has it."""

    at: Where
    key: str
    literal: str

    def put_into(self, text: str) -> str:
        """Return a site file's text with this line in place of the other one.

        Raises
        ------
        InputError
            If the text is no TOML, or the change cannot be made in it.
        """
        base, field, data = self.at[: len(self.at) - 1], field_at(self.at), tomllib.loads(text.removeprefix("\ufeff"))
        table = _at(data, base)
        # What says the same in another unit keeps its line and its remark, under the new key.
        old = next((key for key in (field.keys if field else (str(self.at[-1]),)) if key in table), self.key)
        renamed = {(*base, old): self.key} if old != self.key else {}
        return edited(text, {(*base, self.key): tomllib.loads(f"x = {self.literal}")["x"]}, renamed)


@dataclass(frozen=True)
class FieldRemark:
    """A sentence that stands beside a field, and the lines of which one would put it right."""

    kind: RemarkKind
    sentence: str
    right_lines: tuple[RightLine, ...] = ()


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
        yield from map(placed_mistake, mistakes)
        return
    site = Site.model_validate(tomllib.loads(text))
    yield from _at_each((each.about, FieldRemark("look again", each.sentence)) for each in contradicting(site))
    yield from _at_each((each.about, FieldRemark("not judged", each.sentence)) for each in unjudged(site))


def placed_mistake(mistake: Mistake) -> tuple[Where, FieldRemark]:
    """Return a mistake at its field, or at that whose key, or the table whose header, was meant."""
    lines = tuple(RightLine(mistake.where, key, literal) for key, literal in _LINE.findall(mistake.sentence))
    if field_at(mistake.where) is not None:
        return mistake.where, FieldRemark("mistake", mistake.sentence, lines)
    # Of a table that needs one of several keys, the first of them is the place.
    if needed := re.match(r"needs (\w+)", mistake.sentence):
        return (*mistake.where, needed[1]), FieldRemark("mistake", mistake.sentence)
    # No field bears its name, so the sentence does.
    named = f"{mistake.where[-1]}: " if mistake.where and isinstance(mistake.where[-1], str) else ""
    remark = FieldRemark("mistake", f"{named}{mistake.sentence}", lines)
    if key := re.search(r"(?:write|did you mean) (\w+)(?: = |\?|$)", mistake.sentence):
        meant = (*mistake.where[:-1], key[1])
        return (meant if field_at(meant) is not None else mistake.where), remark
    table = re.search(r"write \[+(\w+)", mistake.sentence)
    return ((table[1],) if table else mistake.where), remark


def in_units_of_fields(sentence: str) -> str:
    """Return a sentence in which what to write is an answer: ``answer 40 psi`` for ``write cut_in_psi = 40``."""
    # The file has no key in bar.
    shown = Units(pressure="bar") if "bar is meant" in sentence else None

    def amount(line: re.Match[str]) -> str:
        key = line[2]
        field = next((each for group in GROUPS for each in group.fields if key in each.keys), None)
        value = tomllib.loads(f"x = {line[3]}")["x"]
        answer = line[3] if field is None else typed_of(field, key, value, shown).whole
        return f"{'answer' if line[1] == 'write' else line[1]} {answer}"

    return _VALUE_ALONE.sub(r"meant, answer \1", _AS_LINE.sub(amount, sentence))


def _at_each(remarks: Iterable[tuple[tuple[Where, ...], FieldRemark]]) -> Iterator[tuple[Where, FieldRemark]]:
    # Whichever of the figures is wrong, its field is one of these; the line to write is that of one of them alone.
    for about, remark in remarks:
        yield from ((where, replace(remark, right_lines=_lines_at(where, remark))) for where in about or ((),))


def _lines_at(where: Where, remark: FieldRemark) -> tuple[RightLine, ...]:
    if (field := field_at(where)) is None:
        return ()
    keys = {key.rpartition(".")[2] for key in field.keys}
    lines = [RightLine(where, key, literal) for key, literal in _LINE.findall(remark.sentence) if key in keys]
    alone = _VALUE_ALONE.search(remark.sentence)
    return tuple(lines) if alone is None else (RightLine(where, str(where[-1]), alone[1]),)


def _at(data: Any, where: Where) -> dict[str, Any]:  # noqa: ANN401 - a file may hold anything
    for step in where:
        inside = step in data if isinstance(data, dict) else isinstance(data, list) and step in range(len(data))
        data = data[step] if inside else {}
    return data if isinstance(data, dict) else {}
