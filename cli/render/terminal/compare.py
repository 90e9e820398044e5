"""Two logs side by side as lines of text for a terminal."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ....analysis.not_known import Missing
from ..wording.numbers import capital, shortened
from ..wording.several_sentences import NO_DIFFERENCE, cells_of
from .columns import table
from .lines import span_lines

if TYPE_CHECKING:
    from ....analysis.one_log.log_report import LogReport
    from ....analysis.several_logs.compare import ComparedFinding, LogComparison

_HEAD = ["", "before", "after", "difference, with its 95 % interval", "times", ""]


def compare_lines(comparison: LogComparison) -> list[str]:
    """Return both logs, the table of what differs, findings that came and went, and what it rests on."""
    rows = [cells_of(row) for row in comparison.rows]
    return [
        *_log_lines("before", comparison.before),
        *_log_lines("after", comparison.after),
        f"runs of {comparison.before.cycles.load or 'the largest load that matters'}",
        "",
        *(table([_HEAD, *rows], right=(1, 2)) if rows else []),
        "",
        *_nothing(comparison),
        *_finding_lines(comparison),
        *(f"not judged: {why}" for why in _not_judged(comparison)),
        *(f"not compared: {left.sentence}" for left in comparison.left_out),
        *(f"note: {text}" for text in comparison.remarks),
    ]


def _nothing(comparison: LogComparison) -> list[str]:
    """Say so where no figure differs, as far as any could be judged."""
    # What could not be judged must not pass for no difference.
    judged = [row for row in comparison.rows if row.differs is not None]
    if not judged or not comparison.nothing_differs:
        return []
    which = "of these figures" if len(judged) == len(comparison.rows) else "figure that could be judged"
    return [f"{capital(NO_DIFFERENCE)}, in any {which}.", ""]


def _not_judged(comparison: LogComparison) -> list[str]:
    """Return each reason once, with the figures it holds back."""
    reasons: dict[str, list[str]] = {}
    for row in comparison.rows:
        if isinstance(row.difference, Missing):
            reasons.setdefault(row.difference.because, []).append(f"{row.name} ({row.unit})" if row.unit else row.name)
    return [f"{'; '.join(names)}: {why}" for why, names in reasons.items()]


def _log_lines(which: str, log: LogReport) -> list[str]:
    first, *rest = span_lines(log.facts, log.charge.span)
    return [f"{which}: {shortened(log.facts.name)}, {first}", *(f"  {line}" for line in rest)]


def _finding_lines(comparison: LogComparison) -> list[str]:
    if not comparison.findings:
        return ["findings: none in either log", ""]
    return ["findings", *(f"  {_finding(each)}" for each in comparison.findings), ""]


def _finding(each: ComparedFinding) -> str:
    finding = each.finding
    other = "before" if each.change == "came" else "after"
    unsure = "" if each.judged else f" (it could not be judged in the log {other})"
    return f"{each.change}: {finding.severity.upper()}: {finding.title} ({finding.code}): {finding.evidence}{unsure}"
