"""What was checked of a load's health: each limit with what came of it, and how its figures change over days."""

from __future__ import annotations

from typing import TYPE_CHECKING

from shuntbook.cli.render.wording import numbers
from shuntbook.cli.render.wording.checks import ABOUT, TREND

from .log_tables import Table

if TYPE_CHECKING:
    from shuntbook.analysis.one_log.log_report import LogReport


def checks(log: LogReport) -> Table:
    """Return every limit that was checked, with what came of it and where the limit is from."""
    rows = tuple(
        (
            ABOUT.get(check.code, check.code),
            check.outcome,
            numbers.capital(check.remark),
            numbers.capital(f"{check.limit} ({check.source})") if check.limit else numbers.UNKNOWN,
        )
        for check in log.checks
    )
    return Table("What was checked", ("", "Outcome", "Seen", "Limit, and where it is from"), rows, prose=True)


def trends(log: LogReport) -> Table:
    """Return how the load's figures change from day to day."""
    rows = tuple(
        (
            TREND[trend.name][0].capitalize(),
            numbers.amount(trend.usual, TREND[trend.name][1]),
            numbers.amount(trend.per_day, TREND[trend.name][1]),
            f"{numbers.number(trend.low)} to {numbers.number(trend.high)}",
            numbers.percent(trend.change),
        )
        for trend in log.trends
    )
    head = ("", "Usual", "Change a day", "95 % interval", "Over the log")
    return Table("From day to day (median slope of all pairs of runs)", head, rows)
