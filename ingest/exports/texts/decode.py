"""Bytes of an export to blocks of whole lines in UTF-8, whatever its compression, encoding and line ends."""

from __future__ import annotations

import codecs
import hashlib
import io
import re
import shutil
import sys
import tempfile
import weakref
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

import numpy as np
import pyarrow as pa

from ...errors import InputError

if TYPE_CHECKING:
    from .shape import Shape

HEAD_BYTES = 1 << 16
BLOCK_BYTES = 1 << 22
#: Rows of readings are seldom shorter than 16 bytes.
_MOST_LINES = 1 << 18
_MAGIC = {b"\x1f\x8b": "gzip", b"\x28\xb5\x2f\xfd": "zstd"}
_CONTAINERS = (b"PK\x03\x04", b"PK\x05\x06", b"\xd0\xcf\x11\xe0")
#: A quoted cell over several lines is not longer, or it is none. [bytes]
_LONGEST_CELL = 1 << 16
#: Longest line that can still be a row of readings; more means that this is no text of lines.
_LONGEST_LINE = 1 << 24


@dataclass
class Source:
    """An export that can be read more than once: a file, or a copy of standard input.

    ``name`` is what messages call it. ``digest`` and ``size``, SHA-256 and number of its bytes as they lie on the disk,
    are filled by `stamp`, or on the way by reading all of `chunks` where nothing is packed. ``remarks`` say what of it
    is read where that is not all; ``delimiter`` is known where the text was made here, ``shape`` once it was
    recognised; ``whole`` is what it lies in, kept for as long.
    """

    name: str
    path: Path | None
    copy: BinaryIO | None = None
    digest: str = ""
    size: int = 0
    remarks: tuple[str, ...] = ()
    delimiter: str | None = None
    shape: Shape = ""
    whole: Source | None = None
    compression: str | None = field(init=False)
    is_container: bool = field(init=False)

    def __post_init__(self) -> None:
        """Look at the first bytes for a compression."""
        with self.raw() as raw:
            first = raw.read(4)
        self.compression = next((kind for magic, kind in _MAGIC.items() if first.startswith(magic)), None)
        # A zip archive, as new workbooks are, an empty one, or an old workbook.
        self.is_container = first in _CONTAINERS

    def raw(self) -> BinaryIO:
        """Return the bytes as they lie on the disk, from their beginning."""
        if self.copy is not None:
            self.copy.seek(0)
            return io.BufferedReader(_Unclosed(self.copy))
        assert self.path is not None  # either a path or a copy
        try:
            return self.path.open("rb")
        except OSError as error:
            raise InputError(f"{self.name}: cannot be read ({error.strerror})") from None

    def chunks(self) -> Iterator[bytes]:
        """Yield the decompressed bytes.

        Raises
        ------
        InputError
            If the compressed data is damaged.
        """
        with self.raw() as raw:
            if self.compression is None:
                yield from self._hashed(raw)
                return
            stream = pa.CompressedInputStream(pa.PythonFile(raw, "r"), self.compression)
            while True:
                try:
                    chunk = stream.read(BLOCK_BYTES)
                except (OSError, pa.ArrowException) as error:
                    raise InputError(f"{self.name}: the compressed data is damaged or cut short ({error})") from None
                if not chunk:
                    return
                yield chunk

    def head(self) -> bytes:
        """Return the first decompressed bytes, enough to recognise what the file is."""
        parts, size = [], 0
        for chunk in self.chunks():
            parts.append(chunk)
            size += len(chunk)
            if size >= HEAD_BYTES:
                break
        return b"".join(parts)[: HEAD_BYTES * 2]

    def stamp(self) -> None:
        """Work out the SHA-256 and size of the bytes as they lie on the disk."""
        if not self.digest:
            with self.raw() as raw:
                for _ in self._hashed(raw):
                    pass

    def _hashed(self, raw: BinaryIO) -> Iterator[bytes]:
        """Yield a file's bytes as they lie on the disk; when all have passed, `digest` and `size` are known."""
        digest, size = hashlib.sha256(), 0
        while chunk := raw.read(BLOCK_BYTES):
            digest.update(chunk)
            size += len(chunk)
            yield chunk
        self.digest, self.size = digest.hexdigest(), size


class _Unclosed(io.RawIOBase):
    """Lets a reader be closed without closing the copy of standard input behind it."""

    def __init__(self, file: BinaryIO) -> None:
        self._file = file

    def readable(self) -> bool:
        return True

    def seekable(self) -> bool:
        return True

    def seek(self, offset: int, whence: int = 0) -> int:
        return self._file.seek(offset, whence)

    def tell(self) -> int:
        return self._file.tell()

    def readinto(self, buffer: memoryview) -> int:  # type: ignore[override]
        data = self._file.read(len(buffer))
        buffer[: len(data)] = data
        return len(data)


def open_source(name: str) -> Source:
    """Return a source for a path, or for ``-``, standard input, which is copied to a temporary file.

    Raises
    ------
    InputError
        If there is no such file, it is a folder or empty.
    """
    if name == "-":
        copy = tempfile.TemporaryFile()  # noqa: SIM115 - lives as long as the source
        shutil.copyfileobj(sys.stdin.buffer, copy)
        source = Source("standard input", None, copy)
        weakref.finalize(source, copy.close)
    else:
        path = Path(name)
        if path.is_dir():
            raise InputError(f"{name}: is a folder; name the export file or files in it")
        if not path.exists():
            raise InputError(f"{name}: there is no such file")
        source = Source(name, path)
    if not source.head():
        raise InputError(f"{source.name}: is empty, there is nothing to convert")
    return source


def find_encoding(head: bytes, name: str) -> str:
    """Return the encoding of a text from its first bytes: UTF-8, UTF-16 or Windows-1252 (a superset of Latin-1).

    Raises
    ------
    InputError
        If the bytes are no text.
    """
    for mark, encoding in (
        (codecs.BOM_UTF8, "utf-8-sig"),
        (codecs.BOM_UTF16_LE, "utf-16"),
        (codecs.BOM_UTF16_BE, "utf-16"),
    ):
        if head.startswith(mark):
            return encoding
    # Without a mark: in UTF-16 every other byte of a plain text is zero, and hardly any of the others.
    even, odd = head[0::2].count(0), head[1::2].count(0)
    if odd > len(head) // 4 and even <= odd // 16 and _is_text(head, "utf-16-le"):
        return "utf-16-le"
    if even > len(head) // 4 and odd <= even // 16 and _is_text(head, "utf-16-be"):
        return "utf-16-be"
    _refuse_binary(head, name)
    # Latin letters in Windows-1252 are hardly ever whole UTF-8; the other way round every byte would pass. The last
    # character of the head may have been cut.
    try:
        codecs.getincrementaldecoder("utf-8")().decode(head, final=False)
    except UnicodeDecodeError:
        from .binary import is_japanese

        return "cp932" if is_japanese(head) else "cp1252"
    return "utf-8"


def _is_text(head: bytes, encoding: str) -> bool:
    """Tell whether there are lines of letters in it: small numbers of two bytes each have zeros, too."""
    text = head.decode(encoding, errors="replace")
    control = sum(ord(letter) < 32 and letter not in "\t\r\n" for letter in text)
    return control <= len(text) // 100 and any(end in text for end in "\r\n")


def _refuse_binary(head: bytes, name: str) -> None:
    # a few NULs are what a power cut leaves in a text file; many control characters are no text at all
    control = sum(head.count(c) for c in range(32) if c not in b"\t\n\r\f\x1a\x1b\x00")
    if not control and not head.count(0):
        return
    from .binary import binary_kind

    kind = binary_kind(head)
    if kind is None and (control > len(head) // 100 or head.count(0) > len(head) // 2):
        kind = "is not text but binary data, such as a logger's own records: export them with the logger's program"
    if kind is not None:
        raise InputError(
            f"{name}: {kind}; convert reads text (CSV), packed or not, and spreadsheets (.xlsx, .xls, .ods)"
        )


@dataclass(frozen=True)
class Block:
    """Whole lines in UTF-8, each ended by a single newline, and the number of the first one in the file.

    ``unfinished`` marks a last block whose only line had no line end: it may have been cut short.
    """

    text: bytes
    first_line: int
    unfinished: bool = False


def blocks(source: Source, encoding: str) -> Iterator[Block]:
    """Yield a source's lines in blocks of some megabytes."""
    decoder = None if encoding == "utf-8" else codecs.getincrementaldecoder(encoding)(errors="replace")
    carry, line = b"", 1
    for chunk in source.chunks():
        text = chunk if decoder is None else decoder.decode(chunk).encode("utf-8")
        carry, hold = carry + text, b""
        if carry.endswith(b"\r"):  # its newline may come with the next chunk
            carry, hold = carry[:-1], b"\r"
        if b"\r" in carry:
            carry = carry.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
        cut = carry.rfind(b"\n") + 1
        if cut and b'"' in carry[-_LONGEST_CELL:]:
            from .shape import open_cell

            cut = open_cell(carry[:cut])
        # Whole lines are handed on; what follows the last line end waits for the next chunk.
        if cut:
            for lines, count in _pieces(carry[:cut]):
                yield Block(_plain(_valid(lines), source), line)
                line += count
        carry = carry[cut:] + hold
        if len(carry) > _LONGEST_LINE:
            raise InputError(f"{source.name}, line {line}: is longer than 16 MB, so this is no table of readings")
    tail = carry if decoder is None else carry + decoder.decode(b"", final=True).encode("utf-8")
    # A cell that was open to the end was none: its lines are rows.
    if cut := tail.rfind(b"\n") + 1:
        yield Block(_plain(_valid(tail[:cut]), source), line)
        tail, line = tail[cut:], line + _line_ends(tail[:cut])
    if tail.endswith(b"\r"):
        yield Block(_plain(_valid(tail[:-1] + b"\n"), source), line)
    elif tail.strip(b"\x00 \t\x1a"):
        yield Block(_plain(_valid(tail + b"\n"), source), line, unfinished=True)


def _pieces(text: bytes) -> Iterator[tuple[bytes, int]]:
    """Cut whole lines where they are many, and count them: one that is no row takes far more than its few bytes."""
    middle, count = text.rfind(b"\n", 0, len(text) // 2) + 1, _line_ends(text)
    if not middle or count <= _MOST_LINES:
        yield text, count
        return
    yield from _pieces(text[:middle])
    yield from _pieces(text[middle:])


def _line_ends(text: bytes) -> int:
    # Line ends stand so close that to search for each takes four times as long.
    return int(np.count_nonzero(np.frombuffer(text, np.uint8) == _LINE_END))


def _plain(text: bytes, source: Source) -> bytes:
    """Return the lines as plain rows, where the source's are no such."""
    # What is left of a sector that was not written stands before a whole row. One byte is found far sooner than many.
    if b"\x00" in text and _NULS in text:
        text = re.sub(rb"(?m)^\x00{16,}", b"", text)
    if b'"' in text:
        from .shape import with_whole_cells

        text = with_whole_cells(text)
    if not source.shape:
        return text
    from .shape import plain

    return plain(text, source.shape)


_NULS, _LINE_END = b"\x00" * 16, np.uint8(10)


def _valid(text: bytes) -> bytes:
    """Return the text with what is no UTF-8 replaced, so that one damaged row cannot spoil the others."""
    if text.isascii():
        return text
    # A mark of UTF-8 stands within where files were put behind one another.
    text = text.replace(codecs.BOM_UTF8, b"")
    try:
        text.decode("utf-8")
    except UnicodeDecodeError:
        return text.decode("utf-8", errors="replace").encode("utf-8")
    return text


#: A line begins with a word if not with a digit, a sign, a blank, a quote, or what may part cells.
_IS_WORD = np.ones(256, dtype=bool)
_IS_WORD[list(b"0123456789+-. \t'\";,|\n\r\x00\x1a")] = False
#: More lines than this in a block begin with words where rows do so; then headers are those with few digits.
_MOST_CANDIDATES, _FEW_DIGITS = 64, 0.15


def lines_of_words(block: Block, first_line: int) -> list[tuple[int, int]]:
    """Return the lines from `first_line` on that begin with a word, as a header does, and where each begins."""
    raw = np.frombuffer(block.text, np.uint8)
    # Behind each line end but the last a line begins.
    begins = np.concatenate([[0], np.flatnonzero(raw[:-1] == _LINE_END) + 1])
    first = raw[begins]
    # A quoted cell begins with its quote.
    if (quoted := first == 34).any():
        first = np.where(quoted, raw[np.minimum(begins + 1, len(raw) - 1)], first)
    lines = np.flatnonzero(_IS_WORD[first])
    if len(lines) > _MOST_CANDIDATES:
        digits = np.add.reduceat((raw - np.uint8(48) < 10).astype(np.int64), begins)
        lengths = np.diff(np.append(begins, len(raw)))
        lines = lines[digits[lines] <= _FEW_DIGITS * lengths[lines]]
    lines = lines[lines + block.first_line >= first_line]
    return [(block.first_line + line, at) for line, at in zip(lines.tolist(), begins[lines].tolist(), strict=True)]
