"""Pictures that come one after another, as a camera program writes them to a pipe."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import IO, Final

from ...errors import InputError

#: A picture in a stream is not larger. [bytes]
_LARGEST: Final = 50_000_000
_JPEG: Final = b"\xff\xd8\xff"
_PNG, _PNG_END = b"\x89PNG\r\n\x1a\n", b"IEND\xaeB`\x82"
#: Marks in a JPEG's pictures: not a zero that stands for a byte of 255, no mark to begin anew, no filling.
_MARK: Final = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]")
_SCAN, _END, _WITHOUT_LENGTH = 0xDA, 0xD9, frozenset({0x01, *range(0xD0, 0xD9)})
_NONE: Final = "standard input: holds no pictures; JPEG or PNG, one after another, are meant"


def pictures_of(stream: IO[bytes]) -> Iterator[bytes]:
    """Yield the pictures of a stream, JPEG or PNG, each as its bytes; one that is not whole at the end is none.

    Raises
    ------
    InputError
        If there is none, or something stands between them.
    """
    waiting, number = b"", 0
    while chunk := stream.read(1 << 16):
        waiting += chunk
        while waiting and (cut := _end_of_first(waiting, number)):
            yield waiting[:cut]
            waiting, number = waiting[cut:], number + 1
        if len(waiting) > _LARGEST:
            raise InputError(_none_after(number))
    if not number:
        raise InputError(_NONE)


def _end_of_first(waiting: bytes, number: int) -> int:
    """Return where the first picture of some bytes ends; 0 where it is not whole yet."""
    if waiting.startswith(_PNG):
        at = waiting.find(_PNG_END)
        return at + len(_PNG_END) if at > 0 else 0
    if waiting.startswith(_JPEG):
        return _end_of_jpeg(waiting)
    if len(waiting) >= len(_PNG):
        raise InputError(_none_after(number))
    return 0


def _end_of_jpeg(raw: bytes) -> int:
    """Return where a JPEG ends, which may hold a smaller one; 0 where it is not whole yet."""
    at = 2
    while at + 4 <= len(raw):
        if raw[at] != 0xFF or raw[at + 1] == 0xFF:
            at += 1
            continue
        mark = raw[at + 1]
        if mark == _END:
            return at + 2
        at += 2 if mark in _WITHOUT_LENGTH else 2 + int.from_bytes(raw[at + 2 : at + 4])
        if mark == _SCAN:
            mark_at = _MARK.search(raw, at)
            at = len(raw) if mark_at is None else mark_at.start()
    return at + 2 if raw[at : at + 2] == bytes([0xFF, _END]) else 0


def _none_after(number: int) -> str:
    if not number:
        return _NONE
    return (
        f"standard input: what follows picture {number} is none; JPEG or PNG, one after another and nothing between "
        "them, are meant"
    )
