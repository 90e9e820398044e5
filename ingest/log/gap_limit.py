"""The gap limit: the longest spacing of readings that is still one measurement.

Ordinarily it is ``max(5 x the 95th percentile of the spacings, 10 s)``. Where that would bridge pauses, which are long
beside the spacings around them, the limit comes from the rhythm of the readings alone; where a slow rhythm is kept up
for a while it reaches that. Pauses of a meter that keeps only changes are bridged: it had nothing to say in them. What
the spacings leave open goes with the limit as `GapLimit.other_s`, so that nobody takes one figure for the only one.
`IntervalCount` counts the spacings while they pass by, the usual ones and the pauses among them.
"""

from __future__ import annotations

from copy import deepcopy
from dataclasses import dataclass, replace
from math import ceil, floor, log10, sqrt

import numpy as np
from numpy.typing import NDArray

from .pauses import Changes, Pauses, SpacingCount

#: A spacing of up to five times the usual is still one measurement, and ten seconds always are: common practice.
GAP_TIMES, ALWAYS_ONE_S = 5.0, 10.0
#: Dates this far apart are not of one log that went on, but of a clock that was not set: common practice, no source.
LONG_US = 300 * 86_400 * 1_000_000
#: Fewer pauses are no habit of the meter, but gaps as they happen: common practice, no source.
_HABIT = 3
#: Pauses of less than this share of the time change no figure by more than a meter's own 1 %. [1]
_MATTERS = 0.01
#: Of a log in which nearly every reading is a change.
NEARLY_ALL_CHANGE = "nearly every row is a change, at uneven spacings, as where a meter writes a value when it changes"
ONLY_CHANGES = f"{NEARLY_ALL_CHANGE}: if each value stands until the next row, add --sampling held"


@dataclass(frozen=True)
class GapLimit:
    """The longest spacing that is still one measurement, ``limit_s``, and what it could be as well.

    ``other_s``: a limit by which the pauses count the other way; None where the spacings leave no doubt. ``sentence``:
    what a person should know of it. ``held_or_not``: it matters whether each reading stands until the next one.
    """

    limit_s: float
    other_s: float | None = None
    sentence: str | None = None
    held_or_not: bool = False


def gap_limit(usual: SpacingCount, paused: SpacingCount, slowest_s: float, pauses: Pauses | None) -> GapLimit:
    """Return the gap limit of a log.

    ``usual`` spacings keep to the rhythm around them, `paused` do not; `slowest_s` is the slowest rhythm that is kept
    up for a while [s]; `pauses` is what was read on either side of the pauses.
    """
    wide_s = max(_five_times_most_of(usual.with_all_of(paused)), GAP_TIMES * slowest_s)
    out_s = _five_times_most_of(usual)  # pauses up to here do not stand out from spacings that vary by themselves
    # The time in doubt: pauses that the ordinary limit would bridge, though they stand out from the usual spacings.
    doubtful_s = float(paused.total_s(wide_s) - paused.total_s(out_s))
    if doubtful_s <= 0:
        return GapLimit(wide_s)
    # Leaving pauses out is worth it only where it puts less time on the wrong side than bridging them all.
    narrow_s = _between(usual, paused, out_s, wide_s)
    bridges = doubtful_s <= _wrong_s(usual, paused, narrow_s)
    count, longest_s = paused.count(to_s=wide_s) - paused.count(to_s=out_s), paused.longest_s(to_s=wide_s)
    # Too little to be worth a word: the limit that is less wrong, and no second figure.
    if count < _HABIT or doubtful_s < _MATTERS * usual.total_s():
        return GapLimit(wide_s if bridges else narrow_s)
    these = f"{count:,} pauses of up to {longest_s:,.6g} s stand out from the spacings around them"
    # The readings speak before the spacings: who writes only changes has measured in the pause, too.
    if pauses is not None and pauses.of_changes_only(wide_s):
        why = "they begin and end at one level, as with a meter that keeps only changes, and so are bridged"
        return GapLimit(wide_s, None, f"{these}; {why} (--gap {option(narrow_s)} leaves them out)")
    if bridges:
        return GapLimit(wide_s, None, f"{these}; they are bridged, since no limit leaves out them alone")
    # Now only a person can tell; so both limits go on, and every answer by both where they differ.
    bridging_s = _rounded_up(longest_s)
    return GapLimit(
        narrow_s, bridging_s, f"{these}; they are left out as gaps (--gap {option(bridging_s)} bridges them)"
    )


def option(limit_s: float) -> str:
    """Return a limit as it is typed. [s]"""
    return f"{limit_s:.12g}s"


def _five_times_most_of(spacings: SpacingCount) -> float:
    return max(GAP_TIMES * (spacings.quantile_s(0.95) or 0.0), ALWAYS_ONE_S)


def _wrong_s(usual: SpacingCount, paused: SpacingCount, limit_s: float | NDArray[np.float64]) -> NDArray[np.float64]:
    """Return how much time a limit puts on the wrong side: usual spacings left out, pauses bridged. [s]"""
    return usual.total_s() - usual.total_s(limit_s) + paused.total_s(limit_s)


def _between(usual: SpacingCount, paused: SpacingCount, out_s: float, wide_s: float) -> float:
    """Return the limit that parts usual spacings and pauses best: five times the usual ones, where that does it. [s]"""
    sizes_s = np.concatenate([[out_s], usual.sizes_s[usual.sizes_s > out_s]])
    wrong_s = _wrong_s(usual, paused, sizes_s)
    # Candidates are the usual spacings themselves: between two of them nothing changes sides but pauses.
    best_s = float(sizes_s[np.argmin(wrong_s)])
    if best_s <= out_s:
        return out_s
    next_s = float(paused.sizes_s[paused.sizes_s > best_s].min(initial=wide_s))
    # A round number in the middle, by ratio, of the gap between the two kinds reads better than a spacing to the
    # millisecond.
    between_s = float(f"{sqrt(best_s * next_s):.2g}")
    return between_s if best_s <= between_s < next_s else best_s


def _rounded_up(longest_s: float) -> float:
    """Return a length to two digits, longer by more than what counting rounds off. [s]"""
    longest_s += 1e-3
    digit_s = 10.0 ** (floor(log10(longest_s)) - 1)
    return ceil(longest_s / digit_s) * digit_s


#: A spacing is held against so many on either side of it: pairs of readings stay usual, bursts of three do not.
AROUND = 4
_ALWAYS_ONE_US = ALWAYS_ONE_S * 1e6


class IntervalCount:
    """Count spacings, those that keep to the rhythm around them apart from the pauses in it.

    A spacing is a pause where it is longer than `ALWAYS_ONE_S` and than `GAP_TIMES` the median of itself and the
    `AROUND` on either side of it. Twice `AROUND` spacings are carried along.
    """

    def __init__(self) -> None:
        self.usual, self.paused = SpacingCount(), SpacingCount()
        #: The slowest rhythm above `ALWAYS_ONE_S` that a spacing and all around it keep up. [us]
        self.slowest_us = 0
        self._pauses: Pauses | None = None
        self._changes: Changes | None = None
        self._last_us: NDArray[np.int64] = np.empty(0, dtype=np.int64)
        #: The last spacings with the level after each; the first `_counted` of them are counted.
        self._near_us = np.empty(0, dtype=np.int64)
        self._levels = np.empty(0)
        self._counted = 0

    def add(self, time_us: NDArray[np.int64], level: NDArray[np.float64] | None = None) -> None:
        """Take the next readings in: instants, increasing [us], and what shows a change (amps or watts)."""
        if not len(time_us):
            return
        level = np.full(len(time_us), np.nan) if level is None else level
        if self._pauses is None:
            self._pauses, self._changes = Pauses(float(level[0])), Changes(float(level[0]))
            level = level[1:]
        spacings_us = np.diff(np.concatenate([self._last_us, time_us]))
        if self._changes is not None:
            self._changes.add(level, spacings_us)
        self._near_us = np.concatenate([self._near_us, spacings_us])
        self._levels = np.concatenate([self._levels, level])
        self._last_us = time_us[-1:]
        # A spacing is judged once as many follow it as come before; until then it waits.
        self._count(max(len(self._near_us) - AROUND, self._counted))
        behind = max(self._counted - AROUND, 0)
        self._near_us, self._levels = self._near_us[behind:].copy(), self._levels[behind:].copy()
        self._counted -= behind

    def _count(self, until: int) -> None:
        """Count the spacings before `until` that are not counted yet."""
        these = slice(self._counted, until)
        spacings_us, is_pause = self._near_us[these], np.zeros(until - self._counted, dtype=bool)
        # Most stretches hold nothing that could be a pause, and need no look around.
        if spacings_us.max(initial=0) > _ALWAYS_ONE_US:
            around = _Around(self._near_us)
            is_pause = around.pauses()[these]
            rhythms_us = around.least_us[these]
            self.slowest_us = max(self.slowest_us, int(rhythms_us[rhythms_us > _ALWAYS_ONE_US].max(initial=0)))
        self.usual.add(spacings_us[~is_pause] if is_pause.any() else spacings_us)
        self.paused.add(spacings_us[is_pause])
        if self._pauses is not None:
            self._pauses.add(spacings_us, is_pause, self._levels[these])
        self._counted = until

    def _whole(self) -> IntervalCount:
        """Return a copy in which the last spacings are counted, too."""
        whole = deepcopy(self)
        whole._count(len(whole._near_us))
        return whole

    def quantile_s(self, share: float) -> float | None:
        """Return the spacing that `share` of all spacings do not exceed; None with fewer than two readings. [s]"""
        whole = self._whole()
        return whole.usual.with_all_of(whole.paused).quantile_s(share)

    def median_s(self) -> float | None:
        """Return the usual spacing. [s]"""
        return self.quantile_s(0.5)

    def gap_limit(self) -> GapLimit:
        """Return the longest spacing that is still one measurement, and what it could be as well."""
        whole = self._whole()
        limit = gap_limit(whole.usual, whole.paused, whole.slowest_us / 1e6, whole._pauses)
        if whole._changes is None or not whole._changes.are_all(whole.usual.with_all_of(whole.paused)):
            return limit
        sentence = f"{limit.sentence}. {ONLY_CHANGES}" if limit.sentence else ONLY_CHANGES
        return replace(limit, sentence=sentence, held_or_not=whole._changes.matter)


class _Around:
    """Each spacing beside the `AROUND` on either side of it; there are fewer at the ends of a log."""

    def __init__(self, spacings_us: NDArray[np.int64]) -> None:
        self._spacings_us = spacings_us
        padded = np.pad(spacings_us.astype(np.float64), AROUND, constant_values=np.nan)
        self._windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * AROUND + 1)
        self.least_us = np.fmin.reduce(self._windows, axis=1)

    def pauses(self) -> NDArray[np.bool_]:
        """Return which spacings are long beside the usual one around them, the median."""
        longest_us = np.maximum(GAP_TIMES * self.least_us, _ALWAYS_ONE_US)
        # Only where a spacing is long beside the shortest around it is the median worked out.
        long = np.asarray(self._spacings_us > longest_us)
        usual_us = np.nanmedian(self._windows[long], axis=1) if long.any() else np.empty(0)
        long[long] = self._spacings_us[long] > np.maximum(GAP_TIMES * usual_us, _ALWAYS_ONE_US)
        return long
