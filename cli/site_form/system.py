"""The whole form of a system, and where in it a key of the site file stands."""

from __future__ import annotations

import re
from typing import Final

from pydantic import BaseModel

from ...analysis.site.site import Site
from ...ingest.toml.places import Where, fields_of, models_in
from .field import Field, Group
from .plates import ARRAY, BANK, CHARGERS, INVERTERS, LOADS, PLACE
from .surroundings import CABLES, LIMITS, METERS, SHOWN, WATER

#: In the order in which a person meets them.
GROUPS: Final = (PLACE, BANK, INVERTERS, LOADS, WATER, ARRAY, CHARGERS, CABLES, METERS, LIMITS, SHOWN)
#: Keys of the file as sentences name them: ``add water.flow_L_per_min or water.flow_gal_per_min to the site file``.
_KEY: Final = rf"(?:{'|'.join(group.key for group in GROUPS if group.key)})\.\w+"
_KEYS: Final = re.compile(rf"(?<![\w.]){_KEY}(?: or {_KEY})*")
_AT_FORM: Final = re.compile(r"^ to the site file")
_BY_KEY: Final = {(group.key, key): field for group in GROUPS for field in group.fields for key in field.keys}


def group_of(where: Where) -> Group | None:
    """Return the group that a path of the file leads into."""
    # A path of one step is a key at the file's top, unless it is a table's own.
    name = where[0] if len(where) > 1 or where[:1] in [(group.key,) for group in GROUPS] else ""
    return next((group for group in GROUPS if group.key == name), None)


def field_at(where: Where) -> Field | None:
    """Return the field of a path of the file, such as ``("inverters", 0, "idle_W")``; None where there is none."""
    group = group_of(where)
    if group is None:
        return None
    # A list's number says which of its items, not which field.
    steps = where if group.key == "" else where[2:] if group.several else where[1:]
    return _BY_KEY.get((group.key, ".".join(map(str, steps))))


def field_path(where: Where) -> Where:
    """Return the path that a form has a key's field at: that of its first key; a table's own path as it is."""
    field, group = field_at(where), group_of(where)
    if field is None or group is None:
        return where
    base = () if group.key == "" else where[:2] if group.several else where[:1]
    return (*base, *field.key.split("."))


def by_fields(text: str) -> list[tuple[str, str]]:
    """Return a sentence in parts, with the form's names in place of the file's keys, each with the id of its place.

    What is no field has no place. Keys that say the same in two units are one field; of a list, the place is the group.
    """
    parts: list[tuple[str, str]] = []
    at = 0
    for keys in _KEYS.finditer(text):
        labels = {_label(key): _place(key) for key in re.split(" or ", keys[0])}
        if "" in labels:
            continue
        parts.append((text[at : keys.start()], ""))
        for n, (label, place) in enumerate(labels.items()):
            parts += [*([(" or ", "")] if n else []), (label, place)]
        at = keys.end()
    return [*parts, (_AT_FORM.sub("", text[at:]) if parts else text, "")]


def _label(key: str) -> str:
    name, _, rest = key.partition(".")
    field, group = _BY_KEY.get((name, rest)), group_of((name, rest))
    return "" if field is None or group is None else f"'{field.label}' ({group.label})"


def _place(key: str) -> str:
    name, _, rest = key.partition(".")
    field, group = _BY_KEY.get((name, rest)), group_of((name, rest))
    return "" if field is None or group is None else f"group-{name}" if group.several else f"{name}.{field.key}"


def model_of(group: Group, field: Field) -> type[BaseModel]:
    """Return the table of the site file's model that a field's keys stand in."""
    table: type[BaseModel] = Site
    for step in ([group.key] if group.key else []) + field.key.split(".")[:-1]:
        table = models_in(fields_of(table)[step])[0]
    return table
