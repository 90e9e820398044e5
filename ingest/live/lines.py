"""Chunks of bytes from a port to whole lines, each with its instant, and the checksums at their ends."""

from __future__ import annotations

import re
from binascii import crc_hqx
from dataclasses import dataclass
from functools import reduce
from operator import xor
from typing import TYPE_CHECKING

from ..profiles.serial_part import ChecksumKind

if TYPE_CHECKING:
    from ..profiles.serial_part import ChecksumPart

_HEX = re.compile(rb"[0-9A-Fa-f]+")


class WrongChecksum(ValueError):  # noqa: N818 - a state, told by its name
    """A line's checksum is missing or is not that of the line."""


def checksum(data: bytes, kind: ChecksumKind) -> int:
    """Return the checksum of some bytes.

    The sum or the exclusive or of all bytes, eight bits; or a CRC of 16 bits: that of Modbus over Serial Line V1.02,
    appendix B (polynomial A001 reflected, from FFFF), or CCITT's (1021, from FFFF, not reflected).
    """
    if kind == "sum8":
        return sum(data) & 0xFF
    if kind == "xor8":
        return reduce(xor, data, 0)
    if kind == "crc16_ccitt":
        return crc_hqx(data, 0xFFFF)
    from pymodbus.framer.rtu import FramerRTU  # a large library, for the few meters whose lines have this checksum

    # The library gives the two bytes in the order of the wire, low one first; the number has them the other way round.
    return int.from_bytes(FramerRTU.compute_CRC(data).to_bytes(2, "little"), "big")


def covered(line: bytes, part: ChecksumPart) -> bytes:
    """Return what a line's checksum covers, without the mark; `WrongChecksum` if that is missing or another."""
    start, mark = part.start.encode(), part.mark.encode()
    # The last mark, since the text may hold one; but the first start, since what comes before is left of another line.
    first, last = line.find(start), line.rfind(mark)
    if first < 0 or last < first + len(start):
        missing = part.start if first < 0 else part.mark
        raise WrongChecksum(f"has no {missing!r}, where its checksum is told by")
    body, digits = line[first + len(start) : last], line[last + len(mark) :].strip()
    size = 4 if part.kind.startswith("crc16") else 2
    if len(digits) != size or not _HEX.fullmatch(digits):
        raise WrongChecksum(f"its checksum must be {size} hexadecimal digits after {part.mark!r}")
    given = bytes.fromhex(digits.decode())
    stated = int.from_bytes(given, "little" if part.low_byte_first else "big")
    computed = checksum(body + mark if part.with_mark else body, part.kind)
    if stated != computed:
        raise WrongChecksum(f"its checksum says {stated:0{size}X}, but the line's is {computed:0{size}X}")
    return body


#: A longer line is none of a meter's: what it holds is thrown away until the line ends. [bytes]
LINE_MOST = 1000


@dataclass(frozen=True)
class RawLine:
    """A line without its end; of one that is `too_long` its beginning.

    ``time_us`` is when its last byte was read; ``whole`` says whether it surely begins where a line begins.
    """

    time_us: int
    data: bytes
    whole: bool = True
    too_long: bool = False


class LineCutter:
    """Cuts what comes from a port into lines, each ended by `end`; a byte takes at least `byte_us` on the wire.

    The first line after `begin` may have begun before: it is not `whole`, unless the line was seen at rest.

    Several lines may come in one chunk. All bytes of a chunk came after the chunk before was read, and none faster than
    the wire allows: so a line that ends n bytes before the chunk's end is dated back by n bytes, of the wire's speed or
    of the chunk's own if that is quicker.
    """

    def __init__(self, end: bytes, byte_us: float) -> None:
        self._end, self._byte_us = end, byte_us
        self._rest = b""
        self._whole = self._too_long = False
        self._last_us = 0

    def begin(self, now_us: int) -> bytes:
        """Start anew, in the middle of a line perhaps; return what was left of an unfinished one."""
        left, self._rest = self._rest, b""
        self._whole = self._too_long = False
        self._last_us = max(now_us, self._last_us)
        return left

    def at_rest(self) -> None:
        """Note that nothing came for a while: what comes next begins a line, if none is unfinished."""
        if not self._rest and not self._too_long:
            self._whole = True

    def feed(self, chunk: bytes, now_us: int) -> list[RawLine]:
        """Take a chunk that was read at `now_us`; return the lines that it ends. Empty lines are left out."""
        # The system may hand bytes over faster than a wire would: then the chunk's own pace, so that no line is dated
        # before the chunk that came earlier.
        byte_us = min(self._byte_us, max(now_us - self._last_us, 0) / max(len(chunk), 1))
        *ended, rest = (self._rest + chunk).split(self._end)
        after = sum(map(len, ended)) + len(ended) * len(self._end) + len(rest)
        lines = []
        for data in ended:
            after -= len(data) + len(self._end)
            if (line := self._line(data, now_us - round(after * byte_us))) is not None:
                lines.append(line)
        self._rest = rest
        # A stream at the wrong baud rate may never end a line: memory stays bounded, and it is told once. The last
        # bytes stay, since the line's end may be cut in two.
        if len(rest) > LINE_MOST:
            lines += [] if self._too_long else [RawLine(self._instant(now_us), rest[:LINE_MOST], too_long=True)]
            self._rest, self._too_long = rest[-len(self._end) :], True
        self._last_us = max(now_us, self._last_us)
        return lines

    def _line(self, data: bytes, time_us: int) -> RawLine | None:
        whole, goes_on = self._whole, self._too_long
        self._whole, self._too_long = True, False
        data = data.strip(b"\r\n")
        if goes_on or not data:
            return None
        time_us = self._instant(time_us)
        if len(data) > LINE_MOST:
            return RawLine(time_us, data[:LINE_MOST], too_long=True)
        return RawLine(time_us, data, whole)

    def _instant(self, time_us: int) -> int:
        # Two short lines may fall within one microsecond, yet each needs an instant of its own.
        self._last_us = max(time_us, self._last_us + 1)
        return self._last_us
