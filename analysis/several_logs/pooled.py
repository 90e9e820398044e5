"""Charge and energy of several stretches put together, with their intervals."""

from __future__ import annotations

from collections.abc import Sequence

from ..charge.amounts import Amounts, Charge, Sureness
from ..readings.measured_span import Span
from ..stats.interval95 import Component, HowSure, combine, judged


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
