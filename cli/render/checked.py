"""What was checked of a load's health: each limit with what came of it, and how its figures change over days."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from . import words
from .about import ABOUT
from .tables import Table

if TYPE_CHECKING:
    from ...analysis.finding import Check, Finding
    from ...analysis.report import LogFacts, LogReport
    from ...analysis.trends import Trend

_TREND = {
    "run_W": ("running draw", "W"),
    "run_A": ("running draw", "A"),
    "run_s": ("length of a run", "s"),
    "off_before_s": ("rest before a run", "s"),
}


def when(finding: Finding, facts: LogFacts) -> str:
    """Say when the runs began that a finding rests on; empty where it rests on none."""
    if not finding.cycles:
        return ""
    first, last = finding.cycles[0], finding.cycles[-1]
    if last == first:
        return words.clock(first, facts)
    count = words.counted(len(finding.cycles), "start")
    return f"{words.from_to(first, last, facts)} ({count})"


def check_lines(checks: Sequence[Check], trends: Sequence[Trend]) -> list[str]:
    """Return for a terminal, in short, what passed, what could not be judged and why, and the trends."""
    passed = [check.code for check in checks if check.outcome == "passed"]
    withheld = [check for check in checks if check.outcome == "not judged"]
    lines = ["", f"checked and passed: {', '.join(passed)}"] if passed else []
    lines += [f"not judged: {check.code} ({check.said})" for check in withheld]
    return lines + [f"trend: {of_trend(trend)}" for trend in trends]


def of_trend(trend: Trend) -> str:
    """Return a trend with its interval in words."""
    what, unit = _TREND[trend.name]
    change = (
        f"{words.number(trend.per_day)} {unit} a day (95 %: {words.number(trend.low)} to {words.number(trend.high)})"
    )
    return f"{what} {change}, {'changing' if trend.sure else 'no change that is sure'}"


def checks(log: LogReport) -> Table:
    """Return every limit that was checked, with what came of it and where the limit is from."""
    rows = tuple(
        (
            ABOUT.get(check.code, check.code),
            check.outcome,
            words.capital(check.said),
            words.capital(f"{check.limit} ({check.source})") if check.limit else words.UNKNOWN,
        )
        for check in log.checks
    )
    return Table("What was checked", ("", "Outcome", "Seen", "Limit, and where it is from"), rows, prose=True)


def in_short(checks: Sequence[Check]) -> str:
    """Say how many limits were checked, and what came of them."""
    counts = [
        (sum(check.outcome == outcome for check in checks), outcome) for outcome in ("passed", "found", "not judged")
    ]
    came = ", ".join(f"{count} {outcome}" for count, outcome in counts if count)
    return f"{words.counted(len(checks), 'limit')} checked: {came}"


def trends(log: LogReport) -> Table:
    """Return how the load's figures change from day to day."""
    rows = tuple(
        (
            _TREND[trend.name][0].capitalize(),
            words.amount(trend.usual, _TREND[trend.name][1]),
            words.amount(trend.per_day, _TREND[trend.name][1]),
            f"{words.number(trend.low)} to {words.number(trend.high)}",
            words.percent(trend.change),
        )
        for trend in log.trends
    )
    head = ("", "Usual", "Change a day", "95 % interval", "Over the log")
    return Table("From day to day (median slope of all pairs of runs)", head, rows)
