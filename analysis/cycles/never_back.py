"""A load that is on to the log's end at a dry pump's draw: the signal has not come back to its rest since.

The second question, asked once it is known which load is meant (`choose_load`): does it still run at the end of the
log, with less draw? Here is found what may be such a run; `dry_runs` weighs whether it is one.

Such a run need not be followed through the steps of all other loads to be seen: before it as little was drawn, at some
time, as at rest; since then never so little again, by a good part of the load's draw, and the load did not start any
more though some of its starts were due.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final, NamedTuple

import numpy as np

from ..readings.chunk import MICROSECONDS
from ..signal_levels.level_record import LevelList
from ..signal_levels.levels import START_S
from .choose_load import LoadSteps
from .on_off_path import RunLevels

#: A dry pump draws this share of its own draw: trade sources say 0.4 to 0.75 of full-load amps, and some room. [1]
DRY: Final = (0.33, 0.78)
#: It has been on for so long at least, and for so many times the usual run and the longest: common practice, no source.
#: [s], [1], [1]
LONG_S: Final = 3600.0
TIMES_USUAL: Final = 10.0
TIMES_LONGEST: Final = 3.0
#: What has not come back to rest and what stepped up then are the same to within this share of the load's draw: bases
#: move meanwhile: common practice, no source. [1]
SAME: Final = 0.15
#: A step of the load's own draw is within this share of it: common practice, no source. [1]
OWN: Final = 0.15
#: So many of a load's runs, and of their number such a share, may seem to begin meanwhile: others stepped at once. [1]
BY_CHANCE: Final = (1, 0.1)
#: Without a plate, what draws less from the first reading on only stands by: common practice, no source. [unit]
STANDS_BY: Final = {"current_A": 4.0, "power_W": 100.0}


class Held(NamedTuple):
    """A run that holds the signal up to the log's end, since how long, and what share is left of the load's draw.

    ``due`` is how many starts of the load were due meanwhile, by how often it had started before; ``again`` is how
    many it seems to have had.
    """

    run: RunLevels
    lasted_s: float
    share: float
    due: float
    again: int

    def among(self, load: LoadSteps) -> LoadSteps:
        """Return the load with the runs that this one leaves it, and with this one if it began at its own draw."""
        before = [run for run in load.runs if run.start < self.run.start]
        return replace(load, runs=(*before, *([self.run] if self.run.fall is not None else [])))


def held_up(levels: LevelList, own: Sequence[RunLevels]) -> Held | None:
    """Return the run that holds the signal above its rest to the log's end, at a dry pump's draw; None without one.

    `own` are the load's runs at its usual draw, in order.
    """
    if not own:
        return None
    draw = float(np.median(levels.changes(levels.signal)[[run.start for run in own]]))
    k = _rose(levels, DRY[0] * draw)
    if k is None:
        return None
    before = [run for run in own if run.start < k]
    lasted_s, due = _waited(levels, k, before)
    # The load cannot start while it is on: more than chance would make of others' steps, and it is off.
    since = [levels.change(run.start, levels.signal) / draw for run in own if run.start > k]
    again = sum(abs(step - 1) <= OWN for step in since)
    if lasted_s < LONG_S or again > max(BY_CHANCE[0], BY_CHANCE[1] * len(before)):
        return None
    # It began at its own draw and fell later, or at a dry pump's from the start on.
    share = levels.change(k, levels.signal) / draw
    fall = _fall(levels, k, draw) if abs(share - 1) <= OWN else None
    left = share if fall is None else 1 + levels.change(fall, levels.signal) / draw
    is_dry = DRY[0] <= left <= DRY[1] and abs(_raised(levels, k) / draw - left) <= SAME
    return Held(RunLevels(k, None, fall), lasted_s, left, due, again) if is_dry else None


def _waited(levels: LevelList, k: int, before: Sequence[RunLevels]) -> tuple[float, float]:
    """Return how long it has been on since a level [s], and how many starts of the load were due meanwhile [1]."""
    # No time at all where it was not on for far longer than the load's runs were before: any run goes on at some end.
    at_us = levels.start_us
    lengths_us = [at_us[run.stop] - at_us[run.start] for run in before if run.stop is not None]
    lasted_us = levels.last_us[-1] - at_us[k]
    if not lengths_us or lasted_us < max(TIMES_USUAL * float(np.median(lengths_us)), TIMES_LONGEST * max(lengths_us)):
        return 0.0, 0.0
    return lasted_us / MICROSECONDS, len(before) * lasted_us / max(at_us[k] - levels.first_us[0], 1)


def _rose(levels: LevelList, least: float) -> int | None:
    """Return the level since which the signal has stayed above its rest before by so much; None without one."""
    gaps = np.flatnonzero(levels.behind_gap)
    first = int(gaps.max(initial=0)) + 1
    # From the end backwards: the least that is drawn from each level on, so that one look at each level will do.
    low = np.minimum.accumulate(levels.after[::-1])[::-1]
    high = np.flatnonzero(low[first:] - levels.rest[first - 1 : -1] >= least)
    return first + int(high[0]) if len(high) else None


def _raised(levels: LevelList, k: int) -> float:
    """Return how far the least that was drawn since a level is above the least before. [unit of the signal]."""
    return float(levels.after[k:].min() - levels.rest[k - 1])


def _fall(levels: LevelList, start: int, draw: float) -> int | None:
    """Return the level at which a run's own draw fell to what has stayed since; None without one."""
    down = _raised(levels, start) - draw
    steps = levels.changes(levels.signal)[start + 1 :]
    if not len(steps) or np.abs(steps - down).min() > SAME * draw:
        return None
    return start + 1 + int(np.argmax(np.abs(steps - down) <= SAME * draw))


def on_since_first(levels: LevelList, expected: float | None) -> bool:
    """Tell whether a load without a start was on when the log began, and still is."""
    if not len(levels):
        return False
    # The log may begin with the surge of a start: what outlasts one counts.
    over_us = levels.first_us[0] + START_S * MICROSECONDS
    settled = next((k for k, last_us in enumerate(levels.last_us) if last_us > over_us), -1)
    first, lowest = float(levels.after[settled]), float(levels.after[settled:].min())
    # With a plate, what stands beside the load is no matter: half of its own draw must be there, and never have gone.
    draw = first if expected is None else expected
    least = STANDS_BY[levels.signal] if expected is None else expected / 2
    return first >= least and first - lowest < draw / 2
