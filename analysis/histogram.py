"""A histogram of fixed, logarithmic bins: quantiles of any number of values in little memory."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from .chunk import FloatArray

#: A bin is this much wider than the one before it, so that a quantile is known to within 0.5 %. [1]
RATIO: Final = 1.01
_LOWEST, _HIGHEST = 1e-9, 1e9
_BINS: Final = int(np.ceil(np.log(_HIGHEST / _LOWEST) / np.log(RATIO)))


class Histogram:
    """Counts positive values by size; nought has a bin of its own, and what lies beyond 1e-9 and 1e9 the outermost."""

    def __init__(self) -> None:
        self.zeros = 0
        self._counts = np.zeros(_BINS, dtype=np.int64)

    @property
    def count(self) -> int:
        """How many values were counted, noughts among them."""
        return self.zeros + int(self._counts.sum())

    def add(self, sizes: FloatArray) -> None:
        """Count values that are not negative; shape (n,)."""
        moving = sizes[sizes > 0]
        self.zeros += len(sizes) - len(moving)
        bins: NDArray[np.int64] = np.floor(np.log(moving / _LOWEST) / np.log(RATIO)).astype(np.int64)
        self._counts += np.bincount(np.clip(bins, 0, _BINS - 1), minlength=_BINS)

    def quantile(self, share: float) -> float | None:
        """Return the value that `share` of all do not exceed, to within 0.5 %; None where none was counted."""
        count = self.count
        if not count:
            return None
        reached = int(np.searchsorted(self.zeros + np.cumsum(self._counts), share * count))
        if share * count <= self.zeros:
            return 0.0
        return float(_LOWEST * RATIO ** (min(reached, _BINS - 1) + 0.5))
