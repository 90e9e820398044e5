"""The site: everything its file says, its names checked against each other. This module reads no file."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from difflib import get_close_matches
from typing import Annotated, ClassVar, Self, TypeVar
from zoneinfo import ZoneInfo, available_timezones

from pydantic import AfterValidator, model_validator

from ..not_known import Refusal
from .fields import Name
from .strict_table import Fault, Several, StrictTable
from .tables import Array, Bank, Charger, Conductor, Inverter, Limits, Load, Meter
from .unit_tables import ShownTable, Units
from .units import DisplayUnits
from .water import Water

__all__ = ["Array", "Bank", "Charger", "Conductor", "Inverter", "Limits", "Load", "Meter", "Site", "Water"]


#: Not names of zones but files beside them: what a machine happens to be set to. Those below right/ count leap seconds.
_OF_THE_MACHINE = {"localtime", "posixrules", "Factory"}


def _zone(zone: str) -> str:
    try:
        if zone.startswith("right/") or zone in _OF_THE_MACHINE:
            raise KeyError(zone)
        ZoneInfo(zone)
    except (OSError, ValueError, KeyError):
        # Names of zones are long and seldom typed: the likeliest is offered, if any is like it.
        near = get_close_matches(zone, available_timezones(), n=1, cutoff=0.75)
        hint = f"; did you mean '{near[0]}'?" if near else ", such as 'Europe/London'"
        raise ValueError(f"must be the name of a time zone{hint}") from None
    return zone


Zone = Annotated[str, AfterValidator(_zone)]


class Site(StrictTable):
    """A whole site file."""

    also_called: ClassVar[Mapping[str, str]] = {
        "time_zone": "zone", "timezone": "zone", "site": "name", "title": "name",
        "battery": "bank", "battery_bank": "bank", "accumulator": "bank", "storage": "bank", "batterie": "bank",
        "pump": "loads", "motor": "loads", "appliance": "loads", "consumer": "loads", "device": "loads",
        "solar": "array", "solar_array": "array", "panel": "array", "solar_panel": "array", "pv": "array",
        "pv_array": "array", "module": "array",
        "charger": "chargers", "generator": "chargers", "genset": "chargers", "alternator": "chargers",
        "cable": "conductors", "wire": "conductors", "wiring": "conductors", "fuse": "conductors",
        "tank": "water", "pressure_tank": "water", "well": "water", "water_system": "water",
        "shunt": "meters", "sensor": "meters", "logger": "meters",
    }  # fmt: skip
    named: ClassVar[tuple[str, ...]] = ("inverters", "loads", "chargers", "conductors", "meters")

    name: Name
    zone: Zone | None = None
    bank: Bank
    inverters: Several[Inverter] = ()
    loads: Several[Load] = ()
    array: Array | None = None
    chargers: Several[Charger] = ()
    conductors: Several[Conductor] = ()
    water: Water | None = None
    meters: Several[Meter] = ()
    limits: Limits = Limits()
    units: Units = Units()

    @classmethod
    def faults(cls, data: Mapping[str, object]) -> Iterator[Fault]:
        """Yield also names given twice and names that nothing has."""
        yield from super().faults(data)
        for table in cls.named:
            yield from _twice(data, table)
        # Names are looked up in the raw tables, so that a wrong one is told in the same round as a wrong figure.
        inverters, loads = _names(data, "inverters"), _names(data, "loads")
        for table in ("loads", "meters"):
            for i, row in _rows(data, table):
                yield from _unknown((table, i, "inverter"), row.get("inverter"), "inverter", inverters)
        carried = [*inverters, *loads, *_names(data, "chargers"), *(["array"] if "array" in data else [])]
        for i, row in _rows(data, "conductors"):
            for name in _list(row.get("carries")):
                yield from _unknown(("conductors", i, "carries"), name, "load, inverter or charger", carried)
        water = data.get("water")
        if isinstance(water, Mapping):
            yield from _unknown(("water", "load"), water.get("load"), "load", loads)

    @property
    def shown(self) -> DisplayUnits:
        """The units that its figures are shown in."""
        return self.units.shown(self._with_units)

    @property
    def _with_units(self) -> tuple[ShownTable, ...]:
        """The tables whose figures can be given, and shown, in several units."""
        return (self.bank, *self.conductors, *([self.water] if self.water is not None else []))

    @model_validator(mode="after")
    def _units_for_all(self) -> Self:
        # A table cannot know the site's choice while it is made; sentences about it are made without the site.
        shown = self.shown  # looked up in all tables, so once
        for table in self._with_units:
            table.show_in(shown)
        return self

    def load(self, name: str) -> Load:
        """Return the load called `name`; Refusal if there is none."""
        return _called(self.loads, name, "load")

    def inverter(self, name: str) -> Inverter:
        """Return the inverter called `name`; Refusal if there is none."""
        return _called(self.inverters, name, "inverter")

    def meter(self, name: str) -> Meter:
        """Return the meter called `name`; Refusal if there is none."""
        return _called(self.meters, name, "meter")

    def inverter_of(self, load: Load) -> Inverter | None:
        """Return the inverter that feeds `load`; None for a load on the DC side."""
        return None if load.inverter is None else self.inverter(load.inverter)

    def main_pump(self) -> Load | None:
        """Return the pump of the water system, else the only pump of the site, else None."""
        if self.water is not None:
            return self.load(self.water.load)
        pumps = [load for load in self.loads if load.kind == "pump"]
        return pumps[0] if len(pumps) == 1 else None


Named = TypeVar("Named", Inverter, Load, Meter)


def _called(items: Iterable[Named], name: str, what: str) -> Named:
    by_name = {item.name: item for item in items}
    if name not in by_name:
        raise Refusal(f"the site file has no {what} called '{name}'; {_known(list(by_name))}")
    return by_name[name]


def _known(names: list[str]) -> str:
    return f"it has: {', '.join(names)}" if names else "it has none at all"


def _list(value: object) -> list[object]:
    return value if isinstance(value, list) else []


def _rows(data: Mapping[str, object], table: str) -> list[tuple[int, Mapping[str, object]]]:
    """Return the raw rows of an array of tables with their indices; other things are reported elsewhere."""
    return [(i, row) for i, row in enumerate(_list(data.get(table))) if isinstance(row, Mapping)]


def _names(data: Mapping[str, object], table: str) -> list[str]:
    return [name.strip() for _, row in _rows(data, table) if isinstance(name := row.get("name"), str)]


def _twice(data: Mapping[str, object], table: str) -> Iterator[Fault]:
    seen: set[str] = set()
    for i, row in _rows(data, table):
        if isinstance(name := row.get("name"), str):
            if name.strip() in seen:
                yield Fault((table, i, "name"), f"'{name}' is the name of an earlier one; give each its own")
            seen.add(name.strip())


def _unknown(where: tuple[str | int, ...], name: object, what: str, known: list[str]) -> Iterator[Fault]:
    if isinstance(name, str) and name.strip() not in known:
        yield Fault(where, f"the file has no {what} called '{name}'; {_known(known)}")
