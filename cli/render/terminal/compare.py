"""Two logs side by side as lines of text for a terminal."""

from __future__ import annotations

from math import inf
from typing import TYPE_CHECKING, Final

from ....analysis.health.finding import is_swapped
from ....analysis.not_known import Missing
from ..wording.answer import UNTIL_TURNED
from ..wording.log_sentences import load_name
from ..wording.numbers import capital, duration, sentence, shortened
from ..wording.sureness import NO_DIFFERENCE, cells_of
from .answer import Reply
from .columns import Columns
from .span import span_lines

if TYPE_CHECKING:
    from ....analysis.one_log.log_report import LogReport
    from ....analysis.several_logs.compare import ComparedFinding, LogComparison
    from ....analysis.several_logs.compared import Compared

_HEADS: Final = ("", "before", "after", "difference, with its 95 % interval", "times", "")


def compare_answer(comparison: LogComparison) -> Reply:
    """Return what changed, by how much and how surely; all that was compared, and what it rests on, are reasons."""
    differing = sorted((row for row in comparison.rows if row.differs), key=_times, reverse=True)
    alike = [row.name for row in comparison.rows if row.differs is False]
    nothing, before, after = _nothing(comparison), comparison.before, comparison.after
    findings = [_finding_in_short(each) for each in comparison.findings if _matters(each)]
    # A first line of our own where no finding has one: it is the greatest change.
    shown = differing if findings else differing[1:]
    return Reply(
        [
            *_swapped(before, after),
            *findings,
            *([] if findings else [_change(row) for row in differing[:1]]),
            *nothing,
            *([f"{capital(NO_DIFFERENCE)}: {'; '.join(dict.fromkeys(alike))}."] if alike and not nothing else []),
            *(["The findings are the same in both logs."] if _stayed(comparison) else []),
            f"Runs of {load_name(after)}, before: {_log(before)}; after: {_log(after)}",
            *(
                [Columns([cells_of(row)[:4] for row in shown], ("", "before", "after", "difference (95 %)"), (1, 2))]
                if shown
                else []
            ),
        ],
        [
            *_log_lines("before", before),
            *_log_lines("after", after),
            "",
            Columns([cells_of(row) for row in comparison.rows], _HEADS, right=(1, 2)),
            "",
            *_finding_lines(comparison),
            *(f"not judged: {why}" for why in _not_judged(comparison)),
            *(f"not compared: {left.sentence}" for left in comparison.left_out),
            *(f"note: {text}" for text in comparison.remarks),
        ],
        "every figure, what could not be judged, assumptions",
    )


def _swapped(*logs: LogReport) -> list[str]:
    """Say first of all which log has draw and return swapped: its runs are the rests between them."""
    names = dict.fromkeys(shortened(log.facts.name) for log in logs if is_swapped(log.findings))
    if not names:
        return []
    return [
        f"WARNING: draw and return seem to be swapped in {' and '.join(names)}; what is compared below means nothing "
        f"{UNTIL_TURNED} ('shuntbook convert LOG --reverse-sign --out OTHER')"
    ]


def _times(row: Compared) -> float:
    """Return by how many times a figure changed at the least, whichever way; 1 where that is not known."""
    if row.ratio is None:
        return 1.0
    return max(row.ratio.low, 1 / row.ratio.high if row.ratio.high > 0 else inf, 1.0)


def _change(row: Compared) -> str:
    _, before, after, apart, *_ = cells_of(row)
    return f"{capital(row.name)}: {after} after, {before} before (difference {apart}; 95 %)."


def _matters(each: ComparedFinding) -> bool:
    return each.change != "stayed" and each.finding.severity != "note"


def _stayed(comparison: LogComparison) -> bool:
    return bool(comparison.findings) and all(each.change == "stayed" for each in comparison.findings)


def _finding_in_short(each: ComparedFinding) -> str:
    finding = each.finding
    word = "NEW" if each.change == "came" else "GONE"
    unsure = "" if each.judged else " (the other log could not be judged for it)"
    return f"{word}, {finding.severity.upper()}: {finding.plain or sentence(finding.title)}{unsure}"


def _log(log: LogReport) -> str:
    return f"{shortened(log.facts.name)}, {duration(log.charge.span.covered_s)}"


def _nothing(comparison: LogComparison) -> list[str]:
    """Say so where no figure differs, as far as any could be judged."""
    # What could not be judged must not pass for no difference.
    judged = [row for row in comparison.rows if row.differs is not None]
    if not judged or not comparison.nothing_differs:
        return []
    which = "of these figures" if len(judged) == len(comparison.rows) else "figure that could be judged"
    return [f"{capital(NO_DIFFERENCE)}, in any {which}."]


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
