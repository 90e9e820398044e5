"""Answers that say several things at once, as plates and people do: ``40/60 psi``, ``8 x 6 V 210 Ah``."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import prod
from typing import Final

from ...ingest.errors import InputError, quoted
from ...ingest.toml.amounts import amount_of, number, same_twice, two_amounts
from ...ingest.toml.places import Where
from .field import Field
from .system import field_at
from .typed import Typed, dimensions_of, plain_typed

#: Fields of which plates give both figures together, the lower first, and what the two are.
_BOTH: Final = (
    ("cut_in_kPa", "cut_out_kPa", "the pump starts at {} and stops at {}"),
    ("continuous_W", "surge_W", "{} without a break and {} for a moment"),
    ("continuous_VA", "surge_VA", "{} without a break and {} for a moment"),
)
#: No plate says so much of one thing. [characters]
_LONGEST: Final = 100
#: No pump is switched on below this: common practice, no source. [kPa]
_LEAST_KPA: Final = 50.0
#: What so many of a kind come to together, and how they are joined for that.
_SUMS: Final[Mapping[Where, str]] = {
    ("bank", "nominal_V"): " in a row",
    ("array", "power_W"): "",
    ("array", "current_A"): " side by side",
    ("water", "tank_volume_L"): " side by side",
}
#: Of so many batteries either all are in a row or none is; of four some may be, and then the volts are not sure.
_ALL_IN_A_ROW: Final = (2, 3)
#: Nominal voltages of single lithium cells, of iron phosphate up to cobalt: common practice, no source. [V]
_LITHIUM_CELL_V: Final = (3.0, 3.8)
_NUMBERS: Final = ("two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
_COUNT: Final = rf"(?:\d+|{'|'.join(_NUMBERS)})"
_FIGURE: Final = r"(\d+(?:[.,]\d+)*)"
_RATING: Final = re.compile(rf"{_FIGURE}\s*(?:(psig?|bars?|kPa|k?VA|k?W)\b)?", re.IGNORECASE)
_TIMES: Final = re.compile(
    rf"((?:{_COUNT}\s*(?:[x×*]|(?:of|panels|modules|tanks)\b)\s*(?:of\b\s*)?)+)({_FIGURE}\s*[^\d\s]*)", re.IGNORECASE
)
_BEHIND: Final = re.compile(rf"({_FIGURE}\s*[^\d\s]*?)\s*([x×*]\s*\d+)", re.IGNORECASE)
#: A figure with its unit, and what may stand between two of them and around.
_FIGURE_AND_UNIT: Final = re.compile(r"\d+(?:[.,]\d+)?\s*(?:[^\W\d_]|[°%µΩ])+(?:/min)?")
_BETWEEN: Final = re.compile(r"[\s/,;|–—-]+|\b(?:DC|AC)\b", re.IGNORECASE)
_SIZE: Final = re.compile(rf"{_FIGURE}\s*(Ah|kWh|Wh)\b", re.IGNORECASE)
_VOLTS: Final = re.compile(rf"{_FIGURE}\s*(?:V|volts?)(?![a-z])", re.IGNORECASE)
#: The hours of the rating, as labels have them: ``C20``, ``@ 20 h``.
_RATE: Final = re.compile(
    r"[@(]?\s*(?:\bat\b)?\s*(?:\bC\s*/?\s*(\d{1,3})\b|\b(\d{1,3})\s*-?\s*h(?:rs?|ours?)?\b(?:\s*rate)?)\s*\)?",
    re.IGNORECASE,
)
_ENDS_IN_DIGIT: Final = re.compile(r"(\d)$")
_WORD: Final = re.compile(r"\d+|[^\W\d_]+|[^\w\s]")
#: What may stand beside figures and says nothing that they do not say.
_BESIDE_RATINGS: Final = {
    *"/-–—;,().", "to", "and", "cut", "in", "out", "on", "off", "at", "start", "starts", "stop", "stops", "between",
    "from", "rated", "continuous", "peak", "surge", "max",
}  # fmt: skip
_BESIDE_BATTERIES: Final = {
    *"x×*/-;,@()", "of", "at", "each", "with", "and", "batteries", "cells", "pcs", "strings", "rows", "lead", "acid",
    "agm", "gel",
}  # fmt: skip
_CAPACITY: Final = ("bank", "capacity_Ah")
_BANK_LIKE: Final = "write the bank's Ah, or like 8 x 6 V 210 Ah"


@dataclass(frozen=True)
class Compound:
    """What stands in each field then, by its path, and in words how the answer was taken."""

    fields: Mapping[Where, Typed]
    words: str


def taken_apart(where: Where, typed: Typed, nominal_V: float | None = None) -> Compound | None:
    """Return what an answer of several figures comes to; None for any other, of which the field itself tells.

    `nominal_V` is the bank's, by which its batteries are in rows.

    Raises
    ------
    InputError
        If it says several things that cannot be together; the sentence follows what was asked.
    """
    field = field_at(where)
    if field is None or not field.units or len(typed.text) > _LONGEST:
        return None
    typed = plain_typed(field, Typed(" ".join(typed.text.split()), typed.unit))
    if (two := two_amounts(typed.with_unit)) and same_twice(*two):
        return Compound({where: Typed(two[0])}, two[0])
    if both := next((each for each in _BOTH if where[-1] in each[:2]), None):
        compound = _both(where, typed, both)
    elif where == _CAPACITY:
        compound = _bank(typed, nominal_V)
    else:
        compound = _sum(where, typed) if where in _SUMS else None
    return compound or _of_its_kind(where, field, typed)


def _of_its_kind(where: Where, field: Field, typed: Typed) -> Compound | None:
    """Return the one figure that is of the field's kind, of those of several: the amps of ``500 A / 50 mV``."""
    text = typed.with_unit
    parts = [part.strip() for part in _FIGURE_AND_UNIT.findall(text)]
    if len(parts) < 2 or _BETWEEN.sub("", _FIGURE_AND_UNIT.sub("", text)):
        return None
    amounts = [amount_of(part) for part in parts]
    if any(each is None or each.unit is None for each in amounts):
        return None
    own = dimensions_of(field)
    fitting = [p for p, each in zip(parts, amounts, strict=True) if each and each.unit and each.unit.dimension in own]
    return Compound({where: Typed(fitting[0])}, fitting[0]) if len(fitting) == 1 else None


def _both(where: Where, typed: Typed, both: tuple[str, str, str]) -> Compound | None:
    text = typed.with_unit
    ratings, rest = _RATING.findall(text), _WORD.findall(_RATING.sub(" ", text).lower())
    if len(ratings) != len(both[:2]) or not _BESIDE_RATINGS.issuperset(rest):
        return None
    # A unit at one of them is that of both.
    unit = next((unit for _, unit in reversed(ratings) if unit), "")
    texts = [f"{figure} {own or unit}".strip() for figure, own in ratings]
    if where[0] == "water" and not unit:
        raise InputError(f"needs its unit: psi or bar or kPa (got {quoted(typed.text)})")
    sizes = [_size(each) for each in texts]
    if None in sizes:
        return None
    if alike := _in_both_units(where, texts, sizes):  # type: ignore[arg-type]
        return alike
    if where[0] == "water" and min(sizes) < _LEAST_KPA:  # type: ignore[type-var, operator]
        raise InputError(f"is no pressure of a pump's switch; write both like 40/60 psi (got {quoted(typed.whole)})")
    low, high = (text for _, text in sorted(zip(sizes, texts, strict=True)))
    first, second = ((*where[:-1], key) for key in both[:2])
    return Compound({first: Typed(low), second: Typed(high)}, both[2].format(low, high))


def _in_both_units(where: Where, texts: Sequence[str], sizes: Sequence[float]) -> Compound | None:
    """Return one rating in watts and in volt-amperes, as plates have both: no more watts than volt-amperes."""
    by_unit = {
        "VA" if text.upper().endswith("VA") else "W": (size, text) for size, text in zip(sizes, texts, strict=True)
    }
    if where[0] != "inverters" or len(by_unit) < 2 or by_unit["W"][0] > by_unit["VA"][0]:
        return None
    rating = str(where[-1]).partition("_")[0]
    fields = {(*where[:-1], f"{rating}_{unit}"): Typed(text) for unit, (_, text) in by_unit.items()}
    return Compound(fields, f"{by_unit['W'][1]}, and {by_unit['VA'][1]}")


def _size(text: str) -> float | None:
    amount = amount_of(text)
    if amount is None or amount.other is not None:
        return None
    return amount.value if amount.unit is None else amount.value * amount.unit.multiply / amount.unit.divide


def _sum(where: Where, typed: Typed) -> Compound | None:
    text = typed.with_unit if _BEHIND.fullmatch(typed.text) is None else typed.text
    if before := _TIMES.fullmatch(text):
        counts, of = before[1], before[2].strip()
    elif behind := _BEHIND.fullmatch(text):
        counts, of = behind[3], behind[1].strip()
    else:
        return None
    each = amount_of(of)
    if each is None or each.other is not None:
        return None
    count = prod(map(_counted, re.findall(_COUNT, counts, re.IGNORECASE)))
    if where == ("bank", "nominal_V") and count not in _ALL_IN_A_ROW:
        raise InputError(f"depends on how they are wired; write the volts of the whole bank (got {quoted(typed.text)})")
    together = f"{number(count * each.value)} {each.unit.symbol if each.unit else typed.unit}".strip()
    return Compound({where: Typed(together)}, f"{together}: {count} of {of}{_SUMS[where]}")


def _bank(typed: Typed, nominal_V: float | None) -> Compound | None:
    """Return the bank's Ah by its batteries, and the hours of the rating where a label has them."""
    text = typed.text if _SIZE.search(typed.text) else _ENDS_IN_DIGIT.sub(rf"\1 {typed.unit or 'Ah'}", typed.text)
    rate = _RATE.search(text)
    text = _RATE.sub(" ", text, 1)
    size, volts = _SIZE.search(text), _VOLTS.search(text)
    rest = _WORD.findall(_VOLTS.sub(" ", _SIZE.sub(" ", text, 1), 1).lower())
    counts = [word for word in rest if word.isdecimal() or word in _NUMBERS]
    if (not counts and volts is None and rate is None) or not _BESIDE_BATTERIES.issuperset({*rest} - {*counts}):
        return None
    # Rows and batteries in them stand before what each battery is; any other two numbers may be anything.
    before = _WORD.findall(text[: min((each.start() for each in (size, volts) if each), default=0)].lower())
    if len(counts) > 2 or (len(counts) == 2 and [word for word in before if word in counts] != counts):
        return None
    count = prod(map(_counted, counts)) if counts else None
    compound = _of_batteries(count, volts, size, nominal_V, typed)
    if rate is None:
        return compound
    hours = f"{rate[1] or rate[2]} h"
    fields = {**compound.fields, ("bank", "hour_rate_h"): Typed(hours)}
    return Compound(fields, f"{compound.words}, at the rating of {hours}")


def _of_batteries(
    count: int | None, volts: re.Match[str] | None, size: re.Match[str] | None, nominal_V: float | None, typed: Typed
) -> Compound:
    each, battery = (amount_of(part[1]) if part else None for part in (size, volts))
    if size is None or each is None:
        raise InputError(f"needs each battery's Ah; {_BANK_LIKE} (got {quoted(typed.text)})")
    if count is None and battery is None:
        return Compound({_CAPACITY: Typed(size[0])}, size[0])
    if count is not None and size[2].lower() != "ah":
        together = f"{number(count * each.value)} {size[2]}"
        return Compound({_CAPACITY: Typed(together)}, f"{together}: {count} of {size[0]}")
    if battery is None:
        raise InputError(f"needs each battery's volts too: a row adds no Ah; {_BANK_LIKE} (got {quoted(typed.text)})")
    if nominal_V is None:
        raise InputError("needs the bank's nominal voltage first: it says how many are in a row")
    if count is not None:
        return _in_rows(count, battery.value, each.value, nominal_V, typed)
    # Volts that are the bank's say that all of it is meant.
    if abs(battery.value - nominal_V) <= 0.1 * nominal_V:
        return Compound({_CAPACITY: Typed(size[0])}, f"{size[0]}, all of it")
    raise InputError(f"needs how many there are: {_BANK_LIKE} (got {quoted(typed.text)})")


def _in_rows(count: int, battery_V: float, battery_Ah: float, nominal_V: float, typed: Typed) -> Compound:
    rows_of = _rows_of(battery_V, nominal_V)
    in_a_row = next((each for each in rows_of if count and count % each == 0), None)
    if in_a_row is None:
        rows = f"{rows_of[0]} of them are a row" if rows_of else f"no row of them has {number(nominal_V)} V"
        raise InputError(f"does not go with the bank's {number(nominal_V)} V: {rows} (got {quoted(typed.text)})")
    strings = count // in_a_row
    total = f"{number(strings * battery_Ah)} Ah"
    rows = f"{strings} row{'s side by side' if strings > 1 else ''} of {in_a_row} ({number(nominal_V)} V)"
    words = f"{total}: {count} batteries of {number(battery_V)} V are {rows}, each of {number(battery_Ah)} Ah"
    figures = {"capacity_Ah": total, "strings": strings, "batteries": count, "battery_V": f"{number(battery_V)} V"}
    return Compound({("bank", key): Typed(str(figure)) for key, figure in figures.items()}, words)


def _rows_of(battery_V: float, nominal_V: float) -> list[int]:
    """Return how many batteries may be in a row for a nominal voltage, the likeliest first; none if no row fits."""
    if battery_V <= 0:
        return []
    nearest = round(nominal_V / battery_V)
    # A lithium cell's volts are no round part of a bank's: of 3.2 V sixteen are called 48 V, where fifteen are nearer.
    low, high = _LITHIUM_CELL_V
    rows = [nearest, nearest + 1, nearest - 1] if low <= battery_V <= high else [nearest]
    return [each for each in rows if each > 0 and abs(each * battery_V - nominal_V) <= 0.1 * nominal_V]


def _counted(text: str) -> int:
    # More digits than that are no number of things.
    return int(text[:6]) if text.isdecimal() else _NUMBERS.index(text.lower()) + 2
