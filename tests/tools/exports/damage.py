"""Damage to plain exports, with all that may come out of each without a word.

A bit that makes another digit of a digit leaves no trace: what the damaged cells say as they stand is no lie then.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np

from .readings import Readings, Rng, Truth, readings, trapezoid
from .sheet import Column, Export, Sheet, Style, amps, comma, plain, point, volts

Damage = Callable[[Rng, "Whole"], Export]
DAMAGES: dict[str, Style] = {}


@dataclass(frozen=True)
class Whole:
    """An export before it is damaged: what was read, its table, and a row's form."""

    log: Readings
    sheet: Sheet
    form: str
    answers: dict[str, str]

    @property
    def lines(self) -> list[str]:
        """Header and rows."""
        return self.sheet.lines()

    def export(self, lines: Sequence[str], *also: Truth, content: bytes | None = None) -> Export:
        """Return it damaged, with what is as right as the truth."""
        content = self.sheet.content(lines) if content is None else content
        return Export(
            content,
            self.log.truth,
            ("--zone", self.log.zone),
            self.answers,
            want="either",
            also_right=(*also, *self.as_it_stands(content)),
            whole=self.sheet.content(),
        )

    def as_it_stands(self, content: bytes) -> tuple[Truth, ...]:
        """Return what the rows say that still are rows, in their order and by their stamps."""
        rows = [row for line in content.decode(errors="replace").splitlines() if (row := self._row(line))]
        if len(rows) < 3:
            return ()
        t_s, x = np.array(rows).T
        by_time = np.unique(t_s, return_index=True)[1]
        limit_s = 5 * float(np.percentile(np.diff(self.log.t_s), 95))
        truths = []
        # a stray stamp stands where it says, or its row is left out
        near = (t_s >= self.log.t_s[0]) & (t_s <= self.log.t_s[-1])
        for keep in (by_time, by_time[near[by_time]]):
            truths.append(trapezoid(t_s[keep], x[keep], limit_s=max(limit_s, 10)))
        return tuple(truths)

    def _row(self, line: str) -> tuple[float, float] | None:
        cells = line.split(self.sheet.delimiter)
        if len(cells) != len(self.sheet.columns):
            return None
        try:
            t = datetime.strptime(cells[0].strip(), self.form).replace(tzinfo=ZoneInfo(self.log.zone))
            return t.timestamp(), float(cells[1].replace(",", "."))
        except (ValueError, IndexError, OverflowError):
            return None


def _whole(rng: Rng) -> Whole:
    """Return one of three plain exports."""
    log = readings(rng, rows=int(rng.integers(200, 420)))
    kind = int(rng.integers(3))
    if kind == 0:
        return Whole(log, plain(log), "%Y-%m-%d %H:%M:%S", {})
    if kind == 1:
        form = "%d.%m.%Y %H:%M:%S"
        columns: list[Column] = [
            ("Zeit", [t.strftime(form) for t in log.local]),
            amps(log, "Strom (A)", comma),
            volts(log, "Spannung (V)", comma),
        ]
        return Whole(log, Sheet(columns, ";", "\r\n"), form, {"--dates": "d/m/y"})
    form = "%Y/%m/%d %H:%M:%S"
    watts = "Power (W)", [point(x, 0) for x in log.watts]
    columns = [("Time", [t.strftime(form) for t in log.local]), amps(log), volts(log), watts]
    return Whole(log, Sheet(columns, "\t"), form, {})


def damage(function: Damage) -> Damage:
    """Register a kind of damage by its function's name."""
    DAMAGES[f"damaged_{function.__name__}"] = lambda rng: function(rng, _whole(rng))
    return function


def _some(rng: Rng, lines: Sequence[str], most: int = 4) -> list[int]:
    """Return a few rows, in order; the first and last ones are spared."""
    return sorted(rng.choice(np.arange(5, len(lines) - 5), int(rng.integers(1, most + 1)), replace=False).tolist())


def _stretch(rng: Rng, lines: Sequence[str]) -> slice:
    """Return some rows one behind the other."""
    size = int(rng.integers(10, len(lines) // 3))
    first = int(rng.integers(2, len(lines) - size - 2))
    return slice(first, first + size)


@damage
def bits_flipped(rng: Rng, whole: Whole) -> Export:
    """A few bits anywhere behind the header."""
    content = bytearray(whole.sheet.content())
    behind = len(whole.sheet.header) + 2
    for _ in range(int(rng.integers(1, 6))):
        content[int(rng.integers(behind, len(content)))] ^= 1 << int(rng.integers(8))
    return whole.export([], content=bytes(content))


@damage
def bits_flipped_in_the_header(rng: Rng, whole: Whole) -> Export:
    """One bit of the names."""
    content = bytearray(whole.sheet.content())
    content[int(rng.integers(len(whole.sheet.header)))] ^= 1 << int(rng.integers(8))
    return whole.export([], content=bytes(content))


@damage
def rows_torn(rng: Rng, whole: Whole) -> Export:
    """Rows that end early, and the next goes on in a line of its own."""
    lines = whole.lines
    for k in _some(rng, lines):
        lines[k] = lines[k][: int(rng.integers(1, len(lines[k])))]
    return whole.export(lines)


@damage
def rows_run_together(rng: Rng, whole: Whole) -> Export:
    """Rows that end early, and the next goes on in the same line."""
    lines = whole.lines
    for k in reversed(_some(rng, lines)):
        lines[k : k + 2] = [lines[k][: int(rng.integers(1, len(lines[k])))] + lines[k + 1]]
    return whole.export(lines)


@damage
def rows_lost(rng: Rng, whole: Whole) -> Export:
    """A stretch that was never written: what nobody knows is left out."""
    lines = whole.lines
    which = _stretch(rng, lines)
    del lines[which]
    return whole.export(lines)


@damage
def zeros_written(rng: Rng, whole: Whole) -> Export:
    """A block of the card holds nothing."""
    content = bytearray(whole.sheet.content())
    first = int(rng.integers(len(content) // 4, len(content) // 2))
    size = int(rng.choice([16, 64, 512]))
    content[first : first + size] = bytes(size)
    return whole.export([], content=bytes(content))


@damage
def columns_swapped(rng: Rng, whole: Whole) -> Export:
    """In a stretch amps and volts have changed places."""
    rows = whole.sheet.rows
    for row in rows[_stretch(rng, rows)]:
        row[1], row[2] = row[2], row[1]
    damaged = whole.export([whole.sheet.header, *map(whole.sheet.line, rows)])
    return replace(damaged, also_right=())


@damage
def columns_swapped_under_a_head(rng: Rng, whole: Whole) -> Export:
    """The same, but a header says so before it, and another one behind it."""
    rows, names = whole.sheet.rows, whole.sheet.header
    which = _stretch(rng, rows)
    head = names.split(whole.sheet.delimiter)
    for row in (head, *rows[which]):
        row[1], row[2] = row[2], row[1]
    lines = list(map(whole.sheet.line, rows))
    lines[which.stop : which.stop] = [names]
    lines[which.start : which.start] = [whole.sheet.line(head)]
    return replace(whole.export([names, *lines]), also_right=())


@damage
def cell_lost(rng: Rng, whole: Whole) -> Export:
    """A cell and its delimiter are gone, so that the others move up."""
    return _cells(rng, whole, lambda row, k: row[:k] + row[k + 1 :])


@damage
def cell_doubled(rng: Rng, whole: Whole) -> Export:
    """A cell stands twice, so that the others move on."""
    return _cells(rng, whole, lambda row, k: [*row[:k], row[k], *row[k:]])


@damage
def cell_emptied(rng: Rng, whole: Whole) -> Export:
    """A cell holds nothing any more."""
    return _cells(rng, whole, lambda row, k: [*row[:k], "", *row[k + 1 :]])


@damage
def cell_of_rubbish(rng: Rng, whole: Whole) -> Export:
    """A cell holds what no meter writes."""
    return _cells(rng, whole, lambda row, k: [*row[:k], "\x7f#~", *row[k + 1 :]])


@damage
def amount_blown_up(rng: Rng, whole: Whole) -> Export:
    """A cell has lost its mark or gained digits: thousands of amps for one row."""
    return replace(_cells(rng, whole, lambda row, k: [row[0], row[1] + "99999e3", *row[2:]]), also_right=())


def _cells(rng: Rng, whole: Whole, change: Callable[[list[str], int], list[str]]) -> Export:
    rows = whole.sheet.rows
    for k in _some(rng, rows):
        rows[k] = change(rows[k], int(rng.integers(len(rows[k]))))
    return whole.export([whole.sheet.header, *map(whole.sheet.line, rows)])


@damage
def block_doubled(rng: Rng, whole: Whole) -> Export:
    """A stretch was written twice, at once."""
    lines = whole.lines
    which = _stretch(rng, lines)
    lines[which.stop : which.stop] = lines[which]
    return whole.export(lines)


@damage
def block_doubled_far_away(rng: Rng, whole: Whole) -> Export:
    """A stretch was written again at the end."""
    lines = whole.lines
    return whole.export([*lines, *lines[_stretch(rng, lines)]])


@damage
def block_moved(rng: Rng, whole: Whole) -> Export:
    """A stretch stands elsewhere."""
    lines = whole.lines
    which = _stretch(rng, lines)
    moved = lines[which]
    del lines[which]
    at = int(rng.integers(1, len(lines)))
    lines[at:at] = moved
    return whole.export(lines)


@damage
def rows_shuffled(rng: Rng, whole: Whole) -> Export:
    """No row is where it was."""
    head, *rows = whole.lines
    return whole.export([head, *(rows[k] for k in rng.permutation(len(rows)))])


@damage
def end_missing(rng: Rng, whole: Whole) -> Export:
    """The file ends in the midst of a row."""
    content = whole.sheet.content()
    return whole.export([], content=content[: int(rng.integers(len(content) // 3, len(content)))])


@damage
def ends_of_lines_lost(rng: Rng, whole: Whole) -> Export:
    """Some rows end as another system has it."""
    lines = [line + ("\r" if rng.random() < 0.3 else "") for line in whole.lines]
    return whole.export(lines)


@damage
def signs_lost_in_a_stretch(rng: Rng, whole: Whole) -> Export:
    """Hyphens became question marks in a stretch."""
    lines = whole.lines
    which = _stretch(rng, lines)
    mark = whole.sheet.delimiter
    lines[which] = [line.replace(f"{mark}-", f"{mark}?") for line in lines[which]]
    return whole.export(lines)


@damage
def sign_turned_from_a_row_on(rng: Rng, whole: Whole) -> Export:
    """The plug was turned, or a setting: what was drawn is written as charged from there on."""
    return _amps_changed(whole, _from_a_row_on(rng, whole), lambda cell: cell[1:] if cell[0] == "-" else f"-{cell}")


@damage
def minus_lost_from_a_row_on(rng: Rng, whole: Whole) -> Export:
    """No minus is written any more."""
    return _amps_changed(whole, _from_a_row_on(rng, whole), lambda cell: cell.lstrip("-"))


@damage
def unit_changed_for_a_stretch(rng: Rng, whole: Whole) -> Export:
    """Whole milliamps under a header of amps."""
    return _amps_changed(
        whole, _stretch(rng, whole.lines), lambda cell: str(round(float(cell.replace(",", ".")) * 1e3))
    )


@damage
def clock_stands_still(rng: Rng, whole: Whole) -> Export:
    """Rows of a stretch bear the stamp of its first."""
    rows, which = whole.sheet.rows, _stretch(rng, whole.lines)
    for row in rows[which]:
        row[0] = rows[which.start][0]
    return replace(whole.export([whole.sheet.header, *map(whole.sheet.line, rows)]), also_right=())


def _from_a_row_on(rng: Rng, whole: Whole) -> slice:
    count = len(whole.log)
    return slice(int(rng.integers(count // 4, count * 3 // 4)), count)


def _amps_changed(whole: Whole, which: slice, change: Callable[[str], str]) -> Export:
    rows = whole.sheet.rows
    for row in rows[which]:
        row[1] = change(row[1])
    return replace(whole.export([whole.sheet.header, *map(whole.sheet.line, rows)]), also_right=())
