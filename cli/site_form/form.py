"""From a site file's text to what stands in the form's fields, and from what was typed there to the text."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Final

from pydantic import ValidationError

from ...analysis.site.unit_tables import Units
from ...ingest.errors import InputError
from ...ingest.toml.edit import Value, edited
from ...ingest.toml.places import Where
from .field import Field, Group
from .system import GROUPS, field_at, group_of
from .typed import Typed, typed_of, value_of

#: Where names of inverters, loads and chargers are repeated; a list of them has the path of the list.
_REFER: Final = {
    "inverters": (("loads", "inverter"), ("meters", "inverter"), ("conductors", "carries")),
    "loads": (("water", "load"), ("conductors", "carries")),
    "chargers": (("conductors", "carries"),),
}


@dataclass(frozen=True)
class Written:
    """A text with what was typed, and by field why something was not taken over; the rest is in the text."""

    text: str
    errors: Mapping[Where, str]


def form_of(text: str) -> dict[Where, Typed]:
    """Return what stands in each field by a site file's text, by the path of the field; empty ones are left out.

    Mistakes against the model are no hindrance: what stands there is shown, so that it can be put right.

    Raises
    ------
    InputError
        If the text is no TOML.
    """
    data = _read(text)
    form: dict[Where, Typed] = {}
    shown = _units(data)
    for group in GROUPS:
        for base, table in _tables(data, group):
            for field in group.fields:
                steps = field.key.split(".")
                for key in field.keys:
                    value = _within(table, key.split("."))
                    if value is not None:
                        form.setdefault((*base, *steps), typed_of(field, key, value, shown))
    return form


def text_of(text: str, changes: Mapping[Where, Typed | None]) -> Written:
    """Return a site file's text with what was typed; remarks, order and all other lines stay.

    `changes` are by the path of the field; an empty one, or None, takes the value away, None at the path of an item of
    a list (``("loads", 1)``) or of a table the whole of it. A name that changes is changed wherever it is referred to.

    Raises
    ------
    InputError
        If the text is no TOML, or is written so that the change cannot be made in it.
    """
    data, shown = _read(text), form_of(text)
    plan = _Changes(data, _nominal_V(data, changes))
    # In the form's order, so that a new table begins with its name, whatever was typed first.
    for where in sorted(changes, key=_in_order):
        # What stands as it was shown was not typed: what the form rounds or parts otherwise stays as it is.
        if changes[where] is None or changes[where] != shown.get(where):
            plan.take(where, changes[where])
    return Written(edited(text, plan.all_changes(), plan.renamed), plan.errors)


class _Changes:
    """What is to change in the file, gathered field by field."""

    def __init__(self, data: dict[str, Any], nominal_V: float | None) -> None:
        self._data, self._nominal_V = data, nominal_V
        self._changes: dict[Where, Value | None] = {}
        self.renamed: dict[Where, str] = {}
        self.errors: dict[Where, str] = {}

    def take(self, where: Where, typed: Typed | None) -> None:
        """Take what was typed into a field."""
        group, field = group_of(where), field_at(where)
        if field is None or group is None:
            # No field: a whole table that is to go.
            if typed is None and _within(self._data, where) is not None:
                self._changes[where] = None
            return
        base = where[: len(where) - len(field.key.split("."))]
        old = [key for key in field.keys if _within(self._data, (*base, *key.split("."))) is not None]
        if typed is None or not typed.text.strip():
            self._changes |= {(*base, *key.split(".")): None for key in old}
            return
        try:
            key, value = value_of(group, field, typed, nominal_V=self._nominal_V)
        except InputError as error:
            self.errors[where] = str(error)
            return
        self._set(base, key, value, old)
        if field.key == "name" and group.key in _REFER:
            self._follow(group.key, where, value)
        # The file has no key in bar: without a choice of units its reader would be shown kPa.
        if typed.whole.lower().endswith("bar") and not self._has_pressure():
            self._changes[("units", "pressure")] = "bar"

    def _set(self, base: Where, key: str, value: Value, old: list[str]) -> None:
        # Of two keys that say the same the model takes one: the one that was typed stays.
        others = [each for each in old if each != key]
        if key not in old and others:
            # The same thing in another unit keeps its line and its remark.
            self.renamed[(*base, others.pop(0))] = key
        self._changes |= {(*base, each): None for each in others}
        self._changes[(*base, *key.split("."))] = value

    def _has_pressure(self) -> bool:
        """Tell whether the file has a unit for pressures already, chosen or by those that it gives."""
        water, units = self._data.get("water"), self._data.get("units")
        return any("_kPa" in key or "_psi" in key for key in water or ()) or "pressure" in (units or ())

    def _follow(self, group: str, where: Where, new: Value) -> None:
        """Change a name wherever it is referred to."""
        old = _within(self._data, where)
        if old is None or old == new:
            return
        for table, key in _REFER[group]:
            tables = self._data.get(table)
            rows = enumerate(tables) if isinstance(tables, list) else [(None, tables)] if tables else []
            for place, row in rows:
                value, path = row.get(key), (table, key) if place is None else (table, place, key)
                if isinstance(value, list) and old in value:
                    self._changes.setdefault(path, [new if each == old else each for each in value])
                # What was typed into the referring field itself goes before.
                elif value == old:
                    self._changes.setdefault(path, new)

    def all_changes(self) -> dict[Where, Value | None]:
        """Return the changes; a table that loses its last key goes, and one within another comes in one piece."""
        changes = dict(self._changes)
        # Tables within items of a list first: what is left of them decides on those around.
        for depth in (3, 1):
            for table in {where[:depth] for where in self._changes if len(where) == depth + 1}:
                old = _within(self._data, table)
                below = {where: value for where, value in changes.items() if where[:depth] == table != where}
                lost = {where[-1] for where, value in below.items() if value is None}
                if isinstance(old, dict) and old.keys() == lost == {where[-1] for where in below}:
                    changes = {**_without(changes, below), table: None}
                elif old is None and depth == 3:
                    changes = {**_without(changes, below), table: {str(at[-1]): value for at, value in below.items()}}
        return changes


def _without(changes: Mapping[Where, Value | None], below: Mapping[Where, object]) -> dict[Where, Value | None]:
    return {where: value for where, value in changes.items() if where not in below}


def names_for(field: Field, form: Mapping[Where, Typed]) -> list[str]:
    """Return the names that may stand in a field, by what stands in the form."""
    named = [typed.text for where, typed in form.items() if where[0] in field.names and where[-1] == "name"]
    return [*named, *(["array"] if "array" in field.names and ("array", "power_W") in form else [])]


def _read(text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text.removeprefix("\ufeff").replace("\r\n", "\n"))
    except (ValueError, RecursionError) as error:
        raise InputError(f"is not valid TOML as it stands: {error}") from None


def _units(data: Mapping[str, Any]) -> Units | None:
    try:
        return Units.model_validate(data.get("units", {}))
    except ValidationError:
        return None


def _tables(data: Mapping[str, Any], group: Group) -> Iterator[tuple[Where, Mapping[str, Any]]]:
    """Yield the tables of a group, with their paths."""
    table = data.get(group.key) if group.key else data
    rows: list[tuple[Where, Any]] = [((group.key,) if group.key else (), table)]
    if group.several:
        rows = [((group.key, n), row) for n, row in enumerate(table)] if isinstance(table, list) else []
    yield from ((where, row) for where, row in rows if isinstance(row, Mapping))


def _within(data: Any, where: Any) -> Any:  # noqa: ANN401 - a file may hold anything
    for step in where:
        inside = isinstance(data, Mapping) and step in data
        inside |= isinstance(data, list) and isinstance(step, int) and step < len(data)
        if not inside:
            return None
        data = data[step]
    return data


def nominal_V_of(text: str, changes: Mapping[Where, Typed | None] | None = None) -> float | None:
    """Return the bank's nominal voltage by a site file's text, or as it is typed now; None where neither has it."""
    return _nominal_V(_read(text), changes or {})


def _nominal_V(data: Mapping[str, Any], changes: Mapping[Where, Typed | None]) -> float | None:
    """Return the bank's nominal voltage, as it is typed now or stands in the file."""
    group, field = group_of(("bank", "nominal_V")), field_at(("bank", "nominal_V"))
    typed = changes.get(("bank", "nominal_V"))
    if typed is not None and typed.text.strip() and group is not None and field is not None:
        try:
            return float(value_of(group, field, typed)[1])  # type: ignore[arg-type]
        except InputError:
            return None
    value = _within(data, ("bank", "nominal_V"))
    return float(value) if isinstance(value, int | float) and value > 0 else None


_ORDER: Final = {(group.key, field.key): n for n, (group, field) in enumerate((g, f) for g in GROUPS for f in g.fields)}


def _in_order(where: Where) -> tuple[int, int]:
    """Sort fields as the form has them, item by item."""
    group, field = group_of(where), field_at(where)
    if group is None or field is None:
        return (len(_ORDER), 0)
    item = where[1] if group.several and isinstance(where[1], int) else 0
    return (_ORDER[group.key, group.fields[0].key], item * len(_ORDER) + _ORDER[group.key, field.key])
