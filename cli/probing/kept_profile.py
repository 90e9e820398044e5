"""A profile of what was chosen for a meter, one quantity after the other; what a person wrote in it stays."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from math import ceil
from typing import Final, Literal

from ...ingest.errors import InputError
from ...ingest.modbus.find import Candidate
from ...ingest.modbus.plausible import LARGEST
from ...ingest.modbus.shown_value import ShownValue
from ...ingest.profiles.kept import profile_text
from ...ingest.toml.edit import Value, edited
from ...ingest.toml.places import Where

#: Which way it flows: out of the bank, into it, or neither, since the meter measures behind an inverter.
BankFlow = Literal["out", "in", "ac"]
#: Quantities that flow one way or the other.
SIGNED: Final = ("current_A", "power_W")


@dataclass(frozen=True)
class ChosenRegister:
    """A register that was chosen for what a display showed, and which way that flowed.

    ``sure`` is a person's word for a value that no bank carries.
    """

    candidate: Candidate
    shown: ShownValue
    flow: BankFlow = "out"
    sure: bool = False

    @property
    def quantity(self) -> str:
        """What it is."""
        if self.shown.quantity is None:
            raise InputError(f"{self.shown.text}: say in what unit, such as {self.shown.text} A")
        return self.shown.quantity

    @property
    def sign(self) -> str:
        """Which sign of the device's own is the bank's draw."""
        if self.quantity not in SIGNED or self.flow == "ac":
            return "draw_positive"
        # The device's own sign, whatever the display makes of it: the register alone is what a capture will see.
        own = -self.candidate.value if self.candidate.is_turned else self.candidate.value
        return "draw_positive" if (own > 0) == (self.flow == "out") else "return_positive"

    @property
    def doubt(self) -> str:
        """Why no bank carries it; "" where one may, or somebody gave their word for it."""
        value, largest = abs(self.shown.in_own_unit(self.candidate.value)), LARGEST.get(self.quantity)
        if self.sure or largest is None or value <= largest:
            return ""
        unit = self.quantity.rsplit("_", 1)[1]
        again = "look at its unit, type and word order again"
        return f"{self.shown.text} is {value:,.7g} {unit}, which no bank carries: {again}"


def with_register(text: str | None, chosen: ChosenRegister) -> str:
    """Return a profile's text with a register more, or in another's place; without a text, a new one.

    Raises
    ------
    InputError
        If no bank carries such a value, the profile is of another unit id or kind, or is written so that it cannot be
        changed.
    """
    if chosen.doubt:
        raise InputError(chosen.doubt)
    candidate, quantity = chosen.candidate, chosen.quantity
    if text is None:
        text = profile_text(
            {"side": "ac" if chosen.flow == "ac" else None},
            {"modbus": {"unit": candidate.unit, "address_base": "zero"}},
            remark="Found by what the meter's display showed. Addresses are as on the wire, counted from 0.",
        )
    # What a person wrote counts as they count: a document that begins at 1 stays one.
    base = _base_of(text, candidate.unit)
    size = abs(chosen.shown.in_own_unit(candidate.value))
    entry = {
        "address": candidate.address + base,
        "type": candidate.type,
        "table": candidate.table,
        "word_order": candidate.word_order,
        "unit": chosen.shown.unit,
        "scale": float(candidate.scale),
        "sign": chosen.sign,
        "largest": ceil(size / 1000) * 1000.0 if chosen.sure and size > LARGEST.get(quantity, size) else None,
    }
    changes: dict[Where, Value | None] = {("modbus", "registers", quantity, key): x for key, x in entry.items()}
    if chosen.flow == "ac":
        changes["side",] = "ac"
    return edited(text, changes)


def _base_of(text: str, unit: int) -> int:
    """Return from where a profile counts addresses."""
    try:
        modbus = tomllib.loads(text).get("modbus", {})
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"is not valid TOML as it stands, so nothing in it was changed: {error}") from None
    if modbus.get("unit", 1) != unit:
        raise InputError(f"is a profile of unit {modbus.get('unit', 1)}, this is unit {unit}: begin another profile")
    return 1 if modbus.get("address_base") == "one" else 0
