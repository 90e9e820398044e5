"""What several logs of one site show together as JSON: the keys scripts rely on."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .compare import compare_document
from .parts import Document, fields, instant, part

if TYPE_CHECKING:
    from shuntbook.analysis.several_logs.before_after import BeforeAfter
    from shuntbook.analysis.several_logs.day_figures import DayFigures
    from shuntbook.analysis.several_logs.day_trends import DayTrend
    from shuntbook.analysis.several_logs.over_logs import OverLogs
    from shuntbook.analysis.several_logs.start_calendar import CalendarCell, StartCalendar


def over_document(over: OverLogs | None) -> Document | None:
    """Return days, trends, calendar, before and after, and findings over all logs; None where there is no such thing.

    An hour of the calendar that nobody measured has ``starts`` null, and so has every figure that is not known.
    """
    if over is None:
        return None
    return {
        "side": over.side,
        "zone": over.zone,
        "whole": None if over.whole is None else _figures(over.whole),
        "logs": [
            {
                "log": one.log.facts.name,
                "start": None if one.log.facts.undated else instant(one.log.charge.span.start_us),
                "stop": None if one.log.facts.undated else instant(one.log.charge.span.stop_us),
                **_figures(one.figures),
                "findings": dict(zip(("act", "watch", "note"), one.findings, strict=True)),
            }
            for one in over.logs
        ],
        "days": [
            {
                "date": day.date.isoformat(),
                "start": instant(day.start_us),
                "stop": instant(day.stop_us),
                **_figures(day.figures),
            }
            for day in over.days
        ],
        "trends": [_trend(trend) for trend in over.trends],
        "calendar": _calendar(over.calendar),
        "before_after": None if over.change is None else _change(over.change),
        "findings": [
            {
                "code": each.finding.code,
                "severity": each.finding.severity,
                "title": each.finding.title,
                "logs": [log.facts.name for log in each.logs],
            }
            for each in over.findings
        ],
        "left_out": [{"log": left.log.facts.name, "why": left.why} for left in over.left_out],
        "notes": list(over.said),
    }


def _figures(figures: DayFigures) -> Document:
    charge, energy = figures.charge, figures.energy
    rest = {name: value for name, value in fields(figures).items() if name not in ("charge", "energy")}
    return {
        "drawn_Ah": None if charge is None else charge.drawn,
        "drawn_u95_Ah": None if charge is None else charge.drawn_u95,
        "returned_Ah": None if charge is None else charge.returned,
        "returned_u95_Ah": None if charge is None else charge.returned_u95,
        "drawn_Wh": None if energy is None else energy.drawn,
        "drawn_u95_Wh": None if energy is None else energy.drawn_u95,
        "returned_Wh": None if energy is None else energy.returned,
        "returned_u95_Wh": None if energy is None else energy.returned_u95,
        **rest,
    }


def _trend(trend: DayTrend) -> Document:
    return {**part(trend), "change": trend.change, "why": trend.why or None}


def _calendar(calendar: StartCalendar) -> Document:
    return {
        "hours": [{"hour": hour, "again": bool(again)} for hour, again in calendar.hours],
        "days": [{"date": day.date.isoformat(), "cells": [_cell(cell) for cell in day.cells]} for day in calendar.days],
        "usual_starts_per_h": list(calendar.usual()) if calendar.days else [],
    }


def _cell(cell: CalendarCell) -> Document:
    return {**fields(cell), "whole": cell.whole}


def _change(change: BeforeAfter) -> Document:
    return {
        "at": instant(change.at_us),
        "note": change.text or None,
        "named": change.named,
        "before_days": change.before_days,
        "after_days": change.after_days,
        "notes": list(change.said),
        "comparison": None if change.comparison is None else compare_document(change.comparison),
    }
