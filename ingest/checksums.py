"""Checksums of a line: two or four hexadecimal digits at its end, after a mark."""

from __future__ import annotations

import re
from functools import reduce
from operator import xor
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from .profiles.serial_part import ChecksumPart

Kind = Literal["sum8", "xor8", "crc16_modbus", "crc16_ccitt"]
_HEX = re.compile(rb"[0-9A-Fa-f]+")


class WrongChecksum(ValueError):  # noqa: N818 - a state, told by its name
    """A line's checksum is missing or is not that of the line."""


def checksum(data: bytes, kind: Kind) -> int:
    """Return the checksum of some bytes.

    Parameters
    ----------
    data : bytes
        What is covered.
    kind : {'sum8', 'xor8', 'crc16_modbus', 'crc16_ccitt'}
        The sum or the exclusive or of all bytes, eight bits; or a CRC of 16 bits: that of Modbus over Serial Line
        V1.02, appendix B (polynomial A001 reflected, from FFFF), or CCITT's (1021, from FFFF, not reflected).
    """
    if kind == "sum8":
        return sum(data) & 0xFF
    if kind == "xor8":
        return reduce(xor, data, 0)
    return _crc_reflected(data) if kind == "crc16_modbus" else _crc_forward(data)


def _crc_reflected(data: bytes) -> int:
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0xA001 if crc & 1 else 0)
    return crc


def _crc_forward(data: bytes) -> int:
    crc = 0xFFFF
    for byte in data:
        crc ^= byte << 8
        for _ in range(8):
            crc = (crc << 1 ^ (0x1021 if crc & 0x8000 else 0)) & 0xFFFF
    return crc


def covered(line: bytes, part: ChecksumPart) -> bytes:
    """Return what a line's checksum covers, without the mark, if it is right.

    Raises
    ------
    WrongChecksum
        If it is missing, is no number of the right length, or is another.
    """
    start, mark = part.start.encode(), part.mark.encode()
    first, last = line.find(start), line.rfind(mark)
    if first < 0 or last < first + len(start):
        missing = part.start if first < 0 else part.mark
        raise WrongChecksum(f"has no {missing!r}, where its checksum is told by")
    body, digits = line[first + len(start) : last], line[last + len(mark) :].strip()
    size = 4 if part.kind.startswith("crc16") else 2
    if len(digits) != size or not _HEX.fullmatch(digits):
        raise WrongChecksum(f"its checksum must be {size} hexadecimal digits after {part.mark!r}")
    given = bytes.fromhex(digits.decode())
    told = int.from_bytes(given, "little" if part.low_byte_first else "big")
    found = checksum(body + mark if part.with_mark else body, part.kind)
    if told != found:
        raise WrongChecksum(f"its checksum says {told:0{size}X}, but the line's is {found:0{size}X}")
    return body
