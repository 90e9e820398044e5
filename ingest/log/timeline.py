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

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ..quantities import COUNTERS
from .by_time import rows_by_time
from .clock_steps import backs_of, follow_on
from .gap_limit import LONG_US
from .log import Readings, level_of
from .standing_clock import refuse_standing_clock
from .stored import Scratch, forget, forward, quantile, slices, steps_of, whole_groups
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

    def rhythm(self) -> Iterator[Readings]:
        """Yield the readings, some at a time, with the pauses that were laid between sessions closed up."""
        time_us, quantities = self.readings.time_us, self.readings.quantities
        usual = int(quantile(partial(forward, time_us), 0.5)) if self._laid_apart else 0
        for rows in slices(len(time_us)):
            part_us = time_us[rows]
            if self._laid_apart and self.sessions is not None:
                part_us = self.sessions.closed(part_us, usual)
            yield Readings(part_us, {name: x[rows] for name, x in quantities.items()})
            forget(time_us, *quantities.values())

    @property
    def _laid_apart(self) -> bool:
        return self.sessions is not None and bool(self.sessions.pauses) and len(self.readings.time_us) > 1

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
    readings: Readings,
    *,
    counted: bool = False,
    headers: Sequence[int] = (),
    least_pause_us: int = 0,
    scratch: Scratch | None = None,
) -> Settled:
    """Bring readings, in the order they were written and in UTC, into strictly increasing time by the rules above.

    `counted`: the stamps count from a start. `headers`: the rows above which a header stood again. The pauses laid
    between sessions are longer than `least_pause_us`. What is worked out on the way is kept in `scratch`, and so is the
    result: by default in memory.

    Raises
    ------
    InputError
        If the rows may be two meters' (see `restarts`), or their clock stood still.
    """
    refuse_standing_clock(readings)
    scratch = scratch or Scratch()
    settled = Settled(readings)
    falls, rises, leaps = _ways(readings.time_us)
    # Turned round before clocks are looked at: newest first, every row would be a step back.
    settled.turned = falls > rises
    time_us, quantities = scratch.copied(readings.time_us, backwards=settled.turned), readings.quantities
    if settled.turned:
        falls, rises, leaps = _ways(time_us)
        quantities = {name: scratch.copied(x, backwards=True) for name, x in quantities.items()}
    if falls or leaps:
        from .restarts import lay_behind, refuse_joined_meters  # what has only rows of one stamp needs none of it

        begins = np.array(backs_of(time_us), dtype=np.int64)
        settled.sessions = lay_behind(time_us, quantities, scratch, counted=counted, least_pause_us=least_pause_us)
        laid_us = {row: time_us[row - 1 : row + 1].copy() for row in headers if 0 < row < len(time_us)}
        settled.clock_steps = [*settled.sessions.steps, *follow_on(time_us, quantities, scratch)]
        refuse_joined_meters({} if settled.turned else laid_us, time_us)
        settled.late = _late_rows(time_us)
        time_us, quantities = _in_order(time_us, quantities, begins, scratch)
        settled.repeated = len(readings.time_us) - len(time_us)
    # After sorting, since the rows of one stamp must be neighbours; spreading keeps what merging would average away.
    laid = lay(time_us, quantities)
    time_us, settled.spread_us = laid.time_us, laid.grain_us
    if not laid.grain_us:
        settled.steps = _part_sides_of_steps(time_us, quantities)
    settled.readings, settled.averaged = _merged(time_us, quantities, scratch)
    settled.merged = len(readings.time_us) - len(settled.readings.time_us)
    return settled


def _ways(time_us: NDArray[np.int64]) -> tuple[int, int, int]:
    """Return how many rows fall back in time, how many go on, and how many of these leap by `LONG_US` and more."""
    ways = np.zeros(3, dtype=np.int64)
    for _, steps in steps_of(time_us):
        ways += [np.count_nonzero(steps < 0), np.count_nonzero(steps > 0), np.count_nonzero(steps > LONG_US)]
    falls, rises, leaps = ways.tolist()
    return falls, rises, leaps


def _in_order(
    time_us: NDArray[np.int64], quantities: dict[str, NDArray[np.float64]], begins: NDArray[np.int64], scratch: Scratch
) -> tuple[NDArray[np.int64], dict[str, NDArray[np.float64]]]:
    """Return rows in order of time, without those that parts of the source, which begin there, say again."""
    ordered_us, stop = scratch.times(len(time_us)), 0
    ordered = {name: scratch.amounts(len(time_us)) for name in quantities}
    for order in rows_by_time(time_us, scratch):
        part_us, columns = time_us[order], {name: x[order] for name, x in quantities.items()}
        new = ~_repeats(part_us, columns, np.searchsorted(begins, order, side="right"))
        rows = slice(stop, stop + int(np.count_nonzero(new)))
        ordered_us[rows], stop = part_us[new], rows.stop
        for name, x in columns.items():
            ordered[name][rows] = x[new]
        forget(time_us, ordered_us, *quantities.values(), *ordered.values())
    return ordered_us[:stop], {name: x[:stop] for name, x in ordered.items()}


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count:,} times"


def _repeats(
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


def _merged(
    time_us: NDArray[np.int64], quantities: dict[str, NDArray[np.float64]], scratch: Scratch
) -> tuple[Readings, str | None]:
    """Merge rows of one stamp, and tell in a sentence how far they differ, if their mean is more than a rounding."""
    merged_us, stop = scratch.times(len(time_us)), 0
    merged = {name: scratch.amounts(len(time_us)) for name in quantities}
    total, apart, rows_apart, most_apart = 0.0, 0.0, 0, 0.0
    for rows in whole_groups(time_us):
        part_us, columns = time_us[rows], {name: x[rows] for name, x in quantities.items()}
        means = merge_equal(part_us, columns)
        place = slice(stop, stop + len(means.time_us))
        merged_us[place], stop = means.time_us, place.stop
        for name, x in means.quantities.items():
            merged[name][place] = x
        level, mean = level_of(columns), level_of(means.quantities)
        if level is not None and mean is not None:
            from_mean = np.nan_to_num(np.abs(level - mean[np.searchsorted(means.time_us, part_us)]))
            total, apart = total + float(np.nansum(np.abs(level))), apart + float(from_mean.sum())
            rows_apart, most_apart = rows_apart + int(np.count_nonzero(from_mean)), max(most_apart, from_mean.max())
        forget(time_us, merged_us, *quantities.values(), *merged.values())
    readings = Readings(merged_us[:stop], {name: x[:stop] for name, x in merged.items()})
    if stop == len(time_us) or apart <= _ROUNDING * total:
        return readings, None
    return readings, (
        f"{rows_apart:,} rows share a time stamp with rows that say otherwise (up to {most_apart:.3g} from their mean)"
        ": the mean is taken, so what each of them says is in no figure"
    )


def _late_rows(time_us: NDArray[np.int64]) -> int:
    late, latest = 0, int(time_us[0])
    for rows in slices(len(time_us)):
        reached = np.maximum.accumulate(np.append(latest, time_us[rows]))
        late, latest = late + int(np.count_nonzero(time_us[rows] < reached[:-1])), int(reached[-1])
        forget(time_us)
    return late


def _part_sides_of_steps(time_us: NDArray[np.int64], quantities: dict[str, NDArray[np.float64]]) -> int:
    """Set the second of two rows with one stamp half a second later where they are the two sides of a step (rule 6)."""
    if len(time_us) < 4 or not _share_whole_seconds(time_us):
        return 0
    seconds = []
    for rows in slices(len(time_us) - 2, first=1):
        # A row before the first and two behind the last belong to the picture.
        near = slice(rows.start - 1, rows.stop + 2)
        sides = _second_sides(time_us[near], {name: x[near] for name, x in quantities.items()})
        seconds.append(near.start + sides)
        forget(time_us, *quantities.values())
    moved = np.concatenate(seconds)
    time_us[moved] += _SECOND_US // 2
    return len(moved)


def _share_whole_seconds(time_us: NDArray[np.int64]) -> bool:
    """Tell whether all instants are whole seconds, and rows share one."""
    share = False
    for rows in slices(len(time_us)):
        if (time_us[rows] % _SECOND_US).any():
            return False
        share = share or bool((np.diff(time_us[rows.start : rows.stop + 1]) == 0).any())
        forget(time_us)
    return share


def _second_sides(time_us: NDArray[np.int64], quantities: dict[str, NDArray[np.float64]]) -> NDArray[np.int64]:
    """Return which rows are the second of the two sides of a step; the first and the last two are none."""
    x = level_of(quantities)
    if x is None:
        return np.empty(0, dtype=np.int64)
    gaps = np.diff(time_us)
    # Exactly two rows, with others on both sides: of three nobody knows which is the step.
    twice = np.flatnonzero((gaps[1:-1] == 0) & (gaps[:-2] > 0) & (gaps[2:] > 0)) + 1
    far_before, far_after = gaps[twice - 1] >= SPARSE * _SECOND_US, gaps[twice + 1] >= SPARSE * _SECOND_US
    step = np.abs(x[twice + 1] - x[twice])
    # Close readings may follow a start's surge; only across a long spacing must the level go on.
    apart = np.where(far_before, np.abs(x[twice] - x[twice - 1]), 0.0)
    apart += np.where(far_after, np.abs(x[twice + 2] - x[twice + 1]), 0.0)
    return np.asarray(twice[(far_before | far_after) & (step > 2 * apart)] + 1)


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
