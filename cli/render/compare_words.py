"""Two logs side by side as lines of text for a terminal."""

from __future__ import annotations

from math import isfinite
from typing import TYPE_CHECKING

from ...analysis.missing import Missing
from .terminal import span_lines, table
from .words import amount, capital, duration, number, rounded_u95, shortened, with_sign

if TYPE_CHECKING:
    from ...analysis.compare import ComparedFinding, Comparison
    from ...analysis.compared import Compared
    from ...analysis.report import LogReport
    from ...analysis.within import Within

_HEAD = ["", "before", "after", "difference, with its 95 % interval", "times", ""]
#: Differences in time with a wider interval are told in minutes. [s]
_IN_MINUTES_S = 30.0
_NONE = "no difference that these logs can show"


def compare_lines(found: Comparison) -> list[str]:
    """Return both logs, the table of what differs, findings that came and went, and what it rests on."""
    rows = [cells_of(row) for row in found.rows]
    return [
        *_log_lines("before", found.before),
        *_log_lines("after", found.after),
        f"runs of {found.before.cycles.load or 'the largest load that matters'}",
        "",
        *(table([_HEAD, *rows], right=(1, 2)) if rows else []),
        "",
        *_nothing(found),
        *_finding_lines(found),
        *(f"not judged: {why}" for why in _not_judged(found)),
        *(f"not compared: {left.sentence}" for left in found.left_out),
        *(f"note: {text}" for text in found.said),
    ]


def _nothing(found: Comparison) -> list[str]:
    """Say so where no figure differs, as far as any could be judged."""
    judged = [row for row in found.rows if row.differs is not None]
    if not judged or not found.nothing_differs:
        return []
    which = "of these figures" if len(judged) == len(found.rows) else "figure that could be judged"
    return [f"{capital(_NONE)}, in any {which}.", ""]


def _not_judged(found: Comparison) -> list[str]:
    """Return each reason once, with the figures it holds back."""
    reasons: dict[str, list[str]] = {}
    for row in found.rows:
        if isinstance(row.difference, Missing):
            reasons.setdefault(row.difference.because, []).append(f"{row.name} ({row.unit})" if row.unit else row.name)
    return [f"{'; '.join(names)}: {why}" for why, names in reasons.items()]


def _log_lines(which: str, log: LogReport) -> list[str]:
    first, *rest = span_lines(log.facts, log.charge.span)
    return [f"{which}: {shortened(log.facts.name)}, {first}", *(f"  {line}" for line in rest)]


def cells_of(row: Compared) -> list[str]:
    """Return a figure's name, its values in both logs, the difference, how many times, and what of it can be told."""
    return [row.name, figure(row.before.value, row.unit), figure(row.after.value, row.unit), *_apart(row)]


def _apart(row: Compared) -> list[str]:
    if isinstance(row.difference, Missing):
        return ["not judged", "", ""]
    apart = row.difference
    ratio = "" if row.ratio is None else f"{number(row.ratio.low)} to {number(row.ratio.high)}"
    if not row.differs:
        return [difference(apart, row.unit), ratio, _NONE]
    return [difference(apart, row.unit), ratio, "more" if apart.value > 0 else "less"]


def figure(x: float, unit: str) -> str:
    """Return a figure as people write it: seconds as a duration."""
    return duration(x) if unit == "s" else amount(x, unit).rstrip()


def difference(apart: Within, unit: str) -> str:
    """Return a difference with its ends, with their signs and as many digits as the interval gives: ``+1.5 Ah, …``."""
    half = max(apart.high - apart.value, apart.value - apart.low)
    if not isfinite(half):
        return _signed(apart.value, 2, unit)
    if unit == "s" and half >= _IN_MINUTES_S:
        return "{}, {} to {}".format(*(with_sign(x, duration(abs(x))) for x in (apart.value, apart.low, apart.high)))
    digits = max(rounded_u95(half)[0], 0) if half > 0 else 2
    unit = "percentage points" if unit == "%" else unit
    value, low, high = (_signed(x, digits) for x in (apart.value, apart.low, apart.high))
    return f"{value} {unit}, {low} to {high}" if unit else f"{value}, {low} to {high}"


def _signed(x: float, digits: int, unit: str = "") -> str:
    return f"{with_sign(x, f'{abs(x):,.{digits}f}')} {unit}".rstrip()


def _finding_lines(found: Comparison) -> list[str]:
    if not found.findings:
        return ["findings: none in either log", ""]
    return ["findings", *(f"  {_finding(each)}" for each in found.findings), ""]


def _finding(each: ComparedFinding) -> str:
    finding = each.finding
    other = "before" if each.change == "came" else "after"
    unsure = "" if each.judged else f" (it could not be judged in the log {other})"
    return f"{each.change}: {finding.severity.upper()}: {finding.title} ({finding.code}): {finding.evidence}{unsure}"
