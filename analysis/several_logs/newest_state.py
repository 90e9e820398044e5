"""The state of a site by its newest days, since when and on how many days it is so; and month by month what was."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

from ..health.finding import SEVERITIES, Finding, is_judged
from ..readings.chunk import TimeArray
from .day_figures import LoadUse, use_together

if TYPE_CHECKING:
    from ..one_log.log_report import LogReport
    from .day_trends import Day
    from .over_logs import OverLogs


#: How a load's days went.
DayState = Literal["act", "watch", "not judged", "healthy"]
WORST_FIRST: Final[tuple[DayState, ...]] = ("act", "watch", "not judged", "healthy")


@dataclass(frozen=True)
class JudgedDay:
    """A local day on which the load could be judged, and the findings that hold on it, notes apart; worst first."""

    date: date
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class NewestState:
    """What the newest judged days have in common.

    ``finding`` is the worst of the newest day, None where it has none; ``since`` the first of the days in a row that
    have it too (or, as it, none), ``days`` how many these are. ``before`` are the judged days before them, and
    ``before_found`` those of them with any finding. ``newest`` is the last judged day.
    """

    finding: Finding | None
    since: date
    newest: date
    days: int
    before: int
    before_found: tuple[JudgedDay, ...]


def newest_state(days: Sequence[JudgedDay]) -> NewestState | None:
    """Return the state of the newest of days that are in order; None without any."""
    if not days:
        return None
    finding = days[-1].findings[0] if days[-1].findings else None
    same = 0
    for day in reversed(days):
        if not _is_so(day, finding):
            break
        same += 1
    before = days[: len(days) - same]
    return NewestState(
        finding=finding,
        since=days[-same].date,
        newest=days[-1].date,
        days=same,
        before=len(before),
        before_found=tuple(day for day in before if day.findings),
    )


def _is_so(day: JudgedDay, finding: Finding | None) -> bool:
    """Tell whether a day is as the newest: it has the same finding among its own, or has none like it."""
    if finding is None:
        return not day.findings
    return any(each.code == finding.code for each in day.findings)


def judged_days(over: OverLogs) -> tuple[JudgedDay, ...]:
    """Return the days of several logs on which a load was judged, in order.

    A finding holds from the first of the runs that it rests on to the last, or all through its log if it names neither
    these nor a time.
    """
    left_out = {id(each.log) for each in over.left_out}
    starts_us = np.array([day.start_us for day in over.days], dtype=np.int64)
    stops_us = np.array([day.stop_us for day in over.days], dtype=np.int64)
    judged: set[int] = set()
    findings: dict[int, list[Finding]] = {}
    for log in (one.log for one in over.logs):
        span = log.charge.span
        if id(log) in left_out or span.start_us is None or span.stop_us is None or not _tells(log):
            continue
        # A log that ends at midnight holds nothing of the day that begins then.
        whole = span.start_us, span.stop_us - 1
        judged |= set(_days_between(*whole, starts_us, stops_us))
        for finding in _serious(log.findings):
            for day in _days_between(*(finding.span_us or whole), starts_us, stops_us):
                findings.setdefault(day, []).append(finding)
    for finding in (check.finding for check in over.checks if check.finding is not None):
        # What only many days together show is so on the newest of them, where it names no runs.
        days = [max(judged, default=len(over.days) - 1)]
        if finding.span_us is not None:
            days = list(_days_between(*finding.span_us, starts_us, stops_us))
        for day in days:
            findings.setdefault(day, []).append(finding)
            judged.add(day)
    return tuple(JudgedDay(over.days[day].date, tuple(_serious(findings.get(day, [])))) for day in sorted(judged))


@dataclass(frozen=True)
class MonthDay:
    """A local day of a month: its figures, and its findings that hold on it; None where it could not be judged."""

    day: Day
    findings: tuple[Finding, ...] | None

    @property
    def state(self) -> DayState:
        """Its state, by the worst finding."""
        if self.findings is None:
            return "not judged"
        if not self.findings:
            return "healthy"
        return "act" if self.findings[0].severity == "act" else "watch"


@dataclass(frozen=True)
class Month:
    """The days of one calendar month in which anything was measured, in order."""

    days: tuple[MonthDay, ...]

    @property
    def state(self) -> DayState:
        """The worst state of any day."""
        return min((each.state for each in self.days), key=WORST_FIRST.index)

    @property
    def in_state(self) -> int:
        """On how many days it was so. [1]"""
        return sum(each.state == self.state for each in self.days)

    @property
    def use(self) -> LoadUse:
        """What the load took by itself."""
        return use_together(each.day.figures.use for each in self.days)


def months_of(over: OverLogs) -> tuple[Month, ...]:
    """Return the days of several logs by calendar months, in order."""
    judged = {each.date: each.findings for each in judged_days(over)}
    months: dict[tuple[int, int], list[MonthDay]] = {}
    for day in over.days:
        months.setdefault((day.date.year, day.date.month), []).append(MonthDay(day, judged.get(day.date)))
    return tuple(Month(tuple(days)) for days in months.values())


def _tells(log: LogReport) -> bool:
    """Tell whether a log says anything of its load's health: judged, or found anyway."""
    return (bool(log.cycles.cycles) and is_judged(log.checks)) or any(_serious(log.findings))


def _serious(findings: Iterable[Finding]) -> list[Finding]:
    """Return findings without notes, the worst first, else in their order."""
    serious = [finding for finding in findings if finding.severity != "note"]
    return sorted(serious, key=lambda finding: SEVERITIES.index(finding.severity))


def _days_between(first_us: int, last_us: int, starts_us: TimeArray, stops_us: TimeArray) -> Iterator[int]:
    """Yield the places of the days that a stretch of time touches. [us]"""
    low = int(np.searchsorted(stops_us, first_us, side="right"))
    high = int(np.searchsorted(starts_us, last_us, side="right"))
    yield from range(low, high)
