"""One log as the page's template lays it out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from . import figures, sentences, tables, words

if TYPE_CHECKING:
    from ...analysis.finding import Finding
    from ...analysis.report import LogReport, Report
    from .figures import Figure
    from .tables import Table


@dataclass(frozen=True)
class LogView:
    """One log as text, tables and figures: nothing is left for the template to decide."""

    anchor: str
    title: str
    side: str
    when: str
    brief: tuple[str, ...]
    numbers: tuple[tuple[str, str], ...]
    took: Table
    counter: str | None
    whole: Figure | None
    load: str
    findings: list[Finding]
    runs: Figure | None
    start: Figure | None
    cycles: Table
    plate: Figure | None
    steps: Table | None
    assumptions: tuple[str, ...]
    quality: Table
    said: tuple[str, ...]


def view_of(report: Report, log: LogReport, anchor: str) -> LogView:
    """Return one of a report's logs laid out; `anchor` is unique on the page."""
    limits = report.site.limits if report.site is not None else None
    return LogView(
        anchor=anchor,
        title=sentences.log_title(log.facts),
        side=log.facts.side,
        when=sentences.when(log),
        brief=(sentences.took(log), sentences.ran(log), sentences.verdict(log)),
        numbers=_numbers(log),
        took=tables.took(log),
        counter=sentences.counter(log),
        whole=figures.whole_log(log, f"{anchor}-whole"),
        load=sentences.load_name(log),
        findings=sentences.by_severity(log),
        runs=figures.runs(log, limits, f"{anchor}-runs"),
        start=figures.start(log, f"{anchor}-start"),
        cycles=tables.cycles(log),
        plate=figures.plate(log, f"{anchor}-plate"),
        steps=tables.plate(log.plate) if log.plate else None,
        assumptions=log.plate.estimate.assumptions if log.plate else (),
        quality=tables.quality(log),
        said=log.facts.said,
    )


def _numbers(log: LogReport) -> tuple[tuple[str, str], ...]:
    """Return the three figures that matter, each with what it is."""
    summary, charge, energy = log.cycles.summary, log.charge.charge, log.charge.energy
    running = "" if summary.duty_cycle is None else f", running {words.percent(summary.duty_cycle)} of the time"
    return (
        (tables.drawn(charge, "Ah"), "charge drawn"),
        (tables.drawn(energy, "Wh"), "energy drawn"),
        (words.counted(summary.count, "start"), f"of {sentences.load_name(log)}{running}"),
    )
