"""What a header's words mean: plain English for the quantities, with their unit in the name."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from ...errors import InputError, quoted
from ...quantities import OF_DIMENSION, Unit, UnknownUnitError, find_unit, unit_of
from .header_words import (
    AC,
    AC_ANYWHERE,
    AVERAGES,
    BANK,
    CHARGING,
    COUNTED,
    DC,
    DISCHARGING,
    ELSEWHERE,
    INTO,
    NAMES_TIME,
    NAMING,
    NEVER,
    NO_READING,
    NOT_WATTS,
    OUT,
    REMARKS,
    REQUIRED,
    STORED_AS,
    TIME_UNITS,
    WORDS,
)

_BRACKET = re.compile(r"\[([^\[\]]*)\]|\(([^()]*)\)")
_LIKE_A_UNIT = re.compile(r"[%°µμ]?[A-Za-z°%µμ·./³]{1,4}|.*([Aa]mp|[Vv]olt|[Ww]att|[Jj]oul|[Dd]eg|[Hh]our|[Hh]ertz).*")
_RULE = re.compile(r"[-=_:.~]{2,}")
_LETTER_AND_PLACE = re.compile(
    r"([VvUuIiPp])(?=(?:bat|batt|battery|bank|pack|shunt|dc|ac|load|pv|solar)$)", re.IGNORECASE
)


@dataclass(frozen=True)
class Meaning:
    """What one column is taken for.

    ``strangeness`` counts the words that speak for something other than the bank's own reading: the lowest is taken.
    """

    quantity: str
    unit: Unit
    strangeness: int
    words: frozenset[str] = frozenset()

    @property
    def charging(self) -> bool:
        """Whether the words say that it counts what goes into the bank."""
        return bool(self.words & CHARGING) and not self.discharging

    @property
    def discharging(self) -> bool:
        """Whether the words say that it counts what goes out of the bank."""
        return bool(self.words & DISCHARGING)


@dataclass(frozen=True)
class _Parsed:
    words: tuple[str, ...]
    unit_text: str | None
    sure: bool


def is_unit_cell(cell: str) -> bool:
    """Tell whether a cell of a units row names a unit, bare or in brackets, or the shape of a time stamp."""
    text = cell.strip().strip("[]()").strip()
    if text.lower() in TIME_UNITS:
        return True
    if re.fullmatch(r"[dmy]{1,4}[-/.][dmy]{1,4}[-/.][dmy]{1,4}.*", text.lower()):
        return True
    return _names_unit(text)


def names_nothing(cells: Sequence[str]) -> bool:
    """Tell whether a row below a header is a rule, or says the types that its columns are stored as."""
    filled = [cell.lower() for cell in cells if cell]
    # Of all but times: "Date, Time" is a header.
    are_types = set(filled) <= STORED_AS and len(set(filled) - {"date", "datetime", "time", "timestamp"}) > 0
    return are_types or (bool(filled) and all(map(_RULE.fullmatch, filled)))


def meaning(name: str, units_cell: str = "") -> Meaning | None:
    """Return what a column is, from its header and its cell in the units row; None where it is no quantity.

    Raises
    ------
    InputError
        If the words say current, voltage or power but the unit is unknown or of something else.
    """
    parsed = _parse(name, units_cell)
    words = frozenset(parsed.words)
    unit = _unit_or_none(parsed.unit_text)
    quantity = _by_words(words, unit)
    if quantity is None or words & NO_READING or (parsed.unit_text is None and words & COUNTED - WORDS[quantity]):
        return None
    if quantity in REQUIRED and unit is not None and unit.dimension in NOT_WATTS:
        return None  # VA and var are never watts
    try:
        unit = unit_of(quantity, parsed.unit_text, column=name)
    except InputError:
        if quantity in REQUIRED and parsed.sure:
            raise
        return None
    return Meaning(quantity, unit, _strangeness(parsed.words, quantity), words)


def meaning_of_stated(name: str, units_cell: str = "") -> Meaning | None:
    """Return the same of a column that a person states: there a unit that nobody knows is no mistake."""
    try:
        return meaning(name, units_cell)
    except InputError:
        return None


def _parse(name: str, units_cell: str) -> _Parsed:
    cell = units_cell.strip().strip("[]()").strip() or None
    rest, bracket = _brackets(name.strip())
    unit_text = bracket or cell
    if bracket and cell:
        _check_agree(bracket, cell, name)
    sure = unit_text is not None
    if unit_text is None:
        rest, unit_text, sure = _trailing_unit(rest)
    return _Parsed(tuple(word.lower() for word in _split(rest)), unit_text, sure)


def _brackets(rest: str) -> tuple[str, str | None]:
    """Return a name without its brackets, and what stands in them if it is meant as a unit; a remark becomes words."""
    unit = None
    for match in list(_BRACKET.finditer(rest)):
        square, round_ = match.groups()
        content = (square if square is not None else round_).strip()
        rest = rest.replace(match[0], " ", 1)
        parts = [part.strip() for part in re.split("[,;]", content)]
        unit_part = next((part for part in parts if len(parts) > 1 and _names_unit(part)), None)
        if unit_part is not None:  # a unit and a remark on it: "A, + = charging"
            unit, rest = unit_part, " ".join([rest, *(part for part in parts if part != unit_part)])
        elif square is None and _is_remark(content):
            rest += " " + content
        elif content:
            unit = content
    return rest, unit


def _is_remark(content: str) -> bool:
    words = re.findall(r"[a-z]+", content.lower())
    return all(word in REMARKS for word in words) or not (_LIKE_A_UNIT.fullmatch(content) or _names_unit(content))


def _check_agree(bracket: str, cell: str, name: str) -> None:
    one, other = _unit_or_none(bracket), _unit_or_none(cell)
    if one is not None and other is not None and one != other:
        raise InputError(
            f"column {quoted(name)}: its name says {bracket}, the units row {cell}; "
            "say the unit in a profile (--profile)"
        )


def _trailing_unit(rest: str) -> tuple[str, str | None, bool]:
    """Return a name without the unit at its end, the unit, and whether it is surely meant as one.

    A single letter is a unit only after words that go with it: ``Bank A`` and ``Voltage V``, but not ``Phase A``.
    """
    whole = rest.strip()
    if whole in ("A", "W") or (len(whole) > 1 and _names_unit(whole)):
        return whole, whole, False  # the unit is the whole name
    parts = re.split(r"[\s_,;:|#]+", whole)
    # Units of two words first: the last word of "amp hours" is a unit by itself.
    for count in (2, 1):
        unit_text = " ".join(parts[-count:])
        if len(parts) <= count or not _names_unit(unit_text):
            continue
        before = " ".join(parts[:-count])
        if len(unit_text) == 1 and not _goes_with(unit_text, before):
            continue
        return before, unit_text, True
    # "A in", "mA out": the unit of two columns of one way each.
    if len(parts) > 1 and parts[0] in ("A", "mA", "W", "kW") and {part.lower() for part in parts[1:]} <= INTO | OUT:
        return " ".join(parts[1:]), parts[0], True
    # A quantity divided by its unit, as ISO 80000-1 writes the head of a column (from memory): "Strom/A".
    before, _, unit_text = whole.rpartition("/")
    return (before, unit_text, True) if before and _names_unit(unit_text) else (rest, None, False)


def _goes_with(letter: str, before: str) -> bool:
    words = {word.lower() for word in _split(before)} - INTO - OUT
    unit = _unit_or_none(letter)
    named = _by_words(frozenset(words), None)
    return words <= BANK or (unit is not None and named is not None and OF_DIMENSION.get(unit.dimension) == named)


def _split(text: str) -> list[str]:
    text = re.sub(r"(?<=[a-z][a-z])(?=[A-Z][a-z])", " ", text)
    words = [word for word in re.split(r"[\s_,;:/|.#]+|(?<=[A-Za-z])-(?=[A-Za-z])", text) if word]
    return [part for word in words for part in _LETTER_AND_PLACE.sub(r"\1 ", word).split()]


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


def _by_words(words: frozenset[str], unit: Unit | None) -> str | None:
    """Return the quantity that words and unit agree on; words decide, a unit alone may."""
    # Compounds come before their parts: "state of charge" names a charge, "amp hours" amps, "power factor" a power.
    if {"state", "of", "charge"} <= words:
        return "state_of_charge_pct"
    if unit is not None and unit.dimension in ("charge", "energy"):
        return OF_DIMENSION[unit.dimension]
    for quantity, naming in NAMING.items():
        if quantity not in REQUIRED and words & naming:
            return quantity
    # Two of the three main quantities in one name ("volt amps") cancel out; then only a unit can tell.
    named = [q for q in REQUIRED if words & NAMING[q] and not words & NEVER[q]]
    if len(named) == 1:
        return named[0]
    if unit is not None and unit.dimension in OF_DIMENSION:
        by_unit = OF_DIMENSION[unit.dimension]
        return None if words & NEVER.get(by_unit, set()) else by_unit
    return None


def _strangeness(words: tuple[str, ...], quantity: str) -> int:
    own = WORDS[quantity]
    return sum(10 if word in ELSEWHERE | AVERAGES else 1 for word in words if word not in own and word not in BANK)


def words_of(name: str) -> set[str]:
    """Return the words of a column's name, in small letters, those in brackets too."""
    return {word.lower() for word in _split(re.sub(r"[\[\]()]", " ", name))}


def is_letter(name: str) -> bool:
    """Tell whether a column is named by a letter alone, words of the bank aside."""
    return all(len(word) == 1 for word in words_of(name) - BANK)


def stated_unit(name: str, units_cell: str = "") -> Unit | None:
    """Return the unit that a column's name or the units row says; None where neither does, or they do not agree."""
    try:
        return _unit_or_none(_parse(name, units_cell).unit_text)
    except InputError:
        return None


def not_watts(name: str, units_cell: str = "") -> str | None:
    """Return ``apparent power`` or ``reactive power`` if a column is that by its words or unit, else None."""
    unit, words = stated_unit(name, units_cell), words_of(name)
    by_unit = unit.dimension if unit is not None else ""
    return next((kind for kind in NOT_WATTS if kind == by_unit or kind.split()[0] in words), None)


#: So many of an export's columns are named where none is of use.
MOST_NAMED = 8


def all_named(names: Sequence[str]) -> str:
    """Return the names of an export's columns, some of very many."""
    named = [word for word in names if word]
    more = f" and {len(named) - MOST_NAMED} more" if len(named) > MOST_NAMED else ""
    return ", ".join(quoted(word) for word in named[:MOST_NAMED]) + more


def names_readings(cells: Sequence[str]) -> bool:
    """Tell whether cells name a time and a quantity that is integrated."""
    return any(map(names_time, cells)) and any(_names_reading(cell) for cell in cells if cell)


def names_time(cell: str) -> bool:
    """Tell whether a word of a time is in it."""
    return any(word in cell.lower() for word in NAMES_TIME)


def _names_reading(cell: str) -> bool:
    try:
        return (what := meaning(cell)) is not None and what.quantity in REQUIRED
    except InputError:
        return True  # a quantity in a unit that is none of its own: a header all the same


def ac_column(names: Sequence[str], units: Sequence[str], taken: Mapping[str, int]) -> str | None:
    """Return a column that speaks of alternating current; None where none does.

    RMS, a power factor, apparent and reactive power (VA, var) do, wherever they stand, and AC in the name of the
    current or voltage that is `taken` (its index by quantity), or of the power if it is alone; unless what is taken is
    the bank's, or DC, by its name. `units` are the units row's cells, empty where there is none.
    """
    own = {names[taken[quantity]] for quantity in REQUIRED if quantity in taken}
    # The name of what is taken is nearer than a word elsewhere: a meter at the bank may show an inverter's volts, too.
    if any(words_of(name) & DC for name in own):
        return None
    # Watts of the AC side beside amps of the bank are common; the amps are what is integrated.
    if len(own) > 1 and "power_W" in taken:
        own.discard(names[taken["power_W"]])
    if "power_factor" in taken:
        return names[taken["power_factor"]]
    for name, cell in zip(names, units or [""] * len(names), strict=True):
        words = words_of(name)
        if words & AC_ANYWHERE or not_watts(name, cell) or (name in own and words & AC):
            return name
    return None


def looks_ac(names: Sequence[str], quantities: Iterable[str]) -> bool:
    """Tell whether names that are all taken speak of alternating current."""
    return "power_factor" in set(quantities) or ac_column(names, (), {}) is not None
