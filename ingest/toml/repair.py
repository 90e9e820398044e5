"""Slips in the notation of a settings file: what to write instead, so that the rest of the file is read as well.

Nothing is mended in silence: each repair is told as a mistake, and the file stays as it is.
"""

from __future__ import annotations

import re
import tomllib
from difflib import get_close_matches
from typing import Any, Final, NamedTuple

from pydantic import BaseModel

from .amounts import amount_of, number, right_line
from .places import (
    HEADER,
    Where,
    also_called,
    fields_at,
    fields_of,
    holds_list,
    leaves,
    models_in,
    outer_lines,
    table_at,
    without_remark,
)

#: A key, its sign and its value on a line; the sign may be another one, or missing.
_ASSIGNMENT: Final = re.compile(r"\s*([A-Za-z][\w-]*)(?:\s*[=:]\s*|\s+)(\S.*?)\s*")
_STRAIGHT: Final = str.maketrans({"“": '"', "”": '"', "„": '"', "‘": "'", "’": "'"})
_TRUTH: Final = {
    "true": "true", "yes": "true", "on": "true", "1": "true",
    "false": "false", "no": "false", "off": "false", "0": "false",
}  # fmt: skip
#: No value that was meant as a figure or a word is longer. [characters]
VALUE_MOST: Final = 80
#: What may stand in quotes as it is.
_PLAIN_TEXT: Final = re.compile(r"[^\"\\\x00-\x1f\x7f\[\]{}=#]+")


class Mistake(NamedTuple):
    """A mistake in a settings file: its line, 0 where it has none; where in the data; what is wrong, what to write."""

    line: int
    where: Where
    sentence: str


def headers_repaired(text: str, model: type[BaseModel]) -> tuple[str, list[Mistake]]:
    """Return a text with its headers put right, and what was: ``[battery]``, ``[inverters]``, ``[[bank]]``."""
    lines, repairs = text.split("\n"), []
    # Headers first, and all of them: a wrong one would make each of its keys wrong as well.
    headers = [(at, header) for at, line in outer_lines(text) if (header := HEADER.fullmatch(line))]
    names = {header[2].strip() for _, header in headers}
    for at, header in headers:
        if right := _right_header(header, model, names):
            wanted, sentence = right
            lines[at - 1] = f"{wanted}{_remark_of(lines[at - 1])}"
            repairs.append(Mistake(at, (header[2].split(".")[0].strip(),), sentence))
    return "\n".join(lines), repairs


def _right_header(header: re.Match[str], model: type[BaseModel], names: set[str]) -> tuple[str, str] | None:
    """Return what a header should be and why; None for one that is right, or of a table that nothing is like."""
    top, _, below = (part.strip() for part in header[2].partition("."))
    fields, opening = fields_of(model), header[1]
    table = top if top in fields else table_named(top, model)
    if table is None or not (inner := models_in(fields[table])):
        return None
    several = holds_list(fields[table])
    if table != top and not several and table in names:
        return None  # both are there: which of them is meant nobody can tell
    if table != top:
        why = f"there is no table {opening}{top}{opening.replace('[', ']')}"
    elif len(opening) != len(header[3]):
        why = "its brackets do not match"
    elif below and several and opening == "[" and below.split(".")[0] not in fields_of(inner[0]):
        why = f"must be a list of tables, each with its name: name = {_quoted(below)}"
        below = ""
    elif not below and several != (opening == "[["):
        why = "must be a list of tables" if several else "must be one table"
    else:
        return None
    wanted = f"[[{table}]]" if several else f"[{table}]"
    if below:
        wanted = f"{opening}{table}.{below}{opening.replace('[', ']')}"
    brackets = "double" if wanted.startswith("[[") else "single"
    return wanted, f"{why}: write {wanted} in {brackets} brackets"


def table_named(name: str, model: type[BaseModel]) -> str | None:
    """Return the table of a file that a name stands for: singular, plural, another word, or nearly right."""
    tables = {key: _singular(key) for key, held in fields_of(model).items() if models_in(held)}
    plain = _singular(re.sub(r"[ -]", "_", name.strip().strip("\"'").lower()))
    if (other := also_called(model, ()).get(plain)) in tables:
        return other
    near = get_close_matches(plain, tables.values(), n=1, cutoff=0.8)
    return next((key for key, single in tables.items() if near and single == near[0]), None)


def _singular(name: str) -> str:
    if name.endswith("ies"):
        return f"{name[:-3]}y"
    return name[:-1] if name.endswith("s") and not name.endswith("ss") else name


def line_repaired(text: str, line: int, model: type[BaseModel]) -> tuple[str, Mistake] | None:
    """Return a text with one line put right that is no TOML, and what was put right; None where that cannot be told."""
    lines = text.split("\n")
    written = without_remark(lines[line - 1])
    table = table_at(text, line)
    match = _ASSIGNMENT.fullmatch(written)
    if match is None or _is_toml(written):
        return None
    # A remark as in other languages, and a comma or semicolon at the end, are slips of people who write those.
    key, value = match[1], re.split(r"\s+(?://|;)", match[2])[0].rstrip(",;")
    if len(value) > VALUE_MOST or value.startswith(("'", '"', "[", "{")):
        return None  # an open quote or bracket may end on another line
    fields = fields_at(model, table)
    if not re.match(r"\s*[\w-]+\s*[=:]", written) and key not in fields:
        return None  # words, not a key and its value
    right = assignment(key, value, fields)
    if right is None:
        return None
    lines[line - 1] = f"{right.split(', or ')[0]}{_remark_of(lines[line - 1])}"
    return "\n".join(lines), Mistake(line, (*table, key), f"is not valid TOML; write {right} (got {value})")


def _remark_of(line: str) -> str:
    """Return the remark that ends a line, with the room before it; also one that is begun as in other languages."""
    written = without_remark(line).rstrip()
    if line.startswith(written) and line[len(written) :].strip():
        return line[len(written) :].rstrip()
    foreign = re.search(r"(\s+)(?://|;)\s*(\S.*)", written)
    return f"{foreign[1]}# {foreign[2].rstrip()}" if foreign else ""


def assignment(key: str, value: str, fields: dict[str, Any]) -> str | None:
    """Return the line that says what a key and its value, as they stand in the file, were to say.

    `fields` are the keys that may stand there, with what they may hold. None where that cannot be told.
    """
    straight = value.translate(_STRAIGHT)
    kinds = leaves(fields.get(key))
    if key in fields and holds_list(fields[key]):
        right = _list(key, straight, kinds)
    elif kinds and kinds <= {str}:
        right = f"{key} = {_quoted(straight)}"
    elif kinds == {bool}:
        right = f"{key} = {_TRUTH.get(_bare(straight).lower())}"
    else:
        right = right_line(key, value, list(fields)) or ""
        if kinds == {int} and "." in right:
            return None
        if not right and not kinds & {int, float}:
            right = f"{key} = {straight if _is_toml(f'{key} = {straight}') else _quoted(straight)}"
    return right if right and _is_toml(right.split(", or ")[0]) else None


def _list(key: str, value: str, kinds: set[type]) -> str:
    """Return a list of what stands between commas: texts in quotes, or numbers."""
    parts = [part.strip() for part in value.strip("[]").split(",") if part.strip()]
    if kinds == {str}:
        return f"{key} = [{', '.join(_quoted(part) for part in parts)}]"
    amounts = [amount_of(part) for part in parts]
    return f"{key} = [{', '.join('?' if each is None else number(each.value) for each in amounts)}]"


def _bare(value: str) -> str:
    return value.strip().strip("\"'").strip()


def _quoted(value: str) -> str:
    """Return a text in quotes; what cannot stand in them stays as it is, and is no TOML."""
    bare = _bare(value)
    return f'"{bare}"' if _PLAIN_TEXT.fullmatch(bare) else value


def _is_toml(line: str) -> bool:
    try:
        tomllib.loads(line)
    except (ValueError, RecursionError):
        return False
    return True
