"""SunSpec information models as data: what stands where in a model, from the published files.

The files come with the package pysunspec2; nothing of its code is used. A model is a run of registers: its number, its
length, then points at fixed places. Many points are whole numbers with a scale factor in another point.
"""

from __future__ import annotations

import importlib.util
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from ..errors import InputError
from ..profiles.modbus_part import RegisterType
from .registers import bits, decode

#: How a type of the models is stored, and the bits that say "not implemented" (SunSpec Device Information Model
#: Specification, the table of types; an accumulator of 0 is absent, not empty). A float is absent when it is no number.
_NUMBERS: dict[str, tuple[RegisterType, int | None]] = {
    "int16": ("int16", 0x8000),
    "uint16": ("uint16", 0xFFFF),
    "count": ("uint16", 0xFFFF),
    "enum16": ("uint16", 0xFFFF),
    "bitfield16": ("uint16", 0xFFFF),
    "acc16": ("uint16", 0),
    "sunssf": ("int16", 0x8000),
    "int32": ("int32", 0x80000000),
    "uint32": ("uint32", 0xFFFFFFFF),
    "enum32": ("uint32", 0xFFFFFFFF),
    "bitfield32": ("uint32", 0xFFFFFFFF),
    "acc32": ("uint32", 0),
    "int64": ("int64", 0x8000000000000000),
    "uint64": ("uint64", 0xFFFFFFFFFFFFFFFF),
    "acc64": ("uint64", 0),
    "float32": ("float32", None),
    "float64": ("float64", None),
}
#: A scale factor is a power of ten from -10 to 10 (the same specification).
_LARGEST_SCALE = 10


@dataclass(frozen=True)
class Point:
    """One value of a model, `offset` registers after the model's number.

    ``scale`` is the point that holds its scale factor, or the factor itself; ``unit`` is as the model writes it.
    """

    name: str
    offset: int
    size: int
    type: str
    scale: str | int | None
    unit: str | None
    mandatory: bool


@dataclass(frozen=True)
class Model:
    """The fixed part of a model: its points by name; parts that repeat are left out."""

    number: int
    label: str
    points: Mapping[str, Point]


@cache
def model(number: int) -> Model | None:
    """Return a published model, None where there is none of this number; `InputError` if they are not installed."""
    path = _folder() / f"model_{number}.json"
    if not path.is_file():
        return None
    group = json.loads(path.read_text(encoding="utf-8"))["group"]
    points, offset = {}, 0
    for raw in group["points"]:
        points[raw["name"]] = _point(raw, offset)
        offset += raw["size"]
    return Model(number, str(group.get("label", group["name"])), points)


def _point(raw: Mapping[str, Any], offset: int) -> Point:
    mandatory = raw.get("mandatory") == "M"
    return Point(raw["name"], offset, raw["size"], raw["type"], raw.get("sf"), raw.get("units"), mandatory)


@cache
def _folder() -> Path:
    spec = importlib.util.find_spec("sunspec2")  # finds it; imports nothing of it
    if spec is None or not spec.submodule_search_locations:
        raise InputError("SunSpec devices need the published models: install the package pysunspec2 with pip")
    return Path(spec.submodule_search_locations[0]) / "models" / "json"


def value_of(point: Point, among: Model, registers: Sequence[int | None]) -> int | float | str | None:
    """Return a point's value in its own unit, scaled; `registers` are the model's from its number on.

    None where it is not implemented, was not read, its scale factor is not usable, or its type is not known here.
    """
    words = [word for word in registers[point.offset : point.offset + point.size] if word is not None]
    if len(words) != point.size:
        return None
    if point.type == "string":
        text = b"".join(word.to_bytes(2, "big") for word in words).split(b"\0")[0]
        return text.decode("utf-8", "replace").strip() or None
    raw = _number(point, words)
    if raw is None or point.scale is None:
        return raw
    factor = point.scale if isinstance(point.scale, int) else value_of(among.points[point.scale], among, registers)
    # A factor that is absent or out of range would turn a good number into any other: better none.
    if not isinstance(factor, int) or abs(factor) > _LARGEST_SCALE:
        return None
    # Dividing gives the number nearest to the decimal one that is meant; multiplying by 0.1 would not.
    scaled: int | float = raw * 10**factor if factor >= 0 else raw / 10**-factor
    return scaled


def _number(point: Point, words: Sequence[int]) -> int | float | None:
    if point.type not in _NUMBERS:
        return None
    kind, absent = _NUMBERS[point.type]
    value = decode(words, kind)
    return None if bits(words) == absent or not math.isfinite(value) else value
