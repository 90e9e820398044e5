"""Where a key of a TOML text stands, and which keys may stand there."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any, Final, Literal, get_args, get_origin

from pydantic import BaseModel

Where = tuple[str | int, ...]
_LONG_STRING = re.compile(r'"""(?:\\.|[^\\])*?"""(?:"{0,2})|\'\'\'.*?\'\'\'\'{0,2}', re.DOTALL)
_PARTS = re.compile(rf'{_LONG_STRING.pattern}|"(?:\\.|[^"\\\n])*"|\'[^\'\n]*\'|#[^\n]*', re.DOTALL)
_TABLE = re.compile(r"\s*(\[\[?)\s*([^\]]+?)\s*\]")
#: A header, also one whose brackets do not match.
HEADER: Final = re.compile(r"\s*(\[{1,2})\s*([A-Za-z][\w -]*(?:\.[\w \"'-]+)*)\s*(\]{0,2})\s*")
_KEY = re.compile(r"\s*([^=\[\]{}]+?)\s*=")


def key_lines(text: str) -> dict[Where, int]:
    """Return the line of each table and key of a TOML text: ``{("loads", 0, "name"): 17}``.

    What stands inside an inline table or a list has no line of its own: the key's line is meant.
    """
    lines: dict[Where, int] = {}
    for number, table, steps in _places(text):
        if not steps:
            lines.setdefault(table, number)
            lines.setdefault(tuple(step for step in table if isinstance(step, str)), number)
        for n in range(1, len(steps) + 1):
            lines.setdefault((*table, *steps[:n]), number)
    return lines


def table_at(text: str, line: int) -> Where:
    """Return the table that a line of a TOML text stands in, counted from 1."""
    return next((table for number, table, _ in reversed(list(_places(text))) if number <= line), ())


def _places(text: str) -> Iterator[tuple[int, Where, list[str]]]:
    """Yield the line of each header and key, its table, and the key's steps; a header has none."""
    table: Where = ()
    counts: dict[Where, int] = {}
    for number, line in outer_lines(text):
        if header := _TABLE.match(line):
            table = _opened(header, counts)
            yield number, table, []
        elif key := _KEY.match(line):
            yield number, table, _steps(key[1])


def outer_lines(text: str) -> Iterator[tuple[int, str]]:
    """Yield the lines that begin outside of lists, inline tables and long texts, without remarks, counted from 1."""
    depth = 0
    for number, line in enumerate(_PARTS.sub(_masked, text).split("\n"), 1):
        if depth == 0:
            yield number, line
        if not HEADER.fullmatch(line):  # one whose brackets do not match is a slip, not the beginning of a list
            depth += sum(line.count(mark) for mark in "[{") - sum(line.count(mark) for mark in "]}")


def without_remark(line: str) -> str:
    """Return a line without what follows ``#``, unless that is inside a text."""
    return _PARTS.sub(lambda part: "" if part[0].startswith("#") else part[0], line)


def without_texts(text: str) -> str:
    """Return a text without what stands in whole quotes, and without remarks; its lines stay."""
    return _PARTS.sub(lambda part: "\n" * part[0].count("\n"), text)


def _masked(part: re.Match[str]) -> str:
    """Blank what could be taken for a key or bracket, and keep the line ends."""
    if part[0].startswith("#"):
        return ""
    if part[0].startswith(('"""', "'''")):
        return '""' + "\n" * part[0].count("\n")
    return re.sub(r"[\[\]{}=]", "_", part[0])


def _opened(header: re.Match[str], counts: dict[Where, int]) -> Where:
    """Return where a header such as ``[bank]`` or ``[[loads]]`` leads, counting the items of lists of tables."""
    *above, last = _steps(header[2])
    base: Where = ()
    for step in above:
        # A header below a list of tables means the list's last item.
        base = (*base, step)
        base = (*base, counts[base]) if base in counts else base
    table = (*base, last)
    if header[1] == "[[":
        counts[table] = counts.get(table, -1) + 1
        table = (*table, counts[table])
    return table


def _steps(key: str) -> list[str]:
    return [step.strip().strip("\"'") for step in key.split(".")]


def fields_at(model: type[BaseModel], where: Where) -> dict[str, Any]:
    """Return the keys that may stand at a place of the file, in the model's order, with what they may hold."""
    return {key: held for each in reversed(_models_at(model, where)) for key, held in fields_of(each).items()}


def also_called(model: type[BaseModel], where: Where) -> dict[str, str]:
    """Return other words for the keys and values at a place of the file, with the right ones; models may have none."""
    words: dict[str, str] = {}
    for each in _models_at(model, where):
        words |= getattr(each, "also_called", {})
    return words


def _models_at(model: type[BaseModel], where: Where) -> list[type[BaseModel]]:
    level = [model]
    for step in where:
        # The index of a list and a name that the user chose lead no deeper into the model.
        models = [inner for outer in level for inner in models_in(fields_of(outer).get(str(step)))]
        level = models or level
    return level


def fields_of(model: type[BaseModel]) -> dict[str, Any]:
    """Return a model's keys, as the file spells them, with what they may hold."""
    return {field.alias or name: field.annotation for name, field in model.model_fields.items()}


def models_in(annotation: object) -> list[type[BaseModel]]:
    """Return the models inside an annotation such as ``tuple[Load, ...] | None``."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for part in get_args(annotation) for model in models_in(part)]


def leaves(annotation: object) -> set[type]:
    """Return the plain types that a key may hold, alone or in lists: ``{float}``, ``{str}``."""
    if get_origin(annotation) is Literal:
        return {type(each) for each in get_args(annotation)}
    inner = get_args(annotation)
    if not inner:
        return {annotation} if isinstance(annotation, type) and annotation is not type(None) else set()
    return {leaf for part in inner for leaf in leaves(part)}


def holds_list(annotation: object) -> bool:
    """Return whether a key holds a list, of values or of tables."""
    if get_origin(annotation) in (tuple, list):
        return True
    return any(holds_list(part) for part in get_args(annotation) if get_origin(annotation) is not dict)
