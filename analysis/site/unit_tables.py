"""The site file's ``[units]``, and tables whose figures can be given and shown in several units."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Final, Literal

from pydantic import PrivateAttr

from .strict_table import StrictTable
from .units import SI, DisplayUnits

Volume = Literal["L", "gal"]
FlowUnit = Literal["L/min", "gal/min"]
Pressure = Literal["kPa", "bar", "psi"]
Length = Literal["m", "ft"]
Temperature = Literal["degC", "degF"]

#: The unit a key's figure is in, by the key's end.
_BY_END: Final[Mapping[str, Mapping[str, str]]] = {
    "volume": {"_volume_L": "L", "_volume_gal": "gal"},
    "flow": {"_L_per_min": "L/min", "_gal_per_min": "gal/min"},
    "pressure": {"_kPa": "kPa", "_psi": "psi"},
    "length": {"_m": "m", "_ft": "ft"},
    "temperature": {"_degC": "degC", "_degF": "degF"},
}


class Units(StrictTable):
    """The site file's ``[units]``; what is left out is shown as the file's own figures are given."""

    volume: Volume | None = None
    flow: FlowUnit | None = None
    pressure: Pressure | None = None
    length: Length | None = None
    temperature: Temperature | None = None

    def shown(self, tables: Iterable[StrictTable]) -> DisplayUnits:
        """Return the units to show figures in, going by the keys of `tables` where none is chosen."""
        # The first key decides where a file gives figures of one kind in two units: somebody meant to read that one.
        given = [key for table in tables for key in type(table).model_fields if key in table.model_fields_set]
        chosen = {kind: getattr(self, kind) or _entered(given, ends) for kind, ends in _BY_END.items()}
        # Who counts water in gallons counts its flow so too, where the file has none.
        if chosen["flow"] is None and chosen["volume"] == "gal":
            chosen["flow"] = "gal/min"
        return DisplayUnits(**{kind: unit for kind, unit in chosen.items() if unit is not None})


def _entered(keys: Iterable[str], ends: Mapping[str, str]) -> str | None:
    """Return the unit of the first key that has one of these ends."""
    return next((unit for key in keys for end, unit in ends.items() if key.endswith(end)), None)


class ShownTable(StrictTable):
    """A table whose figures are told in sentences; the site it stands in says in which units."""

    _shown: DisplayUnits = PrivateAttr(default=SI)

    @property
    def shown(self) -> DisplayUnits:
        """Units to tell its figures in; SI in a table that stands by itself."""
        return self._shown

    def show_in(self, shown: DisplayUnits) -> None:
        """Take the units of the site; its figures stay what they are."""
        self._shown = shown
