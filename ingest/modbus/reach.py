"""From what to what all registers of a device went, read as one type: thousands of them at once."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ..profiles.modbus_part import SIZES, RegisterTable, RegisterType, WordOrder
from .likely import as_type
from .watch import Look

#: A register of a unit: its table, and its address on the wire.
RegisterPlace = tuple[int, RegisterTable, int]


def reach(
    starts: Sequence[RegisterPlace], kind: RegisterType, order: WordOrder | None, looks: Sequence[Look]
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the lowest and the highest number that begins at each start, shape (n,); NaN where one was none.

    Every start, and the registers that its number needs, must be in every look.
    """
    if not starts:
        return np.empty(0), np.empty(0)
    size = SIZES[kind]
    places = [(unit, table, at + k) for unit, table, at in starts for k in range(size)]
    words = np.array([[look[place] for place in places] for look in looks], dtype=np.uint16)
    # What is no number, or larger than any, is told by what it gives.
    with np.errstate(invalid="ignore", over="ignore"):
        values = as_type(words.reshape(-1, size), kind, order).reshape(len(looks), len(starts))
    values[~np.isfinite(values)] = np.nan
    return values.min(axis=0), values.max(axis=0)
