"""An export as a table that is written out, and what belongs to it: options, truth and what may be asked."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Literal, TypeAlias

import numpy as np

from .readings import Readings, Rng, Truth

#: ``right``: read right, perhaps after a question. ``refuse``: there is no honest reading. ``either``: one of both.
Want: TypeAlias = Literal["right", "refuse", "either"]
Column: TypeAlias = tuple[str, list[str]]


@dataclass
class Sheet:
    """A table and how it is written."""

    columns: list[Column]
    delimiter: str = ","
    eol: str = "\n"
    encoding: str = "utf-8"
    quoted: Literal["where needed", "all", "never"] = "where needed"
    before: list[str] = field(default_factory=list)
    after: list[str] = field(default_factory=list)

    @property
    def header(self) -> str:
        """The line of names."""
        return self.line([name for name, _ in self.columns])

    @property
    def rows(self) -> list[list[str]]:
        """The cells, row by row."""
        return [list(row) for row in zip(*(cells for _, cells in self.columns), strict=True)]

    def line(self, cells: Sequence[str]) -> str:
        """Return one row as it is written."""
        return self.delimiter.join(map(self._quoted, cells))

    def lines(self) -> list[str]:
        """Return header and rows."""
        return [self.header, *map(self.line, self.rows)]

    def content(self, lines: Sequence[str] | None = None) -> bytes:
        """Return the file's bytes; of other `lines` than its own where they are given."""
        every = [*self.before, *(self.lines() if lines is None else lines), *self.after]
        return (self.eol.join(every) + self.eol).encode(self.encoding)

    def _quoted(self, cell: str) -> str:
        if self.quoted == "all" or (
            self.quoted == "where needed" and any(mark in cell for mark in (self.delimiter, '"', "\n", "\r"))
        ):
            return '"' + cell.replace('"', '""') + '"'
        return cell


@dataclass
class Export:
    """One file of a style, and what may come out of it."""

    content: bytes
    truth: Truth
    options: tuple[str, ...] = ()
    #: What may be asked for, and the answer: ``{"--dates": "d/m/y"}``; of a profile, words of the sentence that asks,
    #: and the tables that answer it: ``{'delimiter = "blank"': '[file]\ndelimiter = "blank"'}``.
    answers: dict[str, str] = field(default_factory=dict)
    want: Want = "right"
    suffix: str = ".csv"
    #: What else is no lie, of a file that was damaged: a damaged digit is a digit.
    also_right: tuple[Truth, ...] = ()
    #: The file as it was before it was damaged.
    whole: bytes | None = None


Style: TypeAlias = Callable[[Rng], Export]
STYLES: dict[str, Style] = {}


def style(function: Style) -> Style:
    """Register a style by its function's name."""
    return named(function.__name__, function)


def named(name: str, function: Style) -> Style:
    """Register a style by a name."""
    assert name not in STYLES, name
    STYLES[name] = function
    return function


def pick(rng: Rng, *choices: str) -> str:
    """Return one of some texts."""
    return choices[int(rng.integers(len(choices)))]


def point(x: float, digits: int = 2) -> str:
    """Write a number with a decimal point."""
    return "" if np.isnan(x) else f"{x:.{digits}f}"


def comma(x: float, digits: int = 2) -> str:
    """Write a number with a decimal comma."""
    return point(x, digits).replace(".", ",")


def iso(log: Readings) -> list[str]:
    """Write the logger's clock year first."""
    return [f"{t:%Y-%m-%d %H:%M:%S}" for t in log.local]


def clock(log: Readings, form: str) -> list[str]:
    """Write the logger's clock by a pattern of ``strftime``."""
    return [t.strftime(form) for t in log.local]


def amps(log: Readings, name: str = "Current (A)", write: Callable[[float], str] = point) -> Column:
    """Return the column of amps."""
    return name, [write(x) for x in log.amps]


def volts(log: Readings, name: str = "Voltage (V)", write: Callable[[float], str] = point) -> Column:
    """Return the column of volts."""
    return name, [write(x) for x in log.volts]


def plain(log: Readings, **how: object) -> Sheet:
    """Return the plainest table: time, amps and volts."""
    return Sheet([("Time", iso(log)), amps(log), volts(log)], **how)  # type: ignore[arg-type]


def in_zone(log: Readings) -> tuple[str, ...]:
    """Return the option that says whose clock it is."""
    return ("--zone", log.zone)


def export(log: Readings, sheet: Sheet, **what: object) -> Export:
    """Return a table as an export whose truth is that of its amps."""
    given = {"truth": log.truth, "options": in_zone(log), **what}
    return Export(sheet.content(), **given)  # type: ignore[arg-type]
