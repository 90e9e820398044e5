"""Two logs of one site side by side, before and after: what differs, by how much, and how sure that is.

A difference is shown only where its own 95 % interval leaves out zero. That interval holds what the meter may be off
and what chance did in each log. A meter's factor is one and the same in both logs where one meter read both: it then
scales a difference and leaves a ratio as it is.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from ..health.finding import Finding
from ..not_known import Missing, Refusal
from ..one_log.log_report import LogReport
from .compare_rates import RatesOfTwo
from .compare_runs import runs_of_two
from .compared import Compared, ComparedLog


@dataclass(frozen=True)
class ComparedFinding:
    """A finding that one log has or both have; ``judged`` tells whether the other log could be judged for it."""

    finding: Finding
    change: Literal["came", "went", "stayed"]
    judged: bool


@dataclass(frozen=True)
class LogComparison:
    """Two logs side by side.

    `rows` are the figures that both logs have, `left_out` what only one of them has, or none. `one_meter` tells whether
    one and the same meter read both; `remarks` say in sentences what it all rests on.
    """

    before: LogReport
    after: LogReport
    rows: tuple[Compared, ...]
    left_out: tuple[Missing, ...]
    findings: tuple[ComparedFinding, ...]
    one_meter: bool
    remarks: tuple[str, ...]

    @property
    def nothing_differs(self) -> bool:
        """Whether no figure differs as far as these logs can show."""
        return not any(row.differs for row in self.rows)


def compare_logs(before: ComparedLog, after: ComparedLog) -> LogComparison:
    """Set two logs of one side beside each other.

    Raises
    ------
    Refusal
        If one is from the bank and the other from behind an inverter.
    """
    sides = before.report.facts.side, after.report.facts.side
    if sides[0] != sides[1]:
        raise Refusal(
            f"{before.report.facts.name} is from side {sides[0]} and {after.report.facts.name} from side {sides[1]}: "
            "watts at the bank hold the inverter's losses and those behind it do not; compare two logs of one side"
        )
    # Meters without a name may be two: each then counts with its own error, which is the wider interval.
    one_meter = before.report.facts.meter is not None and before.report.facts.meter == after.report.facts.meter
    rates = RatesOfTwo(before, after, one_meter=one_meter)
    figures = [*rates.amounts(), *rates.habits(), *runs_of_two(before.runs, after.runs, one_meter=one_meter)]
    return LogComparison(
        before=before.report,
        after=after.report,
        rows=tuple(row for row in figures if isinstance(row, Compared)),
        left_out=tuple(row for row in figures if isinstance(row, Missing)),
        findings=tuple(_findings(before.report, after.report)),
        one_meter=one_meter,
        remarks=tuple(_remarks(one_meter=one_meter, by_day=before.by_day is not None)),
    )


def _remarks(*, one_meter: bool, by_day: bool) -> Iterator[str]:
    yield (
        "Each log is taken as a fair sample of its time: what differs because it was another hour, another day or "
        "other weather differs here, too."
    )
    taken = "Days, each with the medians of its runs," if by_day else "Runs"
    yield (
        f"{taken} are taken as independent of one another; each interval is 95 % by itself: of twenty figures one "
        "strays."
    )
    if one_meter:
        yield (
            "One meter read both: its factor is the same error in both, scales a difference and leaves a ratio as it "
            "is. Its zero may have moved between the logs and counts twice."
        )
    else:
        yield "The logs do not name one and the same meter: two were reckoned with, each with its own error."


def _findings(before: LogReport, after: LogReport) -> Iterator[ComparedFinding]:
    """Yield findings that came, went and stayed, by their codes."""
    # That a finding is gone means something only where the other log was judged for it.
    had, has = ({finding.code for finding in report.findings} for report in (before, after))
    for finding in after.findings:
        if finding.code not in had:
            yield ComparedFinding(finding, "came", _judged(before, finding.code))
        else:
            yield ComparedFinding(finding, "stayed", judged=True)
    for finding in before.findings:
        if finding.code not in has:
            yield ComparedFinding(finding, "went", _judged(after, finding.code))


def _judged(report: LogReport, code: str) -> bool:
    return any(check.code == code and check.outcome != "not judged" for check in report.checks)
