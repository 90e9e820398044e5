"""The state of a site by its newest days: since when it is so, on how many days it was seen, and what was before."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import TYPE_CHECKING

import numpy as np

from ..health.finding import SEVERITIES, Finding, is_judged
from ..readings.chunk import TimeArray

if TYPE_CHECKING:
    from ..one_log.log_report import LogReport
    from .over_logs import OverLogs


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

    A finding holds from the first of the runs that it rests on to the last, or all through its log if it names none.
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
            holds = (finding.cycles[0], finding.cycles[-1]) if finding.cycles else whole
            for day in _days_between(*holds, starts_us, stops_us):
                findings.setdefault(day, []).append(finding)
    return tuple(JudgedDay(over.days[day].date, tuple(_serious(findings.get(day, [])))) for day in sorted(judged))


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
