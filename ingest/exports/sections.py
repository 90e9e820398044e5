"""A source whose header changes on the way: each row is read by the header that stands above it."""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from ..errors import InputError, quoted
from ..log.log import Readings
from ..safe_files.rejects import Reject
from .delimited.dialect import DELIMITERS, is_header, split_line
from .delimited.layout import find_layout
from .delimited.plan import Layout
from .delimited.rows import RowBatch, RowReader, ToUtc
from .delimited.stated import Stated
from .texts.decode import HEAD_BYTES, Block, Source, lines_of_words


@dataclass(frozen=True)
class _Header:
    """A header in mid-file: its line, where it begins in its block, and what parts its cells."""

    line: int
    at: int
    cells: tuple[str, ...]
    delimiter: str


class SectionReader:
    """Reads the blocks of one source, beginning with a `layout`, and laying out anew below each other header.

    ``sentences`` tell, once a section is met, where it begins and how it is read.
    """

    def __init__(self, layout: Layout, stated: Stated, to_utc: ToUtc) -> None:
        self._first = layout
        self._layout = layout
        self._stated = _for_sections(stated)
        self._to_utc = to_utc
        self._reader = RowReader(layout, to_utc)
        self.sentences: list[str] = []

    def batches(self, blocks: Iterable[Block]) -> Iterator[RowBatch]:
        """Yield the readings in the order they were written, and the rows that could not be read.

        Raises
        ------
        InputError
            If the rows below another header cannot be read by it, or are none of what the log holds; names the line.
        """
        held: Block | None = None
        for block in blocks:
            lines = block
            if held is not None and block.unfinished:
                yield from self._sections(held)
            elif held is not None:
                lines = Block(held.text + block.text, held.first_line)
            held = None
            # What a header says of the rows below it is settled by many of them: they may stand in the next block.
            header = None if lines.unfinished else self._next_header(lines)
            if header is not None and len(lines.text) - header.at < HEAD_BYTES:
                yield self._read(Block(lines.text[: header.at], lines.first_line))
                held = Block(lines.text[header.at :], header.line)
            else:
                yield from self._sections(lines)
        if held is not None:
            yield from self._sections(held)
        self.sentences += self._reader.sentences()

    def _sections(self, block: Block) -> Iterator[RowBatch]:
        """Yield a block's readings, cut where other headers stand."""
        while not block.unfinished and (header := self._next_header(block)) is not None:
            if header.at:
                yield self._read(Block(block.text[: header.at], block.first_line))
            block = Block(block.text[header.at :], header.line)
            rows = block.text[block.text.find(b"\n") + 1 :]
            if not rows.strip():
                words = block.text.decode(errors="replace").rstrip("\n")
                reject = Reject(self._first.name, header.line, "a header with no rows below it", words)
                yield RowBatch(self._nothing(), [reject])
                return
            self._lay_out(header, block.text)
        yield self._read(block)

    def _nothing(self) -> Readings:
        return Readings(np.empty(0, np.int64), {q: np.empty(0) for q in self._first.quantities})

    def _read(self, block: Block) -> RowBatch:
        batch = self._reader.read(block)
        if self._layout is not self._first:
            have, rows = batch.readings.quantities, len(batch.readings.time_us)
            columns = {q: have[q] if q in have else np.full(rows, np.nan) for q in self._first.quantities}
            batch.readings = Readings(batch.readings.time_us, columns)
        return batch

    def _next_header(self, block: Block) -> _Header | None:
        """Return the first line of a block that is a header, and not the one that its rows are read by."""
        for number, at in lines_of_words(block, self._layout.dialect.first_line):
            end = block.text.find(b"\n", at)
            text = block.text[at : end if end >= 0 else None].decode(errors="replace")
            header = _as_header(number, at, text, self._layout.dialect.delimiter)
            if header is not None and not self._is_own(header):
                return header
        return None

    def _is_own(self, header: _Header) -> bool:
        dialect = self._layout.dialect
        named = [cell for cell in header.cells if cell]
        # The same words parted by another mark are another program's table, with another decimal mark perhaps.
        alike = header.delimiter == dialect.delimiter and named == [cell for cell in dialect.names if cell]
        return bool(dialect.header_line) and alike

    def _lay_out(self, header: _Header, text: bytes) -> None:
        """Read what follows by another header.

        Raises
        ------
        InputError
            If that cannot be, with the line and the reason.
        """
        name, where = self._first.name, f"{self._first.name}, line {header.line}"
        try:
            layout = find_layout(Source(name, None, io.BytesIO(text[: 2 * HEAD_BYTES])), self._stated)
        except InputError as reason:
            raise InputError(
                f"{where}: another header stands here, and the rows below it cannot be read by it "
                f"({_without(str(reason), name)}); part the file there and convert each part alone"
            ) from None
        dialect = layout.dialect
        dialect = replace(dialect, header_line=header.line, first_line=header.line + dialect.first_line - 1)
        layout = replace(layout, dialect=dialect)
        if layout.time.style.order is None and (order := self._first.time.style.order) is not None:
            layout = layout.with_order(order)
        layout = layout.with_words_of(self._first)
        if why := _differs(layout, self._first):
            raise InputError(
                f"{where}: another header stands here, and {why}; part the file there and convert each part alone"
            )
        self.sentences += self._reader.sentences()
        self._layout, self._reader = layout, RowReader(layout, self._to_utc)
        self.sentences.append(_told(layout, self._first, header.line))


def _for_sections(stated: Stated) -> Stated:
    """Return what is stated, without what a profile says of the first header's place and of the bytes."""
    if (profile := stated.profile) is None:
        return stated
    file = profile.file.model_copy(update={"header_line": None, "encoding": None})
    return replace(stated, profile=profile.model_copy(update={"file": file}))


def _as_header(line: int, at: int, text: str, delimiter: str) -> _Header | None:
    """Return a line as a header if it names a time and a quantity, and holds no reading."""
    text = text.strip().lstrip("#").strip()
    for mark in dict.fromkeys((delimiter, *DELIMITERS.values())):
        cells = tuple(cell.strip() for cell in split_line(text, mark))
        if len(cells) > 1 and is_header(cells):
            return _Header(line, at, cells, mark)
    return None


def _without(reason: str, name: str) -> str:
    return reason.removeprefix(name).lstrip(":, ")


def _differs(layout: Layout, first: Layout) -> str:
    """Return why rows of another header cannot go on with those of the first; empty where they can."""
    if layout.time.way != first.time.way:
        return "the rows below it tell the time in another way"
    if layout.ac != first.ac:
        return "the rows below it are of a meter on the other side of an inverter"
    # What is integrated must go on; what stands beside it may end.
    needed = next((q for q in ("current_A", "power_W") if q in first.quantities), None)
    return f"it names no {needed}, which the rows above have" if needed and needed not in layout.quantities else ""


def _told(layout: Layout, first: Layout, line: int) -> str:
    """Return in a sentence how the rows below another header are read."""
    names = layout.dialect.names
    columns = "; ".join(
        f"{c.quantity} from {c.describe(names)}" for c in layout.columns if c.quantity in first.quantities
    )
    lacks = [q for q in first.quantities if q not in layout.quantities]
    more = [quoted(names[c.index]) for c in layout.columns if c.quantity not in first.quantities]
    return (
        f"line {line} is another header, by which the rows below it are read: {columns}"
        + (f"; there is no {' and no '.join(lacks)} from there on" if lacks else "")
        + (f"; {' and '.join(more)}, not in the rows above, is left out" if more else "")
    )
