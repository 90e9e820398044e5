"""How large a packed workbook is once it is unpacked, found out in bounded memory before anything else reads it."""

from __future__ import annotations

import re
import zipfile
import zlib
from collections.abc import Callable, Iterator

from ...errors import InputError

#: Cells of a sheet, empty ones between others included: each takes 32 bytes while it is read. A whole sheet's
#: 1,048,576 rows have 19 columns then; measured: tests/benchmarks/README.md.
MOST_CELLS = 20_000_000
#: Bytes of all parts, unpacked: a sheet of so many cells has about 40 bytes a cell (measured on sheets of readings).
MOST_BYTES = 2_000_000_000
_BLOCK_BYTES, _OVERLAP_BYTES = 1 << 20, 1 << 10
_PLACE = re.compile(rb"""\br\s*=\s*["']([A-Za-z]{0,3})(\d{1,7})["']""")
_TAG = re.compile(rb"<(/?)table:(table-row|table-cell|covered-table-cell|table)\b([^<>]*)>")
_REPEATED = re.compile(rb"""number-(?:rows|columns)-repeated\s*=\s*["'](\d{1,9})["']""")


def refuse_too_large(archive: zipfile.ZipFile, name: str) -> None:
    """Refuse a workbook that is damaged, or would take too much memory.

    Raises
    ------
    InputError
        With what is too large, and what to do instead.
    """
    if sum(part.file_size for part in archive.infolist()) > MOST_BYTES:
        raise InputError(f"{name}: unpacks to more than {MOST_BYTES // 10**9} GB; save the sheet as CSV")
    for part in archive.infolist():
        cells = _CELLS.get(_kind(part.filename), _no_cells)(_pieces(archive, part, name))
        if cells > MOST_CELLS:
            raise InputError(
                f"{name}: a sheet reaches over {cells:,} cells, and {MOST_CELLS:,} are read at most; save it as CSV"
            )


def _kind(part: str) -> str:
    if part.startswith("xl/worksheets/"):
        return "sheet"
    return "content" if part == "content.xml" else ""


def _pieces(archive: zipfile.ZipFile, part: zipfile.ZipInfo, name: str) -> Iterator[bytes]:
    """Yield a part's bytes to its end: then its size and checksum are what the archive says of them."""
    try:
        with archive.open(part) as file:
            while piece := file.read(_BLOCK_BYTES):
                yield piece
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, RuntimeError, NotImplementedError) as error:
        raise InputError(f"{name}: is damaged or locked ({error}); save it anew") from None


def _no_cells(pieces: Iterator[bytes]) -> int:
    for _ in pieces:
        pass
    return 0


def _matches(pattern: re.Pattern[bytes], pieces: Iterator[bytes]) -> Iterator[re.Match[bytes]]:
    """Yield what matches, also across the ends of pieces."""
    held = b""
    for piece in pieces:
        text, end = held + piece, 0
        for match in pattern.finditer(text):
            yield match
            end = match.end()
        held = text[max(end, len(text) - _OVERLAP_BYTES) :]


def _sheet_cells(pieces: Iterator[bytes]) -> int:
    """Return how many cells a sheet with addresses (``r="B7"``) reaches over."""
    rows = columns = 1
    for match in _matches(_PLACE, pieces):
        rows = max(rows, int(match[2]))
        if len(match[1]) > 1 or match[1]:
            columns = max(columns, _column(match[1]))
    return rows * columns


def _column(letters: bytes) -> int:
    number = 0
    for letter in letters.upper():
        number = number * 26 + letter - 64
    return number


def _content_cells(pieces: Iterator[bytes]) -> int:
    """Return how many cells the largest sheet with repeated rows and cells reaches over."""
    most = row = column = last_row = width = 0
    repeat, filled = 1, False
    for match in _matches(_TAG, pieces):
        closes, tag = bool(match[1]), match[2]
        times = int(repeated[1]) if (repeated := _REPEATED.search(match[3])) else 1
        if tag == b"table":
            most, row, last_row, width = max(most, last_row * width), 0, 0, 0
        elif tag == b"table-row" and not closes:
            repeat, column, filled = times, 0, False
            row += times if match[3].endswith(b"/") else 0
        elif tag == b"table-row":
            row += repeat
            last_row = row if filled else last_row
        elif not closes:
            column += times
            if b"value-type" in match[3]:
                filled, width = True, max(width, column)
    return max(most, last_row * width)


_CELLS: dict[str, Callable[[Iterator[bytes]], int]] = {"sheet": _sheet_cells, "content": _content_cells}
