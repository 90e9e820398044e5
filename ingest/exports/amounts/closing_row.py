"""A last row that adds up the rows above it, under a time as any other: no reading."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

#: Fewer readings may add up to the next one by chance, and a sum no further beyond all of them may be a start.
#: Common practice, no source.
_FEWEST, _BEYOND = 12, 2.0
#: Sums of what the cells show differ from those of what was rounded into them by no more than this share. [1]
_ROUNDED = 1e-3
_ADDED_UP = ("current_A", "voltage_V", "power_W")


@dataclass
class _Sum:
    count: int = 0
    total: float = 0.0
    highest: float = 0.0

    def add(self, x: NDArray[np.float64]) -> None:
        x = x[~np.isnan(x)]
        if len(x):
            self.count += len(x)
            self.total += float(x.sum())
            self.highest = max(self.highest, float(np.abs(x).max()))

    def adds_up_to(self, x: float) -> bool:
        is_beyond = abs(x) > _BEYOND * self.highest and self.count >= _FEWEST
        return is_beyond and abs(x - self.total) <= _ROUNDED * abs(self.total)


@dataclass
class ClosingRow:
    """Adds up the readings of one source, block by block, to know a row of their sums.

    ``last`` holds a block's last readings by quantity, as they were before what is far from all others was left out.
    """

    last: dict[str, float] = field(default_factory=dict)
    _columns: dict[str, _Sum] = field(default_factory=dict)

    def closes(self, quantities: Mapping[str, NDArray[np.float64]]) -> bool:
        """Tell whether a block's last row holds the sums of all rows before it, shapes (n,); the block is added."""
        sums = False
        for quantity in quantities.keys() & set(_ADDED_UP):
            x = quantities[quantity]
            column = self._columns.setdefault(quantity, _Sum())
            column.add(x[:-1])
            sums = sums or column.adds_up_to(self.last[quantity])
            column.add(x[-1:])
        return sums
