"""Whether many runs are too brief for the readings: what draws for one reading or two, again and again alike."""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from ..readings.blocks import AROUND, Piece, gaps_before
from ..readings.chunk import FloatArray
from ..readings.measured_span import HowRead
from ..signal_levels.rises import RATIO, SLOW_S
from ..signal_levels.step_threshold import Threshold

#: A run of fewer readings is no level; over so many it comes back to within this share of what it rose by. [1]
MOST_READINGS: Final = 2
BACK: Final = 0.25
#: So many alike, this share of all rises of their size, of a load that makes this share of all that rises: common
#: practice, no source. [1]
LEAST_RUNS, LEAST_SHARE, WORTH_LOOKING = 8, 0.2, 0.1
#: Rises are counted by their size, in steps of `RATIO` from this one on. [unit of the signal], [1]
_SMALLEST, _SIZES = 1e-3, 256


class BriefRunsPart:
    """Count rises by size, and those of them that last for so few readings; carries the noise that earlier ones showed.

    Of means, which smear a run out, and of readings so close together that a start lasts for several, it says nothing.
    """

    def __init__(self, signal: str, how: HowRead, gap_limit_s: float | None) -> None:
        self._signal, self._gap_limit_s = signal, gap_limit_s
        self._judges = how.sampling == "instant" and (how.usual_interval_s or 0.0) >= SLOW_S
        self._threshold = Threshold()
        self._rises, self._brief = np.zeros(_SIZES, dtype=np.int64), np.zeros(_SIZES, dtype=np.int64)

    def take(self, piece: Piece) -> None:
        """Take the next piece in."""
        piece = piece.having(self._signal)
        x = piece.readings.quantities[self._signal]
        if not self._judges or len(x) <= 2 * AROUND:
            return
        is_gap = gaps_before(piece.readings.time_us, self._gap_limit_s)
        low, high = max(piece.start, 1), min(piece.stop, len(x) - MOST_READINGS)
        rises = np.diff(x)[low - 1 : max(high, low) - 1] > self._threshold.of(x, is_gap)
        at = low + np.flatnonzero(rises)
        at = at[~is_gap[at[:, None] + np.arange(MOST_READINGS + 1)].any(axis=1)]
        size = x[at] - x[at - 1]
        # It stays up for one reading, or for two that differ little, and is back where it was.
        one = np.abs(x[at + 1] - x[at - 1]) < BACK * size
        two = (np.abs(x[at + 2] - x[at - 1]) < BACK * size) & (np.abs(x[at + 1] - x[at]) < BACK * size)
        step = np.clip(np.log(size / _SMALLEST) / np.log(RATIO), 0, _SIZES - 1).astype(np.int64)
        self._rises += np.bincount(step, minlength=_SIZES)
        self._brief += np.bincount(step[one | two], minlength=_SIZES)

    def result(self) -> int:
        """Return how many such runs of like draw there were; nought where they are few, or too small to matter."""
        # What falls between two sizes is counted with both: three neighbours are alike.
        rises, brief = (_with_neighbours(x) for x in (self._rises, self._brief))
        weight = RATIO ** np.arange(_SIZES)
        matters = weight * rises >= WORTH_LOOKING * float(weight @ self._rises)
        many = matters & (brief >= LEAST_RUNS) & (brief >= LEAST_SHARE * rises)
        return int(brief[many].max(initial=0))


def _with_neighbours(x: NDArray[np.int64]) -> FloatArray:
    """Return each count with those on either side of it; shape (n,)."""
    return np.convolve(x, np.ones(3), "same")
