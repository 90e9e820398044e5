"""Many logs of one site together: their days, trends, the calendar of starts, before and after, and all findings."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, tzinfo
from typing import Final

import numpy as np

from ..health.finding import SEVERITIES, Check, Finding
from ..health.runs import Runs
from ..not_known import Missing
from ..one_log.log_report import LogReport
from ..pump_pulse.starts import lengths_of, start_lengthens
from ..readings.chunk import SECONDS_PER_HOUR, Side
from ..readings.log_facts import LogFacts
from ..site.site import Site
from ..wording import figure
from .before_after import BeforeAfter, NamedChange, before_after, turn_of_runs
from .day_figures import DayFigures, figures_of, figures_of_log
from .day_pieces import DayPiece, LeftOut, Pool, pool_of
from .day_trends import Day, DaySteps, DayTrend, day_trends
from .fleet import worst_first
from .pump_days import PumpOverLogs, pump_over_logs
from .start_calendar import StartCalendar, calendar_of

#: So many logs of many are shown in full. [1]
MOST_IN_FULL: Final = 2


@dataclass(frozen=True)
class OneLog:
    """A log's figures, and how many findings of each severity it has: to act on, to watch, notes."""

    log: LogReport
    figures: DayFigures
    findings: tuple[int, int, int]


@dataclass(frozen=True)
class FoundOften:
    """A finding over all logs: its most serious form, and the logs that have it, in order of time."""

    finding: Finding
    logs: tuple[LogReport, ...]


@dataclass(frozen=True)
class OverLogs:
    """What several logs of one site show together.

    `logs` are all, in order of time, those without dates last; `left_out` are those that take no part in days, trends,
    calendar and comparison. `side` and `zone` (whose midnights part the days) are of the others, and `whole` holds the
    figures of all these; None where there are none. `findings` are of all logs, the most serious and then the most
    frequent first; `checks` are the limits that only logs of many days together can be held against. `remarks` say in
    sentences what must be known to read it. `pump` is what they say of a pump's water.
    """

    logs: tuple[OneLog, ...]
    side: Side
    zone: str
    whole: DayFigures | None
    days: tuple[Day, ...]
    trends: tuple[DayTrend, ...]
    calendar: StartCalendar
    change: BeforeAfter | None
    findings: tuple[FoundOften, ...]
    checks: tuple[Check, ...]
    left_out: tuple[LeftOut, ...]
    remarks: tuple[str, ...]
    pump: PumpOverLogs | None = None

    @property
    def too_brief(self) -> int:
        """How many more starts there were at the least, of runs too brief to be measured, in what takes part."""
        return 0 if self.whole is None else self.whole.too_brief

    @property
    def at_least(self) -> bool:
        """Whether starts, and what the load took, are lower bounds."""
        return self.whole is not None and self.whole.at_least


def wanting_a_look(logs: Iterable[LogReport]) -> tuple[LogReport, ...]:
    """Return the few of many logs to be shown in full, in order of time: the newest, and the worst of all others.

    The worst is the first in the order of a fleet, the newer of equals; notes alone want no look. With none of them it
    is the newest two.
    """
    ordered = sorted(logs, key=_when)
    dated = [log for log in ordered if not log.facts.undated] or ordered
    newest = dated[-1:]
    worst = worst_first(log for log in ordered if log is not newest[0])
    chosen = [*newest, *(worst[: MOST_IN_FULL - 1] or dated[-2:-1])]
    return tuple(sorted(chosen, key=_when))


def over_logs(
    logs: Sequence[LogReport],
    zone_of: Callable[[LogFacts], tzinfo],
    *,
    site: Site | None = None,
    change: NamedChange | None = None,
) -> OverLogs:
    """Put several logs of one site together, given in any order.

    `zone_of` gives the rules of the zone that a log's own days were cut in. Without a `change` it is the note at which
    the days' figures step most clearly; where they do at none, the first half of the logs is set beside the last.
    """
    ordered = sorted(logs, key=_when)
    pool = pool_of(ordered, site)
    days = tuple(
        Day(date.fromisoformat(line.text), line.start_us, line.stop_us, figures_of(pieces), _logs_of(pieces))
        for pieces in pool.days()
        for line in [pieces[0].line]
    )
    steps = DaySteps(days)
    if change is None and (noted := steps.clearest(_notes(ordered))) is not None:
        change = NamedChange(*noted)
    zone = zone_of(pool.pieces[0].log.facts) if pool.pieces else UTC
    pump = pump_over_logs(pool)
    checks = (*_of_starts(pool), *([pump.falls] if pump is not None else []))
    whole = figures_of(pool.pieces) if pool.pieces else None
    together = {id(log): [each for each in _found(checks) if _holds(log, each)] for log in ordered}
    return OverLogs(
        logs=tuple(_one(log, together[id(log)]) for log in ordered),
        side=pool.side,
        zone=pool.zone,
        whole=whole,
        days=days,
        trends=day_trends(days, None if change is None else change.at_us),
        calendar=calendar_of(pool.starts_us(), *pool.measured_us(), zone),
        change=_with_steps(before_after(pool, change), steps, pool),
        findings=_ranked(ordered, together),
        checks=checks,
        left_out=pool.left_out,
        remarks=(*pool.remarks, *_beyond_the_bank(whole, pool.side, site)),
        pump=pump,
    )


def _beyond_the_bank(whole: DayFigures | None, side: Side, site: Site | None) -> Iterator[str]:
    """Yield a remark where a bank took in, or gave, more on balance than it can hold: no bank does."""
    charge = whole.charge if whole is not None and side == "dc" else None
    if charge is None or whole is None or site is None or site.bank.capacity_Ah is None:
        return
    net, holds = abs(charge.drawn - charge.returned), site.bank.capacity_Ah
    if net - (charge.net_u95 or 0.0) <= holds or whole.measured_s <= 0:
        return
    mean = figure(net * SECONDS_PER_HOUR / whole.measured_s, "A", digits=2)
    took = charge.returned > charge.drawn
    more = "took in" if took else "gave", "it gave" if took else "came back"
    why = "charging lost a part of it" if took else "something charges it past this meter"
    amounts = f"{figure(net, 'Ah')} more than {more[1]}, and holds {figure(holds, 'Ah')}"
    yield f"The bank {more[0]} {amounts}: {why}, or the meter's zero is off, by {mean} at most."


def _notes(logs: Iterable[LogReport]) -> Iterator[tuple[int, str]]:
    for log in logs:
        if not log.facts.undated:
            yield from log.facts.markers


def _with_steps(change: BeforeAfter | None, steps: DaySteps, pool: Pool) -> BeforeAfter | None:
    if change is None or not change.named:
        return change
    at_change = steps.at(change.at_us)
    return replace(change, steps=at_change, turn=turn_of_runs(pool, change.at_us, at_change))


def _logs_of(pieces: Sequence[DayPiece]) -> tuple[LogReport, ...]:
    return tuple({id(piece.log): piece.log for piece in pieces}.values())


def _when(log: LogReport) -> tuple[bool, int, str]:
    return log.facts.undated, log.charge.span.start_us or 0, log.facts.name


def _one(log: LogReport, together: Iterable[Finding]) -> OneLog:
    # What rests on no run of its own is told once, of all logs, and makes none of them worse than it is.
    own = (*log.findings, *(each for each in together if each.cycles))
    return OneLog(log, figures_of_log(log), _counted(own))


def _holds(log: LogReport, finding: Finding) -> bool:
    """Tell whether a log is among those that show a finding together: by its runs, if the finding names any."""
    if not finding.cycles:
        return log.pulse is not None and bool(log.pulse.days)
    return not {cycle.start_us for cycle in log.cycles.cycles}.isdisjoint(finding.cycles)


def _counted(findings: Iterable[Finding]) -> tuple[int, int, int]:
    severities = [finding.severity for finding in findings]
    act, watch, note = (severities.count(severity) for severity in SEVERITIES)
    return act, watch, note


def _of_starts(pool: Pool) -> tuple[Check, ...]:
    """Return what starts over days of several logs are held against; nothing without a motor's runs."""
    cycles = [cycle for piece in pool.pieces if piece.log.load_starts is not None for cycle in piece.cycles]
    if not cycles:
        return ()
    newest, lengths = pool.pieces[-1].log, lengths_of(cycles)
    # Where no log shows a length, all of them mostly lack it for the newest one's reason.
    starts, why_not = newest.load_starts, ""
    if np.isnan(lengths).all() and starts is not None and isinstance(starts.length_s, Missing):
        why_not = starts.length_s.because
    start_us = np.array([cycle.start_us for cycle in cycles])
    return (start_lengthens(Runs(newest.cycles).name, start_us, lengths, why_not),)


def _found(checks: Iterable[Check]) -> list[Finding]:
    """Return what was found of several logs together."""
    return [check.finding for check in checks if check.finding is not None]


def _ranked(logs: Sequence[LogReport], together: Mapping[int, Sequence[Finding]]) -> tuple[FoundOften, ...]:
    """Return each code once, with the logs that have it: by severity, then by how many logs, then by code."""
    by_code: dict[str, list[tuple[Finding, LogReport]]] = {}
    for log in logs:
        # What many days show together is a finding of the logs that hold its runs, or their days.
        for finding in (*together[id(log)], *log.findings):
            by_code.setdefault(finding.code, []).append((finding, log))
    # The worst day says most of how bad it is, not the first that is as grave.
    place = {id(log): k for k, log in enumerate(worst_first(logs))}
    findings = []
    for pairs in by_code.values():
        worst, _ = min(pairs, key=lambda pair: (SEVERITIES.index(pair[0].severity), place.get(id(pair[1]), len(logs))))
        findings.append(FoundOften(worst, tuple({id(log): log for _, log in pairs}.values())))
    return tuple(
        sorted(findings, key=lambda each: (SEVERITIES.index(each.finding.severity), -len(each.logs), each.finding.code))
    )
