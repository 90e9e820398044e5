"""Recognise how a delimited text is laid out: delimiter, header, units row, first row of readings."""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from ...errors import InputError
from ..amounts.numbers import NULLS, tidied
from .header import is_unit_cell, names_nothing, names_readings

DELIMITERS = {"tab": "\t", "semicolon": ";", "bar": "|", "comma": ",", "caret": "^", "tilde": "~"}
#: Hexadecimal counts as a number, so that its column is told by name rather than not seen.
_NUMBER = re.compile(
    r"[+\-]?(\d[\d\u00a0\u202f .,'’]*|[.,]\d+)([eE][+-]?\d+)?( ?[A-Za-z°µμ%/·]{1,5})?"
    r"|[+-]?0[xX][0-9A-Fa-f]+|\d[0-9A-F]{3,7}"
)
_CLOCK = r"\d{1,2}:\d{1,2}(:\d{1,2}([.,]\d+)?)?( ?[AaPp]\.?[Mm]\.?)?"
_MONTH = r"[A-Za-zÀ-ÖØ-öø-ÿ]{3,10}\.?"
_DATE = (
    rf"\d{{4}}[-/. ]\d{{1,2}}[-/. ]\d{{1,2}}|\d{{1,2}}[-/. ](\d{{1,2}}|{_MONTH})[-/. ]\d{{2,4}}"
    rf"|{_MONTH} \d{{1,2}},? \d{{4}}"
)
_TIME = re.compile(
    rf"'?([A-Za-z]{{3,9}},? )?(({_DATE})([T ,]+{_CLOCK}( ?(Z|z|UTC|GMT|[+-]\d\d:?\d\d|[+-]\d\d))?)?"
    r"|\d{8}[T ]?\d{6}([.,]\d+)?Z?|(\d+ ?d(ays?)?,? *)?\d+:\d{1,2}(:\d{1,2}([.,]\d+)?)?( ?[AaPp]\.?[Mm]\.?)?)"
)
#: What times have that are written in a form of their own, and no whole line; longer cells hold none. [characters]
_ODD_TIME = re.compile(r"[^;|\t]*(:\d\d|[年時时]|\d ?[hH] ?\d\d|[T ._-]\d\d?[.-]\d\d|\d{8}[_-]\d{6})[^;|\t]*")
_LONGEST_TIME = 60
_NOTHING = {word.lower() for word in NULLS}


@dataclass(frozen=True)
class Dialect:
    """The layout of a delimited text.

    ``names`` are the header's words, ``column 3`` where there is none; ``units`` the units row's cells, empty where
    there is none. Lines count from 1; ``header_line`` is 0 where there is no header. ``sample`` holds rows from the
    beginning, stripped, for a look at what the columns hold.
    """

    delimiter: str
    names: tuple[str, ...]
    units: tuple[str, ...]
    header_line: int
    first_line: int
    sample: tuple[tuple[str, ...], ...]

    def column(self, index: int) -> list[str]:
        """Return the sample's non-empty cells of a column."""
        return [row[index] for row in self.sample if row[index].lower() not in _NOTHING]

    def describe(self) -> str:
        """Return the layout in words."""
        header = f"header on line {self.header_line}" if self.header_line else "no header"
        units = ", units in the row below it" if self.units else ""
        return f"{_word(self.delimiter)}-separated, {header}{units}, readings from line {self.first_line}"


@dataclass(frozen=True)
class _LineCells:
    """A line's cells, and a letter for each: ``t`` time, ``n`` number, ``x`` other text, ``-`` nothing."""

    line: int
    cells: tuple[str, ...]
    kinds: str

    @property
    def readable(self) -> int:
        return self.kinds.count("t") + self.kinds.count("n")

    @property
    def share(self) -> float:
        return self.readable / max(len(self.kinds) - self.kinds.count("-"), 1)

    def agreement(self, usual: str) -> tuple[int, int]:
        """Return how many of its filled cells are the number or time that their column usually holds, of how many."""
        pairs = [(mine, use) for mine, use in zip(self.kinds, usual, strict=True) if use in "tn" and mine != "-"]
        return sum(mine == use for mine, use in pairs), len(pairs)


def find_dialect(text: str, *, name: str, delimiter: str | None = None, header_line: int | None = None) -> Dialect:
    """Recognise the layout of a text from its beginning, whole lines ended by newlines.

    A profile may state the `delimiter`, and the `header_line`: 0 says that there is none.

    Raises
    ------
    InputError
        If no table of readings is found, or header and rows do not go together.
    """
    lines = text.split("\n")
    marks = [delimiter] if delimiter else list(DELIMITERS.values())
    # Each delimiter is tried on the whole head, and what can be read decides, not how often the mark occurs: commas may
    # be decimal, and a remark may hold any. Of equals the first of DELIMITERS, which seldom stand in cells.
    tables = [_rows(lines, mark) if mark in text else [] for mark in marks]
    runs = [_longest_run(rows, after=header_line or 0) for rows in tables]
    best = max(range(len(marks)), key=lambda k: _worth(runs[k]))
    if not _worth(runs[best]):
        raise InputError(f"{name}: {_no_table(lines, delimiter, after=header_line or 0)}")
    rows = tables[best]
    if header_line is None and (cut := _end_of_first_table(tables, rows, runs[best], name)):
        return find_dialect("\n".join(lines[:cut]), name=name, delimiter=delimiter)
    first, sample = _body(rows, runs[best], after=header_line or 0)
    # What stands below another header is no sample of what stands above it.
    if header_line is None and (cut := _next_header(rows, first)):
        return find_dialect("\n".join(lines[:cut]), name=name, delimiter=delimiter)
    names, units, line, first = _header(rows, first, sample, header_line, name)
    return Dialect(marks[best], names, units, line, first, sample)


def is_header(cells: Sequence[str]) -> bool:
    """Tell whether cells name a time and a quantity that is integrated, and hold no reading themselves."""
    return not any(_kind(cell) in "tn" for cell in cells) and names_readings(cells)


def _next_header(rows: list[_LineCells], first: int) -> int:
    """Return the line above which a table ends, since another header stands there; 0 where none does."""
    own = next((row.cells for row in reversed(rows) if row.line < first and is_header(row.cells)), None)
    if own is None:
        return 0
    for row in rows:
        if row.line > first and not row.readable and row.cells != own and is_header(row.cells):
            return row.line - 1
    return 0


#: Fewer rows above a header that look like readings may be a preamble's: common practice, no source.
_FEW_ABOVE = 3


def _end_of_first_table(
    tables: list[list[_LineCells]], rows: list[_LineCells], run: list[_LineCells], name: str
) -> int:
    """Return the last line of a table that stands above the one with most rows, whose header comes in mid-file; else 0.

    Raises
    ------
    InputError
        If rows that look like readings stand above the header, and no header above them says what they are.
    """
    first, _ = _body(rows, run, after=0)
    for table in tables:
        above = [row for row in table if row.line < first]
        readings = [row for row in above if "t" in row.kinds and "n" in row.kinds and row.share > 0.5]
        readings = [row for row in readings if len(row.cells) == len(readings[0].cells)]
        words = [row.line for row in rows if row.line < first and not row.readable and len(_named(row)) > 1]
        if len(readings) < _FEW_ABOVE or not words or words[-1] < readings[-1].line:
            continue
        if any(not row.readable and row.line < readings[0].line and len(_named(row)) > 1 for row in above):
            return readings[-1].line
        raise InputError(
            f"{name}, lines {readings[0].line} to {readings[-1].line}: look like readings, but the header stands below "
            f"them, on line {words[-1]}; give them a header, or say header_line = {words[-1]} in a profile to leave "
            "them out"
        )
    return 0


def _no_table(lines: Sequence[str], stated: str | None, *, after: int) -> str:
    worth = {word: _worth(_longest_run(_rows(lines, mark), after=after)) for word, mark in DELIMITERS.items()}
    word = max(worth, key=lambda word: worth[word])
    if stated is not None and worth[word]:
        return (
            f'the profile says delimiter = "{_word(stated)}", but the lines look {word}-separated; '
            "mend the profile's delimiter or leave it out"
        )
    from ..texts.binary import markup_kind
    from ..texts.shape import are_blanks_between

    text = "\n".join(lines)
    if (kind := markup_kind(text)) is not None:
        return f"is {kind}, a page or document under whatever name; open it and save the table as CSV or .xlsx"
    if are_blanks_between(text):
        return (
            "its columns seem to be parted by single blanks, which dates and names hold as well; "
            'say delimiter = "blank" under [file] in a profile (--profile)'
        )
    *words, last = DELIMITERS
    return f"no table of readings found: no rows of a time and numbers, separated by {', '.join(words)} or {last}"


def _word(delimiter: str) -> str:
    return next(word for word, mark in DELIMITERS.items() if mark == delimiter)


def _rows(lines: Sequence[str], delimiter: str) -> list[_LineCells]:
    rows = []
    for number, line in enumerate(lines, 1):
        if not line.strip():
            continue
        if stripped := tuple(cell.strip() for cell in _with_whole_brackets(split_line(line, delimiter), delimiter)):
            rows.append(_LineCells(number, stripped, "".join(map(_kind, stripped))))
    return rows


def _with_whole_brackets(cells: list[str], delimiter: str) -> list[str]:
    """Return a line's cells, those put together again that are parts of one name such as ``Current (A, + = in)``."""
    if not any("(" in cell for cell in cells):
        return cells
    whole: list[str] = []
    for cell in cells:
        if whole and any(c.isalpha() for c in whole[-1]) and whole[-1].count("(") > whole[-1].count(")"):
            whole[-1] += delimiter + cell
        else:
            whole.append(cell)
    return cells if not whole or whole[-1].count("(") > whole[-1].count(")") else whole


def split_line(line: str, delimiter: str) -> list[str]:
    """Return a line's cells without their quotes; none where one of them is far too long for a cell."""
    try:
        return next(csv.reader([line], delimiter=delimiter), [])
    except csv.Error:
        return []


def _kind(cell: str) -> str:
    if cell.lower() in _NOTHING:
        return "-"
    if _TIME.fullmatch(cell):
        return "t"
    if _NUMBER.fullmatch(cell) or _NUMBER.fullmatch(tidied(cell)):
        return "n"
    if len(cell) > _LONGEST_TIME or not _ODD_TIME.fullmatch(cell):
        return "x"
    from ..times.forms import find_forms, in_usual_form  # most cells are plain

    return "t" if _TIME.fullmatch(in_usual_form(cell, find_forms([cell])).strip()) else "x"


def _longest_run(rows: list[_LineCells], *, after: int) -> list[_LineCells]:
    """Return the largest set of rows of one width that could be readings."""
    widths: dict[int, list[_LineCells]] = {}
    for row in rows:
        # Two readable cells are a time and a number; one will do where it is half of what is filled: a damaged row.
        if row.line > after and row.readable and (row.readable >= 2 or row.share >= 0.5):
            widths.setdefault(len(row.cells), []).append(row)
    return max(widths.values(), key=lambda run: (len(run), len(run[0].cells)), default=[])


def _worth(run: list[_LineCells]) -> float:
    """Return how much of a table a delimiter makes of a text: readable cells, weighted by their share of the row."""
    if not run or len(run[0].cells) < 2:  # a time and a quantity
        return 0.0
    return sum(row.readable * row.share for row in run)


def _body(rows: list[_LineCells], run: list[_LineCells], *, after: int) -> tuple[int, tuple[tuple[str, ...], ...]]:
    """Return the first line of the readings and the rows that look like readings.

    A line of a preamble may have the readings' width ("Serial, 12345"): a reading has the same kinds of cells as most.
    """
    usual = "".join(_usual_kind(column) for column in zip(*(row.kinds for row in run), strict=True))
    alike = [row for row in run if _is_alike(row, usual)] or run
    first = alike[0].line
    for row in reversed([row for row in rows if after < row.line < first]):  # a first row with a damaged cell
        if len(row.cells) != len(usual) or not row.agreement(usual)[0]:
            break
        first = row.line
    return first, tuple(row.cells for row in alike)


def _usual_kind(kinds: Sequence[str]) -> str:
    counts = Counter(kind for kind in kinds if kind != "-")
    return counts.most_common(1)[0][0] if counts else "-"


def _is_alike(row: _LineCells, usual: str) -> bool:
    right, filled = row.agreement(usual)
    has_time = "t" not in usual or any(mine == use == "t" for mine, use in zip(row.kinds, usual, strict=True))
    return has_time and 2 * right > filled


Names = tuple[str, ...]


def _header(
    rows: list[_LineCells], first: int, sample: tuple[Names, ...], stated: int | None, name: str
) -> tuple[Names, Names, int, int]:
    """Return the header's words, the units row, the header's line (0: none) and the first line of the readings."""
    width = len(sample[0])
    above = [row for row in rows if row.line < first and (stated is None or row.line <= stated)]
    above = [row for row in above if len(_named(row)) > 1]  # one word is a title
    header = _header_row(above, sample) if stated is None else above[-1] if above else None
    if header is None or stated == 0:
        return tuple(f"column {k}" for k in range(1, width + 1)), (), 0, first
    _check_width(header, sample, name)
    units_row = next((row for row in rows if header.line < row.line < first and _is_units(row)), None)
    units = _fit(units_row.cells, width) if units_row else ()
    above_readings = [header.line, *(row.line for row in rows if row is units_row or names_nothing(row.cells))]
    return _fit(header.cells, width), units, header.line, max(line for line in above_readings if line < first) + 1


def _header_row(above: list[_LineCells], sample: tuple[Names, ...]) -> _LineCells | None:
    """Return the last row of words that fits the readings, units and damaged rows passed over; else the last row."""
    # The header is the row of words nearest to the readings; above it stand titles and remarks of the same width.
    words = [row for row in above if not row.readable and _fits(row, sample) and not names_nothing(row.cells)]
    if len(words) > 1 and _is_units_of(words[-1], words[-2]):
        return words[-2]
    return words[-1] if words else above[-1] if above else None


def _named(row: _LineCells) -> list[str]:
    """Return a header's cells without the empty ones at its end."""
    cells = list(row.cells)
    while cells and not cells[-1]:
        cells.pop()
    return cells


def _fits(header: _LineCells, sample: tuple[Names, ...]) -> bool:
    named = len(_named(header))
    return named <= len(sample[0]) and not any(cell for row in sample for cell in row[named:])


def _check_width(header: _LineCells, sample: tuple[Names, ...], name: str) -> None:
    """Refuse a header that is wider or narrower than the rows: what stands below a word might be another's."""
    if not _fits(header, sample):
        named, width = len(_named(header)), len(sample[0])
        raise InputError(
            f"{name}, line {header.line}: names {named} columns, but the rows below have {width} fields "
            "(a decimal comma without quotes does that); export it with semicolons, "
            "or say header_line and columns by number in a profile"
        )


def _is_units(row: _LineCells) -> bool:
    filled = [cell for cell in row.cells if cell]
    return bool(filled) and sum(map(is_unit_cell, filled)) * 2 > len(filled)


def _is_units_of(row: _LineCells, above: _LineCells) -> bool:
    """Tell whether a row holds the units of the row above it; ``Time, V, A`` below a title is a header itself."""
    is_header = _names_time(row) and not _names_time(above)
    return _is_units(row) and not _is_units(above) and not is_header


def _names_time(row: _LineCells) -> bool:
    return any(cell.lower() in {"time", "date", "timestamp"} for cell in row.cells)


def _fit(cells: Names, width: int) -> Names:
    return (cells + ("",) * width)[:width]
