"""From 16-bit registers to numbers."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from typing import Literal, get_args

Kind = Literal["int16", "uint16", "int32", "uint32", "int64", "uint64", "float32", "float64"]
Order = Literal["big", "little"]

_CODES = {
    "int16": "h", "uint16": "H", "int32": "i", "uint32": "I", "int64": "q", "uint64": "Q",
    "float32": "f", "float64": "d",
}  # fmt: skip
#: How many registers a value takes.
SIZES: dict[Kind, int] = {kind: struct.calcsize(">" + _CODES[kind]) // 2 for kind in get_args(Kind)}


def decode(
    registers: Sequence[int], kind: Kind, *, word_order: Order = "big", byte_order: Order = "big"
) -> int | float:
    """Return the number that registers hold.

    Parameters
    ----------
    registers : sequence of int, length `SIZES[kind]`
        Raw registers, each 0 to 65535, in the order of their addresses.
    word_order, byte_order : {'big', 'little'}
        Whether the more significant register comes first, and the more significant byte of each register. Modbus fixes
        the second (Application Protocol V1.1b3, section 4.2: big) but not the first, and devices break both.

    Returns
    -------
    int or float
        A float may be NaN or infinite.
    """
    words = registers if word_order == "big" else registers[::-1]
    raw = b"".join(word.to_bytes(2, byte_order) for word in words)
    value: int | float = struct.unpack(">" + _CODES[kind], raw)[0]
    return value


def bits(registers: Sequence[int], *, word_order: Order = "big", byte_order: Order = "big") -> int:
    """Return registers as one unsigned number, the bits as they stand."""
    words = registers if word_order == "big" else registers[::-1]
    return int.from_bytes(b"".join(word.to_bytes(2, byte_order) for word in words), "big")
