"""How far the sheets of an old workbook (.xls) reach, before anything takes memory for them."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from typing import BinaryIO

from ...errors import InputError

# The layout is that of the published descriptions of compound files and of BIFF8; from memory.
_HEADER_BYTES, _DIRECTORY_BYTES = 512, 128
_NO_SECTOR = 0xFFFFFFFA  # and above: the end of a chain, or none
#: Records of cells, which all begin with row and column; and of rows of them, which end with their last column.
_CELLS = {0x0006, 0x0203, 0x0204, 0x0205, 0x027E, 0x00D6, 0x00FD}
_OF_SEVERAL = {0x00BD}
#: Columns of an old sheet; its rows are 65,536, as many as a row's number can say.
_MOST_COLUMNS = 256


def refuse_too_wide(file: BinaryIO, name: str) -> None:
    """Refuse an old workbook that is damaged, or says of a cell that it lies where no sheet has any.

    Raises
    ------
    InputError
        With what to do.
    """
    data = file.read()
    try:
        wide = any(column >= _MOST_COLUMNS for column in _columns(_stream(data)))
    except (struct.error, IndexError, ValueError):
        raise InputError(f"{name}: is damaged or no spreadsheet; save it anew, as .xlsx or CSV") from None
    if wide:
        raise InputError(
            f"{name}: is damaged, it has cells beyond column {_MOST_COLUMNS}; save it anew, as .xlsx or CSV"
        )


def _stream(data: bytes) -> bytes:
    """Return the stream that holds the sheets."""
    size = 1 << struct.unpack_from("<H", data, 30)[0]
    if size not in (512, 4096):
        raise ValueError
    first_directory, first_more, more = (struct.unpack_from("<I", data, at)[0] for at in (48, 68, 72))
    places = list(struct.unpack_from("<109I", data, 76))
    sector = first_more
    for _ in range(min(more, len(data) // size)):
        *others, sector = struct.unpack(f"<{size // 4}I", _sector(data, sector, size))
        places += others
    table = [
        number for place in places if place < _NO_SECTOR
        for number in struct.unpack(f"<{size // 4}I", _sector(data, place, size))
    ]  # fmt: skip
    directory = _chain(data, table, first_directory, size)
    for at in range(0, len(directory), _DIRECTORY_BYTES):
        entry = directory[at : at + _DIRECTORY_BYTES]
        called = entry[: max(struct.unpack_from("<H", entry, 64)[0] - 2, 0)].decode("utf-16-le", "replace")
        if called.lower() in {"workbook", "book"}:
            start, length = struct.unpack_from("<II", entry, 116)
            # Streams shorter than 4,096 bytes lie elsewhere; no workbook is so short.
            return _chain(data, table, start, size)[:length]
    raise ValueError


def _sector(data: bytes, number: int, size: int) -> bytes:
    at = _HEADER_BYTES + number * size if size == _HEADER_BYTES else (number + 1) * size
    return data[at : at + size].ljust(size, b"\xff")


def _chain(data: bytes, table: list[int], sector: int, size: int) -> bytes:
    parts = []
    while sector < _NO_SECTOR:
        parts.append(_sector(data, sector, size))
        if len(parts) > len(table):
            raise ValueError  # a ring
        sector = table[sector]
    return b"".join(parts)


def _columns(stream: bytes) -> Iterator[int]:
    """Yield the last column that each record of cells names, from 0."""
    at = 0
    while at + 4 <= len(stream):
        kind, length = struct.unpack_from("<HH", stream, at)
        if kind in _CELLS and length >= 4:
            yield struct.unpack_from("<H", stream, at + 6)[0]
        elif kind in _OF_SEVERAL and length >= 6:
            yield max(struct.unpack_from("<H", stream, at + 6)[0], struct.unpack_from("<H", stream, at + 2 + length)[0])
        at += 4 + length
