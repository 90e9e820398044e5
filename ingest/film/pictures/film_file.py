"""What the file of a film tells beside its pictures: when it was made, and whether it was finished."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import IO, Final

#: Boxes of an ISO base media file (ISO/IEC 14496-12, from memory): its kind, its table, and the head of that.
_KIND, _TABLE, _HEAD = b"ftyp", b"moov", b"mvhd"
_LONG, _TO_THE_END = 1, 0
#: Its times count from here; what is earlier than the latter is of a clock that was never set.
_BEGINNING, _EARLIEST = datetime(1904, 1, 1, tzinfo=UTC), datetime(2005, 1, 1, tzinfo=UTC)
#: No file has more boxes at its top.
_MOST_BOXES: Final = 10_000


def made_at(path: Path) -> datetime | None:
    """Return when a film was made by its own file, as MP4 and MOV tell it; None where it does not say."""
    with path.open("rb") as file:
        for name, length in _boxes(file, path.stat().st_size):
            if name != _TABLE:
                continue
            for inner, _ in _boxes(file, file.tell() + length):
                if inner == _HEAD:
                    return _time_of(file.read(12))
    return None


def was_cut_off(path: Path) -> bool:
    """Tell whether a film of that kind lacks the table of its pictures, which cameras write last."""
    with path.open("rb") as file:
        names = {name for name, _ in _boxes(file, path.stat().st_size)}
    return _KIND in names and _TABLE not in names


def _boxes(file: IO[bytes], end: int) -> Iterator[tuple[bytes, int]]:
    """Yield the name of each box up to an end, and how long it is from where the file stands then."""
    for _ in range(_MOST_BOXES):
        begun = file.tell()
        head = file.read(8)
        length = int.from_bytes(head[:4])
        length = int.from_bytes(file.read(8)) if length == _LONG else end - begun if length == _TO_THE_END else length
        at = file.tell()
        if len(head) < 8 or length < at - begun:
            return
        yield head[4:], begun + length - at
        if begun + length >= end:
            return
        file.seek(begun + length)


def _time_of(head: bytes) -> datetime | None:
    # The first byte is the version: with 1, times are twice as long.
    since_s = int.from_bytes(head[4:12] if head[:1] == b"\x01" else head[4:8])
    try:
        made = _BEGINNING + timedelta(seconds=since_s)
    except OverflowError:
        return None
    return made if made > _EARLIEST else None
