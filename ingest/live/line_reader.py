"""A line of text to quantities: delimited fields, name=value pairs, a JSON object, or a pattern with named groups."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from ..errors import InputError
from ..exports.amounts.numbers import NULLS
from ..exports.delimited.choice import choose
from ..exports.delimited.header import meaning
from ..profiles.serial_part import LinePattern
from ..quantities import Unit, scaled, unit_of

if TYPE_CHECKING:
    from ..profiles.columns import ColumnEntry, Direction
    from ..profiles.serial_part import Delimiter, SerialPart

_MARKS: dict[Delimiter, str | None] = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|", "blank": None}
_NUMBER = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*([A-Za-z°µμ%][A-Za-z0-9°³µμ%/]{0,9})?", re.ASCII)
_NULLS = frozenset(NULLS)


class NoReading(ValueError):  # noqa: N818 - a state, told by its name
    """A line that gives no reading; `kind` is what it is counted under."""

    def __init__(self, kind: str, reason: str) -> None:
        super().__init__(reason)
        self.kind = kind


@dataclass(frozen=True)
class Cells:
    """The values of a line as texts, in order, and their names as far as they have any ('' for none)."""

    names: Sequence[str]
    texts: Sequence[str]

    def at(self, place: str | int) -> str | None:
        """Return the text at a position counted from 1 or under a name; None if the line has none."""
        index = place - 1 if isinstance(place, int) else self.names.index(place) if place in self.names else -1
        return self.texts[index].strip() if 0 <= index < len(self.texts) else None


class LineReader:
    """Reads lines laid out as `part` says, with each quantity where its entry says; `InputError` if that cannot be."""

    def __init__(self, part: SerialPart, entries: Mapping[str, ColumnEntry]) -> None:
        self._part = part
        self._pattern = LinePattern(part.pattern) if part.pattern is not None else None
        self._columns = [_Column(quantity, entry, part.decimal) for quantity, entry in entries.items()]
        self.quantities = tuple(entries)
        places = [place for column in self._columns for place in column.places]
        self._farthest = max((place for place in places if isinstance(place, int)), default=0)
        if (known := self._names()) is not None:
            for column in self._columns:
                self._check(column, known)

    def read(self, text: str) -> dict[str, float]:
        """Return the quantities of a line, draw positive; those the meter gives no value for are left out.

        `NoReading` if it is laid out otherwise, holds something that is no number, or no value at all.
        """
        cells = self._cells(text)
        values = {column.quantity: column.value(cells) for column in self._columns}
        known = {quantity: value for quantity, value in values.items() if value is not None}
        if not known:
            raise NoReading("no value", "it holds none of the quantities that are looked for")
        return known

    def _cells(self, text: str) -> Cells:
        part = self._part
        if part.layout == "json":
            return json_cells(text)
        if part.layout == "pairs":
            return pair_cells(text, part.equals, part.delimiter)
        if self._pattern is not None:
            return _pattern_cells(text, self._pattern)
        texts = text.split(_MARKS[part.delimiter or "comma"])
        # A line with a field too many or too few may be two lines run together: each value would be another's.
        if part.fields and len(texts) != len(part.fields):
            raise NoReading("fields", f"it has {len(texts)} fields, expected {len(part.fields)}")
        if len(texts) < self._farthest:
            raise NoReading("fields", f"it has {len(texts)} fields, expected at least {self._farthest}")
        return Cells(part.fields, texts)

    def _names(self) -> Sequence[str] | None:
        """Return the names that every line has, '' for a place without one; None where each line brings its own."""
        if self._pattern is not None:
            return self._pattern.names
        return self._part.fields if self._part.layout == "fields" else None

    def _check(self, column: _Column, known: Sequence[str]) -> None:
        here = f"the profile's quantities.{column.quantity}"
        for place in column.places:
            if isinstance(place, str) and place not in known:
                listed = ", ".join(repr(name) for name in known if name)
                called = f"called {listed}" if listed else "not named"
                raise InputError(
                    f"{here} names {place!r}, but the values of a line are {called}; "
                    "name them in [serial], or give the position, counted from 1"
                )
            if isinstance(place, int) and known and place > len(known):
                raise InputError(f"{here} names value {place}, but a line has only {len(known)}")


@dataclass
class _Column:
    """Where a quantity stands in a line, and how its text becomes a value."""

    quantity: str
    entry: ColumnEntry
    decimal: str
    unit: Unit = field(init=False)
    _units: dict[str, Unit] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.unit = self._own_unit()

    @property
    def places(self) -> list[str | int]:
        """All places that it looks at."""
        entry = self.entry
        places = [entry.column, entry.minus, entry.direction.column if entry.direction else None]
        return [place for place in places if place is not None]

    def value(self, cells: Cells) -> float | None:
        """Return the value in the quantity's own unit; None where the meter gives none."""
        entry = self.entry
        number, unit = self._number(cells, entry.column)
        if entry.minus is not None:
            less, _ = self._number(cells, entry.minus)
            # Two counters, one a way: where one is empty it has counted nothing; where both are, nothing is known.
            number = None if number is None and less is None else (number or 0.0) - (less or 0.0)
        if number is None:
            return None
        value = float(unit.to_canonical(np.array(scaled(number, entry.scale, entry.offset))))
        if entry.sign == "return_positive":
            value = -value
        if entry.direction is not None:
            # The letter decides alone: some meters turn the sign as well as the letter.
            value = abs(value) * _way(entry.direction, cells)
        return value + 0.0  # no negative zeros

    def _own_unit(self) -> Unit:
        """Return the stated unit, else the one in the column's own name, else the quantity's."""
        place = str(self.entry.column)
        if self.entry.unit is None and isinstance(self.entry.column, str):
            # A name such as "power_kW" says the unit as well as a profile could; one that is not understood says none.
            try:
                named = meaning(place)
            except InputError:
                named = None
            if named is not None and named.quantity == self.quantity:
                return named.unit
        return unit_of(self.quantity, self.entry.unit, column=place)

    def _number(self, cells: Cells, place: str | int) -> tuple[float | None, Unit]:
        text = cells.at(place)
        if text is None or text in _NULLS:
            return None, self.unit
        plain = text.replace("−", "-")
        # With commas a point would be a thousands mark, which no meter needs: it must not pass for a decimal point.
        if self.decimal == "comma":
            plain = plain.replace(".", "?").replace(",", ".")
        matched = _NUMBER.fullmatch(plain)
        if matched is None or not math.isfinite(float(matched[1])):
            raise NoReading("no number", f"{place!r} holds {text!r}, which is no number")
        return float(matched[1]), self._unit_in_cell(matched[2], place)

    def _unit_in_cell(self, suffix: str | None, place: str | int) -> Unit:
        """Return the unit that a cell itself carries, which must be the stated one where there is one."""
        if suffix is None:
            return self.unit
        if suffix not in self._units:
            try:
                self._units[suffix] = unit_of(self.quantity, suffix, column=str(place))
            except InputError as error:
                raise NoReading("no number", str(error)) from None
        if self.entry.unit is not None and self._units[suffix] != self.unit:
            raise NoReading("unit", f"{place!r} is in {suffix}, but the profile says {self.entry.unit}")
        return self._units[suffix]


def _way(direction: Direction, cells: Cells) -> float:
    letter = cells.at(direction.column)
    ways = ((direction.draw, 1.0), (direction.returned, -1.0), (direction.none, 0.0))
    for letters, way in ways:
        if letter in letters:
            return way
    raise NoReading("direction", f"{direction.column!r} holds {letter!r}, none of the profile's draw, return and none")


def pair_cells(text: str, equals: str = "=", delimiter: Delimiter | None = None) -> Cells:
    """Return the pairs of a line such as ``V=11.92, A=74.5``; parts without the sign between are left out.

    `NoReading` if there is no pair, or a name stands twice.
    """
    # The comma comes last: with "A=1,5; V=12,1" it is the decimal mark.
    mark = _MARKS[delimiter] if delimiter is not None else next((mark for mark in ";|\t," if mark in text), None)
    pairs = [part.split(equals, 1) for part in text.split(mark) if equals in part]
    names = [name.strip() for name, _ in pairs]
    if not pairs:
        raise NoReading("fields", f"it holds no pair such as V{equals}11.92")
    if len(set(names)) != len(names):  # which of the two is meant nobody knows
        raise NoReading("fields", "a name stands in it twice")
    return Cells(names, [value for _, value in pairs])


def json_cells(text: str) -> Cells:
    """Return the values of a line that is a JSON object; an inner one's names are joined by a point.

    `NoReading` if it is none.
    """
    try:
        # numbers stay texts, to be read like any other cell
        parsed = json.loads(text, parse_int=str, parse_float=str, parse_constant=str)
        cells = dict(_flat("", parsed)) if isinstance(parsed, dict) else None
    except (ValueError, RecursionError):
        cells = None
    if cells is None:
        raise NoReading("fields", "it is no JSON object")
    return Cells(list(cells), list(cells.values()))


def _flat(before: str, branch: Mapping[str, object]) -> Iterator[tuple[str, str]]:
    for key, value in branch.items():
        name = f"{before}{key}"
        if isinstance(value, dict):
            yield from _flat(f"{name}.", value)
        elif value is None:
            yield name, ""
        else:
            yield name, str(value).lower() if isinstance(value, bool) else str(value)


def _pattern_cells(text: str, pattern: LinePattern) -> Cells:
    values = pattern.values(text)
    if values is None:
        raise NoReading("fields", "it does not fit the profile's pattern")
    return Cells(pattern.names, values)


def recognise(text: str) -> tuple[LineReader, list[str]] | None:
    """Return what reads lines like this one, and its names; None where it is no JSON object and no known pairs.

    `InputError` if two names could be the same quantity, or a name has a wrong unit.
    """
    from ..profiles.columns import ColumnEntry
    from ..profiles.serial_part import SerialPart

    for layout, cells_of in (("json", json_cells), ("pairs", pair_cells)):
        try:
            cells = cells_of(text)
        except NoReading:
            continue
        # Only what holds a number may be a quantity: "power=on" is none.
        names = [
            name if _NUMBER.fullmatch(value.strip()) else ""
            for name, value in zip(cells.names, cells.texts, strict=True)
        ]
        chosen, _ = choose(names, [""] * len(names))
        if chosen:
            entries = {
                q: ColumnEntry(column=names[t.index], minus=None if t.into is None else names[t.into], unit=None)
                for q, t in chosen.items()
            }
            part = SerialPart.model_validate({"layout": layout})
            return LineReader(part, entries), [names[taken.index] for taken in chosen.values()]
    return None
