"""A register by what the meter's own document says of it: read once, and then taken as one that was found."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Final, cast, get_args

import numpy as np

from ...ingest.errors import InputError
from ...ingest.modbus.find import Candidate, SeenRound
from ...ingest.modbus.likely import as_type
from ...ingest.modbus.shown_value import ShownValue
from ...ingest.profiles.modbus_part import SIZES, TABLE_SIZE, RegisterTable, RegisterType, WordOrder
from ...ingest.quantities import OF_DIMENSION, UnknownUnitError, find_unit, scaled
from .meter_search import MeterSearch

#: Types that registers are searched as, too: a wider one no display shows.
TYPES: Final = tuple(kind for kind in get_args(RegisterType) if SIZES[kind] <= 2)


def read_by_document(search: MeterSearch, fields: Mapping[str, str]) -> str:
    """Read the register that a document names, keep it as what was found, and return its quantity.

    `fields` are as they were typed: ``address`` (``from`` says whether the document counts from 0 or 1), ``table``,
    ``type``, ``order``, ``scale`` and ``unit_of_value``.

    Raises
    ------
    InputError
        If one of them is none, or the device does not give the register.
    """
    quantity, symbol = _quantity(fields["unit_of_value"])
    address = _whole(fields["address"]) - (fields["from"] == "1")
    scale = _scale(fields["scale"] or "1")
    kind = cast(RegisterType, fields["type"] if fields["type"] in TYPES else "uint16")
    table: RegisterTable = "input" if fields["table"] == "input" else "holding"
    order: WordOrder | None = None if SIZES[kind] == 1 else "little" if fields["order"] == "little" else "big"
    # What the device holds now is the proof: a slip in a document's line shows at once.
    display = search.read_now()
    look = display.watch.look()
    unit = display.watch.devices[0].units[0]
    if any((unit, table, address + k) not in look for k in range(SIZES[kind])):
        raise InputError(f"The address is not given by this meter ({table} {address}); what it refuses stands below")
    why = ("as its document has it",)
    candidate = Candidate(unit, table, address, kind, order, scale, False, 0.0, 0.0, why)
    with np.errstate(invalid="ignore", over="ignore"):
        value = scaled(float(as_type(candidate.words([look]), kind, order)[-1]), scale)
    if not np.isfinite(value):
        raise InputError("The type cannot be right: read so the register holds no number; look at the word order, too")
    shown = ShownValue(f"{value:.7g} {symbol}", value, scale, symbol, quantity)
    search.keep(quantity, SeenRound(shown, [look]), replace(candidate, value=value))
    return quantity


def _quantity(text: str) -> tuple[str, str]:
    try:
        unit = find_unit(text)
    except UnknownUnitError as reason:
        raise InputError(f"The unit is none: {reason}; A, V, W, Ah and Wh are, mA and kW as well") from None
    if unit.dimension not in OF_DIMENSION:
        raise InputError(f"The unit {text} is one of {unit.dimension}, which no log holds")
    return OF_DIMENSION[unit.dimension], unit.symbol


def _whole(text: str) -> int:
    if not text.isdecimal() or int(text) >= TABLE_SIZE:
        raise InputError(f"The address {text!r} must be a whole number from 0 to {TABLE_SIZE - 1}")
    return int(text)


def _scale(text: str) -> float:
    try:
        scale = float(text.replace(",", "."))
    except ValueError:
        scale = 0.0
    # Its sign is asked: which way it flows says it for sure.
    if not 1e-9 <= scale <= 1e9:
        raise InputError(
            f"The scale {text!r} must be a number above 0 such as 0.1: the register times that is the value"
        )
    return scale
