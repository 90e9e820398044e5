"""The meter's own amp-hour counter, followed across its resets and compared with our integral."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..readings.chunk import MICROSECONDS, SECONDS_PER_HOUR, FloatArray, TimeArray
from ..readings.measured_span import CounterKind


@dataclass(frozen=True)
class CounterComparison:
    """What the meter counted beside what we integrated.

    ``charge_Ah`` is the counter's own, ``difference_Ah`` ours minus the counter's; ``against`` names the figure of
    ours it is compared with. ``in_gaps_Ah`` is what it went on counting where the log has gaps; that is in neither.
    ``counts_down`` tells that the counter falls when charge is drawn.
    """

    charge_Ah: float
    difference_Ah: float
    against: Literal["net", "drawn + returned"]
    resets: int
    counts_down: bool
    in_gaps_Ah: float = 0.0


class _Reset(NamedTuple):
    """The step by which a counter was reset, and what it showed after it, which was counted since."""

    step_Ah: float
    after_Ah: float


class CounterFold:
    """Sum what a counter counted, as a fold.

    Parameters
    ----------
    kind : {'net', 'moved'}
        ``net``: up with draw and down with return (or the other way round). ``moved``: always up, whichever way the
        charge goes.
    gap_limit_s : float, optional
        What it counted in a longer spacing is kept apart, since our integral does not bridge it. [s]

    Notes
    -----
    A reset is a change that the current at both ends cannot explain (three times what it could move in the interval)
    which ends nearer to zero than that; of a counter that only goes up, also a fall to less than half. What the
    counter shows then has been counted since the reset. What was counted between the last reading before a reset and
    the reset itself is not known. A coarse counter that passes zero by one of its usual steps was not reset; that is
    decided in `result` from the smallest step seen elsewhere. The tail carried is one reading, and each reset.
    """

    def __init__(self, kind: CounterKind, gap_limit_s: float | None = None) -> None:
        self._kind = kind
        self._gap_limit_s = gap_limit_s
        self._counted_Ah = self._in_gaps_Ah = 0.0
        self._resets: list[_Reset] = []
        self._grain_Ah = np.inf
        self._readings = 0
        self._tail: tuple[TimeArray, FloatArray, FloatArray] | None = None

    def add(self, time_us: TimeArray, count_Ah: FloatArray, current_A: FloatArray) -> None:
        """Take the next readings in; shapes (n,), in us, Ah and A."""
        seen = ~np.isnan(count_Ah)
        time_us, count_Ah, current_A = time_us[seen], count_Ah[seen], np.abs(np.nan_to_num(current_A[seen]))
        if not len(time_us):
            return
        self._readings += len(time_us)
        if self._tail is not None:
            old, new = self._tail, (time_us, count_Ah, current_A)
            time_us, count_Ah, current_A = (np.concatenate(pair) for pair in zip(old, new, strict=True))
        self._tail = (time_us[-1:], count_Ah[-1:], current_A[-1:])
        self._sum(time_us, count_Ah, current_A)

    def _sum(self, time_us: TimeArray, count_Ah: FloatArray, current_A: FloatArray) -> None:
        # What a reset left of a step is no count of the current, and a step over a gap is of time that is not ours.
        step = np.diff(count_Ah)
        length_s = np.diff(time_us) / MICROSECONDS
        reset = self._looks_reset(count_Ah, step, np.maximum(current_A[:-1], current_A[1:]) * length_s)
        in_gap = np.zeros(len(step), dtype=bool) if self._gap_limit_s is None else length_s > self._gap_limit_s
        self._counted_Ah += float(step[~reset & ~in_gap].sum())
        self._in_gaps_Ah += float(np.where(reset, count_Ah[1:], step)[in_gap].sum())
        inside = reset & ~in_gap
        self._resets += [_Reset(*row) for row in zip(step[inside].tolist(), count_Ah[1:][inside].tolist(), strict=True)]
        moving = np.abs(step[~reset & (step != 0)])
        self._grain_Ah = min(self._grain_Ah, float(moving.min(initial=np.inf)))

    def _looks_reset(self, count_Ah: FloatArray, step: FloatArray, moved_As: FloatArray) -> NDArray[np.bool_]:
        could_move = 3.0 * moved_As / SECONDS_PER_HOUR
        before, after = np.abs(count_Ah[:-1]), np.abs(count_Ah[1:])
        at_zero = (np.abs(step) > could_move) & (after <= np.minimum(could_move, before))
        if self._kind == "net":
            return np.asarray(at_zero)
        # A counter that only goes up cannot fall; a small fall may be its last digits, and one to less than half is
        # none.
        return np.asarray((step < 0) & (at_zero | (after < before / 2)))

    def compared(self, *, drawn_Ah: float, returned_Ah: float) -> CounterComparison | None:
        """Return the comparison with our integral over the same readings; None where the counter was never read."""
        if self._readings < 2:
            return None
        # Half as much again as the smallest step allows for rounding in the file.
        usual_Ah = 1.5 * self._grain_Ah if self._kind == "net" and np.isfinite(self._grain_Ah) else 0.0
        true = [reset.after_Ah for reset in self._resets if abs(reset.step_Ah) > usual_Ah]
        passed = [reset.step_Ah for reset in self._resets if abs(reset.step_Ah) <= usual_Ah]
        counted_Ah = self._counted_Ah + sum(true) + sum(passed)
        # A net counter may count either way; the way in which it comes nearer to our integral is taken for its own.
        net_Ah = drawn_Ah - returned_Ah
        down = self._kind == "net" and abs(net_Ah + counted_Ah) < abs(net_Ah - counted_Ah)
        sign = -1.0 if down else 1.0
        ours_Ah = drawn_Ah + returned_Ah if self._kind == "moved" else net_Ah
        return CounterComparison(
            charge_Ah=sign * counted_Ah,
            difference_Ah=ours_Ah - sign * counted_Ah,
            against="drawn + returned" if self._kind == "moved" else "net",
            resets=len(true),
            counts_down=down,
            in_gaps_Ah=sign * self._in_gaps_Ah,
        )
