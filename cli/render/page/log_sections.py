"""The page's sections on one log: what was taken, how the load is, what its nameplate says, how good the log is."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from ....analysis.health.finding import is_swapped, withheld
from ....analysis.health.limits import limits_for
from ..terminal.charge import doubt_lines
from ..wording import answer, checks, lesson, log_sentences, numbers
from ..wording.checks import not_judged
from ..wording.how_it_runs import at_speeds
from . import figures, log_tables, plate_tables, site_tables
from .section import Folded, Section, ShownFinding, without_empty

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ....analysis.nameplate.plate_check import PlateCheck
    from ....analysis.one_log.log_report import LogReport
    from ....analysis.several_logs.report import Report
    from .figures import Figure
    from .log_tables import Table

#: So many runs are listed in sight; a longer list is folded.
FEW_RUNS = 6
_LEDGER_RESTS_ON = (
    "A day is from midnight to midnight of its zone; a reading's interval that passes midnight is cut there.",
    "Over 10 min: the highest mean of any ten whole minutes on end that were measured throughout.",
)


def took(report: Report, log: LogReport, anchor: str) -> Section:
    """Return what went out and came back, over the whole log and day by day."""
    at_bank = log.facts.side == "dc"
    whole = figures.whole_log(log, f"{anchor}-whole")
    flow = figures.energy_flow(replace(report, logs=(log,)), f"{anchor}-flow")
    # What makes the figures doubtful comes before what they come to.
    doubts = (f"{line}." for line in doubt_lines(log.charge))
    sentences = (*doubts, log_sentences.balance(log), log_sentences.took(log), log_sentences.counter(log))
    if is_swapped(log.findings):
        sentences = ("Draw and return seem swapped: what is shown here as the one is then the other.", *sentences)
    return Section(
        f"{anchor}-took",
        "What did it take out of the bank?" if at_bank else "What did the loads take behind the inverter?",
        "The bank" if at_bank else "The energy",
        tuple(text for text in sentences if text),
        figures=alone(flow, whole),
        tables=(log_tables.took(log), *_tables(flow, whole)),
        folds=without_empty(_ledger(log)),
    )


def alone(*some: Figure | None) -> tuple[Figure, ...]:
    """Return figures without their tables, which stand elsewhere in their section; those that are None left out."""
    return tuple(replace(figure, tables=()) for figure in some if figure is not None)


def _tables(*some: Figure | None) -> tuple[Table, ...]:
    # For whoever cannot see a chart its tables are the chart.
    return tuple(table for each in some if each is not None for table in each.tables)


def _ledger(log: LogReport) -> Folded:
    counts = [(len(log.ledger.days), "day"), (len(log.ledger.demos), "demo")]
    how_many = " and ".join(numbers.counted(n, what) for n, what in counts if n)
    shown = site_tables.ledger(log)
    return Folded(f"Day by day: {how_many}", shown, _LEDGER_RESTS_ON if shown else (), long=True)


def health(report: Report, log: LogReport, anchor: str) -> Section:
    """Return whether the load is healthy: findings, runs and rests, and the list of what was checked."""
    limits = report.site.limits if report.site is not None else None
    motor, name = is_motor(report, log), log_sentences.load_name(log)
    serious, notes = shown_findings(log, anchor)
    starts = figures.all_starts(log, f"{anchor}-starts")
    runs, listed = figures.runs(log, limits, f"{anchor}-runs"), log_tables.cycles(log)
    # A few runs are read at a glance; many are behind a summary that says how many.
    short = () if len(listed.rows) > FEW_RUNS else (listed,)
    no_finding = "" if serious else _no_finding(log)
    return Section(
        f"{anchor}-health",
        f"Is {name} healthy?" if motor else "What do the runs show?",
        numbers.capital(name) if motor else "The runs",
        tuple(text for text in (_ran(log), no_finding, at_speeds(log.cycles), log_sentences.ran(log)) if text),
        serious,
        alone(starts, runs),
        (*_tables(runs, starts), *short),
        without_empty(
            _notes(notes),
            None if short else _runs_listed(log, listed),
            _start(log, anchor),
            Folded("From day to day", (log_tables.trends(log),), long=True),
            Folded(checks.in_short(log.checks), (log_tables.checks(log),), long=True),
        ),
    )


def _ran(log: LogReport) -> str:
    """Say shortly how often and how long the load ran; empty where no run was seen."""
    summary = log.cycles.summary
    if not summary.count:
        return ""
    if summary.too_brief:
        starts = numbers.counted(summary.count + summary.too_brief, "start")
        return f"At least {starts}; {summary.count:,} of these runs could be measured."
    often = f", {rate}" if (rate := log_sentences.starts_an_hour(log)) else ""
    usual = "" if summary.median_run_s is None else f"; a usual run took {numbers.duration(summary.median_run_s)}"
    return f"{numbers.counted(summary.count, 'start')}{often}{usual}."


def is_motor(report: Report, log: LogReport) -> bool:
    """Tell whether the load that was looked for is a motor: no other load is asked about its health."""
    loads, name = report.site.loads if report.site is not None else (), log_sentences.named_load(log)
    load = next((load for load in loads if load.name == name), None)
    return bool(limits_for(report.site, load).is_motor)


def shown_findings(log: LogReport, anchor: str) -> tuple[tuple[ShownFinding, ...], tuple[ShownFinding, ...]]:
    """Return the findings that want action or watching, the gravest first, and those that are notes."""
    every = [
        ShownFinding(f"{anchor}-finding-{place}", finding, checks.when(finding, log.facts))
        for place, finding in enumerate(log_sentences.by_severity(log), start=1)
    ]
    serious = tuple(each for each in every if each.finding.severity != "note")
    return serious, tuple(each for each in every if each.finding.severity == "note")


def _no_finding(log: LogReport) -> str:
    if not log.cycles.cycles:
        return "No finding: there was no run to check."
    # That nothing was found must not be read as if all had been checked.
    left = not_judged(withheld(log.checks))
    return f"No finding: nothing in this log crosses a limit that could be checked{f' ({left})' if left else ''}."


def _notes(notes: Sequence[ShownFinding]) -> Folded:
    return Folded(numbers.counted(len(notes), "note"), findings=tuple(notes))


def _runs_listed(log: LogReport, listed: Table) -> Folded:
    count, shown = len(log.cycles.cycles), len(listed.rows)
    first = f", first {shown}" if shown < count else ""
    return Folded(f"Run by run: {numbers.counted(count, 'run')}{first}", (listed,), long=True)


def _start(log: LogReport, anchor: str) -> Folded | None:
    figure = figures.start(log, f"{anchor}-start")
    if figure is None or log.close_up is None:
        return None
    highest = numbers.amount(log.close_up.cycle.surge_A, "A")
    usual = () if log.load_starts is None else (checks.of_starts(log.load_starts),)
    seen_whole = log.close_up.cycle.surge_resolved
    summary = f"The highest start{' seen to its top' if seen_whole else ''}, close up"
    summary += "" if highest == numbers.UNKNOWN else f": {'' if seen_whole else answer.AT_LEAST}{highest}"
    return Folded(summary, sentences=usual, figure=figure, long=True)


def plate(report: Report, log: LogReport, anchor: str) -> Section:
    """Return paper, nameplate and measurement beside each other, and the reasons between them."""
    check, both = log.plate, log_sentences.both_sides(report, log)
    anchor, heading, short = f"{anchor}-plate", "Why does the nameplate differ?", "The nameplate"
    if check is None:
        why_not = () if log.no_plate is None else (f"The nameplate is not compared: {log.no_plate}.",)
        return Section(anchor, heading, short, (*both, *why_not))
    # What people reckon by habit compares with all the time measured, so only where every run was seen whole.
    habit = plate_tables.by_habit(check)
    return Section(
        anchor,
        heading,
        short,
        (plate_tables.in_short(check), lesson.plate(check), *both),
        figures=alone(figures.plate(log, anchor)),
        tables=(plate_tables.compared(check),),
        folds=without_empty(
            Folded(
                "The reasons, part by part",
                (plate_tables.left_out_on_paper(check), plate_tables.why(check)),
                sentences=check.remarks,
                long=True,
            ),
            None if habit is None else Folded("By habit: all the time measured", (habit,), sentences=_habit(check)),
            Folded(
                f"On paper and measured, in {len(check.lesson.steps)} steps",
                plate_tables.lesson(check.lesson),
                sentences=(lesson.what_differs(check.lesson),),
                long=True,
            ),
            _steps(check),
        ),
    )


def _habit(check: PlateCheck) -> tuple[str, ...]:
    sentence = lesson.by_habit(check)
    return () if sentence is None else (sentence,)


def _steps(check: PlateCheck) -> Folded:
    intro = ("Assumed, because neither plate nor site file says it:",) if check.estimate.assumptions else ()
    shown = plate_tables.steps(check)
    return Folded(f"The estimate in {len(shown.rows)} steps", (shown,), check.estimate.assumptions, intro, long=True)


def quality(log: LogReport, anchor: str) -> Section:
    """Return how good the log is, how sure the amounts are, and how it was read."""
    # The chart of shares and its table are one fold: they say the same.
    shares = figures.sureness(log, f"{anchor}-sure")
    budget = shares.tables if shares else ()
    return Section(
        f"{anchor}-quality",
        "How sure is this, and how good is the log?",
        "The log",
        tuple(text for text in (log_sentences.rows_kept(log), plate_tables.leading(log), *log.facts.remarks) if text),
        folds=without_empty(
            Folded("Where ± comes from", budget, plate_tables.remarks(log), figure=next(iter(alone(shares)), None)),
            Folded("How the log was read", (log_tables.quality(log),), long=True),
        ),
    )
