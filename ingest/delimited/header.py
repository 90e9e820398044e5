"""What a header's words mean: plain English for the quantities, with their unit in the name."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from ..errors import InputError
from ..quantities import OF_DIMENSION, Unit, UnknownUnitError, find_unit, unit_of

#: Words that name a quantity, and words that come with it and change nothing.
_WORDS = {
    "current_A": {"current", "amps", "amp", "ampere", "amperes", "amperage", "i", "curr", "discharge"},
    "voltage_V": {"voltage", "volts", "volt", "v", "u"},
    "power_W": {"power", "watts", "watt", "p", "active", "real", "wattage", "w"},
    "charge_Ah": {"charge", "capacity", "consumed", "used", "counter", "amp", "hours", "hour", "hr", "ah"},
    "energy_Wh": {"energy", "consumed", "used", "counter", "watt", "hours", "hour", "hr", "wh"},
    "temperature_degC": {"temperature", "temp"},
    "state_of_charge_pct": {"soc", "state", "of", "charge"},
    "power_factor": {"power", "factor", "pf", "cos", "phi", "cosphi", "cosφ"},
    "frequency_Hz": {"frequency", "freq", "hz"},
    "pressure_kPa": {"pressure"},
    "flow_L_per_min": {"flow", "rate"},
}
#: The word without which a column is not that quantity, whatever its unit.
_NAMING = {
    **{q: _WORDS[q] - {"discharge", "active", "real"} for q in ("current_A", "voltage_V", "power_W")},
    "temperature_degC": {"temperature", "temp"},
    "power_factor": {"factor", "pf", "cosphi", "cosφ", "phi"},
    "state_of_charge_pct": {"soc"},
    "frequency_Hz": {"frequency", "freq", "hz"},
    "pressure_kPa": {"pressure"},
    "flow_L_per_min": {"flow"},
}
_BANK = {"battery", "batteries", "batt", "bat", "bank", "pack", "shunt", "main", "total", "dc", "ac", "rms", "net", "the", "in", "at"}
_ELSEWHERE = {
    "pv", "panel", "panels", "solar", "array", "load", "charger", "peak", "max", "maximum", "min", "minimum", "average",
    "avg", "mean", "cell", "aux", "limit", "set", "setpoint", "spec", "open", "circuit", "charging", "step",
}  # fmt: skip
_NEVER = {
    "power_W": {"apparent", "reactive", "factor"},
    "current_A": {"hour", "hours", "hr", "hrs"},
    "voltage_V": set(),
}
_REMARKS = _BANK | _ELSEWHERE | {"instant", "now", "filtered", "out", "calculated", "measured"}
_REQUIRED = ("current_A", "voltage_V", "power_W")
_BRACKET = re.compile(r"\[([^\[\]]*)\]|\(([^()]*)\)")
_LIKELY_UNIT = re.compile(r"[%°µμ]?[A-Za-z°%µμ·./³\d-]{1,8}")


@dataclass(frozen=True)
class Meaning:
    """What one column is taken for.

    ``strangeness`` counts the words that speak for something other than the bank's own reading: the lowest is taken.
    """

    quantity: str
    unit: Unit
    strangeness: int


@dataclass(frozen=True)
class _Parsed:
    words: tuple[str, ...]
    unit_text: str | None
    sure: bool


def is_unit_cell(cell: str) -> bool:
    """Tell whether a cell of a units row names a unit, bare or in brackets, or the shape of a time stamp."""
    text = cell.strip().strip("[]()").strip()
    if text.lower() in {"%", "s", "sec", "seconds", "ms", "min", "h", "h:m:s", "hh:mm:ss", "date", "time", "iso", "utc", "local"}:
        return True
    if re.fullmatch(r"[dmy]{1,4}[-/.][dmy]{1,4}[-/.][dmy]{1,4}.*", text.lower()):
        return True
    try:
        find_unit(text)
    except UnknownUnitError as reason:
        return "could be" in str(reason)
    return True


def meaning(name: str, units_cell: str = "") -> Meaning | None:
    """Return what a column is, from its header and its cell in the units row; None where it is no quantity.

    Raises
    ------
    InputError
        If the words say current, voltage or power but the unit is unknown or of something else.
    """
    parsed = _parse(name, units_cell)
    unit = _unit_or_none(parsed.unit_text)
    quantity = _by_words(parsed.words, unit)
    if quantity is None:
        return None
    if quantity in _REQUIRED and parsed.unit_text is not None and unit is not None and unit.dimension in ("apparent power", "reactive power"):
        return None  # VA and var are never watts
    try:
        unit = unit_of(quantity, parsed.unit_text, column=name)
    except InputError:
        if quantity in _REQUIRED and parsed.sure:
            raise
        return None
    return Meaning(quantity, unit, _strangeness(parsed.words, quantity))


def _parse(name: str, units_cell: str) -> _Parsed:
    unit_text: str | None = units_cell.strip().strip("[]()").strip() or None
    sure = unit_text is not None
    rest = name.strip()
    for match in list(_BRACKET.finditer(rest)):
        square, round_ = match.groups()
        content = (square if square is not None else round_).strip()
        rest = rest.replace(match[0], " ", 1)
        is_remark = square is None and all(w in _REMARKS for w in re.findall(r"[a-z]+", content.lower()))
        if content and not is_remark:
            unit_text, sure = content, True
        elif content:
            rest += " " + content
    words = _split(rest)
    if unit_text is None and len(words) > 1 and _names_unit(words[-1]):
        unit_text, sure, words = words[-1], True, words[:-1]
    elif unit_text is None and (rest.strip() in ("A", "W") or (len(rest.strip()) > 1 and _names_unit(rest.strip()))):
        unit_text = rest.strip()  # the unit is the whole name
    return _Parsed(tuple(w.lower() for w in words), unit_text, sure)


def _split(text: str) -> list[str]:
    text = re.sub(r"(?<=[a-z][a-z])(?=[A-Z][a-z])", " ", text)
    return [word for word in re.split(r"[\s_,;:/|.#]+|(?<=[A-Za-z])-(?=[A-Za-z])", text) if word]


def _names_unit(word: str) -> bool:
    try:
        find_unit(word)
    except UnknownUnitError as reason:
        return "could be" in str(reason)
    return True


def _unit_or_none(text: str | None) -> Unit | None:
    try:
        return find_unit(text) if text else None
    except UnknownUnitError:
        return None


def _by_words(words: tuple[str, ...], unit: Unit | None) -> str | None:
    """Return the quantity that words and unit agree on; words decide, a unit alone may."""
    there = set(words)
    if {"state", "charge"} <= there:
        return "state_of_charge_pct"
    if unit is not None and unit.dimension in ("charge", "energy"):
        return OF_DIMENSION[unit.dimension]
    for quantity in ("power_factor", "state_of_charge_pct", "temperature_degC", "frequency_Hz", "pressure_kPa", "flow_L_per_min"):
        if there & _NAMING[quantity]:
            return quantity
    named = [q for q in _REQUIRED if there & _NAMING[q] and not there & _NEVER[q]]
    if len(named) == 1:
        return named[0]
    if unit is not None and unit.dimension in OF_DIMENSION:
        quantity = OF_DIMENSION[unit.dimension]
        return None if there & _NEVER.get(quantity, set()) else quantity
    return None


def _strangeness(words: tuple[str, ...], quantity: str) -> int:
    own = _WORDS[quantity]
    return sum(10 if word in _ELSEWHERE else 1 for word in words if word not in own and word not in _BANK)


def choose(names: Iterable[str], units: Iterable[str]) -> tuple[dict[str, tuple[int, Unit]], list[str]]:
    """Choose the column for each quantity by the header's words.

    Parameters
    ----------
    names, units : iterable of str
        The header's cells, and the units row's ('' where there is none).

    Returns
    -------
    chosen : dict of str to (int, Unit)
        Column index and unit by quantity.
    said : list of str
        What was left out although it looks like a quantity.

    Raises
    ------
    InputError
        If two columns could equally be the current, voltage or power, or a unit is wrong.
    """
    names = list(names)
    found: dict[str, list[tuple[int, int, Unit]]] = {}
    for index, (name, cell) in enumerate(zip(names, units, strict=True)):
        if name and (what := meaning(name, cell)) is not None:
            found.setdefault(what.quantity, []).append((what.strangeness, index, what.unit))
    chosen, said = {}, []
    for quantity, columns in found.items():
        columns.sort(key=lambda column: column[:2])
        alike = [column for column in columns if column[0] == columns[0][0]]
        if len(alike) == 1:
            chosen[quantity] = (columns[0][1], columns[0][2])
            continue
        both = " and ".join(repr(names[column[1]]) for column in alike[:2])
        if quantity in _REQUIRED:
            raise InputError(f"columns {both} could both be {quantity}; say which one in a profile (--profile)")
        said.append(f"columns {both} could both be {quantity}; neither is taken (a profile can say which)")
    return chosen, said


def looks_ac(names: Iterable[str], quantities: Iterable[str]) -> bool:
    """Tell whether the header speaks of alternating current: RMS, apparent or reactive power, a power factor."""
    there = {word.lower() for name in names for word in _split(name)}
    return bool(there & {"rms", "apparent", "reactive", "vrms", "arms"}) or "power_factor" in set(quantities)
