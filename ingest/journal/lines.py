"""The lines of a journal: each is a JSON value and a checksum, so that a damaged one is known for what it is.

The first line, the header, says what is captured; each line after it is one record::

    ["reading", time_us, [value or null, ...]]          in the order of the header's quantities
    ["marker", time_us, text]
    ["remark", time_us, kind, text]                     something happened to the source
    ["clock step", time_us, step_s]                     the machine's clock was set
    ["refused", time_us, kind, text, reason]            something came that is no reading

A line's CRC-32 begins from the header's own checksum and the line's place in the file. A line of another capture, or
one that a disk brought back in the wrong place, is therefore as wrong as a garbled one.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import IO, Any, Final, TypeGuard

from ..errors import InputError
from ..log.meta import LogMeta, is_instant, meta_from
from ..quantities import QUANTITIES

FORMAT: Final = 1
#: The longest line that is looked at, so that a disk full of zeros is not read as one line. [bytes]
LINE_MOST = 1 << 20
#: Texts are cut at this length, which keeps every line well below `LINE_MOST`. [characters]
TEXT_MOST = 10_000
#: How a header begins.
_BEGINNING = b'{"shuntbook_journal":'
_SEAL_BYTES = 10  # "*", eight hexadecimal digits, line feed
Record = list[Any]


class NothingCaptured(InputError):  # noqa: N818 - a state, told by its name
    """A journal ends before its first reading: there is nothing to make a log of."""


def seal(record: object, place: int, key: int) -> tuple[bytes, int]:
    """Return a record, anything JSON can hold, as a line, and its checksum; floats come back exactly.

    `place` is where in the file the line begins [bytes], `key` the header's checksum, 0 for the header itself.
    """
    body = json.dumps(record, separators=(",", ":")).encode("ascii")
    checksum = zlib.crc32(body, (key + place) & 0xFFFF_FFFF)
    return b"%b*%08x\n" % (body, checksum), checksum


def unseal(line: bytes, place: int, key: int) -> tuple[object, int] | None:
    """Return what a line holds and its checksum; None if it is damaged, torn or not from this place."""
    body, seal_ = line[:-_SEAL_BYTES], line[-_SEAL_BYTES:]
    checksum = zlib.crc32(body, (key + place) & 0xFFFF_FFFF)
    if seal_ != b"*%08x\n" % checksum:
        return None
    try:
        return json.loads(body), checksum
    except ValueError:  # a checksum can be right by chance
        return None


def plain(text: str) -> str:
    """Return a text that every file can hold: half characters, such as a terminal may send, become question marks."""
    return text[:TEXT_MOST].encode("utf-8", "replace").decode("utf-8")


def header(meta: LogMeta, quantities: Sequence[str], *, replaces: bool) -> dict[str, object]:
    """Return the header of a journal."""
    return {
        "shuntbook_journal": FORMAT,
        "quantities": list(quantities),
        "replaces": replaces,
        "meta": json.loads(meta.to_json()),
    }


class JournalReader:
    """Reads a journal up to its first damaged line.

    ``replaces``: there was a log in its place when the capture began, which it is to replace. ``torn_bytes`` lie behind
    the last good line; known when all records have been read.

    Raises
    ------
    NothingCaptured
        If the file ends, or is filled with zeros, before its header does.
    InputError
        If its header is damaged or was written by a newer version.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.torn_bytes = 0
        self._file: IO[bytes] = path.open("rb")
        try:
            self._read_header()
        except BaseException:
            self._file.close()
            raise

    def __enter__(self) -> JournalReader:
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()

    def _read_header(self) -> None:
        line = self._file.readline(LINE_MOST)
        unsealed = unseal(line, 0, 0)
        if unsealed is None:
            # The header is on the disk before the first reading is taken: half a header means that there was none.
            if not line.endswith(b"\n") and _may_be_begun(line):
                raise NothingCaptured(f"{self.path}: a capture was begun here, but nothing had been read yet")
            raise InputError(
                f"{self.path}, line 1: this journal's beginning is damaged or cut short, so it cannot be read; "
                "it is left as it is: move it away to go on without it"
            )
        content, self._key = unsealed
        self._place = len(line)
        self._understand(content)

    def _understand(self, content: object) -> None:
        stated = content if isinstance(content, dict) else {}
        version, names = stated.get("shuntbook_journal"), stated.get("quantities")
        if isinstance(version, int) and version > FORMAT:
            raise InputError(
                f"{self.path}: was written by a newer shuntbook (journal format {version}, this one reads up to "
                f"{FORMAT}); update shuntbook"
            )
        if version is None or not isinstance(names, list) or not all(name in QUANTITIES for name in map(str, names)):
            raise InputError(f"{self.path}, line 1: is not the beginning of a journal of ours; move this file away")
        self.quantities = tuple(str(name) for name in names)
        self.replaces = bool(stated.get("replaces"))
        self.meta = meta_from(self.path, json.dumps(stated.get("meta")).encode())

    def __iter__(self) -> Iterator[Record]:
        """Yield the records in the order they were written, until a line is damaged."""
        while line := self._file.readline(LINE_MOST):
            record, _ = unseal(line, self._place, self._key) or (None, 0)
            # What follows a damaged line may be right, but nobody knows what is missing in between: it is counted as
            # torn.
            if not _is_record(record, len(self.quantities)):
                break
            self._place += len(line)
            yield record
        self.torn_bytes = self.path.stat().st_size - self._place


def _may_be_begun(line: bytes) -> bool:
    """Tell whether a line could be the beginning of a header, or what a power cut leaves of one: nothing, or zeros."""
    written = line.partition(b"\0")[0]
    return written[: len(_BEGINNING)] == _BEGINNING[: len(written)]


def _is_record(record: object, width: int) -> TypeGuard[Record]:
    if not (isinstance(record, list) and len(record) > 1 and isinstance(record[1], int) and is_instant(record[1])):
        return False
    match record:
        case ["reading", int(), list(values)]:
            return len(values) == width and all(x is None or isinstance(x, float) for x in values)
        case ["clock step", int(), float()] | ["marker", int(), str()]:
            return True
        case ["remark", int(), str(), str()] | ["refused", int(), str(), str(), str()]:
            return True
    return False
