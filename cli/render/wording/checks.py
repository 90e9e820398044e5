"""What was checked of a load's health, in plain words, and how to say that some could not be judged."""

from __future__ import annotations

import re
from bisect import bisect_left
from collections.abc import Sequence
from math import isfinite
from statistics import median
from typing import TYPE_CHECKING, Final

from ....analysis.not_known import Missing
from ....analysis.readings.chunk import MICROSECONDS
from ....analysis.wording import spell
from . import clock, numbers

if TYPE_CHECKING:
    from ....analysis.health.finding import Check, Finding
    from ....analysis.health.trends import Trend
    from ....analysis.pump_pulse.starts import LoadStarts
    from ....analysis.readings.log_facts import LogFacts
    from ....analysis.stats.interval95 import Within

TREND = {
    "run_W": ("running draw", "W"),
    "run_A": ("running draw", "A"),
    "run_s": ("length of a run", "s"),
    "off_before_s": ("rest before a run", "s"),
    "start_s": ("length of a start", "s"),
    "surge_ratio": ("top of a start over running", ""),
}


def of_trend(trend: Trend) -> str:
    """Return a trend with its interval in words."""
    what, unit = TREND[trend.name]
    low, high = numbers.number(trend.low), numbers.number(trend.high)
    change = f"{numbers.number(trend.per_day)} {unit} a day".replace("  ", " ")
    return f"{what} {change} (95 %: {low} to {high}), {'changing' if trend.sure else 'no change that is sure'}"


def of_starts(starts: LoadStarts) -> str:
    """Say how long a load's starts take and how high they go, or why nobody can tell."""
    high = "" if isinstance(starts.height, Missing) else f"rises to {_known(starts.height)} times the running draw"
    if isinstance(starts.length_s, Missing):
        not_judged = f"How long a start takes is {starts.length_s.not_judged}."
        return f"{not_judged} It {high}." if high else not_judged
    text = f"A start takes {_known(starts.length_s, ' s')} until half of its surge is gone"
    text += f", and {high}" if high else ""
    return f"{text}; seen of {numbers.counted(starts.count, 'start')}."


def _known(figure: Within, unit: str = "") -> str:
    value = f"{numbers.number(figure.value)}{unit}"
    if not isfinite(figure.high - figure.low):
        return value
    return f"{value} ({numbers.number(figure.low)} to {numbers.number(figure.high)})"


_HOUR_US = 3600 * MICROSECONDS
#: So many starts in an hour are worth being told by the hour. [1]
_CLOSE = 4

#: What each finding is about, in plain words.
ABOUT = {
    "short_cycling": "Length of runs, number of starts",
    "start_trip": "Starts cut off at once",
    "stalled_start": "Starts that do not settle",
    "start_lengthens": "Starts that take longer over days",
    "air_charge_lost": "Air in the pressure tank",
    "leak_down": "Water leaking away",
    "prime_lost": "Running dry",
    "never_cuts_out": "Runs without end",
    "draw_drift": "Running draw over days",
    "flow_falls": "Flow of the pump over days",
    "low_voltage": "Voltage of the bank",
    "overload": "Load against its ratings",
    "surge_over_rating": "Starts against the inverter's rating",
    "standing_draw": "Draw while the load rests",
    "sampling_too_slow": "Spacing of the readings",
    "charge_wrong_sign": "Direction of the current",
}

#: What each finding is in a few words, to stand at a bracket over the runs that it rests on.
_IN_FEW_WORDS = {
    "start_trip": "cut off at the start",
    "stalled_start": "starts that fail",
    "start_lengthens": "starts take longer and longer",
    "air_charge_lost": "runs and rests grow short",
    "leak_down": "starts though nobody draws water",
    "prime_lost": "draws too little: no water?",
    "never_cuts_out": "does not stop",
    "draw_drift": "its draw changes",
    "flow_falls": "gives less and less water",
    "low_voltage": "the bank falls too low",
    "overload": "more than it is rated for",
    "surge_over_rating": "starts above the inverter's rating",
}


#: Starts that no run stands for, in a finding's sentences.
_PROVED: Final = re.compile(r"(at least [\d,]+) times (in one hour|a day)")


def in_few_words(finding: Finding, starts_us: Sequence[int], runs_s: Sequence[float], hours: float) -> tuple[str, str]:
    """Return what was found of runs in a few words, and what may be added to these where there is room.

    By when the runs that it rests on began [us], in order, and their lengths [s], at least one of them, in so many
    hours of readings: those that a row of the picture shows, which may be fewer than the finding's.
    """
    if finding.code != "short_cycling":
        return _IN_FEW_WORDS.get(finding.code, ABOUT.get(finding.code, finding.code).lower()), ""
    # The finding's title says which of its limits were crossed, and its sentences by what starts were counted: one
    # quantity, one figure, wherever it stands.
    each = f"{numbers.duration(median(runs_s))} each"
    if "too often" not in finding.title:
        return f"too briefly: {each}", ""
    briefly = "too briefly" in finding.title
    what = "too often, too briefly" if briefly else "too often"
    return f"{what}: {_starts(finding, starts_us, hours)}", f", {each}" if briefly else ""


def _starts(finding: Finding, starts_us: Sequence[int], hours: float) -> str:
    """Return how many starts there were: on average, in the busiest hour or all, as the finding's sentences tell it."""
    # What rises alone prove is more than the runs that are there to be counted.
    if (proved := _PROVED.search(finding.plain)) is not None:
        return f"{proved[1]} starts {proved[2]}"
    length_us = starts_us[-1] - starts_us[0]
    # Less than an hour holds no busiest one.
    if hours < 1.0 and length_us < _HOUR_US:
        within = f" in {spell(length_us / MICROSECONDS)}" if length_us else ""
        return f"{numbers.counted(len(starts_us), 'start')}{within}"
    rate = len(starts_us) / max(hours, 1.0)
    if "times an hour" in finding.plain and rate >= _CLOSE:
        return f"{rate:.0f} starts an hour"
    most = max(bisect_left(starts_us, us + _HOUR_US) - k for k, us in enumerate(starts_us))
    # On a quiet day of those that are too many together, an hour says nothing.
    return f"{most} starts in one hour" if most >= _CLOSE else numbers.counted(len(starts_us), "start")


#: So many are named; the rest are counted.
_MOST = 2


def not_judged(codes: Sequence[str]) -> str:
    """Return what was not judged, as `finding.withheld` gives it, for the end of a sentence; empty where all was."""
    if not codes:
        return ""
    named = [f"{ABOUT[code][0].lower()}{ABOUT[code][1:]}" for code in codes[:_MOST]]
    more = f" and {len(codes) - _MOST} more" if len(codes) > _MOST else ""
    return f"not judged: {'; '.join(named)}{more}"


#: Checks of the log, not of its load.
_OF_LOG: Final = ("sampling_too_slow", "charge_wrong_sign")


def _about(code: str) -> str:
    return numbers.uncapital(ABOUT.get(code, code))


def in_order(checks: Sequence[Check]) -> str:
    """Say in few words what of the load was checked and is in order, and what was not judged; empty without checks."""
    parts = [
        f"{heading}: {'; '.join(map(_about, codes))}."
        for heading, outcome in (("Checked, and nothing found", "passed"), ("Not judged", "not judged"))
        if (codes := [each.code for each in checks if each.outcome == outcome and each.code not in _OF_LOG])
    ]
    return " ".join(parts)


def when(finding: Finding, facts: LogFacts) -> str:
    """Say when the runs began that a finding rests on; empty where it rests on none."""
    if not finding.cycles:
        return ""
    first, last = finding.cycles[0], finding.cycles[-1]
    # Finding.cycles are the starts of runs, in their order.
    if last == first:
        return clock.clock(first, facts)
    count = numbers.counted(len(finding.cycles), "start")
    return f"{clock.from_to(first, last, facts)} ({count})"


def check_lines(checks: Sequence[Check], trends: Sequence[Trend]) -> list[str]:
    """Return for a terminal, in short, what passed, what could not be judged and why, and the trends."""
    # What was found stands above in full.
    passed = [_about(check.code) for check in checks if check.outcome == "passed"]
    withheld = [check for check in checks if check.outcome == "not judged"]
    lines = ["", f"checked and passed: {'; '.join(passed)}"] if passed else []
    lines += [f"not judged: {_about(check.code)} ({check.remark})" for check in withheld]
    return lines + [f"trend: {of_trend(trend)}" for trend in trends]


def in_short(checks: Sequence[Check]) -> str:
    """Say how many limits were checked, and what came of them."""
    counts = [
        (sum(check.outcome == outcome for check in checks), outcome) for outcome in ("passed", "found", "not judged")
    ]
    came = ", ".join(f"{count} {outcome}" for count, outcome in counts if count)
    return f"{numbers.counted(len(checks), 'limit')} checked: {came}"
