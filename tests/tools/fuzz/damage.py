"""Damage by chance: to bytes, to lines of text, to cells."""

from __future__ import annotations

import gzip
import random

NASTY_CELLS = (
    "", " ", "-", "?", "NaN", "nan", "inf", "-inf", "Infinity", "1e400", "-1e400", "1e308", "-0", "-0.0", "1e-400",
    "0x1F", "1,234.5", "1.234,5", "1,2,3", "1.2.3", "--5", "+-5", "5-", "1e", "e5", ".", ",", "9" * 40,
    "0." + "3" * 60, "1_000", '"', '""', '"""', '"a', 'a"', "'5", "=1+1", "\x00", "\x00" * 50, "\x1b[31m5", "\u202e5",
    "\ufeff5", "\u0663", "½", "5 A", "5 mA", "5 V", "5%", "TRUE", "null", "#REF!", "x" * 5000, "9" * 5000,
    "\u221212.5", "1\u00a0234", "\ud7ff", "5\r",
)  # fmt: skip
NASTY_TIMES = (
    "", "0", "-1", "now", "24:00", "2026-02-30 10:00:00", "2026-13-01 10:00:00", "2026-06-13 25:00:00",
    "0000-00-00 00:00:00", "9999-12-31 23:59:59", "0001-01-01 00:00:00", "1970-01-01 00:00:00", "2106-02-07 06:28:15",
    "2026-06-13", "10:00:00", "13/06/2026 10:00:00", "06/13/2026 10:00", "2026-06-13T10:00:00+99:99",
    "2026-06-13T10:00:00Z", "2026-06-13 10:00:60", "99999999999999999999", "1e20", "-9223372036854775808",
    "9223372036854775807", "20260613T100000", "2026-06-13 10:00:00.123456789123", "2026-06-13 10:00:00 PM",
    "2026-W24-6 10:00", "45000.5", "12262-04-11 23:47:16",
)  # fmt: skip


def bytes_damaged(data: bytes, rng: random.Random, most: int = 12) -> bytes:
    """Return bytes with some flipped, taken out, doubled, put in, zeroed or cut off."""
    out = bytearray(data)
    for _ in range(rng.randint(1, most)):
        at = rng.randrange(len(out) + 1)
        length = rng.choice([1, 1, 2, 5, 40, 400])
        match rng.randrange(8):
            case 0 | 1 | 2:
                if at < len(out):
                    out[at] ^= 1 << rng.randrange(8)
            case 3:
                out[at : at + length] = b""
            case 4:
                out[at:at] = out[at : at + length]
            case 5:
                out[at:at] = rng.randbytes(length)
            case 6:
                out[at : at + length] = bytes(len(out[at : at + length]))
            case 7 if rng.random() < 0.2:
                del out[at:]
    return bytes(out)


def line_damaged(line: str, rng: random.Random, delimiter: str) -> str:
    """Return a row in which a cell, a mark or a part is not what it was."""
    cells = line.split(delimiter)
    k = rng.randrange(len(cells))
    match rng.randrange(7):
        case 0:
            return line[: rng.randrange(len(line) + 1)]
        case 1:
            at = rng.randrange(len(line))
            return line[:at] + chr(rng.randrange(1, 256)).replace("\n", "x") + line[at + 1 :]
        case 2:
            cells[k] = rng.choice(NASTY_CELLS)
        case 3:
            cells[0] = rng.choice(NASTY_TIMES)
        case 4:
            cells.insert(k, rng.choice(NASTY_CELLS))
        case 5:
            del cells[k]
        case 6:
            cells[k] = cells[k][::-1]
    return delimiter.join(cells)


def packed(data: bytes, rng: random.Random) -> bytes:
    """Return bytes packed with gzip, one time in two damaged."""
    whole = gzip.compress(data, mtime=0)
    return bytes_damaged(whole, rng, 3) if rng.random() < 0.5 else whole
