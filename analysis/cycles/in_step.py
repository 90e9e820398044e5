"""Whether a load was read in step with its own switching, so that its time on is known only by whole readings."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..readings.chunk import FloatArray
from ..readings.integral import Indices
from ..readings.windows import WINDOW, Waiting, Windows, in_groups, sums_of_products

#: Windows and readings in a stretch that is looked at, and the longest pattern in it: it is seen twice at least. [1]
WINDOWS: Final = 4
STRETCH, LONGEST = WINDOWS * WINDOW, 24
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
#: So many stretches are looked at together: quicker, as measured. [1]
_MANY: Final = 2048


@dataclass(frozen=True)
class InStep:
    """A load that switches in step with the readings: after how many of these its pattern repeats, most often.

    ``share`` is the limit of what that may make of the amount drawn: one reading's worth of the load in each pattern.
    """

    readings: int
    share: float


class InStepSums:
    """Look for it in blocks of readings; it carries sums, and stretches that wait for others."""

    def __init__(self) -> None:
        self._stretches = np.zeros(LONGEST + 1)
        self._drawn = self._doubtful = 0.0
        self._waiting = Waiting(_MANY)

    def add(self, drawn: float, windows: Windows) -> None:
        """Take the next blocks in: the sum of all that is above zero in them, and the blocks in windows."""
        self._drawn += drawn
        at = _moving(windows)
        if together := self._waiting.add(_stretches(windows.values, at), _stretches(windows.jumps, at)):
            self._take(*together)

    def _take(self, rows: FloatArray, jumps: FloatArray) -> None:
        """Take stretches in, and their jumps; shapes (64, m)."""
        is_jump = jumps >= JUMPS * np.ptp(rows, axis=0)
        # A byte holds as many as there are, and bytes are added many at a time.
        often = np.add.reduce(is_jump.view(np.uint8), axis=0, dtype=np.uint8) >= LEAST_JUMPS
        rows = rows.take(np.flatnonzero(often), axis=1)
        after = _pattern(rows)
        repeats = after > 0
        self._stretches += np.bincount(after[repeats], minlength=LONGEST + 1)
        self._doubtful += float((np.ptp(rows[:, repeats], axis=0) * STRETCH / after[repeats]).sum())

    def end(self) -> InStep | None:
        """Return what was seen, after which no more is taken in; None where nothing repeats."""
        if together := self._waiting.rest():
            self._take(*together)
        if self._stretches.sum() < LEAST_STRETCHES or self._doubtful < LEAST_SHARE * self._drawn:
            return None
        return InStep(int(np.argmax(self._stretches)), self._doubtful / self._drawn)


def _moving(windows: Windows) -> Indices:
    """Return the stretches, of four windows each, in which a draw moves, without a gap."""
    whole = len(windows) - len(windows) % WINDOWS
    sums, squares, longest = (
        in_groups(x[:whole], WINDOWS, together)
        for x, together in ((windows.sums, np.add), (windows.squares, np.add), (windows.largest_jump, np.maximum))
    )
    means = sums / STRETCH
    # Most stand still: a mean square beyond the square of the mean is a variance.
    moves = squares / STRETCH > (1 + MOVES**2) * means**2
    return np.flatnonzero((means > 0) & moves & (longest < np.inf))


def _stretches(x: FloatArray, at: Indices) -> FloatArray:
    """Return some stretches; shapes (16, n), (64, m)."""
    whole = x[:, : x.shape[1] - x.shape[1] % WINDOWS].reshape(WINDOW, -1, WINDOWS)
    return whole.take(at, axis=1).transpose(2, 0, 1).reshape(STRETCH, len(at))


def _pattern(rows: FloatArray) -> NDArray[np.int64]:
    """Return after how many readings each stretch, of shape (64, m), repeats; 0 where it does not."""
    pattern = np.zeros(rows.shape[1], dtype=np.int64)
    rows = rows - rows.mean(axis=0)
    # Sums of the squares of the first readings, and of the first k of them less, on the way to squares of changes.
    squares = np.cumsum(rows * rows, axis=0)
    at_random = 2 * squares[-1] / STRETCH
    # From the longest down, so that the shortest stands in the end: what repeats after 3 repeats after 6 as well.
    for k in range(LONGEST, 1, -1):
        # (b - a)2 = a2 + b2 - 2 a b, of which the sums are there.
        changes = squares[-1 - k] + squares[-1] - squares[k - 1] - 2 * sums_of_products(rows[k:], rows[:-k])
        pattern[changes < REPEATS * at_random * (STRETCH - k)] = k
    return pattern
