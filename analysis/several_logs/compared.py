"""One figure of two logs beside each other, and what lies between."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from ..charge.between_notes import MarkedStretch
from ..cycles.cycle import Cycle
from ..cycles.failed_starts import BRIEF_SHARE
from ..not_known import Missing
from ..one_log.log_report import LogReport
from ..stats.interval95 import Within


@dataclass(frozen=True)
class ComparedLog:
    """A log's report, and the stretches it was cut into.

    ``by_day`` holds one run for each day where runs of a day are more alike than runs of different days can be taken
    to be, its fields the medians of the day; None where each run speaks for itself.
    """

    report: LogReport
    stretches: tuple[MarkedStretch, ...]
    by_day: tuple[Cycle, ...] | None = None

    @property
    def runs(self) -> LogReport:
        """The report with the runs that are compared one by one."""
        if self.by_day is None:
            return self.report
        return replace(self.report, cycles=replace(self.report.cycles, cycles=self.by_day))


def too_brief_in(reports: Iterable[LogReport]) -> str:
    """Say which logs lack so many runs, too brief to be measured, that the others do not stand for all; else nothing.

    With fewer missing, counts are off by less than chance makes of them.
    """
    summaries = [(report.facts.name, report.cycles.summary) for report in reports]
    names = [name for name, summary in summaries if summary.too_brief >= max(BRIEF_SHARE * summary.count, 1)]
    return f"many runs in {' and in '.join(names)} were too brief to be measured" if names else ""


@dataclass(frozen=True)
class Compared:
    """One figure of both logs, and what lies between.

    Parameters
    ----------
    code, name : str
        What it is, for scripts and in words.
    before, after : Within
        In each log; without ends where its own interval is not known. What chance does is in `difference` alone for
        amounts: an amount's own interval is that of the meter.
    difference : Within or Missing
        After less before, with what chance and the meter leave open. For what is told by the median of runs it is the
        middle of all differences between a run of one and a run of the other.
    ratio : Within or None
        After over before; None where either is not above zero.
    cancels : str
        Which error of the meter the two have in common, in a plain sentence.
    """

    code: str
    name: str
    unit: str
    before: Within
    after: Within
    difference: Within | Missing
    ratio: Within | None
    cancels: str = ""

    @property
    def differs(self) -> bool | None:
        """Whether the logs can show a difference; None where that cannot be judged."""
        if isinstance(self.difference, Missing):
            return None
        return not self.difference.holds(0.0)
