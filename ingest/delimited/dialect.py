"""Recognise how a delimited text is laid out: delimiter, header, units row, first row of readings."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass

from ..errors import InputError
from .header import is_unit_cell

DELIMITERS = {"tab": "\t", "semicolon": ";", "bar": "|", "comma": ","}
_NUMBER = re.compile(r"[+-]?(\d[\d  .,'’]*|[.,]\d+)([eE][+-]?\d+)?%?")
_TIME = re.compile(
    r"(\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/. ](\d{1,2}|[A-Za-z]{3,9})[-/. ]\d{2,4}|[A-Za-z]{3,9} \d{1,2},? \d{4})([T ,].*)?"
    r"|(\d+ ?d(ays?)?,? *)?\d+:\d{1,2}(:\d{1,2}([.,]\d+)?)?( ?[AaPp]\.?[Mm]\.?)?"
)
_NOTHING = {"", "-", "--", "n/a", "na", "nan", "null", "none"}


@dataclass(frozen=True)
class Dialect:
    """The layout of a delimited text.

    Attributes
    ----------
    delimiter : str
        The character between fields.
    names : tuple of str
        The header's words, one a field; ``column 3`` where there is no header.
    units : tuple of str
        The units row's cells; empty where there is none.
    header_line, first_line : int
        Line numbers of the header (0: none) and of the first row of readings, counted from 1.
    quoted : bool
        Whether fields may stand in double quotes.
    sample : tuple of tuple of str
        Rows from the beginning, stripped, for a look at what the columns hold.
    """

    delimiter: str
    names: tuple[str, ...]
    units: tuple[str, ...]
    header_line: int
    first_line: int
    quoted: bool
    sample: tuple[tuple[str, ...], ...]

    def column(self, index: int) -> list[str]:
        """Return the sample's non-empty cells of a column."""
        return [row[index] for row in self.sample if row[index].lower() not in _NOTHING]

    def describe(self) -> str:
        """Return the layout in words."""
        word = next(word for word, mark in DELIMITERS.items() if mark == self.delimiter)
        header = f"header on line {self.header_line}" if self.header_line else "no header"
        units = ", units in the row below it" if self.units else ""
        return f"{word}-separated, {header}{units}, readings from line {self.first_line}"


@dataclass(frozen=True)
class _Row:
    line: int
    cells: tuple[str, ...]
    readable: float

    @property
    def is_data(self) -> bool:
        return self.readable >= 0.5  # noqa: PLR2004 - half of what is filled reads as a number or a time


def find_dialect(text: str, *, name: str, delimiter: str | None = None, header_line: int | None = None) -> Dialect:
    """Recognise the layout of a text from its beginning.

    Parameters
    ----------
    text : str
        Whole lines from the beginning of the file, ended by newlines.
    name : str
        The file, for the error.
    delimiter : str, optional
        Stated by a profile; otherwise the one that makes the most readable table.
    header_line : int, optional
        Stated by a profile: the header's line, counted from 1; 0 says that there is none.

    Raises
    ------
    InputError
        If no table of readings is found.
    """
    lines = text.split("\n")
    marks = [delimiter] if delimiter else list(DELIMITERS.values())
    tables = [_rows(lines, mark) for mark in marks]
    runs = [_longest_run(rows, after=header_line or 0) for rows in tables]
    best = max(range(len(marks)), key=lambda k: _worth(runs[k]))
    run = runs[best]
    if not run or len(run[0].cells) < 2:  # noqa: PLR2004 - a time and a quantity
        raise InputError(
            f"{name}: no table of readings found: no rows of a time and numbers, separated by comma, semicolon, tab or bar"
        )
    rows, width = tables[best], len(run[0].cells)
    names, units, line = _header(rows, run[0].line, width, header_line)
    sample = tuple(row.cells for row in rows if row.is_data and len(row.cells) == width and row.line >= run[0].line)
    first = run[0].line
    return Dialect(marks[best], names, units, line, first, '"' in text, sample)


def _rows(lines: Sequence[str], delimiter: str) -> list[_Row]:
    rows = []
    for number, line in enumerate(lines, 1):
        if not line.strip():
            continue
        try:
            cells = next(csv.reader([line], delimiter=delimiter))
        except (csv.Error, StopIteration):
            continue
        stripped = tuple(cell.strip() for cell in cells)
        rows.append(_Row(number, stripped, _readable(stripped)))
    return rows


def _readable(cells: tuple[str, ...]) -> float:
    """Return the share of the filled cells that read as a number or a time; 0 where none is a number or time."""
    filled = [cell for cell in cells if cell.lower() not in _NOTHING]
    if not filled:
        return 0.0
    return sum(1 for cell in filled if _NUMBER.fullmatch(cell) or _TIME.fullmatch(cell)) / len(filled)


def _longest_run(rows: list[_Row], *, after: int) -> list[_Row]:
    """Return the longest run of data rows of one width; rows of another kind in between do not end it."""
    widths: dict[int, list[_Row]] = {}
    for row in rows:
        if row.is_data and row.line > after:
            widths.setdefault(len(row.cells), []).append(row)
    return max(widths.values(), key=lambda run: (len(run), len(run[0].cells)), default=[])


def _worth(run: list[_Row]) -> float:
    if not run or len(run[0].cells) < 2:  # noqa: PLR2004
        return 0.0
    return len(run) * (sum(row.readable for row in run) / len(run)) ** 2


def _header(
    rows: list[_Row], first: int, width: int, stated: int | None
) -> tuple[tuple[str, ...], tuple[str, ...], int]:
    """Return the header's words, the units row and the header's line, all as wide as the data."""
    unnamed = tuple(f"column {k}" for k in range(1, width + 1))
    above = [row for row in rows if row.line < first]
    if stated == 0 or not above:
        return unnamed, (), 0
    if stated is not None:
        above = [row for row in rows if row.line <= stated]
        after = [row for row in rows if stated < row.line < first]
        units = _fit(after[0].cells, width) if after and _is_units(after[0].cells) else ()
        return (_fit(above[-1].cells, width), units, stated) if above else (unnamed, (), 0)
    units = ()
    if len(above) > 1 and _is_units(above[-1].cells) and not _is_units(above[-2].cells):
        units = _fit(above[-1].cells, width)
        above = above[:-1]
    header = above[-1]
    if abs(len(header.cells) - width) > 1 or header.is_data:
        return unnamed, (), 0
    return _fit(header.cells, width), units, header.line


def _is_units(cells: tuple[str, ...]) -> bool:
    filled = [cell for cell in cells if cell]
    return bool(filled) and sum(map(is_unit_cell, filled)) * 2 > len(filled)


def _fit(cells: tuple[str, ...], width: int) -> tuple[str, ...]:
    return (cells + ("",) * width)[:width]
