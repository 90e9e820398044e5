"""A whole report, and several logs together, as JSON: the keys scripts rely on."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ....analysis.not_known import Missing
from .charge_and_runs import charge_document, cycles_document, plate_document
from .parts import Document, document_of, instant
from .site import site_documents, what_if_document

if TYPE_CHECKING:
    from ....analysis.one_log.log_report import LogReport
    from ....analysis.several_logs.over_logs import OneLog, OverLogs
    from ....analysis.several_logs.report import PairedLogs, Report
    from ....analysis.several_logs.start_calendar import StartCalendar


def report_document(report: Report, *, in_turn: bool = False) -> Document:
    """Return a report: the first log's parts at the top, and every log's under ``logs``.

    Parts that need a site file are null without one, ``over_logs`` for one log in which nobody named a change, and
    ``what_if``, which is what `forecast --with` gives of a day, where no change of the system was asked about. With
    `in_turn` the logs are written one after the other as they are asked for, once: those of a year are never all there.
    """
    # What changes would do is told by one log, and so stands at the top alone.
    # Scripts written for one log read its parts at the top; they stand again in ``logs``.
    return {
        **_log_parts(report.logs[0]),
        "findings": [
            {**document_of(finding), "log": log.facts.name} for log in report.logs for finding in log.findings
        ],
        "over_logs": over_document(report.over),
        "paired": [_paired(pair) for pair in report.paired],
        "what_if": None if report.what_if is None else what_if_document(report.what_if, report.logs[0].facts.name),
        "cautions": list(report.cautions),
        "site": report.site.name if report.site is not None else None,
        "version": report.version,
        "logs": map(_log_parts, report.logs) if in_turn else [_log_parts(log) for log in report.logs],
    }


def _log_parts(log: LogReport) -> Document:
    cycles = cycles_document(log)
    return {
        "load_total": cycles["load_total"],
        "load_total_why_not": cycles["load_total_why_not"],
        "charge": charge_document(log.facts, log.charge, log.marked, log.figures),
        "cycles": cycles,
        "nameplate": plate_document(log.plate),
        "findings": cycles["findings"],
        "marked": cycles["marked"],
        **site_documents(log),
    }


def _paired(pair: PairedLogs) -> Document:
    """Return what a log at the bank and one behind an inverter say together, or why they do not."""
    document: Document = document_of(pair)
    if (measured := pair.measured) is None:
        return document
    losses = measured.losses
    losses_document: Document = {"why_not": losses.sentence if isinstance(losses, Missing) else None}
    if not isinstance(losses, Missing):
        losses_document |= document_of(losses)
    return {**document, **document_of(measured), "losses": losses_document}


def over_document(over: OverLogs | None) -> Document | None:
    """Return days, trends, calendar, before and after, and findings over all logs; None where there is no such thing.

    An hour of the calendar that nobody measured has ``starts`` null, and so has every figure that is not known.
    """
    if over is None:
        return None
    return {**document_of(over), "logs": [_one(one) for one in over.logs], "calendar": _calendar(over.calendar)}


def _one(one: OneLog) -> Document:
    facts, span = one.log.facts, one.log.charge.span
    return {
        "log": facts.name,
        "start": None if facts.undated else instant(span.start_us),
        "stop": None if facts.undated else instant(span.stop_us),
        **document_of(one.figures),
        "findings": dict(zip(("act", "watch", "note"), one.findings, strict=True)),
    }


def _calendar(calendar: StartCalendar) -> Document:
    return {
        "hours": [{"hour": hour, "again": bool(again)} for hour, again in calendar.hours],
        "days": document_of(calendar.days),
        "usual_starts_per_h": list(calendar.usual()) if calendar.days else [],
    }
