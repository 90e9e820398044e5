"""Whether a load was read in step with its own switching, so that its time on is known only by whole readings."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .chunk import FloatArray
from .pieces import Piece, gaps_before

#: Readings in a stretch that is looked at, and the longest pattern in it: it is seen twice at least. [1]
STRETCH, LONGEST = 64, 24
#: A pattern repeats where readings so many apart differ by less than this share of what readings at random do: by trial.
REPEATS: Final = 0.02
#: A stretch is looked at where it scatters by more than this share of its mean: twice the usual 1 % of reading that a
#: meter may be off; common practice, no source. [1]
MOVES: Final = 0.02
#: A load jumps: by this share of the range from one reading to the next, at least. [1]
JUMPS: Final = 0.5
#: So many stretches must repeat, and this share of the amount must be in doubt: common practice, no source.
LEAST_STRETCHES, LEAST_SHARE = 4, 0.01


@dataclass(frozen=True)
class InStep:
    """A load that switches in step with the readings.

    Parameters
    ----------
    readings : int
        After how many readings the pattern repeats, most often. [1]
    share : float
        The limit of what that may make of the amount drawn: one reading's worth of the load in each pattern. [1]
    """

    readings: int
    share: float


class InStepPart:
    """Look for it; sums are all that it carries, besides one piece.

    Parameters
    ----------
    signal : str
        The quantity that is looked at.
    gap_limit_s : float or None
        A longer spacing is a gap. [s]
    """

    def __init__(self, signal: str, gap_limit_s: float | None) -> None:
        self._signal, self._gap_limit_s = signal, gap_limit_s
        self._stretches = np.zeros(LONGEST + 1)
        self._drawn = self._doubtful = 0.0

    def take(self, piece: Piece) -> None:
        """Take the next piece in."""
        new = piece.having(self._signal).new()
        x = new.quantities[self._signal]
        self._drawn += float(x[x > 0].sum())
        whole = len(x) - len(x) % STRETCH
        gaps = gaps_before(new.time_us, self._gap_limit_s)[:whole].reshape(-1, STRETCH)[:, 1:].any(axis=1)
        rows = x[:whole].reshape(-1, STRETCH)[~gaps]
        rows = rows[_jump(rows)]
        after = _pattern(rows)
        there = after > 0
        self._stretches += np.bincount(after[there], minlength=LONGEST + 1)
        self._doubtful += float((np.ptp(rows[there], axis=1) * STRETCH / after[there]).sum())

    def result(self) -> InStep | None:
        """Return what is seen so far; None where nothing repeats."""
        if self._stretches.sum() < LEAST_STRETCHES or self._doubtful < LEAST_SHARE * self._drawn:
            return None
        return InStep(int(np.argmax(self._stretches)), self._doubtful / self._drawn)


def _jump(rows: FloatArray) -> NDArray[np.bool_]:
    """Return in which stretches a draw jumps."""
    if not len(rows):
        return np.zeros(0, dtype=bool)
    means, width = rows.mean(axis=1), np.ptp(rows, axis=1)
    jump = np.abs(np.diff(rows, axis=1)).max(axis=1)
    return np.asarray((means > 0) & (rows.std(axis=1) > MOVES * means) & (jump >= JUMPS * width))


def _pattern(rows: FloatArray) -> NDArray[np.int64]:
    """Return after how many readings each stretch repeats; 0 where it does not."""
    found = np.zeros(len(rows), dtype=np.int64)
    at_random = 2 * rows.var(axis=1)
    for k in range(LONGEST, 1, -1):  # the shortest stands in the end
        apart = np.square(rows[:, k:] - rows[:, :-k]).mean(axis=1)
        found[apart < REPEATS * at_random] = k
    return found
