"""One log as the page's template lays it out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from ...analysis.health import limits_for
from . import budget_table, checked, figures, plate_tables, sentences, site_sentences, site_view, tables, words

if TYPE_CHECKING:
    from ...analysis.finding import Finding
    from ...analysis.report import LogReport, Report
    from .figures import Figure
    from .site_view import Part
    from .tables import Table


@dataclass(frozen=True)
class Headings:
    """What the parts of a log are called in their headings and, shorter, in the list of links."""

    took: str
    took_short: str
    runs: str
    runs_short: str


@dataclass(frozen=True)
class LogView:
    """One log as text, tables and figures: nothing is left for the template to decide."""

    anchor: str
    title: str
    when: str
    brief: tuple[str, ...]
    numbers: tuple[tuple[str, str], ...]
    took: Table
    headings: Headings
    counter: str | None
    whole: Figure | None
    ran: str
    findings: list[tuple[Finding, str]]
    checks: Table
    trends: Table
    runs: Figure | None
    start: Figure | None
    cycles: Table
    plate: Figure | None
    reasons: tuple[Table, ...]
    by_habit: str | None
    habit: Table | None
    steps: Table | None
    assumptions: tuple[str, ...]
    remarks: tuple[str, ...]
    both_sides: tuple[str, ...]
    parts: tuple[Part, ...]
    left_out: tuple[str, ...]
    quality: Table
    said: tuple[str, ...]
    budget: Figure | None
    sureness: tuple[str, ...]


def view_of(report: Report, log: LogReport, anchor: str) -> LogView:
    """Return one of a report's logs laid out; `anchor` is unique on the page."""
    limits = report.site.limits if report.site is not None else None
    return LogView(
        anchor=anchor,
        title=sentences.log_title(log.facts),
        when=sentences.when(log),
        brief=(sentences.took(log), sentences.ran(log), sentences.verdict(log), *site_sentences.carried(log)),
        numbers=numbers_of(log),
        took=tables.took(log),
        headings=_headings(report, log),
        counter=sentences.counter(log),
        whole=figures.whole_log(log, f"{anchor}-whole"),
        ran=sentences.ran(log),
        findings=[(finding, checked.when(finding, log.facts)) for finding in sentences.by_severity(log)],
        checks=checked.checks(log),
        trends=checked.trends(log),
        runs=figures.runs(log, limits, f"{anchor}-runs"),
        start=figures.start(log, f"{anchor}-start"),
        cycles=tables.cycles(log),
        plate=figures.plate(log, f"{anchor}-plate"),
        reasons=_reasons(log),
        by_habit=sentences.by_habit(log.plate) if log.plate else None,
        habit=plate_tables.by_habit(log.plate) if log.plate else None,
        steps=plate_tables.steps(log.plate) if log.plate else None,
        assumptions=log.plate.estimate.assumptions if log.plate else (),
        remarks=_plate_remarks(log),
        both_sides=sentences.both_sides(report, log),
        parts=site_view.parts_of(report, log, anchor),
        left_out=site_view.left_out(log),
        quality=tables.quality(log),
        said=log.facts.said,
        budget=figures.sureness(log, f"{anchor}-sure"),
        sureness=budget_table.remarks(log),
    )


def _reasons(log: LogReport) -> tuple[Table, ...]:
    """Return the reasons for what lies between paper, nameplate and measurement."""
    if log.plate is None:
        return ()
    return (plate_tables.left_out_on_paper(log.plate), plate_tables.why(log.plate))


def _plate_remarks(log: LogReport) -> tuple[str, ...]:
    """Return what limits the comparison with the plate, or why there is none."""
    if log.plate is not None:
        return log.plate.remarks
    return () if log.no_plate is None else (f"The nameplate is not compared: {log.no_plate}.",)


def _headings(report: Report, log: LogReport) -> Headings:
    """Return what the log's parts are called: only a motor is asked whether it is healthy."""
    at_bank, name = log.facts.side == "dc", sentences.named_load(log)
    loads = report.site.loads if report.site is not None else ()
    load = next((load for load in loads if load.name == name), None)
    motor = bool(limits_for(report.site, load).is_motor)
    return Headings(
        took="What it took out of the bank" if at_bank else "What the loads took behind the inverter",
        took_short="The bank" if at_bank else "The energy",
        runs=f"Is {sentences.load_name(log)} healthy?" if motor else "What the runs show",
        runs_short=_capital(sentences.load_name(log)) if motor else "The runs",
    )


def numbers_of(log: LogReport) -> tuple[tuple[str, str], ...]:
    """Return the figures that matter, each with what it is; what was not measured is left out."""
    summary, charge, energy = log.cycles.summary, log.charge.charge, log.charge.energy
    running = "" if summary.duty_cycle is None else f", running {words.percent(summary.duty_cycle)} of the time"
    of = "any load" if not summary.count and sentences.named_load(log) is None else sentences.load_name(log)
    cards = [
        (tables.drawn(charge, "Ah"), "charge drawn"),
        (tables.drawn(energy, "Wh"), "energy drawn"),
        (words.counted(summary.count, "start"), f"of {of}{running if summary.count else ''}"),
    ]
    return tuple(card for card in cards if card[0] != words.UNKNOWN)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
