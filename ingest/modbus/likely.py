"""What registers may mean: the types and word orders that a meter's numbers are stored in, the likelier first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..profiles.modbus_part import CODES, RegisterType, WordOrder

#: A float outside these is other data read as a float. Common practice, no source.
FLOAT_LOW, FLOAT_HIGH = 1e-3, 1e6
#: The registers of a whole number that needs two: the high one hardly moves from nought, or from all ones.
_HIGH_WORD_MOST = 16
#: The low register of a float takes all bits when the value moves, that of a small number does not. [raw]
_WILD = 4096
#: Types of two registers, and the order of their words.
PAIRS: Final[tuple[tuple[RegisterType, WordOrder], ...]] = tuple(
    (kind, order) for order in ("big", "little") for kind in ("float32", "int32", "uint32")
)


@dataclass(frozen=True)
class RegisterMeaning:
    """One way to read registers, and what they then went through: the first value and the last, lowest and highest."""

    type: RegisterType
    word_order: WordOrder | None
    before: float
    now: float
    lowest: float
    highest: float

    @property
    def name(self) -> str:
        """The type in words."""
        return f"{self.type}, low word first" if self.word_order == "little" else self.type


def as_type(words: NDArray[np.uint16], kind: RegisterType, order: WordOrder | None = None) -> NDArray[np.float64]:
    """Return what registers hold, of shape (n, 1 or 2) in the order of their addresses, as numbers of shape (n,)."""
    turned = words[:, ::-1] if order == "little" else words
    # Exact: a double holds every whole number of 32 bits, and every float32.
    raw = np.ascontiguousarray(turned).astype(">u2").view(">" + _NUMPY[kind])
    return raw[:, 0].astype(np.float64)


_NUMPY = {kind: ("f" if kind.startswith("float") else code) for kind, code in CODES.items()} | {
    "int16": "i2", "uint16": "u2", "int32": "i4", "uint32": "u4", "float32": "f4",
}  # fmt: skip


def meanings(words: NDArray[np.uint16]) -> list[RegisterMeaning]:
    """Return how one register may be read, or two together; the likelier first, and of two none where none is likely.

    Parameters
    ----------
    words : array of uint16, shape (n, 1 or 2)
        The registers through time.
    """
    if words.shape[1] == 1:
        unsigned, signed = (_meaning(words, kind, None) for kind in ("uint16", "int16"))
        # What goes through nought has nearly the whole range between two readings if it is read without a sign.
        if signed.lowest == unsigned.lowest and signed.highest == unsigned.highest:
            return [unsigned]
        has_sign = signed.highest - signed.lowest < unsigned.highest - unsigned.lowest or signed.lowest > -_WILD
        return [signed, unsigned] if has_sign else [unsigned, signed]
    with np.errstate(invalid="ignore"):
        likely = [(kind, order) for kind, order in PAIRS if _is_likely(words, kind, order)]
        return [_meaning(words, kind, order) for kind, order in likely]


def _meaning(words: NDArray[np.uint16], kind: RegisterType, order: WordOrder | None) -> RegisterMeaning:
    values = as_type(words, kind, order)
    return RegisterMeaning(kind, order, *map(float, (values[0], values[-1], values.min(), values.max())))


def _is_likely(words: NDArray[np.uint16], kind: RegisterType, order: WordOrder) -> bool:
    high, low = (words[:, 0], words[:, 1]) if order == "big" else (words[:, 1], words[:, 0])
    if kind == "float32":
        size = np.abs(as_type(words, kind, order))
        if not np.all((size == 0) | ((size >= FLOAT_LOW) & (size < FLOAT_HIGH))) or not np.any(high):
            return False
        # Two small numbers side by side may read as a float too, but the second of them moves by little.
        return bool(not np.any(low) or np.ptp(low.astype(np.int32)) >= _WILD or np.any(low >= _WILD))
    # A whole number: its high word goes along by a little, or from all ones to nought where the sign turns.
    signed = high.view(np.int16)
    if np.ptp(signed.astype(np.int32)) == 0 or np.abs(signed.astype(np.int32)).max() > _HIGH_WORD_MOST:
        return False
    return bool(np.any(signed < 0)) == (kind == "int32")
