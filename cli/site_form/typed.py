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
    text = typed.text.strip()
    amount = amount_of(text)
    if gauge := _gauge(field, typed, amount):
        return gauge
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
    return Typed(_plain(value), unit_of(field, key))


def _point(key: str, each: Any) -> str:  # noqa: ANN401 - what the file has
    is_pair = isinstance(each, list) and len(each) == 2
    return _PAIRS[key][1].format(*map(_plain, each)) if is_pair else _plain(each)


def _plain(value: Any) -> str:  # noqa: ANN401 - what the file has
    return number(value) if isinstance(value, int | float) and not isinstance(value, bool) else str(value)


def unit_of(field: Field, key: str) -> str:
    """Return which of a field's units the figure of a key is in; empty for one without a unit."""
    own = key_unit(key)[1]
    return next((unit for unit in field.units if own is not None and _unit(unit) == own), "")
