"""Put readings in order: late rows, clocks that were set back, rows with the same stamp.

The rules, in this order:

1. A source written newest first is turned round.
2. Rows stamped before the row ahead of them are put in their place, if few (up to `LATE_ROWS` at a stretch) or if
   they overlap nothing (files given in another order).
3. A longer stretch that overlaps what is already there means that the meter's clock was set back: from there on
   everything is moved forward, so that the readings keep their order and follow at the usual interval. The step is
   recorded.
4. Where all stamps are whole seconds and the source steadily gives several rows a second, the rows of a second are
   spread evenly within it.
5. Other rows with the same stamp are merged: quantities become their mean, counters their last value.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from .log import Readings
from .quantities import COUNTERS

LATE_ROWS = 100
_SECOND_US = 1_000_000


@dataclass
class Settled:
    """Readings whose times strictly increase, and what was done to get there."""

    readings: Readings
    merged: int = 0
    late: int = 0
    spread: bool = False
    turned: bool = False
    clock_steps: list[dict[str, float]] = field(default_factory=list)

    def said(self) -> list[str]:
        """Return in sentences what was done."""
        lines = []
        if self.turned:
            lines.append("the source was written newest first; it was turned round")
        if self.late:
            lines.append(f"{self.late} rows came late and were put in their place by their time stamps")
        for step in self.clock_steps:
            lines.append(
                f"the meter's clock was set back by {step['step_s']:g} s; the readings after that were moved forward to follow on"
            )
        if self.spread:
            lines.append("stamps have whole seconds but there are several rows a second; they were spread evenly within it")
        if self.merged:
            lines.append(f"{self.merged} rows shared a time stamp with another and were merged into it (their mean)")
        return lines


def settle(readings: Readings) -> Settled:
    """Bring readings into strictly increasing time by the rules above.

    Parameters
    ----------
    readings : Readings
        In the order they were written; times in UTC. [us]
    """
    time_us, quantities = readings.time_us.copy(), dict(readings.quantities)
    settled = Settled(readings)
    steps = np.diff(time_us)
    if (steps < 0).sum() > (steps > 0).sum():
        time_us, quantities = time_us[::-1].copy(), {name: x[::-1] for name, x in quantities.items()}
        settled.turned = True
    if (np.diff(time_us) < 0).any():
        time_us = _set_back(time_us, settled)
        order = np.argsort(time_us, kind="stable")
        settled.late = _late_rows(time_us)
        time_us, quantities = time_us[order], {name: x[order] for name, x in quantities.items()}
    if _is_steady(time_us):
        time_us, settled.spread = _spread(time_us), True
    settled.readings = _merge(time_us, quantities)
    settled.merged = len(time_us) - len(settled.readings.time_us)
    return settled


def _late_rows(time_us: NDArray[np.int64]) -> int:
    return int((time_us[1:] < np.maximum.accumulate(time_us)[:-1]).sum())


def _set_back(time_us: NDArray[np.int64], settled: Settled) -> NDArray[np.int64]:
    """Move forward what follows each setting back of the clock (rule 3)."""
    cuts = np.flatnonzero(np.diff(time_us) < 0) + 1
    bounds = np.concatenate([[0], cuts, [len(time_us)]])
    sizes = np.diff(bounds)
    usual = int(np.median(np.diff(time_us)[np.diff(time_us) > 0])) if (np.diff(time_us) > 0).any() else _SECOND_US
    placed: list[tuple[int, int]] = []
    shift = 0
    for k, size in enumerate(sizes.tolist()):
        start, stop = int(bounds[k]), int(bounds[k + 1])
        if size <= LATE_ROWS and k:
            time_us[start:stop] += shift
            continue
        low, high = int(time_us[start]) + shift, int(time_us[stop - 1]) + shift
        if any(low <= b and a <= high for a, b in placed):
            end = max(b for _, b in placed)
            settled.clock_steps.append({"at_us": end, "step_s": (end + usual - low) / _SECOND_US})
            shift += end + usual - low
            low, high = low + (end + usual - low), high + (end + usual - low)
        time_us[start:stop] += shift
        placed.append((low, high))
    return time_us


def _is_steady(time_us: NDArray[np.int64]) -> bool:
    """Tell whether stamps are whole seconds and at least four in five seconds hold several rows."""
    if len(time_us) < 4 or (time_us % _SECOND_US).any():  # noqa: PLR2004 - two seconds with two rows
        return False
    _, counts = np.unique(time_us, return_counts=True)
    return len(counts) > 1 and bool((counts > 1).mean() >= 0.8)  # noqa: PLR2004


def _spread(time_us: NDArray[np.int64]) -> NDArray[np.int64]:
    """Spread the rows of each second evenly; a first and last second not full keep the usual spacing."""
    _, start, inverse, counts = np.unique(time_us, return_index=True, return_inverse=True, return_counts=True)
    usual = int(np.bincount(counts).argmax())
    room = counts.copy()
    room[[0, -1]] = np.maximum(counts[[0, -1]], usual)
    place = np.arange(len(time_us)) - start[inverse]
    late = np.zeros(len(counts), dtype=np.int64)
    late[0] = room[0] - counts[0]  # a log that begins within a second has its last rows
    return time_us + (place + late[inverse]) * _SECOND_US // room[inverse]


def _merge(time_us: NDArray[np.int64], quantities: dict[str, NDArray[np.float64]]) -> Readings:
    first = np.flatnonzero(np.concatenate([[True], np.diff(time_us) > 0]))
    if len(first) == len(time_us):
        return Readings(time_us, quantities)
    merged = {}
    for name, x in quantities.items():
        merged[name] = _last_of(x, first) if name in COUNTERS else _mean_of(x, first)
    return Readings(time_us[first], merged)


def _mean_of(x: NDArray[np.float64], first: NDArray[np.int64]) -> NDArray[np.float64]:
    there = ~np.isnan(x)
    count = np.add.reduceat(there.astype(np.float64), first)
    total = np.add.reduceat(np.where(there, x, 0.0), first)
    with np.errstate(invalid="ignore"):
        return np.where(count > 0, total / count, np.nan)


def _last_of(x: NDArray[np.float64], first: NDArray[np.int64]) -> NDArray[np.float64]:
    at = np.maximum.reduceat(np.where(np.isnan(x), -1, np.arange(len(x))), first)
    return np.where(at >= 0, x[at], np.nan)
