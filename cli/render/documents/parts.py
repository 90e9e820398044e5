"""Parts that all JSON documents are made of."""

from __future__ import annotations

import json
from collections.abc import Mapping
from math import isfinite
from typing import TYPE_CHECKING, Any

import click

from shuntbook.analysis.not_known import Missing
from shuntbook.analysis.stats.interval95 import Within
from shuntbook.cli.render.wording.clock import moment_of

if TYPE_CHECKING:
    from shuntbook.analysis.health.finding import Finding
    from shuntbook.analysis.readings.log_facts import LogFacts
    from shuntbook.analysis.readings.measured_span import Span


def finding_document(finding: Finding) -> Document:
    """Return a finding; the runs it rests on by their starts."""
    return {**fields(finding), "cycles": [instant(us) for us in finding.cycles]}


def part(item: Any) -> Any:  # noqa: ANN401 - any result, nested
    """Return a result with all in it; what is missing says what to add, in place of the figure."""
    if isinstance(item, Missing):
        return {"value": None, "why_not": item.sentence, "add": list(item.add)}
    if isinstance(item, Within):
        return fields(item)
    if isinstance(item, tuple):
        return [part(each) for each in item]
    if not hasattr(item, "__dataclass_fields__"):
        return item
    return {name: part(value) for name, value in fields(item).items()}


Document = dict[str, Any]

#: Control characters that JSON need not escape; a terminal might obey them.
_ESCAPED = {code: f"\\u{code:04x}" for code in range(0x7F, 0xA0)}


def print_json(document: Mapping[str, Any]) -> None:
    """Print one document alone; what is not a finite number becomes null."""
    text = json.dumps(_clean(document), indent=2, ensure_ascii=False, allow_nan=False)
    click.echo(text.translate(_ESCAPED))


def _clean(value: Any) -> Any:  # noqa: ANN401 - any JSON value
    if isinstance(value, float):
        return value if isfinite(value) else None
    if isinstance(value, Mapping):
        return {key: _clean(item) for key, item in value.items()}
    return [_clean(item) for item in value] if isinstance(value, (list, tuple)) else value


def instant(us: int | None) -> str | None:
    """Return an instant, microseconds since 1970, as ISO 8601 in UTC."""
    if us is None:
        return None
    return moment_of(us).isoformat().replace("+00:00", "Z")


def facts_document(facts: LogFacts) -> Document:
    """Return where a log comes from."""
    return {
        "name": facts.name,
        "meter": facts.meter,
        "side": facts.side,
        "sampling": facts.sampling,
        "zone": facts.zone,
        "zone_assumed": facts.zone_assumed,
        "undated": facts.undated,
        "gap_limit_s": facts.gap_limit_s,
        "usual_interval_s": facts.usual_interval_s,
        "source": facts.source,
        "rows_read": facts.rows_read,
        "rows_kept": facts.rows_kept,
        "rows_rejected": facts.rows_rejected,
        "rows_merged": facts.rows_merged,
        "notes": list(facts.said),
    }


def span_document(span: Span) -> Document:
    """Return the time that was measured, and the gaps."""
    return {
        "start": instant(span.start_us),
        "stop": instant(span.stop_us),
        "readings": span.readings,
        "covered_s": span.covered_s,
        "uncovered_s": span.uncovered_s,
        "gaps": [{"start": instant(gap.start_us), "stop": instant(gap.stop_us)} for gap in span.gaps],
    }


def told(item: Any) -> Any:  # noqa: ANN401 - any dataclass, nested
    """Return a dataclass with all in it; instants as in the rest of the document."""
    if isinstance(item, tuple):
        return [told(part) for part in item]
    if not hasattr(item, "__dataclass_fields__"):
        return item
    return {
        name.removesuffix("_us"): instant(value) if name.endswith("_us") else told(value)
        for name, value in fields(item).items()
    }


def fields(item: Any) -> Document:  # noqa: ANN401 - any flat dataclass
    """Return a dataclass's fields as they are."""
    return {name: getattr(item, name) for name in item.__dataclass_fields__}
