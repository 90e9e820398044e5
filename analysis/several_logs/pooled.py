"""Charge and energy of several stretches, or of the loads of a fleet, put together, with their intervals."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from math import fsum
from typing import TYPE_CHECKING

from ..charge.amounts import Amounts, Charge, Sureness
from ..cycles.cycle import lower_end
from ..health.finding import WRONG_SIGN
from ..readings.measured_span import Span
from ..stats.interval95 import Component, HowSure, combine, judged

if TYPE_CHECKING:
    from .fleet import LogSummary


def pooled_amounts(parts: Sequence[Amounts | None]) -> Amounts | None:
    """Return the sum of amounts [Ah] or [Wh] of stretches that do not overlap, some too short to have any.

    The sum has an interval only where every part has one; None where there is no part.
    """
    known = [part for part in parts if part is not None]
    if not known:
        return None
    drawn, returned = sum(part.drawn for part in known), sum(part.returned for part in known)
    sures = [part.sure for part in known if part.sure is not None]
    if len(sures) < len(known):
        return Amounts(drawn, returned)
    sure = Sureness(
        drawn=_together(drawn, [each.drawn for each in sures], [part.drawn for part in known]),
        returned=_together(returned, [each.returned for each in sures], [part.returned for part in known]),
        net=_together(drawn - returned, [each.net for each in sures], [part.net for part in known]),
    )
    return Amounts(drawn, returned, sure)


def _together(value: float, sures: Sequence[HowSure], values: Sequence[float]) -> HowSure:
    sources: dict[str, list[Component]] = {}
    for sure in sures:
        for part in sure.components:
            sources.setdefault(part.source, []).append(part)
    # Each source is taken as one and the same error in all stretches, so that its parts add up: right for a meter's
    # factor and its zero, and too wide for what is independent (noise, the instants of steps), never too narrow.
    components = [_as_one(source, parts) for source, parts in sources.items()]
    half = combine(components).half
    # What the parts' own ends leave beyond that is one-sided: unseen starts, what hides about zero.
    below = sum(x - sure.low for x, sure in zip(values, sures, strict=True))
    above = sum(sure.high - x for x, sure in zip(values, sures, strict=True))
    return judged(value, components, lower=max(below - half, 0.0), higher=max(above - half, 0.0))


def _as_one(source: str, parts: Sequence[Component]) -> Component:
    largest = max(parts, key=lambda part: part.u)
    return Component(source, sum(p.u for p in parts), largest.even, min(p.dof for p in parts), largest.reason)


def pooled_charge(wholes: Sequence[Charge]) -> Charge:
    """Return charge and energy of stretches in order of time as one; at least one.

    Gaps are not listed: what was measured of the span is its ``covered_s``.
    """
    first = wholes[0]
    energy_spans = [whole.energy_span for whole in wholes if whole.energy_span is not None]
    return Charge(
        how=first.how,
        span=_one_span([whole.span for whole in wholes]),
        charge=pooled_amounts([whole.charge for whole in wholes]),
        energy=pooled_amounts([whole.energy for whole in wholes]),
        energy_by=first.energy_by,
        counter=None,
        energy_span=_one_span(energy_spans) if energy_spans else None,
        energy_from=first.energy_from,
    )


def _one_span(spans: Sequence[Span]) -> Span:
    return Span(
        start_us=min((span.start_us for span in spans if span.start_us is not None), default=None),
        stop_us=max((span.stop_us for span in spans if span.stop_us is not None), default=None),
        readings=sum(span.readings for span in spans),
        covered_s=sum(span.covered_s for span in spans),
        gaps=(),
    )


@dataclass(frozen=True)
class TakenInAll:
    """What the loads of a fleet took in all logs: of those at a bank where there are any, else of the others.

    Halves of intervals add up: what one log is off, others of the same meter are off the same way. ``logs`` are those
    in the sum, ``runs`` their runs whose amount is known; an amount is None where not all of these have it. With
    ``runs_too_brief`` in any of them, so many more at the least, amounts are lower bounds.
    """

    logs: int
    runs: int
    load_Ah: float | None
    load_u95_Ah: float | None
    load_Wh: float | None
    load_u95_Wh: float | None
    runs_too_brief: int = 0


def taken_in_all(summaries: Iterable[LogSummary]) -> TakenInAll:
    """Add up what the loads took in all logs of a plausible sign, each by itself, also where two show the same time."""
    # Where draw and return are swapped, what looks like the load's may be anything.
    every = [summary for summary in summaries if WRONG_SIGN not in summary.codes]
    at_bank = [summary for summary in every if summary.load_Ah is not None]
    # What flows behind an inverter came through the bank's meter before.
    logs = at_bank or [summary for summary in every if summary.load_Wh is not None]
    of = "runs_with_Ah" if at_bank else "runs_with_Wh"
    brief = sum(summary.runs_too_brief or 0 for summary in logs)
    logs = [_at_least(summary) for summary in logs] if brief else logs
    runs = sum(getattr(summary, of) or 0 for summary in logs)
    load_Ah, u95_Ah, load_Wh, u95_Wh = (
        _in_all(logs, name) for name in ("load_Ah", "load_u95_Ah", "load_Wh", "load_u95_Wh")
    )
    return TakenInAll(len(logs), runs, load_Ah, u95_Ah, load_Wh, u95_Wh, brief)


def _at_least(summary: LogSummary) -> LogSummary:
    """Return a summary with the least that its load took, as one lower bound makes a sum of all."""
    both = (summary.load_Ah, summary.load_u95_Ah), (summary.load_Wh, summary.load_u95_Wh)
    load_Ah, load_Wh = (None if x is None else lower_end(x, u95) or 0.0 for x, u95 in both)
    return replace(summary, load_Ah=load_Ah, load_u95_Ah=None, load_Wh=load_Wh, load_u95_Wh=None)


def _in_all(logs: Sequence[LogSummary], name: str) -> float | None:
    values = [getattr(summary, name) for summary in logs]
    # fsum: the same bit for bit, in whatever order the logs come.
    return None if not values or any(x is None for x in values) else fsum(values)
