"""All starts of a load laid over each other: which of them are looked at, and what is usual at each instant of one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from ..readings.chunk import MICROSECONDS, FloatArray

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from ..cycles.cycle import Cycle, Cycles
    from ..readings.chunk import Sampling
    from .log_report import CloseUp

#: So many starts are looked at: more would lie on top of each other. [1]
MOST: Final = 60
#: Fewer show nothing that one alone does not. [1]
LEAST: Final = 3
#: What is looked at of a start: from this long before it to this long after. [s]
BEFORE_S, AFTER_S = 2.0, 10.0
#: Nobody sees more of a start than instants so far apart show of it. [s]
_FINEST_S: Final = 0.01
#: The grid is so much finer than the readings, so that their peaks stand on it wherever they fell. [1]
_FINER: Final = 4
#: An instant belongs to the usual start only where so many of the starts were read. [1]
_MOST_OF: Final = 0.5


@dataclass(frozen=True)
class StartsTogether:
    """Starts laid over each other, above what was drawn before each.

    ``seconds`` counts from the start, n instants. ``each`` has a row for each start, NaN where it was not read;
    ``usual`` is the median of those, NaN where less than half of them were read. ``surge`` and ``running`` are what the
    load usually draws at the top of a start and once it runs, medians over the runs that are shown. All but the seconds
    are in the unit of ``quantity``, amps or watts.
    """

    quantity: str
    seconds: FloatArray
    each: NDArray[np.float64]
    usual: FloatArray
    surge: float
    running: float


def chosen_starts(cycles: Cycles, most: int = MOST) -> tuple[Cycle, ...]:
    """Return at most so many cycles whose start was seen to its top, the highest and the lowest surge among them.

    They are chosen evenly over the log.
    """
    # A start of which the top fell between two readings shows how it was read, not how it was.
    seen = [cycle for cycle in cycles.cycles if cycle.surge_ratio is not None and cycle.surge_resolved]
    if len(seen) <= most:
        return tuple(seen)
    by_surge = sorted(range(len(seen)), key=lambda k: seen[k].surge_ratio or 0.0)
    evenly = np.linspace(0, len(seen) - 1, most - 2).round().astype(int).tolist()
    return tuple(seen[k] for k in sorted({by_surge[0], by_surge[-1], *evenly}))


def starts_together(starts: Sequence[CloseUp], sampling: Sampling) -> StartsTogether | None:
    """Return starts laid over each other; None where they are too few.

    The usual start is the median over the starts at each instant of a grid finer than the readings. Between its
    readings each start runs as readings of its kind do: straight for those of an instant, level for means (back to the
    reading before) and for what was read by eye (on to the next). Nothing is made up before its first and after its
    last reading. What was drawn before a start, the median of its readings there, is taken off it.
    """
    quantity = _quantity(starts)
    curves = [curve for start in starts if (curve := _above_before(start, quantity)) is not None]
    if len(curves) < LEAST:
        return None
    spacing_s = float(np.median(np.concatenate([np.diff(seconds) for seconds, _ in curves])))
    step_s = max(spacing_s / _FINER, _FINEST_S)
    steps = np.arange(-round(BEFORE_S / step_s), round(AFTER_S / step_s) + 1)
    grid: FloatArray = steps.astype(np.float64) * step_s
    each = np.stack([_on_grid(grid, seconds, x, sampling) for seconds, x in curves])
    many = (~np.isnan(each)).sum(axis=0) >= _MOST_OF * len(each)
    usual = np.full(len(grid), np.nan)
    usual[many] = np.nanmedian(each[:, many], axis=0)
    highest = [float(x[seconds >= 0].max()) for seconds, x in curves]
    return StartsTogether(quantity, grid, each, usual, float(np.median(highest)), _running(starts, quantity))


def _quantity(starts: Sequence[CloseUp]) -> str:
    names = [set(start.readings.quantities) for start in starts]
    return next((q for q in ("current_A", "power_W") if all(q in own for own in names)), "")


def _above_before(start: CloseUp, quantity: str) -> tuple[FloatArray, FloatArray] | None:
    """Return a start's seconds and readings above what was drawn before it; None where one of the two is missing."""
    x = start.readings.quantities.get(quantity)
    if x is None:
        return None
    known = ~np.isnan(x)
    seconds, x = (start.readings.time_us[known] - start.cycle.start_us) / MICROSECONDS, x[known]
    # A run that ends earlier says nothing of a start after its end.
    is_own = seconds <= (np.inf if start.cycle.run_s is None else start.cycle.run_s)
    seconds, x = seconds[is_own], x[is_own]
    before = x[seconds < 0]
    if not len(before) or not (seconds >= 0).any():
        return None
    return seconds, x - float(np.median(before))


def _on_grid(grid: FloatArray, seconds: FloatArray, x: FloatArray, sampling: Sampling) -> FloatArray:
    """Return a start's readings at the instants of a grid; NaN before the first and after the last."""
    inside = (grid >= seconds[0]) & (grid <= seconds[-1])
    if sampling == "instant":
        y = np.interp(grid, seconds, x)
    else:
        later = (
            np.searchsorted(seconds, grid) if sampling == "mean" else np.searchsorted(seconds, grid, side="right") - 1
        )
        y = x[np.clip(later, 0, len(x) - 1)]
    return np.where(inside, y, np.nan)


def _running(starts: Sequence[CloseUp], quantity: str) -> float:
    """Return what the load usually draws once it runs, by the figures of its runs. [unit]."""
    draws = [start.cycle.run_A if quantity == "current_A" else start.cycle.run_W for start in starts]
    known = [draw for draw in draws if draw is not None]
    return float(np.median(known)) if known else float("nan")
