"""Tell every mistake in a settings file in plain words, with its line.

pydantic knows no lines and speaks to programmers: the first is added, the second mended. A message of the model's own
validators is shown as it stands, after the key.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from pathlib import Path
from typing import Any, NamedTuple

from pydantic import BaseModel, ConfigDict, TypeAdapter, ValidationError
from pydantic_core import ErrorDetails

from .amounts import right_line
from .bounds import BEYOND, beyond_bounds
from .places import Where, also_called, fields_at, fields_of, holds_list, key_lines, leaves, models_in, without_texts
from .repair import VALUE_MOST, Mistake, assignment, headers_repaired, line_repaired, table_named

#: More mistakes than these at once are counted only.
MOST_TOLD = 20
#: A sentence may repeat names of the file, which may be of any length. [characters]
_SENTENCE_MOST = 1000
#: Notation is put right in files of a person's size alone. [characters]
_REPAIRED_MOST = 200_000
#: How tomllib begins to speak of a text whose closing quote is missing: at the line's end, or at the file's.
_OPEN_QUOTE = (r"Illegal character '\n'", r"Found invalid character '\n'", "Unterminated string", "Expected \"'")
#: Mistakes for which the value may be said in another way.
_NUMBERS = ("float_type", "int_type")
_OTHER_KIND = (*_NUMBERS, "string_type", "bool_type", "tuple_type", "list_type")
_PLAIN = {
    "missing": "is missing",
    "float_type": "must be a number",
    "int_type": "must be a whole number",
    "int_from_float": "must be a whole number",
    "finite_number": "must be a finite number",
    "string_type": 'must be text in "quotes"',
    "string_too_short": "must not be empty",
    "string_too_long": "must be no longer than {max_length} characters",
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


def sentences_of(path: Path, text: str, model: type[BaseModel]) -> list[str]:
    """Return the sentences on all mistakes of a text, in the order of their lines, up to `MOST_TOLD` of them."""
    return _sentences(path, mistakes_of(text, model))


def wrong_value(model: type[BaseModel], key: str, value: object) -> str | None:
    """Return what is wrong with a value for a key of a model by itself, with the value; None where nothing is."""
    field = next(each for name, each in model.model_fields.items() if (each.alias or name) == key)
    strict = ConfigDict(strict=True, allow_inf_nan=False)
    try:
        TypeAdapter(field.rebuild_annotation(), config=strict).validate_python(value)
    except ValidationError as error:
        details = error.errors(include_url=False)[0]
        return _wrong_value(details) + _got(details["input"])
    return None


def _sentences(path: Path, mistakes: list[Mistake]) -> list[str]:
    """Return the sentences of some mistakes in the order of their lines, each once, and how many more there are."""
    sentences: dict[str, None] = {}
    for number, (line, where, sentence) in enumerate(sorted(mistakes, key=lambda mistake: mistake.line)):
        if len(sentences) == MOST_TOLD:
            return [*sentences, f"{path}: and {len(mistakes) - number} more mistakes"]
        place = f"{path}:{line}" if line else str(path)
        whole = f"{place}: {f'{_shown(where)}: ' if where else ''}{sentence}"
        sentences[whole if len(whole) <= _SENTENCE_MOST else f"{whole[: _SENTENCE_MOST - 1]}…"] = None
    return list(sentences)


def mistakes_of(text: str, model: type[BaseModel]) -> list[Mistake]:
    """Return every mistake of a text: in its headers, in its notation, and against the model."""
    right = notation_repaired(text, model)
    if right.data is None:
        return right.mistakes
    return [*right.mistakes, *(_out_of_bounds(right.text, right.data) or _against_model(right.text, right.data, model))]


class Notation(NamedTuple):
    """A text in the notation of TOML, what in it was not, and its data: None where it cannot be put right."""

    text: str
    mistakes: list[Mistake]
    data: dict[str, Any] | None


def notation_repaired(text: str, model: type[BaseModel]) -> Notation:
    """Return a text with its slips in notation put right, as far as that can be told; its lines keep their numbers."""
    mistakes: list[Mistake] = []
    if len(text) <= _REPAIRED_MOST:
        text, repairs = headers_repaired(text, model)
        mistakes += repairs
    # The reader of TOML stops at its first mistake; with that line put right it comes to the next.
    while len(mistakes) <= MOST_TOLD:
        try:
            return Notation(text, mistakes, tomllib.loads(text))
        except RecursionError:
            nested = "is nested too deeply; a settings file needs no more than a few levels"
            return Notation(text, [*mistakes, Mistake(0, (), nested)], None)
        except ValueError as error:  # also a whole number of thousands of digits
            line, what = _no_toml(text, error)
            right = line_repaired(text, line, model) if len(text) <= _REPAIRED_MOST else None
            if right is None:
                return Notation(text, [*mistakes, Mistake(line, (), f"is not valid TOML: {what}")], None)
            text, repair = right
            mistakes.append(repair)
    return Notation(text, mistakes, None)


def _out_of_bounds(text: str, data: dict[str, Any]) -> list[Mistake]:
    """Return the figures that nothing can be: a model would not know what to say of them."""
    lines = key_lines(text)
    return [Mistake(_line_of(where, lines), where, BEYOND) for where in beyond_bounds(data)]


def _line_of(where: Where, lines: Mapping[Where, int]) -> int:
    return next((lines[where[:n]] for n in range(len(where), 0, -1) if where[:n] in lines), 0)


def _no_toml(text: str, error: ValueError) -> tuple[int, str]:
    """Return the line that is no TOML, and why not."""
    place = re.fullmatch(r"(.*) \(at (?:line (\d+), column \d+|end of document)\)", str(error), re.DOTALL)
    what = place[1] if place else str(error)
    if twice := re.fullmatch(r"Cannot declare \((.*?),?\) twice", what):
        name = twice[1].replace("'", "").replace(", ", ".")
        what = f"the table [{name}] is there a second time; put all its keys under one of them"
    if what == "Cannot overwrite a value":
        what = "the same key is there a second time; keep one of them"
    if what.startswith(_OPEN_QUOTE):
        return _line_of_open_quote(text), "a text in quotes is opened but not closed; put the same quote at its end"
    line = int(place[2]) if place and place[2] else text.count("\n") + 1
    if what == "Invalid statement":
        what = "this is neither a key with its value nor the [header] of a table; a remark begins with #"
    hint = '; text needs "quotes", a decimal a point' if what.startswith(("Invalid value", "Expected newline")) else ""
    return line, f"{_small(what)}{hint}"


def _line_of_open_quote(text: str) -> int:
    """Return the line of the first quote that belongs to no whole text in quotes; the reader may tell the last one."""
    rest = without_texts(text)
    return re.split("[\"']", rest, maxsplit=1)[0].count("\n") + 1


def _against_model(text: str, data: dict[str, Any], model: type[BaseModel]) -> list[Mistake]:
    try:
        model.model_validate(data)
    except ValidationError as error:
        lines = key_lines(text)
        placed = []
        for details in error.errors(include_url=False):
            where = _in_data(data, details)
            placed.append((_line_of(where, lines), where, details))
        placed.sort(key=lambda mistake: mistake[0])
        mistakes = [
            Mistake(line, where, _plain(details, where, model)) for line, where, details in placed[: 3 * MOST_TOLD]
        ]
        # The others are counted only: what to write instead is not looked for.
        return [*_without_echoes(mistakes), *(Mistake(line, where, "") for line, where, _ in placed[3 * MOST_TOLD :])]
    return []


def _without_echoes(mistakes: list[Mistake]) -> list[Mistake]:
    """Leave out that a key is missing where another sentence on its table says how to write it."""
    advised = {(where[:-1], key) for _, where, text in mistakes for key in re.findall(r"(?:write|or) (\w+) = ", text)}
    left = []
    for line, where, text in mistakes:
        echo = text == _PLAIN["missing"] and (where[:-1], where[-1]) in advised
        # "needs A or B" of a table, and "write A = 5" for a key in it, say the same.
        if text.startswith("needs "):
            echo = any((where, key) in advised for key in re.split(r" or |, ", text.removeprefix("needs ")))
        if not echo:
            left.append(Mistake(line, where, text))
    return left


def _in_data(data: dict[str, Any], details: ErrorDetails) -> Where:
    """Return the place of an error without the steps that pydantic adds for the members of a union."""
    node: Any = data
    where: list[str | int] = []
    for step in details["loc"]:
        # pydantic names the members of a union as steps of their own, which nobody finds in a file.
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
    """Return what is wrong, and what to write where that can be told, in words that need no knowledge of the model."""
    kind, given = details["type"], details["input"]
    if kind == "missing":
        return _PLAIN[kind]
    if kind == "extra_forbidden":
        return f"there is no such key; {_instead(where, given, model)}"
    if (brackets := _wrong_brackets(kind, given, where)) is not None:
        return brackets + _got(given)
    right = _right_value(details, where, model)
    return _wrong_value(details) + (f"; write {right}" if right else "") + _got(given)


def _right_value(details: ErrorDetails, where: Where, model: type[BaseModel]) -> str | None:
    """Return the line to write for a value of the wrong kind; None where that cannot be told."""
    kind, given, key = details["type"], details["input"], where[-1] if where else 0
    if not isinstance(key, str) or isinstance(given, Mapping | list | tuple):
        return None
    if kind == "less_than_equal" and details.get("ctx", {}).get("le") == 1 and given <= 100:
        return f"{key} = {given / 100:.6g}"
    if kind == "literal_error" and isinstance(given, str):
        allowed = {each.lower(): each for each in re.findall(r"'([^']*)'", str(details.get("ctx", {}).get("expected")))}
        plain = given.strip().lower().replace("-", "_").replace(" ", "_")
        near = get_close_matches(also_called(model, where[:-1]).get(plain, plain), allowed, n=1)
        return f'{key} = "{allowed[near[0]]}"' if near else None
    if kind == "value_error" and key.endswith("_AWG") and (size := re.search(r"\d/0|\d+", str(given))):
        return f'{key} = "{size[0]}"'
    if kind not in _OTHER_KIND or len(str(given)) > VALUE_MOST or (kind in _NUMBERS and not isinstance(given, str)):
        return None
    return assignment(key, str(given), fields_at(model, where[:-1]))


def _wrong_brackets(kind: str, given: object, where: Where) -> str | None:
    """Return the words for a value where a table belongs and the like; None for any other mistake."""
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


def _instead(where: Where, given: object, model: type[BaseModel]) -> str:
    """Return what may have been meant by a key that nothing has: another unit, another table, another word."""
    key, known = str(where[-1])[:VALUE_MOST], fields_at(model, where[:-1])
    if isinstance(given, Mapping | list):
        table = table_named(key, model) if len(where) == 1 else None
        return f"write {f'[[{table}]]' if holds_list(known[table]) else f'[{table}]'}" if table else _near(key, known)
    value = str(given)[:VALUE_MOST]
    # From the surest guess to the vaguest: another word for it, another unit, another table, a slip of the hand.
    if (other := also_called(model, where[:-1]).get(key.lower())) is not None:
        return f"write {assignment(other, value, known) or other}"
    if (right := right_line(key, value, list(known))) is not None:
        right_key = right.split(" = ")[0]
        return f"write {assignment(right_key, value, known) if leaves(known[right_key]) == {str} else right}"
    if (home := _home(key, model)) is not None:
        return f"it belongs {home}"
    return _near(key, known)


def _home(key: str, model: type[BaseModel]) -> str | None:
    """Return where a key belongs that stands in the wrong table."""
    tables = fields_of(model)
    if key in tables and not models_in(tables[key]):
        return "at the top of the file, above the first [table]"
    homes = [table for table, held in tables.items() if any(key in fields_of(inner) for inner in models_in(held))]
    return f"in {' or '.join(f'[[{x}]]' if holds_list(tables[x]) else f'[{x}]' for x in homes)}" if homes else None


def _near(key: str, known: Iterable[str]) -> str:
    by_small = {name.lower(): name for name in known}
    near = get_close_matches(key.lower(), by_small, n=1)
    return f"did you mean {by_small[near[0]]}?" if near else f"known here: {', '.join(by_small.values())}"
