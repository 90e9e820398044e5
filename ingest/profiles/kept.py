"""A source profile written by the program: what was answered and recognised, so that the next export needs none."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence

Value = str | int | float | Sequence[str]
Table = Mapping[str, Value | None]


def profile_text(top: Table, tables: Mapping[str, Table], *, remark: str) -> str:
    """Return a profile in TOML, with a remark above it; keys without a value, and tables without keys, are left out.

    `tables` are by their header, such as ``quantities.current_A``, in the order in which they are to stand.
    """
    lines = [f"# {line}" for line in remark.splitlines()]
    lines += _assignments(top)
    for header, table in tables.items():
        if filled := _assignments(table):
            lines += ["", f"[{header}]", *filled]
    return "\n".join(lines) + "\n"


def _assignments(table: Table) -> list[str]:
    return [f"{key} = {_in_toml(value)}" for key, value in table.items() if value is not None]


def _in_toml(value: Value) -> str:
    if isinstance(value, str | int | float):
        # JSON's texts are TOML's, but for the one control character that JSON lets stand.
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    return f"[{', '.join(map(_in_toml, value))}]"
