"""What is known of any number of values in little memory: quantiles by a histogram, and means of blocks."""

from __future__ import annotations

from math import inf, sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..readings.chunk import FloatArray

_MOST: Final = 128

#: The uncertainty is taken from so many blocks at least, and at most. [1]
FEWEST, FINEST = 8, 32


class BlockMeans:
    """The mean of any number of readings, and its standard uncertainty, in bounded memory.

    Neighbouring readings of a meter are seldom independent, so the scatter of single readings over the root of their
    number promises too much. Means of blocks longer than the readings hang together are independent; how long that is,
    is not known (Flyvbjerg and Petersen, J. Chem. Phys. 91 (1989) 461, from memory).
    """

    def __init__(self) -> None:
        self._size = 1
        self._sums: FloatArray = np.empty(0)
        self._begun, self._begun_count = 0.0, 0  # of the block that is not full

    @property
    def count(self) -> int:
        """How many readings there are."""
        return len(self._sums) * self._size + self._begun_count

    @property
    def mean(self) -> float:
        """Their mean; NaN of none."""
        return (float(self._sums.sum()) + self._begun) / self.count if self.count else float("nan")

    def add(self, x: FloatArray) -> None:
        """Take the next readings in; shape (n,), without NaN."""
        # Before they are full, neighbours are put together, so that memory stays bounded and all blocks are of one
        # length.
        while self.count + len(x) >= self._size * _MOST:
            pairs = len(self._sums) // 2 * 2
            alone = self._sums[pairs:]
            self._begin(alone, len(alone) * self._size)
            self._sums, self._size = self._sums[:pairs:2] + self._sums[1:pairs:2], 2 * self._size
        # First what the block that was begun lacks, then whole blocks at once, then the beginning of the next.
        if self._begun_count:
            lacks = self._size - self._begun_count
            self._begin(x[:lacks], len(x[:lacks]))
            x = x[lacks:]
            if self._begun_count < self._size:
                return
            self._sums = np.append(self._sums, self._begun)
            self._begun, self._begun_count = 0.0, 0
        whole = len(x) - len(x) % self._size
        self._sums = np.concatenate([self._sums, x[:whole].reshape(-1, self._size).sum(axis=1)])
        self._begin(x[whole:], len(x) - whole)

    def _begin(self, x: FloatArray, count: int) -> None:
        if count:
            self._begun, self._begun_count = self._begun + float(x.sum()), self._begun_count + count

    def blocks(self, most: int = FINEST) -> FloatArray:
        """Return the means of up to `most` blocks of equal length, in order; what fills no block is left out."""
        together = max(-(-len(self._sums) // most), 1)
        whole = len(self._sums) - len(self._sums) % together
        return np.asarray(self._sums[:whole].reshape(-1, together).mean(axis=1) / self._size)

    def uncertainty(self) -> tuple[float, int]:
        """Return the standard uncertainty of the mean and its degrees of freedom; infinite of a single block."""
        # Where readings hang together, longer blocks scatter more than shorter ones promise: the largest is taken.
        most, largest = FINEST, (inf, 0)
        while most >= FEWEST:
            blocks = self.blocks(most)
            if len(blocks) > 1:
                u = float(blocks.std(ddof=1)) / sqrt(len(blocks))
                largest = (u, len(blocks) - 1) if u > largest[0] or largest[0] == inf else largest
            most //= 2
        return largest


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
        if len(sizes) and sizes.min() == sizes.max():  # of spacings that are even, as most are
            self._count(sizes[:1], len(sizes))
        else:
            self._count(sizes)

    def _count(self, sizes: FloatArray, times: int = 1) -> None:
        moving = sizes[sizes > 0]
        self.zeros += times * (len(sizes) - len(moving))
        bins: NDArray[np.int64] = np.floor(np.log(moving / _LOWEST) / np.log(RATIO)).astype(np.int64)
        self._counts += times * np.bincount(np.clip(bins, 0, _BINS - 1), minlength=_BINS)

    def quantile(self, share: float) -> float | None:
        """Return the value that `share` of all do not exceed, to within 0.5 %; None where none was counted."""
        count = self.count
        if not count:
            return None
        reached = int(np.searchsorted(self.zeros + np.cumsum(self._counts), share * count))
        if share * count <= self.zeros:
            return 0.0
        return float(_LOWEST * RATIO ** (min(reached, _BINS - 1) + 0.5))
