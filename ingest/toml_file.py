"""Read a TOML file, a site file or a profile, and tell every mistake in it in plain words, with its line.

pydantic knows no lines and speaks to programmers; `read_toml` adds the first and mends the second. The model says what
may be in the file; it is expected to be strict (``strict=True, extra="forbid", allow_inf_nan=False``). A message of the
model's own validators is shown as it stands, after the key.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from difflib import get_close_matches
from pathlib import Path
from typing import Any, TypeVar, get_args

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from .errors import InputError

M = TypeVar("M", bound=BaseModel)
Where = tuple[str | int, ...]

LARGEST_BYTES = 4_000_000  # far more than any settings file; guards against being handed a log

#: More mistakes than these at once are counted only.
MOST_TOLD = 20
#: A sentence may repeat names of the file, which may be of any length. [characters]
_SENTENCE_MOST = 1000

_LONG_STRING = re.compile(r'"""(?:\\.|[^\\])*?"""(?:"{0,2})|\'\'\'.*?\'\'\'\'{0,2}', re.DOTALL)
_PARTS = re.compile(rf'{_LONG_STRING.pattern}|"(?:\\.|[^"\\\n])*"|\'[^\'\n]*\'|#[^\n]*', re.DOTALL)
_TABLE = re.compile(r"\s*(\[\[?)\s*([^\]]+?)\s*\]")
_KEY = re.compile(r"\s*([^=\[\]{}]+?)\s*=")

#: How tomllib begins to speak of a text whose closing quote is missing: at the line's end, or at the file's.
_OPEN_QUOTE = (r"Illegal character '\n'", r"Found invalid character '\n'", "Unterminated string", "Expected \"'")

_PLAIN = {
    "missing": "is missing",
    "float_type": "must be a number",
    "int_type": "must be a whole number",
    "int_from_float": "must be a whole number",
    "finite_number": "must be a finite number",
    "string_type": 'must be text in "quotes"',
    "string_too_short": "must not be empty",
    "bool_type": "must be true or false",
    "list_type": "must be a list in [square brackets]",
    "tuple_type": "must be a list in [square brackets]",
    "dict_type": "must be a table",
    "greater_than": "must be greater than {gt:g}",
    "greater_than_equal": "must be at least {ge:g}",
    "less_than": "must be less than {lt:g}",
    "less_than_equal": "must be at most {le:g}",
    "literal_error": "must be {expected}",
    "enum": "must be {expected}",
}


def read_toml(path: Path, model: type[M]) -> M:
    """Read `path` and check it against `model`.

    Parameters
    ----------
    path : Path
        A TOML file in UTF-8, with or without a byte order mark.
    model : type of BaseModel
        What the file may say.

    Returns
    -------
    BaseModel
        The checked contents, an instance of `model`.

    Raises
    ------
    InputError
        If the file cannot be read, is not TOML, or breaks a rule of the model. The text has the mistakes, one a
        line, up to `MOST_TOLD`: ``site.toml:5: bank.capacity_Ah: must be greater than 0 (got -200)``. Items of a list
        count from 1.
    """
    text = _text(path)
    data = _parse(path, text)
    try:
        return model.model_validate(data)
    except ValidationError as error:
        raise InputError("\n".join(_mistakes(path, text, data, model, error))) from None


def _text(path: Path) -> str:
    if path.is_dir():
        raise InputError(f"{path}: is a folder; name the TOML file inside it")
    try:
        with path.open("rb") as file:
            raw = file.read(LARGEST_BYTES + 1)
    except FileNotFoundError:
        raise InputError(f"{path}: there is no such file; check its name and folder") from None
    except (OSError, ValueError) as error:
        raise InputError(f"{path}: cannot be read: {getattr(error, 'strerror', None) or error}") from None
    if len(raw) > LARGEST_BYTES:
        raise InputError(f"{path}: is too large for a settings file; is it a log?")
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError(f"{path}: is not text in UTF-8; save it again in an editor as plain text, UTF-8") from None
    if "\0" in text:
        raise InputError(f"{path}: is not a text file; name a TOML file")
    return text.replace("\r\n", "\n")


def _parse(path: Path, text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise InputError(f"{path}: is nested too deeply; a settings file needs no more than a few levels") from None
    except ValueError as error:  # also a whole number of thousands of digits
        place = re.fullmatch(r"(.*) \(at (?:line (\d+), column \d+|end of document)\)", str(error), re.DOTALL)
        what = place[1] if place else str(error)
        if what.startswith(_OPEN_QUOTE):
            line = _line_of_open_quote(text)
            what = "a text in quotes is opened but not closed; put the same quote at its end"
        else:
            line = int(place[2]) if place and place[2] else text.count("\n") + 1
        hint = (
            '; text needs "quotes", a decimal a point' if what.startswith(("Invalid value", "Expected newline")) else ""
        )
        raise InputError(f"{path}:{line}: is not valid TOML: {_small(what)}{hint}") from None


def _line_of_open_quote(text: str) -> int:
    """Return the line of the first quote that belongs to no whole text in quotes; the reader may tell the last one."""
    rest = _PARTS.sub(lambda part: "\n" * part[0].count("\n"), text)
    return re.split("[\"']", rest, maxsplit=1)[0].count("\n") + 1


def _mistakes(path: Path, text: str, data: dict[str, Any], model: type[BaseModel], error: ValidationError) -> list[str]:
    lines = key_lines(text)
    found = []
    for details in error.errors(include_url=False):
        where = _in_data(data, details)
        found.append(
            (next((lines[where[:n]] for n in range(len(where), 0, -1) if where[:n] in lines), 0), where, details)
        )
    found.sort(key=lambda mistake: mistake[0])
    told: dict[str, None] = {}
    for number, (line, where, details) in enumerate(found):
        if len(told) == MOST_TOLD:
            return [*told, f"{path}: and {len(found) - number} more mistakes"]
        place = f"{path}:{line}" if line else str(path)
        key = f"{_shown(where)}: " if where else ""
        sentence = f"{place}: {key}{_plain(details, where, model)}"
        told[sentence if len(sentence) <= _SENTENCE_MOST else f"{sentence[: _SENTENCE_MOST - 1]}…"] = None
    return list(told)


def key_lines(text: str) -> dict[Where, int]:
    """Return the line of each table and key of a TOML text: ``{("loads", 0, "name"): 17}``.

    What stands inside an inline table or a list has no line of its own: the key's line is meant.
    """
    lines: dict[Where, int] = {}
    table: Where = ()
    counts: dict[Where, int] = {}
    depth = 0
    for number, line in enumerate(_PARTS.sub(_masked, text).split("\n"), 1):
        if depth == 0 and (header := _TABLE.match(line)):
            table = _opened(header, counts)
            lines.setdefault(table, number)
            lines.setdefault(tuple(step for step in table if isinstance(step, str)), number)
        elif depth == 0 and (key := _KEY.match(line)):
            steps = _steps(key[1])
            for n in range(1, len(steps) + 1):
                lines.setdefault((*table, *steps[:n]), number)
        depth += sum(line.count(mark) for mark in "[{") - sum(line.count(mark) for mark in "]}")
    return lines


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
        base = (*base, step)
        base = (*base, counts[base]) if base in counts else base
    table = (*base, last)
    if header[1] == "[[":
        counts[table] = counts.get(table, -1) + 1
        table = (*table, counts[table])
    return table


def _steps(key: str) -> list[str]:
    return [step.strip().strip("\"'") for step in key.split(".")]


def _in_data(data: dict[str, Any], details: ErrorDetails) -> Where:
    """Return the place of an error without the steps that pydantic adds for the members of a union."""
    node: Any = data
    where: list[str | int] = []
    for step in details["loc"]:
        inside: Any = node if isinstance(node, dict) else range(len(node)) if isinstance(node, list) else ()
        if step in inside:
            node = node[step]
            where.append(step)
    if details["type"] == "missing":
        where.append(details["loc"][-1])
    return tuple(where)


def _shown(where: Where) -> str:
    return "".join(f"[{step + 1}]" if isinstance(step, int) else f".{step}" for step in where).removeprefix(".")


def _plain(details: ErrorDetails, where: Where, model: type[BaseModel]) -> str:
    """Return what is wrong, in words that need no knowledge of the model."""
    kind, given = details["type"], details["input"]
    if kind == "missing":
        return _PLAIN[kind]
    if kind == "extra_forbidden":
        return f"there is no such key; {_near(str(where[-1]), _known_keys(model, where[:-1]))}"
    return (_wrong_brackets(kind, given, where) or _wrong_value(details)) + _got(given)


def _wrong_brackets(kind: str, given: object, where: Where) -> str | None:
    """Return the words for a table where a list of tables belongs and the like; None for any other mistake."""
    if isinstance(given, dict) and kind in ("list_type", "tuple_type"):
        return f"must be a list of tables: write [[{where[-1]}]] in double brackets"
    if isinstance(given, list) and kind in ("model_type", "dict_type"):
        return f"must be one table: write [{where[-1]}] in single brackets"
    if kind == "model_type":
        begun = f", begun by [{where[-1]}] on a line of its own" if isinstance(where[-1], str) else ""
        return f"must be a table{begun}"
    return None


def _wrong_value(details: ErrorDetails) -> str:
    kind, context = details["type"], details.get("ctx", {})
    if kind == "value_error":  # raised by a validator of the model, in its own words
        return str(context["error"])
    return _PLAIN[kind].format_map(context) if kind in _PLAIN else _small(details["msg"])


def _got(given: object) -> str:
    """Return the value as it was given; a table or list would say more than it helps."""
    if isinstance(given, Mapping | list | tuple):
        return ""
    shown = str(given).lower() if isinstance(given, bool) else repr(given) if isinstance(given, str) else str(given)
    return f" (got {shown if len(shown) <= 60 else shown[:57] + '...'})"


def _small(text: str) -> str:
    return text[:1].lower() + text[1:]


def _near(key: str, known: list[str]) -> str:
    by_small = {name.lower(): name for name in known}
    near = get_close_matches(key.lower(), by_small, n=1)
    return f"did you mean {by_small[near[0]]}?" if near else f"known here: {', '.join(known)}"


def _known_keys(model: type[BaseModel], where: Where) -> list[str]:
    """Return the keys that may stand at a place of the file, in the model's order."""
    level = [model]
    for step in where:
        # The index of a list and a name that the user chose lead no deeper into the model.
        found = [inner for outer in level for inner in _models(_fields(outer).get(str(step)))]
        level = found or level
    return list(dict.fromkeys(key for each in level for key in _fields(each)))


def _fields(model: type[BaseModel]) -> dict[str, Any]:
    """Return a model's keys, as the file spells them, with what they may hold."""
    return {field.alias or name: field.annotation for name, field in model.model_fields.items()}


def _models(annotation: object) -> list[type[BaseModel]]:
    """Return the models inside an annotation such as ``tuple[Load, ...] | None``."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [model for part in get_args(annotation) for model in _models(part)]
