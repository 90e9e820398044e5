"""See what answers on a bus: units, SunSpec models with values, registers decoded in the likely types. Only reads."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace

from ..errors import InputError
from ..live.address import Address
from ..live.source import Clock
from ..profiles.modbus_part import SIZES, TABLE_SIZE, RegisterTable, RegisterType, SunSpecPart, WordOrder
from .checked_reads import MOST_REGISTERS, ModbusFault, ModbusLine, modbus_line
from .connection import check_settings
from .extent import extent_of
from .registers import decode
from .sunspec import READABLE, DeviceModel, NoSunSpecError, find_models
from .sunspec_models import model, value_of

#: How long a unit may take to answer before it is held to be absent. Common practice, no source. [s]
PATIENCE_S = 0.3
UNITS = range(1, 11)
_KINDS = ("modbus-tcp", "sunspec-tcp", "modbus-rtu", "sunspec-rtu")
#: Types a value of several registers is shown in; the orders other than these are rare.
_LIKELY: tuple[tuple[str, RegisterType, WordOrder], ...] = (
    ("uint16", "uint16", "big"),
    ("int16", "int16", "big"),
    ("uint32", "uint32", "big"),
    ("int32", "int32", "big"),
    ("float32", "float32", "big"),
    ("uint32 low word first", "uint32", "little"),
    ("int32 low word first", "int32", "little"),
    ("float32 low word first", "float32", "little"),
)
#: A float outside these is taken for other data read as a float. Common practice, no source.
_FLOAT_LOW, _FLOAT_HIGH = 1e-4, 1e7
_SIGNED = ("int16", "int32")


@dataclass(frozen=True)
class RegisterSeen:
    """One register, and what it may mean together with those after it; addresses as on the wire.

    ``decoded`` holds by type what the number may be, where the registers it needs were read and it is likely: a signed
    type only where it differs from the unsigned one, a float only where it is of a common size.
    """

    address: int
    raw: int
    decoded: dict[str, int | float]


@dataclass(frozen=True)
class ModelSeen:
    """A SunSpec model: its points that have a value, each with its unit; `readable` if a capture can read it."""

    number: int
    label: str
    address: int
    length: int
    readable: bool
    values: dict[str, tuple[int | float | str, str]] = field(default_factory=dict)


@dataclass(frozen=True)
class UnitSeen:
    """One unit that answers; `refusals` tell in sentences what it would not give."""

    unit: int
    models: tuple[ModelSeen, ...]
    registers: tuple[RegisterSeen, ...]
    refusals: tuple[str, ...]


@dataclass(frozen=True)
class Probed:
    """What answered at a host or port, and which unit ids were tried."""

    place: str
    tried: tuple[int, ...]
    units: tuple[UnitSeen, ...]


def probe(
    address: Address,
    clock: Clock,
    *,
    units: Sequence[int] = UNITS,
    table: RegisterTable = "holding",
    registers: tuple[int, int] | None = None,
    tell: Callable[[str], None] = lambda _: None,
) -> Probed:
    """Ask a bus what is on it; `tell` is told in a few words what is being done.

    Parameters
    ----------
    address : Address
        ``modbus-tcp``, ``modbus-rtu``, ``sunspec-tcp`` or ``sunspec-rtu``. A ``unit`` in it is the only one tried.
    registers : tuple of int, optional
        First and last register of the `table` to show, as on the wire. None shows none.

    Raises
    ------
    InputError
        If the address is of another kind, a setting is out of range, or the port cannot be opened.
    SourceLost
        If there is no connection, or it breaks.
    """
    tried = units_tried(address, clock, units)
    if registers is not None and not 0 <= registers[0] <= registers[1] < TABLE_SIZE:
        raise InputError(
            f"registers must be FIRST-LAST, both from 0 to {TABLE_SIZE - 1}, not {registers[0]}-{registers[1]}"
        )
    seen = []
    for unit in tried:
        tell(f"trying unit {unit}")
        line = line_to(address, clock, unit)
        line.open()
        try:
            if line.anyone_there():
                seen.append(unit_seen(line, table, registers))
        finally:
            line.close()
    return Probed(address.place, tried, tuple(seen))


def units_tried(address: Address, clock: Clock, units: Sequence[int]) -> tuple[int, ...]:
    """Return the unit ids to try: that of the address alone, where it has one. `InputError` if it is none to probe."""
    first = line_to(address, clock, None)  # a mistake in the address is told before anything is opened
    return (first.unit,) if "unit" in address.settings else tuple(units)


def line_to(address: Address, clock: Clock, unit: int | None) -> ModbusLine:
    """Return a line to a unit, which waits no longer than it takes to see that nothing is there."""
    if address.kind not in _KINDS:
        raise InputError(f"{address.text}: only {', '.join(_KINDS)} can be probed")
    check_settings(address)
    return modbus_line(address, SunSpecPart(timeout_s=PATIENCE_S), clock, unit=unit)


def unit_seen(line: ModbusLine, table: RegisterTable = "holding", registers: tuple[int, int] | None = None) -> UnitSeen:
    """Return what the unit of an open line says of itself; `SourceLost` if the connection breaks."""
    refusals: list[str] = []
    models: list[ModelSeen] = []
    words: dict[int, int] = {}
    try:
        models += [_model(line, place, refusals) for place in find_models(line)]
    except NoSunSpecError:
        refusals.append("it has no SunSpec marker")
    except ModbusFault as fault:
        refusals.append(str(fault))
    if registers is not None:
        try:
            extent = extent_of(line, registers=registers, tables=[table])
            words = {at: word for (_, at), word in extent.read(line).items()}
            refusals += map(str, extent.refused)
        except ModbusFault as fault:
            refusals.append(str(fault))
    return UnitSeen(line.unit, tuple(models), _registers(words), tuple(refusals))


def _model(line: ModbusLine, place: DeviceModel, refusals: list[str]) -> ModelSeen:
    """Return a model with its values; without them where it is not published or cannot be read."""
    known = model(place.number)
    seen = ModelSeen(place.number, "", place.address, place.length, place.number in READABLE)
    if known is None:
        return seen
    last = max(point.offset + point.size for point in known.points.values())
    # An older device's model may be shorter than the published one; what repeats after the fixed part is not looked at.
    count = min(place.length + 2, last)
    try:
        registers = _blocks(line, "holding", place.address, count)
    except ModbusFault as fault:
        refusals.append(str(fault))
        registers = []
    values = {}
    for point in known.points.values():
        value = value_of(point, known, registers)
        # Scale factors are in the values already, and the number and length of the model stand in its line.
        if value is not None and point.type not in ("sunssf", "pad") and point.offset > 1:
            values[point.name] = (value, point.unit or "")
    return replace(seen, label=known.label, values=values)


def _blocks(line: ModbusLine, table: RegisterTable, first: int, count: int) -> list[int]:
    words: list[int] = []
    while len(words) < count:
        words += line.read_registers(table, first + len(words), min(MOST_REGISTERS, count - len(words)))
    return words


def _registers(words: dict[int, int]) -> tuple[RegisterSeen, ...]:
    seen = []
    for at, raw in words.items():
        decoded: dict[str, int | float] = {}
        for name, kind, order in _LIKELY:
            run = [words[k] for k in range(at, at + SIZES[kind]) if k in words]
            if len(run) == SIZES[kind] and _likely(kind, value := decode(run, kind, word_order=order)):
                decoded[name] = value
        seen.append(RegisterSeen(at, raw, decoded))
    return tuple(seen)


def _likely(kind: RegisterType, value: float) -> bool:
    if kind in _SIGNED:  # else it says the same as the unsigned one beside it
        return value < 0
    if kind.startswith("float"):
        return value == 0 or (math.isfinite(value) and _FLOAT_LOW <= abs(value) < _FLOAT_HIGH)
    return True
