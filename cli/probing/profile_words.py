"""What a source profile says, row by row, for a page."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from ...ingest.profiles.columns import ColumnEntry
from ...ingest.profiles.modbus_part import SIZES, ModbusPart, RegisterEntry
from ...ingest.profiles.model import Profile, load_profile

#: How quantities are called where they stand by themselves.
_CALLED = {
    "current_A": "amps",
    "voltage_V": "volts",
    "power_W": "watts",
    "charge_Ah": "amp-hours",
    "energy_Wh": "watt-hours",
    "temperature_degC": "temperature",
    "state_of_charge_pct": "state of charge",
    "power_factor": "power factor",
    "frequency_Hz": "frequency",
    "pressure_kPa": "pressure",
    "flow_L_per_min": "flow",
}
_WAYS = {"draw_positive": "positive is out of the bank", "return_positive": "positive is into the bank"}
_BOTH_WAYS = ("current_A", "power_W", "charge_Ah", "energy_Wh")


@dataclass(frozen=True)
class ProfileWords:
    """A profile in words: what it is of, a row for each quantity, and how the source that it reads is begun with.

    ``usual_source`` is what an address of its kind looks like; "" of a profile for exports.
    """

    kind: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    notes: tuple[str, ...]
    usual_source: str

    @property
    def quantities(self) -> list[str]:
        """What it gives."""
        return [row[0] for row in self.rows]


def called(quantity: str) -> str:
    """Return what a quantity is called where it stands by itself."""
    return _CALLED.get(quantity, quantity)


def profile_words(path: Path) -> ProfileWords:
    """Return what a profile says; `InputError` where it cannot be read."""
    profile = load_profile(str(path))
    notes = tuple(_notes(profile))
    if profile.modbus is not None:
        registers = tuple(_register(name, entry, profile.modbus) for name, entry in profile.modbus.registers.items())
        titles = ("quantity", "register", "read as", "unit", "scale", "sign")
        source = f"modbus-tcp:192.0.2.7:502?unit={profile.modbus.unit}"
        return ProfileWords("a Modbus meter", titles, registers, notes, source)
    if profile.sunspec is not None:
        return ProfileWords("a SunSpec device", (), (), notes, "sunspec-tcp:192.0.2.7:502")
    columns = tuple(_column(name, entry) for name, entry in profile.quantities.items())
    heads = ("quantity", "field" if profile.serial else "column", "unit", "scale", "sign")
    if profile.serial is not None:
        return ProfileWords("a meter that sends lines of text", heads, columns, notes, "serial:PORT")
    return ProfileWords("exports", heads, columns, notes, "")


def _register(name: str, entry: RegisterEntry, part: ModbusPart) -> tuple[str, ...]:
    order = entry.word_order or part.word_order
    size = SIZES[entry.type]
    low_first = ", low word first" if size > 1 and order == "little" else ""
    place = f"{entry.table} {part.wire(entry.address)}"
    return (
        called(name),
        place,
        f"{entry.type}{low_first}",
        entry.unit or "",
        f"{entry.scale:g}",
        _way(name, entry.sign),
    )


def _column(name: str, entry: ColumnEntry) -> tuple[str, ...]:
    # Two columns, one for each way, are told as they are reckoned.
    minus = f" less {entry.minus}" if entry.minus is not None else ""
    return (called(name), f"{entry.column}{minus}", entry.unit or "", f"{entry.scale:g}", _way(name, entry.sign))


def _way(name: str, sign: str) -> str:
    return _WAYS[sign] if name in _BOTH_WAYS else ""


def _notes(profile: Profile) -> Iterator[str]:
    if profile.side is not None:
        yield "It measures at the bank (DC)." if profile.side == "dc" else "It measures behind an inverter (AC)."
    if profile.zone:
        yield f"Its clock is that of {profile.zone}."
    if profile.modbus is not None:
        yield f"Unit {profile.modbus.unit}; registers are shown as on the wire, counted from 0."
