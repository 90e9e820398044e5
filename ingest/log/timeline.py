"""Put readings in order: late rows, clocks that were set back, rows with the same stamp.

The rules, in this order:

1. A source written newest first is turned round.
2. Sessions of a clock that began anew are laid behind each other (`restarts`).
3. Rows stamped before the row ahead of them are put in their place, if few or if they overlap nothing (files given in
   another order); so are a few rows that leap ahead of their neighbours.
4. A longer stretch that overlaps what is already there means that the meter's clock was set back (`clock_steps`): from
   there on everything is moved forward, so that the readings keep their order and follow at the usual interval. The
   step is recorded. A stretch that only says again what is there, as exports that overlap do, is no such thing: its
   rows count once.
5. Where all stamps are whole seconds (or whole minutes) and the source steadily gives several rows in each, the rows
   of a second (or minute) are spread evenly within it, or laid by the one rhythm that explains them (`whole_stamps`).
6. Where stamps are whole seconds, two rows of one second with `SPARSE` or more seconds before or after them are the
   two sides of a step if the level goes on across the long spacings: the first row's with the reading before, the
   second's with the one after. Both are kept, half a second apart.
7. Other rows with the same stamp are merged: quantities become their mean, counters their last value. Of a clock that
   stood still it would be the mean of all that flowed meanwhile: that is refused (`standing_clock`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ..quantities import COUNTERS
from .clock_steps import follow_on
from .gap_limit import LONG_US
from .log import Readings, level_of
from .standing_clock import refuse_standing_clock
from .whole_stamps import lay

if TYPE_CHECKING:
    from .restarts import Sessions

SPARSE = 10
_SECOND_US = 1_000_000


@dataclass
class Settled:
    """Readings whose times strictly increase, and what was done to get there."""

    readings: Readings
    merged: int = 0
    late: int = 0
    spread_us: int = 0
    steps: int = 0
    turned: bool = False
    repeated: int = 0
    clock_steps: list[dict[str, float]] = field(default_factory=list)
    sessions: Sessions | None = None
    averaged: str | None = None

    @property
    def rhythm_us(self) -> NDArray[np.int64]:
        """The instants, with the pauses that were laid between sessions closed up. [us]"""
        time_us = self.readings.time_us
        if self.sessions is None or len(time_us) < 2:
            return time_us
        return self.sessions.closed(time_us, int(np.median(np.diff(time_us))))

    def moved(self) -> list[str]:
        """Return in sentences what a person must know of before relying on any amount."""
        lines = []
        laid = [] if self.sessions is None else self.sessions.steps
        if self.sessions is not None and (begun := len(self.sessions.pauses)):
            rows = f" ({self.sessions.unset:,} rows show a date of its making)" if self.sessions.unset else ""
            lines.append(
                f"the meter's clock began anew {_times(begun)}{rows}: the sessions are laid behind each other, "
                "with a pause between them that nobody knows the length of and that counts for nothing"
            )
        lines += [
            f"the meter's clock was set back by {step['step_s']:g} s; "
            "the readings after that were moved forward to follow on"
            for step in self.clock_steps
            if step not in laid
        ]
        if self.repeated:
            lines.append(
                f"{self.repeated:,} rows say again what rows before them say (the same time and readings), "
                "as where an export was taken twice; each is counted once"
            )
        return lines + ([self.averaged] if self.averaged else [])

    def sentences(self) -> list[str]:
        """Return in sentences what was done."""
        lines = []
        if self.turned:
            lines.append("the source was written newest first; it was turned round")
        if self.late:
            lines.append(f"{self.late} rows came late and were put in their place by their time stamps")
        lines += self.moved()
        if self.spread_us:
            word = "second" if self.spread_us == _SECOND_US else "minute"
            lines.append(
                f"stamps have whole {word}s but there are several rows a {word}; they were spread evenly within it"
            )
        if self.steps:
            lines.append(f"{self.steps} steps were caught by two rows of one second; both were kept")
        if shared := self.merged - self.repeated:
            lines.append(f"{shared} rows shared a time stamp with another and were merged into it (their mean)")
        return lines


def settle(
    readings: Readings, *, counted: bool = False, headers: Sequence[int] = (), least_pause_us: int = 0
) -> Settled:
    """Bring readings, in the order they were written and in UTC, into strictly increasing time by the rules above.

    `counted`: the stamps count from a start. `headers`: the rows above which a header stood again. The pauses laid
    between sessions are longer than `least_pause_us`.

    Raises
    ------
    InputError
        If the rows may be two meters' (see `restarts`), or their clock stood still.
    """
    refuse_standing_clock(readings)
    time_us, quantities = readings.time_us.copy(), dict(readings.quantities)
    settled = Settled(readings)
    steps = np.diff(time_us)
    # Turned round before clocks are looked at: newest first, every row would be a step back.
    if (steps < 0).sum() > (steps > 0).sum():
        time_us, quantities = time_us[::-1].copy(), {name: x[::-1] for name, x in quantities.items()}
        settled.turned = True
    part = np.cumsum(np.diff(time_us, prepend=time_us[:1]) < 0).astype(np.int64)
    if part.any() or (np.diff(time_us) > LONG_US).any():
        from .restarts import lay_behind, refuse_joined_meters  # what has only rows of one stamp needs none of it

        settled.sessions = lay_behind(time_us, quantities, counted=counted, least_pause_us=least_pause_us)
        laid_us = time_us.copy()
        settled.clock_steps = [*settled.sessions.steps, *follow_on(time_us, quantities)]
        refuse_joined_meters(laid_us, time_us, () if settled.turned else headers)
        order = np.argsort(time_us, kind="stable")
        settled.late = _late_rows(time_us)
        order = order[~_said_before(time_us[order], {name: x[order] for name, x in quantities.items()}, part[order])]
        settled.repeated = len(time_us) - len(order)
        time_us, quantities = time_us[order], {name: x[order] for name, x in quantities.items()}
    # After sorting, since the rows of one stamp must be neighbours; spreading keeps what merging would average away.
    laid = lay(time_us, quantities)
    time_us, settled.spread_us = laid.time_us, laid.grain_us
    if not laid.grain_us:
        time_us, settled.steps = _sides_of_steps(time_us, quantities)
    settled.readings = merge_equal(time_us, quantities)
    settled.averaged = _averaged(time_us, quantities, settled.readings)
    settled.merged = len(readings.time_us) - len(settled.readings.time_us)
    return settled


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count:,} times"


def _said_before(
    time_us: NDArray[np.int64], quantities: dict[str, NDArray[np.float64]], part: NDArray[np.int64]
) -> NDArray[np.bool_]:
    """Return which rows, in order of time, have stamp and readings of a row from an earlier part of the source.

    Within one part a fast meter may well read the same twice in a second: such rows stay.
    """
    repeats = np.zeros(len(time_us), dtype=np.bool_)
    # Only stamps that come again need a look.
    same = np.diff(time_us) == 0
    shared = np.flatnonzero(np.append(same, False) | np.append(False, same))
    if not len(shared):
        return repeats
    columns = [time_us[shared], *(np.nan_to_num(x[shared], nan=np.inf) for x in quantities.values())]
    order = np.lexsort((part[shared], *columns))
    new = np.zeros(len(order), dtype=np.bool_)
    new[0] = True
    for x in columns:
        new[1:] |= x[order][1:] != x[order][:-1]
    # The first of a group of equal rows is of the earliest part that has it.
    first = np.flatnonzero(new)[np.cumsum(new) - 1]
    parts = part[shared][order]
    repeats[shared[order]] = parts != parts[first]
    return repeats


#: Rows of one stamp that move no amount by more than this share differ by a rounding. [1]
_ROUNDING = 1e-3


def _averaged(time_us: NDArray[np.int64], quantities: dict[str, NDArray[np.float64]], merged: Readings) -> str | None:
    """Return in a sentence how far rows of one stamp differ, if their mean is more than a rounding."""
    x = level_of(quantities)
    if x is None or len(merged.time_us) == len(time_us):
        return None
    mean = level_of(merged.quantities)
    assert mean is not None  # the same quantities
    apart = np.abs(x - mean[np.searchsorted(merged.time_us, time_us)])
    total, apart = float(np.nansum(np.abs(x))), np.nan_to_num(apart)
    if float(apart.sum()) <= _ROUNDING * total:
        return None
    rows = int(np.count_nonzero(apart))
    return (
        f"{rows:,} rows share a time stamp with rows that say otherwise (up to {apart.max():.3g} from their mean): "
        "the mean is taken, so what each of them says is in no figure"
    )


def _late_rows(time_us: NDArray[np.int64]) -> int:
    return int((time_us[1:] < np.maximum.accumulate(time_us)[:-1]).sum())


def _sides_of_steps(
    time_us: NDArray[np.int64], quantities: dict[str, NDArray[np.float64]]
) -> tuple[NDArray[np.int64], int]:
    """Set the second of two rows with one stamp half a second later where they are the two sides of a step (rule 6)."""
    x = level_of(quantities)
    gaps = np.diff(time_us)
    if x is None or len(time_us) < 4 or (time_us % _SECOND_US).any() or not (gaps == 0).any():
        return time_us, 0
    # Exactly two rows, with others on both sides: of three nobody knows which is the step.
    twice = np.flatnonzero((gaps[1:-1] == 0) & (gaps[:-2] > 0) & (gaps[2:] > 0)) + 1
    far_before, far_after = gaps[twice - 1] >= SPARSE * _SECOND_US, gaps[twice + 1] >= SPARSE * _SECOND_US
    step = np.abs(x[twice + 1] - x[twice])
    # Close readings may follow a start's surge; only across a long spacing must the level go on.
    apart = np.where(far_before, np.abs(x[twice] - x[twice - 1]), 0.0)
    apart += np.where(far_after, np.abs(x[twice + 2] - x[twice + 1]), 0.0)
    second = twice[(far_before | far_after) & (step > 2 * apart)] + 1
    moved = time_us.copy()
    moved[second] += _SECOND_US // 2
    return moved, len(second)


def merge_equal(time_us: NDArray[np.int64], quantities: dict[str, NDArray[np.float64]]) -> Readings:
    """Merge rows with one time stamp, which never decrease: quantities become their mean, counters their last value."""
    first = np.flatnonzero(np.concatenate([[True], np.diff(time_us) > 0]))
    if len(first) == len(time_us):
        return Readings(time_us, quantities)
    merged = {}
    for name, x in quantities.items():
        merged[name] = _last_of(x, first) if name in COUNTERS else _mean_of(x, first)
    return Readings(time_us[first], merged)


def _mean_of(x: NDArray[np.float64], first: NDArray[np.int64]) -> NDArray[np.float64]:
    filled = ~np.isnan(x)
    count = np.add.reduceat(filled.astype(np.float64), first)
    total = np.add.reduceat(np.where(filled, x, 0.0), first)
    with np.errstate(invalid="ignore"):
        return np.where(count > 0, total / count, np.nan)


def _last_of(x: NDArray[np.float64], first: NDArray[np.int64]) -> NDArray[np.float64]:
    at = np.maximum.reduceat(np.where(np.isnan(x), -1, np.arange(len(x))), first)
    return np.where(at >= 0, x[at], np.nan)
