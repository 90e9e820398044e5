"""What a source profile may say about Modbus registers and SunSpec models, checked strictly."""

from __future__ import annotations

import struct
from typing import Literal, get_args

from pydantic import Field, model_validator

from ..errors import InputError
from ..quantities import QUANTITIES, unit_of
from .columns import Offset, ProfilePart, Scale

RegisterType = Literal["int16", "uint16", "int32", "uint32", "int64", "uint64", "float32", "float64"]
WordOrder = Literal["big", "little"]
CODES = {
    "int16": "h", "uint16": "H", "int32": "i", "uint32": "I", "int64": "q", "uint64": "Q",
    "float32": "f", "float64": "d",
}  # fmt: skip
#: How many registers a value takes.
SIZES: dict[RegisterType, int] = {kind: struct.calcsize(">" + CODES[kind]) // 2 for kind in get_args(RegisterType)}
RegisterTable = Literal["holding", "input"]
Sign = Literal["draw_positive", "return_positive"]
#: Registers of a table: 0 to 65535 on the wire (Modbus Application Protocol V1.1b3, section 4.4).
TABLE_SIZE = 65536


class LinePart(ProfilePart):
    """How the device is reached; a setting in the source's address goes before these."""

    unit: int = Field(default=1, ge=0, le=255)
    timeout_s: float = Field(default=1.0, gt=0, le=60)
    pause_s: float | None = Field(default=None, ge=0, le=60)
    baud: int = Field(default=9600, ge=50)
    parity: Literal["none", "even", "odd"] = "none"
    stop_bits: Literal[1, 2] = 1


class DirectionRegister(ProfilePart):
    """A register whose raw value says which way an unsigned current flows; it stands in the current's table."""

    address: int
    draw: list[int] = Field(min_length=1)
    returned: list[int] = Field(alias="return", default_factory=list)
    none: list[int] = Field(default_factory=list)


class RegisterEntry(ProfilePart):
    """Where a quantity stands and how its registers are to be read.

    A reading becomes ``(raw x scale + offset)`` in ``unit``, with its sign turned where ``sign`` says that return is
    positive. Without ``unit`` it is in the quantity's own. ``not_a_value`` lists raw numbers with which the device says
    that it has none, as the type reads them or as the bare bits (for an int16: -32768 or 0x8000); a float that is no
    number never is one. A value beyond ``largest``, in the quantity's own unit, cannot be: type or order of words are
    wrong; without it the limit is what banks carry.
    """

    address: int
    type: RegisterType
    table: RegisterTable = "holding"
    word_order: WordOrder | None = None
    byte_order: WordOrder | None = None
    unit: str | None = None
    scale: Scale = 1.0
    offset: Offset = 0.0
    sign: Sign = "draw_positive"
    not_a_value: list[int | float] = Field(default_factory=list)
    largest: float | None = Field(default=None, gt=0)
    direction: DirectionRegister | None = None


class ModbusPart(LinePart):
    """Which registers hold which quantities.

    Notes
    -----
    ``address_base`` says how the addresses are counted: ``zero`` as on the wire, ``one`` as many documents do. A
    leading 3 or 4 of a document ("40108") names the table and is left out: 108, ``address_base = "one"``.

    ``word_order`` says which register of a value of several comes first, ``byte_order`` which byte of a register;
    ``big`` is the more significant one first. ``gap`` is how many registers that nobody asked for may be read between
    two that are wanted, to have both in one request; many devices refuse to give such registers, hence 0.
    """

    word_order: WordOrder = "big"
    byte_order: WordOrder = "big"
    address_base: Literal["zero", "one"] = "zero"
    gap: int = Field(default=0, ge=0, le=123)
    registers: dict[str, RegisterEntry] = Field(min_length=1)

    @model_validator(mode="after")
    def _usable(self) -> ModbusPart:
        for quantity, entry in self.registers.items():
            if quantity not in QUANTITIES:
                raise ValueError(f"{quantity!r} is no quantity; the quantities are {', '.join(QUANTITIES)}")
            self._check_unit(quantity, entry)
            self._check_place(f"{quantity}.address", entry.address, SIZES[entry.type])
            if entry.direction is not None:
                self._check_direction(quantity, entry.direction)
        return self

    def wire(self, address: int) -> int:
        """Return an address as it goes over the wire, counted from 0."""
        # Documents count from 1 (data model), requests from 0 (Modbus Application Protocol V1.1b3, section 4.4).
        return address - (self.address_base == "one")

    def _check_place(self, name: str, address: int, size: int) -> None:
        if not 0 <= self.wire(address) <= TABLE_SIZE - size:
            first = int(self.address_base == "one")
            raise ValueError(
                f"registers.{name} must be from {first} to {TABLE_SIZE - size + first} for what it holds, not {address}"
            )

    def _check_direction(self, quantity: str, direction: DirectionRegister) -> None:
        self._check_place(f"{quantity}.direction.address", direction.address, 1)
        raws = [*direction.draw, *direction.returned, *direction.none]
        # Raw: a device may use any bits as a sign of direction, whatever the value's own type.
        if any(not 0 <= raw < 65536 for raw in raws) or len(set(raws)) != len(raws):
            raise ValueError(
                f"registers.{quantity}.direction: each of draw, return and none lists raw register values "
                "from 0 to 65535, and no value stands twice"
            )

    @staticmethod
    def _check_unit(quantity: str, entry: RegisterEntry) -> None:
        try:
            unit_of(quantity, entry.unit, column=quantity)
        except InputError as error:
            raise ValueError(str(error).replace("column", "register", 1)) from None


class SunSpecPart(LinePart):
    """Which SunSpec model is read, where a device has several, and what its signs mean."""

    model: int | None = Field(default=None, ge=1, le=65534)
    nth: int = Field(default=1, ge=1)
    side: Literal["dc", "ac"] | None = None
    sign: Sign | None = None
