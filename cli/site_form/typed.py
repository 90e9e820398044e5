"""What is typed into a field, read as a value of the site file; and a value of the file as it would be typed."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from math import isfinite
from typing import Any, Final

from ...analysis.site.site import Site
from ...analysis.site.unit_tables import Units
from ...analysis.site.units import KPA_PER_BAR
from ...ingest.errors import InputError, quoted
from ...ingest.quantities import Unit
from ...ingest.toml.amounts import (
    Amount,
    amount_of,
    in_key_unit,
    is_fraction,
    key_unit,
    number,
    two_amounts,
    unit_named,
)
from ...ingest.toml.edit import Value
from ...ingest.toml.mistakes import wrong_value
from ...ingest.toml.places import also_called, holds_list, leaves
from .field import Field, Group
from .system import model_of

#: How units are called where the table of units has another word for them.
_CALLED: Final = {"°C": "degC", "°F": "degF", "mm²": "mm2"}
_TRUTH: Final = {**dict.fromkeys(("yes", "y", "true", "on"), True), **dict.fromkeys(("no", "n", "false", "off"), False)}
#: What parts the figures of a list: a comma alone may be a decimal one.
_BETWEEN: Final = re.compile(r"\s*(?:[;/\n]|,\s|\band\b)\s*|\s+(?=[\d.])")
_BETWEEN_NAMES: Final = re.compile(r"\s*[;,\n]\s*")
#: What no plate gives in fractions: such a figure is two.
_WITHOUT_FRACTIONS: Final = {"voltage", "current", "charge", "pressure", "ratio", "percent"}
#: What plates print before a figure, and says no more than the field does.
_LABEL: Final = re.compile(
    r"(P[12N]|P\.?max|Vmp|Imp|Voc|Isc|Un|In|cos\s*(?:φ|ϕ|phi)|PF|FLA|RLA|SFA|LRA|rated|nominal|nom\.?|max\.?)[\s:=]+(?=[\d.])",
    re.IGNORECASE,
)
#: A unit before its figure: ``HP 1/2``, ``VOLTS: 230``.
_UNIT_FIRST: Final = re.compile(r"([A-Za-z]+)\s*[:=]?\s+([\d.,/ ]*\d)")
_VOLTS: Final = re.compile(r"(\d+(?:[.,]\d+)?)\s*V\s*(AC|DC)\b", re.IGNORECASE)
_VOLTS_OF: Final = {"nominal_V": "DC", "output_V": "AC"}
_AC_DC: Final = re.compile(r"(?<=[VA])\s*(?:(?:AC|DC)\b|~)", re.IGNORECASE)
#: Which of a pump's two powers each field is; plates tell them apart by these letters.
_OTHER_POWER: Final = {
    ("hp", "p1"): "what goes in: 'Power it takes in'",
    ("power_W", "p2"): "what the shaft gives: 'Power at the shaft'",
}
_RANGE: Final = re.compile(r"\d\s*(?:°\s*[CF]?|[CF])?\s*(?:\bto\b|\.\.+|[-–—])\s*[+-]?\d", re.IGNORECASE)
#: What the units of a dimension measure, as it stands in a sentence.
_MEASURES: Final = {
    "time": "a length of time", "length": "a length", "volume": "a volume", "pressure": "a pressure", "flow": "a flow",
    "power": "a power", "apparent_power": "a power", "voltage": "a voltage", "current": "a current",
    "charge": "a charge", "energy": "an energy", "temperature": "a temperature", "percent": "a share",
    "resistance": "a resistance", "area": "a size of wire", "gauge": "a size of wire",
}  # fmt: skip
#: Of a figure with so many digits nobody typed all: it was converted.
_CONVERTED_DIGITS: Final = 7
_SEVERAL: Final = re.compile(r"\d+\s*[x×*]\s*\d.*", re.IGNORECASE)
#: Fields of pairs of figures: how a pair is typed and written back, and how such pairs are called in a sentence.
_PAIRS: Final = {
    "efficiency_curve": (
        re.compile(r"(\S+?)\s*(W|kW)?\s*[:,]?\s+(\S+?)\s*%?", re.IGNORECASE),
        "{} W {} %",
        "watts and percent such as 300 W 88 %; 1000 W 92 %",
    ),
    "cycle_life": (
        re.compile(r"(\S+?)\s*(%)?\s*[:,]?\s+(\S+?)(?:\s*cycles)?", re.IGNORECASE),
        "{} % {}",
        "depth and cycles such as 50 % 1200; 80 % 600",
    ),
}


@dataclass(frozen=True)
class Typed:
    """What stands in a field: a text, and the unit that was chosen beside it; one in the text goes before that."""

    text: str
    unit: str = ""

    @property
    def whole(self) -> str:
        """Both, as one would say them: ``40 psi``."""
        return f"{self.text} {self.unit}".strip()

    @property
    def with_unit(self) -> str:
        """The text, with the chosen unit where it ends without one."""
        return self.whole if self.text.strip()[-1:].isdigit() else self.text.strip()


def value_of(group: Group, field: Field, typed: Typed, *, nominal_V: float | None = None) -> tuple[str, Value]:
    """Return the key of the site file that says what was typed, and its value there.

    Parameters
    ----------
    group, field : Group, Field
        Where it was typed.
    typed : Typed
        What; not empty.
    nominal_V : float, optional
        Of the bank, by which kWh become Ah.

    Raises
    ------
    InputError
        If that cannot be a value of the field; the sentence follows its label.
    """
    key, value = _read(group, field, typed, nominal_V)
    # What the model minds is asked of the model, so that form and file never differ in it.
    wrong = wrong_value(model_of(group, field), key.rpartition(".")[2], value)
    if wrong is not None:
        # In the words of what was typed: in the file's unit nobody has said it.
        raise InputError(re.sub(r" \(got .*\)$", "", wrong) + f" (got {quoted(typed.whole)})")
    return key, value


def _read(group: Group, field: Field, typed: Typed, nominal_V: float | None) -> tuple[str, Value]:
    annotation = model_of(group, field).model_fields[field.key.rpartition(".")[2]].annotation
    kinds, text = leaves(annotation), typed.text.strip()
    if field.choices or kinds in ({bool}, {str}) or field.key in _PAIRS:
        words = {} if not field.choices else also_called(Site, (group.key,))
        return field.key, _word(field, text, kinds, words, several=holds_list(annotation))
    if holds_list(annotation):
        parts = [part for part in _BETWEEN.split(text) if part]
        return field.key, [_figure(field, Typed(part, typed.unit), nominal_V)[1] for part in parts]
    key, figure = _figure(field, typed, nominal_V)
    if kinds == {int}:
        if figure != int(figure):
            raise InputError(f"must be a whole number (got {quoted(text)})")
        return key, int(figure)
    return key, figure


def _word(field: Field, text: str, kinds: set[type], words: Mapping[str, str], *, several: bool) -> Value:
    """Return what is no figure."""
    if field.choices:
        return _choice(field, text, words)
    if field.key in _PAIRS:
        return _curve(field.key, text)
    if kinds == {bool}:
        return _truth(text)
    if several:
        return [name for name in _BETWEEN_NAMES.split(text) if name]
    return text.upper() if field.key == "code_letter" else text


def _choice(field: Field, text: str, words: Mapping[str, str]) -> str:
    """Return the file's word for what was typed: that word, its label, or another word that people have for it."""
    plain = re.sub(r"[\s-]+", "_", text.lower())
    for value, label in field.choices.items():
        if plain in (value.lower(), re.sub(r"[\s-]+", "_", label.lower())) or words.get(plain) == value:
            return value
    raise InputError(f"must be one of {', '.join(field.choices)} (got {quoted(text)})")


def _truth(text: str) -> bool:
    if (value := _TRUTH.get(text.lower())) is None:
        raise InputError(f"must be yes or no (got {quoted(text)})")
    return value


def _curve(key: str, text: str) -> list[list[float]]:
    """Return pairs of figures, such as watts and percent."""
    points, (pattern, _, such_as) = [], _PAIRS[key]
    for part in filter(None, re.split(r"\s*[;\n]\s*", text.strip(" []"))):
        pair = pattern.fullmatch(part.strip(" []"))
        one, other = (amount_of(pair[1]), amount_of(pair[3])) if pair else (None, None)
        if pair is None or one is None or other is None:
            raise InputError(f"must be pairs of {such_as} (got {quoted(part)})")
        points.append([one.value * (1000 if (pair[2] or "").lower() == "kw" else 1), other.value])
    return points


def _figure(field: Field, typed: Typed, nominal_V: float | None) -> tuple[str, Any]:
    """Return a figure under the key whose unit it is in, else in that of the first key that it can be turned into."""
    typed = plain_typed(field, typed)
    text = typed.text.strip()
    amount = amount_of(text)
    if gauge := _gauge(field, typed, amount):
        return gauge
    _refuse_other_kind(field, typed)
    if (two := two_amounts(typed.with_unit)) and not (is_fraction(text) and _takes_fractions(field)):
        raise InputError(f"may be {two[0]} or {two[1]}: write the one that holds (got {quoted(text)})")
    if amount is None and _SEVERAL.fullmatch(text):
        raise InputError(f"must be one figure, that of all together (got {quoted(text)})")
    if amount is None or not isfinite(amount.value):
        raise InputError(f"must be a number{_such_as(field)} (got {quoted(text)})")
    # One of the two would be off by a thousand: a guess is worse than a question.
    if amount.other is not None:
        raise InputError(f"may be {amount.value:g} or {amount.other:g}: write it without a comma (got {quoted(text)})")
    unit = amount.unit or _unit(typed.unit)
    # 40 may be psi or kPa, and 6 a gauge or square millimetres: neither is surely the likelier.
    if unit is None and field.others:
        raise InputError(f"needs its unit: {' or '.join(field.units)} (got {quoted(text)})")
    if not field.units:
        if unit is None:
            return field.key, amount.value
        # Shares are plain numbers in the file, and percent on many a plate.
        if unit.symbol == "%":
            return field.key, amount.value / 100
        raise InputError(f"must be a number without a unit (got {quoted(text)})")
    if unit is not None and unit.dimension == "energy" and field.key == "capacity_Ah":
        return field.key, _charge_Ah(amount.value, unit, nominal_V)
    return _turned(field, amount.value, unit or _unit(field.units[0]))


def plain_typed(field: Field, typed: Typed) -> Typed:
    """Return what was typed without what plates print before a figure, and with a unit that stood there behind it.

    Raises
    ------
    InputError
        If that says that the figure is another field's.
    """
    text = typed.text.strip()
    if label := _LABEL.match(text):
        if other := _OTHER_POWER.get((field.key, label[1].lower())):
            raise InputError(f"is not {label[1]}, which is {other} (got {quoted(text)})")
        text = text[label.end() :]
    elif field.key == "hour_rate_h":
        text = re.sub(r"^C\s*/?\s*(?=\d)", "", text, flags=re.IGNORECASE)
    # Of an inverter's two voltages the bank's is the direct one, and what it gives the alternating one.
    volts = [figure for figure, kind in _VOLTS.findall(text) if kind.upper() == _VOLTS_OF.get(field.key)]
    text = _AC_DC.sub("", f"{volts[0]} V" if len(volts) == 1 else text)
    if (first := _UNIT_FIRST.fullmatch(text)) and (unit_named(first[1]) or unit_named(first[1].lower())):
        text = f"{first[2]} {first[1]}"
    return Typed(text, typed.unit)


def dimensions_of(field: Field) -> set[str]:
    """Return what the units of a field measure."""
    return {unit.dimension for unit in map(_unit, field.units) if unit is not None}


def _refuse_other_kind(field: Field, typed: Typed) -> None:
    """Refuse figures of another kind by their kind: which of two pressures is meant is nothing to ask of a time."""
    two, own = two_amounts(typed.with_unit), dimensions_of(field)
    if own == {"temperature"} and _RANGE.search(typed.text):
        raise InputError(f"is a range: write one figure, the coldest that it gets (got {quoted(typed.text)})")
    amounts = [each for each in map(amount_of, two or (typed.text,)) if each is not None and each.unit is not None]
    kinds = list(dict.fromkeys(each.unit.dimension for each in amounts if each.unit is not None))
    if not kinds or not own or own & set(kinds) or not {*kinds, *own} <= _MEASURES.keys():
        return
    is_what, wanted = (" and ".join(dict.fromkeys(_MEASURES[kind] for kind in each)) for each in (kinds, sorted(own)))
    units = " or ".join(field.units)
    if is_what != wanted:
        raise InputError(
            f"is {is_what}, not {wanted.replace(' and ', ' or ')}: give {units} (got {quoted(typed.text)})"
        )


def _takes_fractions(field: Field) -> bool:
    unit = key_unit(field.key)[1]
    return unit is None or unit.dimension not in _WITHOUT_FRACTIONS


def _gauge(field: Field, typed: Typed, amount: Amount | None) -> tuple[str, str] | None:
    """Return a wire's size in AWG, which is no figure: ``2/0``."""
    if "gauge_AWG" not in field.keys:
        return None
    unit = amount.unit if amount is not None and amount.unit is not None else _unit(typed.unit)
    text = typed.text.strip()
    size = re.fullmatch(r"(?:#|no\.? ?)?(\d+(?:/0)?)\s*(?:awg|ga|gauge)?", text, re.IGNORECASE)
    # A plain number is a gauge where AWG was chosen; 2/0 is one in any case.
    if size and ((unit is not None and unit.symbol == "AWG") or size[1].endswith("/0")):
        return "gauge_AWG", size[1]
    return None


def _charge_Ah(energy: float, unit: Unit, nominal_V: float | None) -> float:
    if nominal_V is None:
        raise InputError("needs the bank's nominal voltage first: Ah are Wh over volts")
    # Four digits: a bank's capacity is never known to more.
    return float(f"{energy * unit.multiply / unit.divide / nominal_V:.4g}")


def _turned(field: Field, value: float, unit: Unit | None) -> tuple[str, float]:
    """Return a figure under the key that has its unit, else under the first that has one alike."""
    units = {key: key_unit(key)[1] for key in field.keys}
    # As it was typed, where the file has a key for that; else it would come back as 40.61 psi to who typed 2.8 bar.
    for key, own in units.items():
        if own is not None and own == unit:
            return key, value
    for key, own in units.items():
        if unit is not None and own is not None and own.dimension == unit.dimension:
            return key, in_key_unit(value, unit, key)
    raise InputError(f"must be in {' or '.join(field.units)} (got {number(value)} {unit.symbol if unit else ''})")


def _unit(name: str) -> Unit | None:
    return unit_named(_CALLED.get(name, name)) if name else None


def _such_as(field: Field) -> str:
    return f" with or without its unit, {' or '.join(field.units)}" if field.units else ""


def typed_of(field: Field, key: str, value: Any, shown: Units | None = None) -> Typed:  # noqa: ANN401 - what the file has
    """Return a value of the site file as it would be typed, in the unit of its key; bar where the site shows bar."""
    if isinstance(value, bool):
        return Typed("yes" if value else "no")
    if field.key in _PAIRS and isinstance(value, list):
        return Typed("; ".join(_point(field.key, each) for each in value))
    if isinstance(value, list | tuple):
        between = ", " if all(isinstance(each, str) for each in value) else "; "
        return Typed(between.join(map(_plain, value)), field.units[0] if field.units else "")
    if key.endswith("_kPa") and shown is not None and shown.pressure == "bar" and isinstance(value, int | float):
        return Typed(number(value / KPA_PER_BAR), "bar")
    return _round(field, key, value)


def _round(field: Field, key: str, value: Any) -> Typed:  # noqa: ANN401 - what the file has
    """Return a figure as it was typed where the file has it converted: 0.75 kW for 1.0057666 hp, else in few digits."""
    text, unit = _plain(value), _unit(unit_of(field, key))
    digits = text.partition("e")[0].replace(".", "").strip("-0")
    if unit is None or "." not in text or len(digits) < _CONVERTED_DIGITS:
        return Typed(text, unit_of(field, key))
    for name in field.units:
        other = _unit(name)
        if other is None or other.dimension != unit.dimension:
            continue
        x = ((value + unit.add) * unit.multiply / unit.divide) * other.divide / other.multiply - other.add
        # The file's figure has eight digits.
        if abs(x - float(f"{x:.4g}")) <= 1e-7 * abs(x):
            return Typed(number(float(f"{x:.4g}")), name)
    return Typed(number(float(f"{value:.5g}")), unit_of(field, key))


def _point(key: str, each: Any) -> str:  # noqa: ANN401 - what the file has
    is_pair = isinstance(each, list) and len(each) == 2
    return _PAIRS[key][1].format(*map(_plain, each)) if is_pair else _plain(each)


def _plain(value: Any) -> str:  # noqa: ANN401 - what the file has
    return number(value) if isinstance(value, int | float) and not isinstance(value, bool) else str(value)


def unit_of(field: Field, key: str) -> str:
    """Return which of a field's units the figure of a key is in; empty for one without a unit."""
    own = key_unit(key)[1]
    return next((unit for unit in field.units if own is not None and _unit(unit) == own), "")
