"""Text laid out for a terminal's width: lines wrapped between words, and columns that stand below each other."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from itertools import zip_longest
from unicodedata import east_asian_width

#: What follows a space here belongs to the figure before it: a line ends between figures, never within one.
_WITHIN_A_FIGURE = re.compile(
    r"(?<=\d) (?=(?:[kmM]?(?:Ah|Wh|W|VA|V|A)|ohm|mohm|%|s|min|h|d)\b|[%±])|(?<=±) (?=\d)|(?<=≥) (?=\d)"
)
#: An option and what is given to it.
_OPTION = re.compile(r"(?<!\S)(--[a-z][a-z-]*) (?=\S)")
#: A command to go on with, at the end of a line: it can be copied whole.
_COMMAND = re.compile(r"(?<=next: )shuntbook .*$")
_JOINED = "\N{NO-BREAK SPACE}"
_BETWEEN = "  "
#: A last column of words is wrapped within its own place where that leaves it so much room. [letters]
_ROOM_FOR_WORDS = 24


def wrapped(line: str, width: int) -> list[str]:
    """Return a line as lines no wider than `width`, those after the first set in by two more than the first.

    A word stays whole, also one that is wider by itself: a name or a command that was broken could not be copied.
    """
    joined = _OPTION.sub(rf"\1{_JOINED}", _WITHIN_A_FIGURE.sub(_JOINED, line.strip(" ")))
    words = _COMMAND.sub(lambda command: command[0].replace(" ", _JOINED), joined).split(" ")
    indent = " " * (len(line) - len(line.lstrip(" ")))
    lines = [indent + words[0]]
    for word in words[1:]:
        if breadth(lines[-1]) + 1 + breadth(word) <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(f"{indent}  {word.lstrip()}")
    return [each.replace(_JOINED, " ").rstrip() for each in lines]


def breadth(text: str) -> int:
    """Return how many columns a text takes on a terminal: two for a wide letter of East Asia (Unicode Annex 11)."""
    return len(text) if text.isascii() else sum(2 if east_asian_width(c) in "WF" else 1 for c in text)


@dataclass(frozen=True)
class Columns:
    """Rows of cells that stand below each other; the first row is the `heads` where there are any.

    Columns in `right` are aligned to the right. Where the rows are wider than the terminal, words in the last column
    are wrapped within it; where that does not help, each row becomes a block of its own.
    """

    rows: Sequence[Sequence[str]]
    heads: Sequence[str] = ()
    right: Collection[int] = ()
    indent: str = ""

    def laid_out(self, width: int) -> list[str]:
        """Return the rows as lines of text."""
        if not self.rows:
            return []
        rows = [self.heads, *self.rows] if self.heads else self.rows
        widths = [max(breadth(cell) for cell in column) for column in zip(*rows, strict=True)]
        before = len(self.indent) + sum(widths[:-1]) + len(_BETWEEN) * (len(widths) - 1)
        if before + widths[-1] <= width:
            return [f"{self.indent}{self._aligned(row, widths)}" for row in rows]
        last = len(widths) - 1
        if last not in self.right and width - before >= _ROOM_FOR_WORDS:
            return [line for row in rows for line in self._last_wrapped(row, widths, before, width)]
        return [line for row in self.rows for line in wrapped(self._block(row), width)]

    def cut(self, most: int) -> Columns:
        """Return the first rows, and how many more there are in place of the others."""
        left_out = len(self.rows) - most
        if left_out <= 0:
            return self
        rest = [f"... and {left_out} more", *("" for _ in self.rows[0][1:])]
        return Columns([*self.rows[:most], rest], self.heads, self.right, self.indent)

    def _aligned(self, row: Sequence[str], widths: Sequence[int]) -> str:
        cells = []
        for k, (cell, width) in enumerate(zip(row, widths, strict=True)):
            space = " " * (width - breadth(cell))
            cells.append(space + cell if k in self.right else cell + space)
        return _BETWEEN.join(cells).rstrip()

    def _last_wrapped(self, row: Sequence[str], widths: Sequence[int], before: int, width: int) -> Iterator[str]:
        first = f"{self.indent}{self._aligned([*row[:-1], ''], [*widths[:-1], 0])}".ljust(before)
        for k, line in enumerate(wrapped(row[-1], width - before)):
            yield ((first if k == 0 else " " * before) + line).rstrip()

    def _block(self, row: Sequence[str]) -> str:
        """Return a row in one line: its first cell, then each other behind its head."""
        cells = [f"{head} {cell}".strip() for head, cell in zip_longest(self.heads[1:], row[1:], fillvalue="") if cell]
        first = row[0] or (cells.pop(0) if cells else "")
        return self.indent + f"{first}: {'; '.join(cells)}".removesuffix(": ")
