"""The meter's own amp-hour counter, followed across its resets and compared with our integral."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from .chunk import MICROSECONDS, SECONDS_PER_HOUR, FloatArray, TimeArray

CounterKind = Literal["net", "moved"]


@dataclass(frozen=True)
class CounterComparison:
    """What the meter counted beside what we integrated.

    ``charge_Ah`` is the counter's own, ``difference_Ah`` ours minus the counter's; ``against`` names the figure of
    ours it is compared with. ``counts_down`` tells that the counter falls when charge is drawn.
    """

    charge_Ah: float
    difference_Ah: float
    against: Literal["net", "drawn + returned"]
    resets: int
    counts_down: bool


class CounterFold:
    """Sum what a counter counted, as a fold.

    Parameters
    ----------
    kind : {'net', 'moved'}
        ``net``: up with draw and down with return (or the other way round). ``moved``: always up, whichever way the
        charge goes.

    Notes
    -----
    A reset is a change that the current at both ends cannot explain (three times what it could move in the interval)
    which ends nearer to zero than that; what the counter shows then has been counted since the reset. What was counted
    between the last reading before a reset and the reset itself is not known. The tail carried is one reading.
    """

    def __init__(self, kind: CounterKind) -> None:
        self._kind = kind
        self._counted_Ah = 0.0
        self._resets = 0
        self._readings = 0
        self._tail: tuple[TimeArray, FloatArray, FloatArray] | None = None

    def add(self, time_us: TimeArray, count_Ah: FloatArray, current_A: FloatArray) -> None:
        """Take the next readings in; shapes (n,), in us, Ah and A."""
        there = ~np.isnan(count_Ah)
        time_us, count_Ah, current_A = time_us[there], count_Ah[there], np.abs(np.nan_to_num(current_A[there]))
        if not len(time_us):
            return
        self._readings += len(time_us)
        if self._tail is not None:
            time_us, count_Ah, current_A = (
                np.concatenate([old, new])
                for old, new in zip(self._tail, (time_us, count_Ah, current_A), strict=True)
            )
        self._tail = (time_us[-1:], count_Ah[-1:], current_A[-1:])
        self._sum(time_us, count_Ah, current_A)

    def _sum(self, time_us: TimeArray, count_Ah: FloatArray, current_A: FloatArray) -> None:
        step = np.diff(count_Ah)
        hours = np.diff(time_us) / (MICROSECONDS * SECONDS_PER_HOUR)
        could_move = 3.0 * np.maximum(current_A[:-1], current_A[1:]) * hours
        if self._kind == "moved":
            reset = step < 0
        else:
            reset = (np.abs(step) > could_move) & (np.abs(count_Ah[1:]) <= np.minimum(could_move, np.abs(count_Ah[:-1])))
        self._counted_Ah += float(np.where(reset, count_Ah[1:], step).sum())
        self._resets += int(reset.sum())

    def compared(self, *, drawn_Ah: float, returned_Ah: float) -> CounterComparison | None:
        """Return the comparison with our integral over the same readings; None where the counter was never read."""
        if self._readings < 2:  # noqa: PLR2004 - a difference needs two
            return None
        if self._kind == "moved":
            moved = drawn_Ah + returned_Ah
            return CounterComparison(
                self._counted_Ah, moved - self._counted_Ah, "drawn + returned", self._resets, counts_down=False
            )
        net = drawn_Ah - returned_Ah
        down = abs(net + self._counted_Ah) < abs(net - self._counted_Ah)
        counted = -self._counted_Ah if down else self._counted_Ah
        return CounterComparison(counted, net - counted, "net", self._resets, counts_down=down)
