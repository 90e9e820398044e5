"""Whether a load was read in step with its own switching, so that its time on is known only by whole readings."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..readings.chunk import FloatArray

#: Readings in a stretch that is looked at, and the longest pattern in it: it is seen twice at least. [1]
STRETCH, LONGEST = 64, 24
#: A pattern repeats where readings so far apart differ by less than this share of what any two do: by trial. [1]
REPEATS: Final = 0.02
#: A stretch is looked at where it scatters by more than this share of its mean: twice the usual 1 % of reading that a
#: meter may be off; common practice, no source. [1]
MOVES: Final = 0.02
#: A load jumps: by this share of the range from one reading to the next, at least. [1]
JUMPS: Final = 0.5
#: In a stretch that repeats a load jumps so often at least: twice in each pattern. [1]
LEAST_JUMPS: Final = 4
#: So many stretches must repeat, and this share of the amount must be in doubt: common practice, no source.
LEAST_STRETCHES, LEAST_SHARE = 4, 0.01


@dataclass(frozen=True)
class InStep:
    """A load that switches in step with the readings: after how many of these its pattern repeats, most often.

    ``share`` is the limit of what that may make of the amount drawn: one reading's worth of the load in each pattern.
    """

    readings: int
    share: float


class InStepSums:
    """Look for it in blocks of readings; sums are all that it carries."""

    def __init__(self) -> None:
        self._stretches = np.zeros(LONGEST + 1)
        self._drawn = self._doubtful = 0.0

    def add(self, x: FloatArray, jump: FloatArray) -> None:
        """Take the next blocks in, a row each: readings, and the change from the one before, infinite after a gap."""
        self._drawn += float(np.maximum(x, 0.0).sum())
        whole = x.shape[1] - x.shape[1] % STRETCH
        rows, jumps = (y[:, :whole].reshape(-1, STRETCH) for y in (x, jump))
        # Few, as a rule: quicker than to count in each.
        loud = np.flatnonzero(jumps > JUMPS * MOVES * np.abs(rows))
        at = np.flatnonzero(np.bincount(loud // STRETCH, minlength=len(rows)) >= LEAST_JUMPS)
        rows = rows[at][_jumps(rows[at], jumps[at])]
        after = _pattern(rows)
        repeats = after > 0
        self._stretches += np.bincount(after[repeats], minlength=LONGEST + 1)
        self._doubtful += float((np.ptp(rows[repeats], axis=1) * STRETCH / after[repeats]).sum())

    def result(self) -> InStep | None:
        """Return what is seen so far; None where nothing repeats."""
        if self._stretches.sum() < LEAST_STRETCHES or self._doubtful < LEAST_SHARE * self._drawn:
            return None
        return InStep(int(np.argmax(self._stretches)), self._doubtful / self._drawn)


def _jumps(rows: FloatArray, jumps: FloatArray) -> NDArray[np.bool_]:
    """Return in which stretches a draw jumps again and again, without a gap."""
    means, width = rows.mean(axis=1), np.ptp(rows, axis=1)
    often = (jumps >= (JUMPS * width)[:, None]).sum(axis=1) >= LEAST_JUMPS
    return np.asarray((means > 0) & often & (rows.std(axis=1) > MOVES * means) & (jumps.max(axis=1) < np.inf))


def _pattern(rows: FloatArray) -> NDArray[np.int64]:
    """Return after how many readings each stretch repeats; 0 where it does not."""
    pattern = np.zeros(len(rows), dtype=np.int64)
    at_random = 2 * rows.var(axis=1)
    # From the longest down, so that the shortest stands in the end: what repeats after 3 repeats after 6 as well.
    for k in range(LONGEST, 1, -1):
        apart = np.square(rows[:, k:] - rows[:, :-k]).mean(axis=1)
        pattern[apart < REPEATS * at_random] = k
    return pattern
