"""Figures as people write them, ``3/4 hp``, ``24,5 V``, ``2.8 bar``, and the line of a TOML file that says the same."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import gcd, isfinite
from typing import Final

import numpy as np

from ..quantities import Unit, UnknownUnitError, find_unit

#: Units of plates, tanks and cables, which no log holds; factors by NIST SP 811, appendix B.8.
_MORE: Final = {
    unit.symbol: unit
    for unit in (
        Unit("s", "time"),
        Unit("ms", "time", divide=1000.0),
        Unit("min", "time", multiply=60.0),
        Unit("h", "time", multiply=3600.0),
        Unit("m", "length"),
        Unit("cm", "length", divide=100.0),
        Unit("mm", "length", divide=1000.0),
        Unit("ft", "length", multiply=0.3048),
        Unit("in", "length", multiply=0.0254),
        Unit("L", "volume"),
        Unit("gal", "volume", multiply=3.785411784),
        Unit("m3", "volume", multiply=1000.0),
        Unit("mm2", "area"),
        Unit("mohm", "resistance"),
        Unit("ohm", "resistance", multiply=1000.0),
        Unit("hp", "power", multiply=745.69987158),
        Unit("AWG", "gauge"),
        Unit("%", "percent"),
    )
}
_SPELT: Final = {
    "sec": "s", "secs": "s", "second": "s", "seconds": "s", "minute": "min", "minutes": "min", "mins": "min",
    "hr": "h", "hrs": "h", "hour": "h", "hours": "h", "metre": "m", "metres": "m", "meter": "m", "meters": "m",
    "feet": "ft", "foot": "ft", "'": "ft", "inch": "in", "inches": "in", '"': "in", "l": "L", "litre": "L",
    "litres": "L", "liter": "L", "liters": "L", "gallon": "gal", "gallons": "gal", "m³": "m3", "mm²": "mm2",
    "sqmm": "mm2", "mω": "mohm", "milliohm": "mohm", "milliohms": "mohm", "ω": "ohm", "ohms": "ohm",
    "horsepower": "hp", "bhp": "hp", "ps": "hp", "awg": "AWG", "pct": "%", "percent": "%", "kilowatthour": "kWh",
    "hp": "hp", "bars": "bar", "wp": "W", "kwp": "kW", "pounds": "psi", "psig": "psi", "l/min": "L/min",
    "gal/min": "gal/min",
}  # fmt: skip
#: How a key's end spells a unit, where it is not the unit's symbol.
_AT_KEYS_END: Final = {"L_per_min": "L/min", "gal_per_min": "gal/min", "pct": "%"}
_FRACTIONS: Final = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅓": "1/3", "⅔": "2/3", "⅛": "1/8"}
_FRACTION = re.compile(r"(?:(\d{1,9})[ -])?(\d{1,9})/(\d{1,9})(.*)", re.DOTALL)
#: Two figures that stand together: ``40/60 psi``, ``115-230 V``.
_TWO = re.compile(
    r"(\d[\d.,]*)\s*([^\d\s/\u2013\u2014-]*)\s*(?:/|-|\u2013|\u2014|\bto\b|\band\b)\s*(\d[\d.,]*)\s*(\D*)",
    re.IGNORECASE,
)
#: What plates divide by; of one part alone any number: 1/20 hp.
_DIVISORS: Final = (2, 3, 4, 8, 16, 32)
_NUMBER = re.compile(r"([+-]?(?:\d[\d.,'\u00a0\u202f_ ]*|\.\d+)(?:[eE][+-]?\d+)?)(.*)", re.DOTALL)
_GROUPED = re.compile(r"[1-9]\d{0,2}(,\d{3})+(\.\d+)?")


@dataclass(frozen=True)
class Amount:
    """A figure and its unit; None without one. ``other`` is a second value that the same text may mean."""

    value: float
    unit: Unit | None
    other: float | None = None


def amount_of(text: str) -> Amount | None:
    """Return the figure that a text gives, in whichever notation; None where it is no single figure with a unit."""
    text = text.strip().strip("\"'“”„‘’").strip()
    for sign, spelt in _FRACTIONS.items():
        text = re.sub(rf"(\d?)\s*{sign}", lambda match, spelt=spelt: f"{match[1]} {spelt}", text).strip()  # type: ignore[misc]
    if fraction := _FRACTION.fullmatch(text):
        whole, over, under, rest = fraction.groups()
        if int(under) == 0:
            return None
        return _with_unit(float(whole or 0) + int(over) / int(under), None, rest)
    number = _NUMBER.fullmatch(text)
    if number is None:
        return None
    value, other = _read(number[1].strip())
    return None if value is None else _with_unit(value, other, number[2])


def is_fraction(text: str) -> bool:
    """Tell whether a text is a fraction as plates have them, ``3/4``; 40/60 and 115/230 are two figures."""
    fraction = _FRACTION.fullmatch(text.strip())
    if fraction is None:
        return False
    over, under = int(fraction[2]), int(fraction[3])
    return under > 0 and gcd(over, under) == 1 and (over == 1 or under in _DIVISORS)


def two_amounts(text: str) -> tuple[str, str] | None:
    """Return two figures that stand together as two texts, with a unit that stands at one of them at both; else None.

    A fraction is returned as well: which it is depends on what is asked.
    """
    two = _TWO.fullmatch(" ".join(text.split()))
    if two is None:
        return None
    first, unit, second, last = (part.strip() for part in two.groups())
    return f"{first} {unit or last}".strip(), f"{second} {last or unit}".strip()


def same_twice(first: str, second: str) -> bool:
    """Tell whether two texts give one figure in two units, as plates do: ``1.5 hp`` and ``1.1 kW``."""
    sizes = []
    for amount in map(amount_of, (first, second)):
        if amount is None or amount.unit is None or not isfinite(amount.value):
            return False
        sizes.append(
            (amount.unit.dimension, amount.unit.symbol, float(amount.unit.to_canonical(np.array([amount.value]))[0]))
        )
    (one, unit, value), (other, other_unit, other_value) = sizes
    # Plates are rounded, hence 5 %.
    return one == other and unit != other_unit and abs(value - other_value) <= 0.05 * abs(value)


def _either(text: str) -> Amount | None:
    """Return two figures that stand where one belongs as one that may be either; None where they are not alike."""
    bare = text.strip().strip("\"'")
    first, second = (amount_of(each) for each in (not is_fraction(bare) and two_amounts(bare)) or ("", ""))
    if first is None or second is None or first.unit != second.unit or first.other or second.other:
        return None
    # What is over nought is the size of a wire.
    if second.value == 0:
        return None
    return Amount(first.value, first.unit, second.value)


def _with_unit(value: float, other: float | None, rest: str) -> Amount | None:
    if not rest.strip():
        return Amount(value, None, other)
    unit = unit_named(rest)
    return None if unit is None else Amount(value, unit, other)


def _read(text: str) -> tuple[float | None, float | None]:
    """Return what digits with points and commas mean; ``1,150`` may be a thousand or one."""
    bare = re.sub(r"['\u00a0\u202f_ ]", "", text)
    # A single comma is decimal, as in most of Europe, unless three digits follow: then it may group thousands as well.
    if bare.count(",") == 1 and "." not in bare[bare.index(",") :]:
        decimal = bare.replace(".", "").replace(",", ".")
        if _GROUPED.fullmatch(bare):
            return _float(bare.replace(",", "")), _float(decimal)
        return _float(decimal), None
    if _GROUPED.fullmatch(bare):
        return _float(bare.replace(",", "")), None
    if bare.count(".") > 1:
        bare = bare.replace(".", "")
    return _float(bare), None


def _float(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None


def unit_named(text: str) -> Unit | None:
    """Return the unit that a text names, of those of logs and of plates; None if it names none."""
    bare = text.strip().rstrip(".")
    symbol = _SPELT.get(bare.lower(), bare)
    if symbol in _MORE:
        return _MORE[symbol]
    try:
        return find_unit(symbol)
    except UnknownUnitError:
        return None


def key_unit(key: str) -> tuple[str, Unit | None]:
    """Return what comes before a key's unit, and the unit: ``cut_in_kPa`` is ``cut_in`` in kPa."""
    parts = key.split("_")
    for n in range(len(parts)):
        end = "_".join(parts[n:])
        if (unit := unit_named(_AT_KEYS_END.get(end, end))) is not None:
            return "_".join(parts[:n]), unit
    return key, None


def right_line(key: str, text: str, known: Sequence[str]) -> str | None:
    """Return the line that says what a key, known or not, and its value as written were to say.

    `known` are the keys that may stand there. None where it cannot be told.
    """
    amount = _either(text) or amount_of(text)
    if amount is None:
        return None
    # A key whose unit was left out may end in a word that is one: ``cut_in``.
    stem, own = (key, None) if any(each.startswith(f"{key}_") for each in known) else key_unit(key)
    unit = amount.unit or (None if key in known else own)
    if unit is None:
        keys = [key] if key in known else _of_stem(known, stem)
        return _lines(keys, amount, lambda x, _: x)
    if key in known and own is None and unit.symbol == "%":
        return f"{key} = {number(amount.value / 100)}"
    # The unit in the value is surer than that in the key: of keys alike the one in that unit, else one that it converts
    # to.
    same = [each for each in known if _is_of(each, stem) or each in (unit.symbol, key)]
    exact = [each for each in same if _unit(each).symbol == unit.symbol]
    alike = [each for each in same if _unit(each).dimension == unit.dimension]
    if key in alike and key not in exact:
        alike = [key]
    return _lines((exact or alike)[:1], amount, lambda x, to: in_key_unit(x, unit, to))


def _of_stem(known: Sequence[str], stem: str) -> list[str]:
    """Return the keys that a key without its unit may stand for; seconds, percent and kA where there is no other."""
    keys = [each for each in known if _is_of(each, stem)]
    # A fuse of 200 is one of 200 A; its kA are what it breaks.
    return [each for each in keys if not each.endswith(("_s", "_pct", "_kA"))] or keys


def _is_of(key: str, stem: str) -> bool:
    before, unit = key_unit(key)
    return unit is not None and before == stem and before != ""


def _unit(key: str) -> Unit:
    return key_unit(key)[1] or Unit("", "")


def in_key_unit(x: float, unit: Unit, to: str) -> float:
    """Return a figure in the unit of the key `to`, which must be of the same dimension."""
    wanted = _unit(to)
    canonical = float(unit.to_canonical(np.array([x]))[0])
    # Eight digits: what is converted was never known to more.
    return float(f"{canonical / wanted.multiply * wanted.divide - wanted.add:.8g}") if wanted != unit else x


def _lines(keys: Sequence[str], amount: Amount, converted: Callable[[float, str], float]) -> str | None:
    values = [amount.value] if amount.other is None else [amount.value, amount.other]
    return ", or ".join(f"{key} = {number(converted(x, key))}" for x in values for key in keys) or None


def number(x: float) -> str:
    """Return a number as TOML writes it, without needless digits."""
    return f"{x:.10g}" if x == 0 or 1e-4 <= abs(x) < 1e10 else repr(x)
