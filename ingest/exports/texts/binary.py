"""What a file is that is no text, by its first bytes, and what to do about it."""

from __future__ import annotations

import codecs
import re

#: First bytes, and what a file that begins with them is. From memory of the formats' own descriptions.
_BEGINNINGS = (
    (b"PAR1", "is a Parquet file, a log perhaps already"),
    (b"SQLite format 3\x00", "is an SQLite database: export the table of readings as CSV"),
    (b"\x89HDF\r\n\x1a\n", "is an HDF5 file of measurements: export its table as CSV"),
    (b"CDF\x01", "is a netCDF file of measurements: export its table as CSV"),
    (b"CDF\x02", "is a netCDF file of measurements: export its table as CSV"),
    (b"MDF     ", "is an MDF file of measurements, a logger's binary: export it as CSV with the logger's program"),
    (b"UnFinMF ", "is an unfinished MDF file of measurements: export it as CSV with the logger's program"),
    (b"TDSm", "is a TDMS file of measurements, a logger's binary: export it as CSV with the logger's program"),
    (b"MATLAB 5.0 MAT-file", "is a MAT file of arrays: export them as CSV"),
    (b"\x93NUMPY", "is a file of NumPy arrays: export them as CSV"),
    (b"ARROW1", "is an Arrow file: export it as CSV"),
    (b"RIFF", "is a sound or film, perhaps of a scope: export its samples as CSV"),
    (b"\x89PNG", "is a picture, binary data"),
    (b"\xff\xd8\xff", "is a picture, binary data"),
    (b"GIF8", "is a picture, binary data"),
    (b"%PDF", "is a PDF, which holds no table to read: export the readings as CSV"),
    (b"\x7fELF", "is a program"),
    (b"BZh", "is packed with bzip2: unpack it"),
    (b"\xfd7zXZ\x00", "is packed with xz: unpack it"),
    (b"7z\xbc\xaf\x27\x1c", "is a 7z archive: unpack it"),
    (b"Rar!", "is a RAR archive: unpack it"),
    (b"\x1f\x8b", "is packed with gzip inside what was unpacked: unpack it"),
    (b"\x28\xb5\x2f\xfd", "is packed with zstd inside what was unpacked: unpack it"),
    (b"PK\x03\x04", "is a spreadsheet or a zip archive inside another file: unpack it"),
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "is an old office file inside another file: unpack it"),
)
#: Text, but no table: a program shows it as one.
_MARKUP = ((b"<html", "HTML"), (b"<!doctype html", "HTML"), (b"<table", "HTML"), (b"<?xml", "XML"), (b"{\\rtf", "RTF"))
_TAR_AT, _TAR = 257, b"ustar"


def binary_kind(head: bytes) -> str | None:
    """Return what a file is that begins so and is none of ours, and what to do; None where nothing is known."""
    if head[_TAR_AT : _TAR_AT + len(_TAR)] == _TAR:
        return "is a tar archive: unpack it"
    return next((kind for beginning, kind in _BEGINNINGS if head.startswith(beginning)), None)


def markup_kind(text: str) -> str | None:
    """Return the kind of markup a text is written in; None where it is none."""
    start = text[:200].lstrip("\ufeff \t\r\n").lower().encode(errors="replace")
    return next((kind for beginning, kind in _MARKUP if start.startswith(beginning)), None)


#: Two bytes of Shift-JIS, of which Windows-1252 seldom has the first and hardly ever both (JIS X 0208, from memory).
_TWO_BYTES = re.compile(rb"[\x81-\x9f][\x80-\xfc]")


def is_japanese(head: bytes) -> bool:
    """Tell whether bytes that are no UTF-8 are Shift-JIS."""
    try:
        codecs.getincrementaldecoder("cp932")().decode(head, final=False)
    except UnicodeDecodeError:
        return False
    return len(_TWO_BYTES.findall(head)) > 1
