"""How large a packed workbook is once it is unpacked, found out in bounded memory before anything else reads it."""

from __future__ import annotations

import re
import zipfile
import zlib
from collections.abc import Iterator

from ...errors import InputError

#: Cells of a sheet, empty ones between others included: each takes 32 bytes while it is read (from memory). A whole
#: sheet's 1,048,576 rows have 19 columns then.
MOST_CELLS = 20_000_000
#: Bytes of all parts, unpacked: 20,000 rows of three cells had 48 bytes a cell (measured).
MOST_BYTES = 1_000_000_000
_BLOCK_BYTES = 1 << 20
#: A row's or cell's tag with an address such as ``r="B7"``; and one that lies beyond 19 columns or 1,049,999 rows, or
#: has no address. Most sheets have none of these, and a search for one took 3.8 s of a million rows, a look at all 9.2.
_ADDRESS = re.compile(rb"""<(?:\w+:)?(c|row)(?=[\s/>])(?:[^<>]*?\sr\s*=\s*["']([A-Za-z]*)(\d*))?""")
_FAR = re.compile(rb"""<(?:\w+:)?(?:c|row)(?=[\s/>])(?![^<>]*\sr\s*=\s*["'][A-Sa-s]?(?:\d{1,6}|10[0-4]\d{4})["'])""")
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
        cells = _cells(archive, part, name)
        if cells > MOST_CELLS:
            raise InputError(
                f"{name}: a sheet reaches over {cells:,} cells, and {MOST_CELLS:,} are read at most; save it as CSV"
            )


def _cells(archive: zipfile.ZipFile, part: zipfile.ZipInfo, name: str) -> int:
    """Return how many cells the largest sheet in a part reaches over; 0 where none lies beyond what is read."""
    pieces = _whole_tags(_pieces(archive, part, name))
    if part.filename == "content.xml":
        return _content_cells(pieces)
    # All of each part passes, so that its checksum is looked at.
    far = [bool(_FAR.search(piece)) for piece in pieces]
    if part.filename.startswith("xl/worksheets/") and any(far):
        return _sheet_cells(_whole_tags(_pieces(archive, part, name)))
    return 0


def _pieces(archive: zipfile.ZipFile, part: zipfile.ZipInfo, name: str) -> Iterator[bytes]:
    """Yield a part's bytes to its end: then its size and checksum are what the archive says of them."""
    try:
        with archive.open(part) as file:
            while piece := file.read(_BLOCK_BYTES):
                yield piece
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, RuntimeError, NotImplementedError) as error:
        raise InputError(f"{name}: is damaged or locked ({error}); save it anew") from None


def _whole_tags(pieces: Iterator[bytes]) -> Iterator[bytes]:
    """Yield the pieces cut before a tag, so that none is torn."""
    held = b""
    for piece in pieces:
        text = held + piece
        cut = text.rfind(b"<")
        if cut > 0:
            yield text[:cut]
            text = text[cut:]
        # What goes on for so long without a tag is a text, whose beginning nobody needs.
        held = text[-_BLOCK_BYTES:]
    yield held


def _sheet_cells(pieces: Iterator[bytes]) -> int:
    """Return how many cells a sheet reaches over; what has no address follows what stands before it."""
    rows = columns = row = column = 0
    for piece in pieces:
        for tag, letters, digits in _ADDRESS.findall(piece):
            row = int(digits[:9]) if digits else row + (tag == b"row")
            column = 0 if tag == b"row" else _column(letters[:7]) if letters else column + 1
            rows, columns = max(rows, row), max(columns, column)
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
    for match in (match for piece in pieces for match in _TAG.finditer(piece)):
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
