"""Names, units and conversions of quantities: the one glossary of the project."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from math import lcm
from typing import Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from .errors import InputError

#: Every quantity a log can hold, and the dimension its units must have.
QUANTITIES = {
    "current_A": "current",
    "voltage_V": "voltage",
    "power_W": "power",
    "charge_Ah": "charge",
    "energy_Wh": "energy",
    "temperature_degC": "temperature",
    "state_of_charge_pct": "ratio",
    "power_factor": "ratio",
    "frequency_Hz": "frequency",
    "pressure_kPa": "pressure",
    "flow_L_per_min": "flow",
}
#: Those whose sign says whether the bank gives or takes.
SIGNED: Final = ("current_A", "power_W")
#: The meter's own running totals: of rows with one stamp the last counts, not the mean.
COUNTERS = frozenset({"charge_Ah", "energy_Wh"})
#: No meter counts so far (common practice, no source), and sums of squares of it still fit: what is larger is damage.
LARGEST_READING = 1e15
#: The quantity that stands for a dimension; a ratio may be several.
OF_DIMENSION = {dimension: name for name, dimension in QUANTITIES.items() if dimension != "ratio"}


@dataclass(frozen=True)
class Unit:
    """A unit: its dimension, and how its numbers become the canonical unit's.

    The canonical value is ``(x + add) * multiply / divide``: down-scaling divides, so that 1234.5 mA is the double
    nearest to 1.2345 A rather than a product with an inexact 0.001.
    """

    symbol: str
    dimension: str
    multiply: float = 1.0
    divide: float = 1.0
    add: float = 0.0

    def to_canonical(self, x: NDArray[np.float64]) -> NDArray[np.float64]:
        """Convert readings in this unit to the canonical unit of its dimension; shape is kept."""
        if self.add:
            x = x + self.add
        if self.multiply != 1.0:
            x = x * self.multiply
        if self.divide != 1.0:
            x = x / self.divide
        return x


OneOrMany = TypeVar("OneOrMany", float, NDArray[np.float64])

#: Up to here what a register of 32 bits becomes is exact, multiplied and added to, and so is what divides it.
_MOST_FACTOR, _MOST_OFFSET, _MOST_DIVISOR = 10**6, 10**15, 10**22


def scaled(x: OneOrMany, scale: float, offset: float = 0.0) -> OneOrMany:
    """Return ``x * scale + offset`` as the decimal number that is meant: 1195 at a scale of 0.01 is 11.95.

    A product with 0.01, which is no binary number, would be 11.950000000000001: one division at the end has no such
    digits.
    """
    factor, more, whole = _in_whole_numbers(scale, offset)
    y = x * factor + more
    return y if whole == 1 else y / whole


@cache
def _in_whole_numbers(scale: float, offset: float) -> tuple[float, float, float]:
    """Return what to multiply by, to add and to divide by; all whole where scale and offset are plain decimals."""
    by, add = Fraction(repr(float(scale))), Fraction(repr(float(offset)))
    whole = lcm(by.denominator, add.denominator)
    factor, more = by * whole, add * whole
    if abs(factor) > _MOST_FACTOR or abs(more) > _MOST_OFFSET or whole > _MOST_DIVISOR:
        return scale, offset, 1.0
    return float(factor), float(more), float(whole)


#: Decimal prefixes: what a number is multiplied and divided by.
_PREFIXES = {"u": (1.0, 1e6), "m": (1.0, 1e3), "k": (1e3, 1.0), "M": (1e6, 1.0)}
#: Units that meters write with prefixes, and with which of them.
_PREFIXED = (
    ("current", "A", "umk"),
    ("voltage", "V", "umk"),
    ("power", "W", "mkM"),
    ("charge", "Ah", "mk"),
    ("energy", "Wh", "mkM"),
    ("apparent power", "VA", "k"),
    ("reactive power", "var", "k"),
    ("frequency", "Hz", "k"),
)
_OTHERS = (
    Unit("As", "charge", divide=3600.0),
    Unit("J", "energy", divide=3600.0),
    Unit("kJ", "energy", divide=3.6),
    Unit("MJ", "energy", multiply=1000.0, divide=3.6),
    Unit("degC", "temperature"),
    Unit("degF", "temperature", add=-32.0, divide=1.8),
    Unit("K", "temperature", add=-273.15),
    Unit("kPa", "pressure"),
    Unit("Pa", "pressure", divide=1000.0),
    Unit("MPa", "pressure", multiply=1000.0),
    Unit("bar", "pressure", multiply=100.0),
    Unit("mbar", "pressure", divide=10.0),
    Unit("psi", "pressure", multiply=6.894757293168),  # NIST SP 811, appendix B.8
    Unit("L/min", "flow"),
    Unit("L/s", "flow", multiply=60.0),
    Unit("L/h", "flow", divide=60.0),
    Unit("m3/h", "flow", multiply=1000.0, divide=60.0),
    Unit("gal/min", "flow", multiply=3.785411784),  # US gallon: NIST SP 811, appendix B.8
)


def _units() -> dict[str, Unit]:
    units = []
    for dimension, symbol, prefixes in _PREFIXED:
        units.append(Unit(symbol, dimension))
        units += [Unit(prefix + symbol, dimension, *_PREFIXES[prefix]) for prefix in prefixes]
    return {unit.symbol: unit for unit in (*units, *_OTHERS)}


UNITS = _units()
#: Other spellings, compared without case, spaces, dots, hyphens and middle dots.
ALIASES = {
    "amp": "A", "amps": "A", "ampere": "A", "amperes": "A", "adc": "A", "aac": "A", "arms": "A",
    "dca": "A", "dcv": "V", "dcma": "mA", "dcmv": "mV", "madc": "mA", "mvdc": "mV",
    "milliamp": "mA", "milliamps": "mA", "milliampere": "mA", "milliamperes": "mA",
    "volt": "V", "volts": "V", "vdc": "V", "vac": "V", "vrms": "V", "millivolt": "mV", "millivolts": "mV",
    "watt": "W", "watts": "W", "kilowatt": "kW", "kilowatts": "kW",
    "amphour": "Ah", "amphours": "Ah", "amphr": "Ah", "amphrs": "Ah", "amperehour": "Ah", "amperehours": "Ah",
    "ahr": "Ah",
    "watthour": "Wh", "watthours": "Wh", "watthr": "Wh", "watthrs": "Wh", "kilowatthours": "kWh",
    "whr": "Wh", "kwhr": "kWh",
    "ampereseconds": "As", "coulomb": "As", "coulombs": "As", "joule": "J", "joules": "J", "ws": "J",
    "c": "degC", "°c": "degC", "ºc": "degC", "℃": "degC", "celsius": "degC",
    "degreesc": "degC", "f": "degF", "°f": "degF", "ºf": "degF", "℉": "degF", "degreesf": "degF",
    "fahrenheit": "degF",
    "kelvin": "K", "hertz": "Hz", "lpm": "L/min", "l/m": "L/min", "gpm": "gal/min", "m³/h": "m3/h", "psig": "psi",
    "vars": "var",
}  # fmt: skip
#: Units of a ratio depend on what it is a ratio of: a state of charge is kept in percent, a power factor as a number.
_RATIOS = {
    "state_of_charge_pct": {"%": 1.0, "pct": 1.0, "percent": 1.0, "1": 100.0},
    "power_factor": {"%": 0.01, "pct": 0.01, "percent": 0.01, "1": 1.0},
}


class UnknownUnitError(ValueError):
    """A text that is no unit of the table, or that could be two of them."""


def find_unit(text: str) -> Unit:
    """Return the unit a text names.

    The symbol in its right case comes first; a text in another case is taken only where a single unit can be meant
    (``KW`` is kW, but ``mw`` could be mW or MW).

    Raises
    ------
    UnknownUnitError
        With a reason in words.
    """
    plain = text.strip().replace("µ", "u").replace("μ", "u")
    # In its right case first, since case decides between milli and mega.
    if plain in UNITS:
        return UNITS[plain]
    bare = _bare(plain)
    if bare in ALIASES:
        return UNITS[ALIASES[bare]]
    matches = _by_bare().get(bare, ())
    if len(matches) == 1:
        return matches[0]
    if matches:
        choices = " or ".join(unit.symbol for unit in matches)
        raise UnknownUnitError(f"unit {text!r} could be {choices}; write it in its right case")
    raise UnknownUnitError(f"unit {text!r} is not known")


_MARKS = str.maketrans("", "", " .-·*_")


def _bare(text: str) -> str:
    return text.translate(_MARKS).lower()


@cache
def _by_bare() -> dict[str, list[Unit]]:
    """Return the units by their symbols without case and marks; a header's words are looked up by the hundred."""
    units: dict[str, list[Unit]] = {}
    for symbol, unit in UNITS.items():
        units.setdefault(_bare(symbol), []).append(unit)
    return units


def unit_of(quantity: str, text: str | None, *, column: str) -> Unit:
    """Return the unit of a column that holds `quantity`; without a text its canonical unit.

    Raises
    ------
    InputError
        If the text is no known unit, or the unit of something else; names the column as the file does.
    """
    dimension = QUANTITIES[quantity]
    if dimension == "ratio":
        ratios = _RATIOS[quantity]
        if text is None:
            return Unit("%" if quantity.endswith("_pct") else "1", "ratio")
        if (factor := ratios.get(text.strip().lower())) is None:
            raise InputError(f"column {column!r}: unit {text!r} is not one of {', '.join(ratios)}")
        return Unit(text, "ratio", multiply=factor) if factor >= 1 else Unit(text, "ratio", divide=round(1 / factor))
    if text is None:
        return UNITS[quantity.rsplit("_", 1)[1]] if quantity != "flow_L_per_min" else UNITS["L/min"]
    known = ", ".join(unit.symbol for unit in UNITS.values() if unit.dimension == dimension)
    try:
        unit = find_unit(text)
    except UnknownUnitError as reason:
        raise InputError(f"column {column!r}: {reason}; units of {dimension} are {known}") from None
    if unit.dimension != dimension:
        raise InputError(
            f"column {column!r}: {text!r} is a unit of {unit.dimension}, not of {dimension}; "
            f"units of {dimension} are {known}"
        )
    return unit
