"""The size of numbers as powers of two: an order that costs no logarithm."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from .chunk import FloatArray

#: A double's sign and exponent make so many sizes; those of one sign are half of them. [1]
SIZES: Final = 4096
HALF: Final = SIZES // 2


def size_of(x: FloatArray) -> NDArray[np.int64]:
    """Return sign and power of two of each number as one index, from 0 to `SIZES`; negative ones from `HALF` on."""
    return (np.ascontiguousarray(x).view(np.int64) >> 52) & (SIZES - 1)
