"""What time a log covers, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..wording.clock import from_to, in_zone
from ..wording.numbers import counted, duration

if TYPE_CHECKING:
    from ....analysis.readings.log_facts import LogFacts
    from ....analysis.readings.measured_span import Span


def span_in_short(facts: LogFacts, span: Span) -> list[str]:
    """Return what time was measured, and what was not, with no word on the readings."""
    if span.start_us is None:
        return span_lines(facts, span)
    goes = from_to(span.start_us, span.stop_us, facts)
    return [f"{duration(span.covered_s)} measured, {goes} ({_zone(facts)})", *_not_measured(span)]


def span_lines(facts: LogFacts, span: Span) -> list[str]:
    """Return in words what time was measured, and what was not."""
    return [
        f"from {from_to(span.start_us, span.stop_us, facts)} ({_zone(facts)}): "
        f"{duration(span.covered_s)} measured, {counted(span.readings, 'reading')}",
        *_not_measured(span),
    ]


def _zone(facts: LogFacts) -> str:
    return in_zone(facts) + (", assumed" if facts.zone_assumed and not facts.undated else "")


def _not_measured(span: Span) -> list[str]:
    if not span.gaps:
        return []
    gaps = counted(len(span.gaps), "gap")
    return [f"not measured: {duration(span.uncovered_s)} in {gaps}; nothing is counted for it"]
