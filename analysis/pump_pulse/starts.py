"""The length and the height of a load's starts, by a log whose readings are fast enough to show them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, inf
from typing import Final, NamedTuple

import numpy as np

from ..cycles.cycle import Cycle, Cycles
from ..health.finding import Advice, Check, Rule
from ..health.limits import COMMON_PRACTICE
from ..health.runs import Runs
from ..health.trends import DAY_US, Trend, trend_of
from ..not_known import Missing
from ..readings.chunk import FloatArray, TimeArray
from ..readings.measured_span import HowRead
from ..signal_levels.start_length import STANDS_OUT
from ..stats.interval95 import Within
from ..stats.ranks import median_of, shift
from ..wording import spell

#: A start that takes so many times as long as at first wants a look: common practice, no source (no standard gives a
#: length; a healthy motor's changes by tens of percent with cold and voltage, from memory). [1]
LONGER: Final = 2.0
#: So many days with starts at the least, and so many of the first, and of the newest, are set beside each other: common
#: practice, no source. [1]
LEAST_DAYS: Final = 8
END_DAYS: Final = 3

LENGTHENS_ADVICE: Final = Advice(
    "A start capacitor that fades, worn bearings, sand or scale in the pump, or too low a voltage at the motor. A "
    "higher running draw beside it speaks for bearings or sand; the same running draw for the capacitor or the volts.",
    "Have the capacitor and the voltage at the motor during a start measured before the pump stalls. Capacitors hold a "
    "dangerous charge, and motor, control box and well are for a licensed electrician or pump installer.",
    "Have an electrician measure the start capacitor, and the motor's voltage at a start.",
)


@dataclass(frozen=True)
class LoadStarts:
    """How long a load's starts take and how high they go, by one log; or why that cannot be told.

    ``length_s`` is the usual time until half of what a start draws beyond the running draw is gone [s], ``height`` its
    top over the running draw, both above what was drawn before [1]; of ``count`` starts, each with the interval of the
    usual one, without ends where there are too few. ``trends`` tell how both change from day to day within the log, and
    ``check`` whether they grow too long.
    """

    length_s: Within | Missing
    height: Within | Missing
    count: int
    check: Check
    trends: tuple[Trend, ...] = ()


def load_starts(runs: Runs, how: HowRead) -> LoadStarts:
    """Return what a log tells of its load's starts."""
    cycles = runs.cycles.cycles
    lengths, heights = lengths_of(cycles), heights_of(cycles)
    why = _why_not(runs.cycles, how)
    check = start_lengthens(runs.name, runs.start_us, lengths, why if np.isnan(lengths).all() else "")
    trends = (trend_of(runs, "start_s", lengths), trend_of(runs, "surge_ratio", heights))
    return LoadStarts(
        _usual(lengths, Missing("length of its starts", (), why)),
        _usual(heights, Missing("height of its starts", (), why)),
        int(np.isfinite(lengths).sum()),
        check,
        tuple(trend for trend in trends if trend is not None),
    )


def _why_not(cycles: Cycles, how: HowRead) -> str:
    """Return why a log does not tell how long its load's starts take."""
    if not cycles.cycles:
        return "no start was seen"
    if cycles.varies:
        return "it runs at several speeds or behind a drive, and is brought up slowly"
    if how.sampling != "instant":
        means = "the meter gives averages, in which a start goes under"
        return means if how.sampling == "mean" else "nobody reads a start by eye"
    tops = [each.surge_ratio for each in cycles.cycles if each.surge_resolved and each.surge_ratio is not None]
    if tops and np.median(tops) < STANDS_OUT:
        return f"its starts do not reach {STANDS_OUT:g} times its running draw"
    return f"readings {spell(how.usual_interval_s or inf)} apart are too slow for it"


def lengths_of(cycles: Sequence[Cycle]) -> FloatArray:
    """Return how long the start of each run took; NaN where it was not seen. [s]"""
    return np.array([np.nan if cycle.start_s is None else cycle.start_s for cycle in cycles], dtype=np.float64)


def heights_of(cycles: Sequence[Cycle]) -> FloatArray:
    """Return the top of the start of each run over its running draw; NaN where it does not count. [1]"""
    # What the array gave of it the meter did not see, and what fell between two readings neither.
    tops = [
        cycle.surge_ratio if (cycle.surge_resolved or cycle.start_s) and not cycle.array_may_share else None
        for cycle in cycles
    ]
    return np.array([np.nan if top is None else top for top in tops], dtype=np.float64)


def _usual(values: FloatArray, missing: Missing) -> Within | Missing:
    values = values[~np.isnan(values)]
    if not len(values):
        return missing
    ranks = median_of(values)
    return Within(float(np.median(values)), -inf, inf) if ranks is None else ranks


class _Ends(NamedTuple):
    """Starts on the first days and on the newest ones: how long they took [s], and when the newest were [us]."""

    first_s: FloatArray
    newest_s: FloatArray
    newest_us: TimeArray


def _ends(start_us: TimeArray, length_s: FloatArray) -> _Ends | str:
    """Return the starts on the first days and the newest ones; why not where these are too few."""
    known = ~np.isnan(length_s)
    start_us, length_s = start_us[known], length_s[known]
    day = start_us // DAY_US
    days = np.unique(day)
    if len(days) < LEAST_DAYS:
        seen = "no day" if not len(days) else "one day" if len(days) == 1 else f"{len(days)} days"
        return f"lengths of starts are known of {seen}; at least {LEAST_DAYS} are needed"
    first, newest = day <= days[END_DAYS - 1], day >= days[-END_DAYS]
    return _Ends(length_s[first], length_s[newest], start_us[newest])


def start_lengthens(name: str, start_us: TimeArray, length_s: FloatArray, why_not: str = "") -> Check:
    """Judge whether a load's starts take far longer on the newest days than on the first ones.

    `name` is what the load is called at the beginning of a sentence, `start_us` are the starts in order, `length_s` how
    long each took, NaN where that is not known [s]; shapes (n,). `why_not` is why none of them is known.
    """
    limit = f"a start takes at most {LONGER:g} times as long as on the first {END_DAYS} days"
    rule = Rule("start_lengthens", limit, COMMON_PRACTICE)
    ends = why_not or _ends(start_us, length_s)
    if isinstance(ends, str):
        return rule.not_judged(ends)
    # Of ratios the logarithms are shifted; ranks alone decide, so that a wild start hardly matters.
    apart = shift(np.log(ends.first_s), np.log(ends.newest_s))
    if apart is None:
        return rule.not_judged(f"too few starts on the first {END_DAYS} days, or on the newest")
    before, now = (spell(float(np.median(lengths))) for lengths in (ends.first_s, ends.newest_s))
    times, low, high = (f"{exp(x):.3g}" for x in (apart.value, apart.low, apart.high))
    evidence = f"from {before} to {now}, {times} times as long (95 %: {low} to {high})"
    if exp(apart.low) <= LONGER:
        return rule.passed(evidence)
    plain = (
        f"A start of {name[0].lower()}{name[1:]} took {before} on the first days and takes {now} now. It should be at "
        f"most {LONGER:g} times as long."
    )
    newest_us = tuple(ends.newest_us.tolist())
    return rule.found("watch", f"{name} takes longer and longer to start", evidence, LENGTHENS_ADVICE, plain, newest_us)
