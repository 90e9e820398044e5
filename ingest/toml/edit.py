"""Change values in a person's TOML text; comments, order and every other line stay as they are.

Of a library's two ways, to change its document or to say where in the text things stand, the second is taken for whole
lines: what is not touched then stays byte for byte.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from copy import deepcopy
from typing import Any, Final, cast

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT, Array, InlineTable, Item, Key, SingleKey, Table

from ..errors import InputError
from .amounts import number
from .parted import parted
from .places import Where

#: What a settings file may hold.
Value = str | bool | int | float | Sequence[Any] | Mapping[str, Any]
#: Around what is to go. No TOML holds this character (TOML 1.0.0, "Comment" and "String").
_FROM, _TO = "\0<", "\0>"
_GOES: Final = re.compile(f"{_FROM}.*?{_TO}[ \\t]*\r?\n?", re.DOTALL)
_BOM: Final = "\ufeff"


def edited(text: str, changes: Mapping[Where, Value | None], renamed: Mapping[Where, str] | None = None) -> str:
    """Return a TOML text with some of its values set, added or removed.

    Parameters
    ----------
    text : str
        What the file holds, in any notation that TOML allows.
    changes : mapping
        By path, such as ``("inverters", 0, "continuous_W")``, the value to stand there; None takes the key, or the
        whole table that the path leads to, away. Tables that a path leads through are made; the number of an item of
        a list of tables is that in `text`, its length stands for a new one, and so on.
    renamed : mapping, optional
        By path, the name that a key gets instead: it keeps its line and its comment. `changes` name it by the new one.

    Raises
    ------
    InputError
        If the text is no TOML, or is written so that the change cannot be made in it.
    """
    bom = _BOM if text.startswith(_BOM) else ""
    text = text.removeprefix(bom)
    try:
        before = tomllib.loads(text.replace("\r\n", "\n"))
        apart = parted(text, repr(changes))
        document = tomlkit.parse(apart.text)
    except (ValueError, TOMLKitError, RecursionError) as error:
        raise InputError(f"is not valid TOML as it stands, so nothing in it was changed: {error}") from None
    if document.as_string() != apart.text:
        raise _unchangeable()
    changes = {where: value for where, value in changes.items() if value is not None or _reached(before, where)}
    try:
        editor = _Editor(document, "\r\n" if "\r\n" in text else "\n")
        placed = {apart.at(where): value for where, value in changes.items()}
        after = apart.joined(editor.edited(placed, {apart.at(where): name for where, name in (renamed or {}).items()}))
        # The library is not asked to be believed: what the new text says must be what was wanted.
        if tomllib.loads(after.replace("\r\n", "\n")) != _wanted(before, changes, renamed or {}):
            raise _unchangeable()
    except (ValueError, TOMLKitError):
        raise _unchangeable() from None
    return bom + after


def _unchangeable() -> InputError:
    return InputError("is written in a form in which this cannot be changed here; change it in an editor")


def literal(value: Value) -> str:
    """Return a value as it stands in a TOML text."""
    if isinstance(value, str):
        return tomlkit.string(value).as_string()
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        short = number(value)
        return short if float(short) == value else repr(value)
    if isinstance(value, Mapping):
        return f"{{ {', '.join(f'{_key_text(key)} = {literal(held)}' for key, held in value.items())} }}"
    if isinstance(value, Sequence):
        return f"[{', '.join(map(literal, value))}]"
    return str(value)


def _key_text(name: str) -> str:
    return SingleKey(name).as_string()


class _Editor:
    """A document whose lines get marks and additions; the new text is what it then says."""

    def __init__(self, document: tomlkit.TOMLDocument, line_end: str) -> None:
        self._document = document
        self._line_end = line_end
        self._before = ""  # lines for the top of the text
        self._new: dict[Where, list[str]] = {}  # tables that are not there yet, with their lines

    def edited(self, changes: Mapping[Where, Value | None], renamed: Mapping[Where, str]) -> str:
        for where, name in renamed.items():
            self._rename(where, name)
        # What goes is marked first, so that what is added at its place is not taken away with it.
        for where in _taken_away(changes):
            self._remove(where)
        for where, value in changes.items():
            if value is not None:
                self._set(where, value)
        at_end = [table for where, lines in self._new.items() if (table := self._beside(where, lines))]
        text = self._before + _GOES.sub("", self._document.as_string())
        for table in at_end:
            text = f"{self._ended(text)}{self._line_end}{table}" if text else table
        return text

    def _ended(self, text: str) -> str:
        return text if text.endswith("\n") else text + self._line_end

    def _beside(self, where: Where, lines: list[str]) -> str:
        """Put a new item of a list of tables below the last one; return any other new table, for the text's end."""
        name = ".".join(_key_text(step) for step in where if isinstance(step, str))
        table = f"[[{name}]]" if isinstance(where[-1], int) else f"[{name}]"
        table = f"{table}{self._line_end}{''.join(lines)}"
        items = self._at(where[:-1])
        if not isinstance(items, AoT) or not len(items):
            return table
        anchor = _last_of_all(items[-1])
        anchor.trivia.trail = f"{self._ended(anchor.trivia.trail)}{self._line_end}{table}"
        return ""

    def _at(self, where: Where) -> Any:  # noqa: ANN401 - a document holds anything
        node: Any = self._document
        for step in where:
            if isinstance(node, AoT | Array):
                node = node[step] if isinstance(step, int) and step < len(node) else None
            else:
                node = node[step] if isinstance(node, Mapping) and step in node else None
            if node is None:
                return None
        return node

    def _rename(self, where: Where, name: str) -> None:
        body = _body(self._at(where[:-1]))
        for place, (key, item) in enumerate(body):
            if key is not None and key.key == where[-1]:
                body[place] = (_named(key, name), item)
        # The library's own register still has the old name: read anew, both agree.
        self._document = tomlkit.parse(self._document.as_string())

    def _set(self, where: Where, value: Value) -> None:
        table, key = self._at(where[:-1]), where[-1]
        if table is None or isinstance(table, AoT) or (_is_implied(table) and key not in table):
            self._set_in_new(where, value)
        elif isinstance(table, Array) and isinstance(key, int):
            item = tomlkit.value(literal(value))
            table.append(item) if key == len(table) else table.__setitem__(key, item)
        elif key in table or isinstance(table, InlineTable):
            _replace(table, str(key), value)
        else:
            self._add_line(table, f"{_key_text(str(key))} = {literal(value)}{self._line_end}")

    def _set_in_new(self, where: Where, value: Value) -> None:
        """Give a table that is not there yet a key, or a list of tables a new item."""
        above = self._at(where[:-2])
        if isinstance(value, Mapping) and isinstance(where[-1], int):
            for key, inner in value.items():
                self._set((*where, key), inner)
        elif isinstance(above, Array):
            self._set(where[:-1], {str(where[-1]): value})
        else:
            line = f"{_key_text(str(where[-1]))} = {literal(value)}{self._line_end}"
            self._new.setdefault(where[:-1], []).append(line)

    def _add_line(self, table: Any, line: str) -> None:  # noqa: ANN401 - a table or the document
        # Below the last key, not at the table's end: the remarks there speak of the table that follows.
        own = _lines_of(table)
        anchor = _last_of_all(own[-1]) if own else table
        if anchor is self._document:
            self._before += line
        else:
            anchor.trivia.trail = f"{self._ended(anchor.trivia.trail)}{line}"

    def _remove(self, where: Where) -> None:
        holder: Any = self._at(where[:-1])
        item = self._at(where)
        if item is None:
            return
        if isinstance(holder, InlineTable | Array):
            holder.pop(where[-1])  # type: ignore[arg-type]
            return
        for each in item if isinstance(item, AoT) else [_item_of(holder, where[-1])]:
            each.trivia.indent = f"{_FROM}{each.trivia.indent}"
            last = _last_of_all(each)
            last.trivia.trail = f"{_TO}{last.trivia.trail}"


def _is_implied(table: Any) -> bool:  # noqa: ANN401 - a document holds anything
    """Tell whether a table has no header of its own, but only tables below it that have one."""
    return isinstance(table, Table) and table.is_super_table() and not _lines_of(table)


def _item_of(holder: Any, key: str | int) -> Item:  # noqa: ANN401 - a table or the document
    """Return what stands at a key as the document has it: of true and false only that has marks."""
    if isinstance(holder, AoT):
        return holder[int(key)]
    return next(item for name, item in _body(holder) if name is not None and name.key == key)


def _lines_of(table: Any) -> list[Item]:  # noqa: ANN401 - a table or the document
    """Return what the keys of a table hold, those with points included; not the tables below it."""
    return [
        item for key, item in _body(table) if key is not None and (key.is_dotted() or not isinstance(item, AoT | Table))
    ]


def _body(table: Any) -> list[tuple[Key | None, Item]]:  # noqa: ANN401 - a table or the document
    if isinstance(table, Table | InlineTable):
        return table.value.body
    if isinstance(table, tomlkit.TOMLDocument):
        return table.body
    raise _unchangeable()


def _named(key: Key, name: str) -> Key:
    new, old = SingleKey(name), key.as_string()
    new.sep = old[len(old.rstrip()) :] + key.sep
    return new


def _last_of_all(item: Item) -> Item:
    """Return the last key of a table, those below it included; a table without any, and a value, as they are."""
    inner = [below for key, below in _body(item) if key is not None] if isinstance(item, Table) else []
    if not inner:
        return item
    return _last_of_all(inner[-1][-1] if isinstance(inner[-1], AoT) else inner[-1])


def _replace(table: Any, key: str, value: Value) -> None:  # noqa: ANN401 - a table or the document
    old = _item_of(table, key) if key in table else None
    if old is not None and _same(old.unwrap(), value):
        return
    table[key] = tomlkit.value(literal(value))
    new = _item_of(table, key)
    if old is not None and "  " in old.trivia.comment_ws:
        # Remarks that stand below one another stay so, where the value leaves room.
        room = len(old.trivia.comment_ws) + len(old.as_string()) - len(new.as_string())
        new.trivia.comment_ws = " " * max(room, 1)


def _same(old: Any, value: Value) -> bool:  # noqa: ANN401 - a document holds anything
    return isinstance(old, bool) == isinstance(value, bool) and bool(old == _listed(value))


def _listed(value: Any) -> Any:  # noqa: ANN401 - a document holds anything
    """Return a value as a reader of TOML gives it."""
    if isinstance(value, Mapping):
        return {key: _listed(inner) for key, inner in value.items()}
    return value if isinstance(value, str) or not isinstance(value, Sequence) else [_listed(each) for each in value]


def _wanted(data: dict[str, Any], changes: Mapping[Where, Value | None], renamed: Mapping[Where, str]) -> Any:  # noqa: ANN401
    """Return what a text is to say after the changes."""
    data = deepcopy(data)
    for where, name in renamed.items():
        table = _stepped(data, where[:-1])
        table[name] = table.pop(where[-1])
    for where, value in changes.items():
        if value is not None:
            table = _stepped(data, where[:-1])
            if isinstance(table, list) and where[-1] == len(table):
                table.append(None)
            table[where[-1]] = _listed(value)
    for where in _taken_away(changes):
        holder, step = _stepped(data, where[:-1]), cast(Any, where[-1])
        if isinstance(holder, list) or step in holder:
            holder.pop(step)
            if holder == []:  # a list of tables that has none left has no line
                del _stepped(data, where[:-2])[where[-2]]
    return data


def _reached(data: Any, where: Where) -> bool:  # noqa: ANN401 - a document holds anything
    for step in where:
        inside = step in data if isinstance(data, dict) else isinstance(data, list) and step in range(len(data))
        if not inside:
            return False
        data = data[step]
    return True


def _taken_away(changes: Mapping[Where, Value | None]) -> list[Where]:
    """Return the paths of what goes, from the last to the first, so that those before keep their numbers."""
    return sorted((where for where, value in changes.items() if value is None), key=_numbers, reverse=True)


def _numbers(where: Where) -> tuple[tuple[bool, int, str], ...]:
    return tuple((isinstance(step, int), step, "") if isinstance(step, int) else (False, 0, step) for step in where)


def _stepped(data: Any, where: Where) -> Any:  # noqa: ANN401 - a document holds anything
    """Return the table that a path leads to, made where it is not there."""
    for step, following in zip(where, (*where, "")[1:], strict=True):
        if isinstance(data, dict):
            data = data.setdefault(step, [] if isinstance(following, int) else {})
        else:
            data.extend({} for _ in range(len(data), int(step) + 1))
            data = data[step]
    return data
