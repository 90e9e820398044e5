"""The gap limit: the longest spacing of readings that is still one measurement.

Ordinarily it is ``max(5 x the 95th percentile of the spacings, 10 s)``. Where that would bridge pauses, which are long
beside the spacings around them, the limit comes from the rhythm of the readings alone; where a slow rhythm is kept up
for a while it reaches that. Pauses of a meter that keeps only changes are bridged: it had nothing to say in them. What
the spacings leave open goes with the limit as `GapLimit.other_s`, so that nobody takes one figure for the only one.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, floor, log10, sqrt

import numpy as np
from numpy.typing import NDArray

from .pauses import Pauses
from .spacing_count import SpacingCount

#: A spacing of up to five times the usual is still one measurement, and ten seconds always are: common practice.
GAP_TIMES, ALWAYS_ONE_S = 5.0, 10.0
#: Fewer pauses are no habit of the meter, but gaps as they happen: common practice, no source.
_HABIT = 3
#: Pauses of less than this share of the time change no figure by more than a meter's own 1 %. [1]
_MATTERS = 0.01
#: Of a log in which nearly every reading is a change.
ONLY_CHANGES = (
    "nearly every row is a change, at uneven spacings, as where a meter writes a value when it changes: "
    "if each value stands until the next row, add --sampling held"
)


@dataclass(frozen=True)
class GapLimit:
    """The limit, and what it could be as well.

    Parameters
    ----------
    limit_s : float
        Longest spacing that is still one measurement. [s]
    other_s : float or None
        A limit by which the pauses count the other way; None where the spacings leave no doubt. [s]
    said : str or None
        What a person should know of it, in a sentence.
    """

    limit_s: float
    other_s: float | None = None
    said: str | None = None


def gap_limit(usual: SpacingCount, paused: SpacingCount, slowest_s: float, pauses: Pauses | None) -> GapLimit:
    """Return the gap limit of a log.

    Parameters
    ----------
    usual, paused : SpacingCount
        Its spacings: those that keep to the rhythm around them, and those that do not.
    slowest_s : float
        The slowest rhythm that is kept up for a while. [s]
    pauses : Pauses or None
        What was read on either side of the pauses.
    """
    wide_s = max(_five_times_most_of(usual.with_all_of(paused)), GAP_TIMES * slowest_s)
    out_s = _five_times_most_of(usual)  # pauses up to here do not stand out from spacings that vary by themselves
    doubtful_s = float(paused.total_s(wide_s) - paused.total_s(out_s))
    if doubtful_s <= 0:
        return GapLimit(wide_s)
    narrow_s = _between(usual, paused, out_s, wide_s)
    bridges = doubtful_s <= _wrong_s(usual, paused, narrow_s)
    count, longest_s = paused.count(to_s=wide_s) - paused.count(to_s=out_s), paused.longest_s(to_s=wide_s)
    if count < _HABIT or doubtful_s < _MATTERS * usual.total_s():
        return GapLimit(wide_s if bridges else narrow_s)
    these = f"{count:,} pauses of up to {longest_s:,.6g} s stand out from the spacings around them"
    if pauses is not None and pauses.of_changes_only(wide_s):
        why = "they begin and end at one level, as with a meter that keeps only changes, and so are bridged"
        return GapLimit(wide_s, None, f"{these}; {why} (--gap {option(narrow_s)} leaves them out)")
    if bridges:
        return GapLimit(wide_s, None, f"{these}; they are bridged, since no limit leaves out them alone")
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
    best_s = float(sizes_s[np.argmin(wrong_s)])
    if best_s <= out_s:
        return out_s
    next_s = float(paused.sizes_s[paused.sizes_s > best_s].min(initial=wide_s))
    between_s = float(f"{sqrt(best_s * next_s):.2g}")
    return between_s if best_s <= between_s < next_s else best_s


def _rounded_up(longest_s: float) -> float:
    """Return a length to two digits, longer by more than what counting rounds off. [s]"""
    longest_s += 1e-3
    digit_s = 10.0 ** (floor(log10(longest_s)) - 1)
    return ceil(longest_s / digit_s) * digit_s
