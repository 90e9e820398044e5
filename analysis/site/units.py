"""Units that figures are shown in: those of the site file's ``[units]``, else those it gives its own figures in.

Only what people read is converted: results, and the keys of JSON and tables, stay in SI. The factors are exact or
published: NIST Special Publication 811 (2008), appendix B.8; the gallon is the US liquid gallon.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, NamedTuple

from ..wording import figure

L_PER_GAL: Final = 3.785411784
KPA_PER_PSI: Final = 6.894757293168
KPA_PER_BAR: Final = 100.0  # exact
M_PER_FT: Final = 0.3048
W_PER_HP: Final = 745.69987158  # mechanical horsepower, 550 ft lbf/s


class _Unit(NamedTuple):
    """A unit: its symbol, and how a figure in the unit used inside becomes one in this."""

    symbol: str
    size: float = 1.0
    zero: float = 0.0

    def of(self, x: float) -> float:
        return x / self.size + self.zero


_UNITS: Final = {
    **{name: _Unit(name) for name in ("L", "L/min", "kPa", "m")},
    "gal": _Unit("gal", L_PER_GAL),
    "gal/min": _Unit("gal/min", L_PER_GAL),
    "bar": _Unit("bar", KPA_PER_BAR),
    "psi": _Unit("psi", KPA_PER_PSI),
    "ft": _Unit("ft", M_PER_FT),
    "degC": _Unit("°C"),
    "degF": _Unit("°F", 1 / 1.8, 32.0),
}

#: What a unit is called where all of them are named.
_NAMES: Final = {"L": "litres", "gal": "US gallons", "m": "metres", "ft": "feet", "degC": "°C", "degF": "°F"}

#: Quantities of a log that have a unit to choose.
_OF_QUANTITY: Final = {"temperature_degC": "temperature", "pressure_kPa": "pressure", "flow_L_per_min": "flow"}


@dataclass(frozen=True)
class DisplayUnits:
    """The units chosen, and figures in them as text. All arguments are in the unit that their name says."""

    volume: str = "L"
    flow: str = "L/min"
    pressure: str = "kPa"
    length: str = "m"
    temperature: str = "degC"

    def of_volume(self, volume_L: float) -> str:
        """Return a volume, for instance ``44 gal``."""
        return _text(volume_L, self.volume)

    def of_flow(self, flow_L_per_min: float) -> str:
        """Return a flow, for instance ``10 gal/min``."""
        return _text(flow_L_per_min, self.flow)

    @property
    def flow_scale(self) -> tuple[float, str]:
        """How many of the unit shown a litre a minute is, and its symbol."""
        return _UNITS[self.flow].of(1.0), _UNITS[self.flow].symbol

    @property
    def volume_scale(self) -> tuple[float, str]:
        """How many of the unit shown a litre is, and its symbol."""
        return _UNITS[self.volume].of(1.0), _UNITS[self.volume].symbol

    def of_pressure(self, pressure_kPa: float, *, digits: int = 3) -> str:
        """Return a gauge pressure or a difference, for instance ``40 psi``."""
        return _text(pressure_kPa, self.pressure, digits)

    def of_length(self, length_m: float) -> str:
        """Return a length, for instance ``6 m``."""
        return _text(length_m, self.length)

    def of_temperature(self, temperature_degC: float) -> str:
        """Return a temperature, for instance ``59 °F``."""
        return _text(temperature_degC, self.temperature)

    def of_warming(self, warming_K: float) -> str:
        """Return a difference of temperatures, for instance ``10 °F``."""
        # A difference has no zero of its own: 10 K are 18 °F, not 50.
        unit = _UNITS[self.temperature]
        return figure(warming_K / unit.size, unit.symbol)

    def water_energy(self, Wh_per_1000_L: float) -> tuple[float, str]:
        """Return the energy for water [Wh], and for how much of it in words: ``1,000 L`` or ``a gallon``."""
        # Those who count in gallons pay by the gallon, others by the cubic metre.
        if self.volume == "gal":
            return Wh_per_1000_L / 1000 * L_PER_GAL, "a gallon"
        return Wh_per_1000_L, "1,000 L"

    def of_quantity(self, name: str, x: float | None) -> float | None:
        """Return a reading of one of a log's quantities in the unit shown; those without a choice as they are."""
        unit = _UNITS[getattr(self, _OF_QUANTITY[name])] if name in _OF_QUANTITY else None
        return x if x is None or unit is None else unit.of(x)

    def name_of(self, name: str) -> str:
        """Return what one of a log's quantities is called, with the unit it is shown in where that is not the log's."""
        if name not in _OF_QUANTITY:
            return name
        chosen: str = getattr(self, _OF_QUANTITY[name])
        return name if chosen == getattr(SI, _OF_QUANTITY[name]) else f"{name}, in {_UNITS[chosen].symbol}"

    @property
    def sentence(self) -> str:
        """Say which units were chosen."""
        chosen = (self.volume, self.flow, self.pressure, self.length, self.temperature)
        return f"Figures are shown in {', '.join(_NAMES.get(unit, unit) for unit in chosen)}; in SI in JSON and tables."


SI: Final = DisplayUnits()


def _text(x: float, unit: str, digits: int = 3) -> str:
    return figure(_UNITS[unit].of(x), _UNITS[unit].symbol, digits=digits)
