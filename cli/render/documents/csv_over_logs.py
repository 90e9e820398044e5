"""What several logs show together as rows for a spreadsheet: the load day by day, and how its figures change."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date, timedelta
from typing import TYPE_CHECKING, Final

from ....analysis.pump_pulse.flow_trend import FlowTrend
from ....analysis.several_logs.newest_state import MonthDay, months_of
from ....analysis.several_logs.over_logs import over_logs
from ..wording.clock import zone_of
from ..wording.log_sentences import named_load
from ..wording.several_sentences import days_left_out
from .csv_text import Cell, csv_text
from .parts import Document

if TYPE_CHECKING:
    from ....analysis.several_logs.over_logs import OverLogs
    from ....analysis.several_logs.report import Report

#: What the table by day is called.
BY_DAY: Final = "load_by_day"
_HEAD: Final = (
    *("date", "load", "state", "load_Ah", "load_u95_Ah", "load_Wh", "load_u95_Wh", "load_at_least", "runs"),
    *("starts_per_h", "busiest_hour", "median_run_s", "median_rest_s", "duty_cycle", "measured_s", "findings"),
)
#: The state of a day of which there is no log.
NO_READINGS: Final = "no readings"
#: And of one that only logs hold that take no part, as those of another zone.
LEFT_OUT: Final = "left out"


def by_day_text(report: Report) -> str:
    """Return the table of the load's days as CSV: a row for each day from the first to the last."""
    over = report.over
    if over is None:
        # A log alone may hold many days, too.
        over = over_logs(report.logs, lambda facts: zone_of(facts)[1], site=report.site)
    return csv_text(_HEAD, ([row.get(name) for name in _HEAD] for row in _days(over)))


def _days(over: OverLogs) -> Iterator[dict[str, Cell]]:
    load = next((named_load(one.log) for one in over.logs if one.log.cycles.cycles), None)
    known = {each.day.date: each for month in months_of(over) for each in month.days}
    left_out = days_left_out(over)
    first, last = (over.days[0].date, over.days[-1].date) if over.days else (date.min, date.min)
    for k in range((last - first).days + 1 if known else 0):
        day = first + timedelta(days=k)
        # A day that nobody measured has its row, so that rows are days.
        without = LEFT_OUT if day in left_out else NO_READINGS
        row: dict[str, Cell] = _of_day(known[day]) if day in known else {"state": without}
        yield row | {"date": day.isoformat(), "load": load}


def _of_day(each: MonthDay) -> dict[str, Cell]:
    figures = each.day.figures
    return {
        "state": each.state,
        "load_Ah": figures.use.charge_Ah,
        "load_u95_Ah": figures.use.charge_u95_Ah,
        "load_Wh": figures.use.energy_Wh,
        "load_u95_Wh": figures.use.energy_u95_Wh,
        "load_at_least": figures.use.at_least,
        "runs": figures.runs,
        "findings": "; ".join(finding.plain or finding.title for finding in each.findings or ()),
        **{name: getattr(figures, name) for name in _OF_FIGURES},
    }


_OF_FIGURES: Final = ("starts_per_h", "busiest_hour", "median_run_s", "median_rest_s", "duty_cycle", "measured_s")


def trend_rows(over: OverLogs) -> Iterable[Document]:
    """Yield how each figure of the days changes, and the pump's flow."""
    for trend in over.trends:
        slope = trend.per_day
        yield {
            "name": trend.code,
            "usual": trend.usual,
            **{"per_day": None, "low": None, "high": None},
            **({} if slope is None else {"per_day": slope.value, "low": slope.low, "high": slope.high}),
            **{"span_d": trend.span_d, "count": trend.count, "stretch": trend.stretch, "verdict": trend.verdict},
        }
    flow = None if over.pump is None else over.pump.trend
    if isinstance(flow, FlowTrend):
        a_day = flow.first_L_per_min / flow.span_d
        yield {
            "name": "flow_L_per_min",
            "usual": (flow.first_L_per_min + flow.last_L_per_min) / 2,
            **{end: getattr(flow.change, of) * a_day for end, of in (("per_day", "value"), *_ENDS)},
            **{"span_d": flow.span_d, "count": flow.days, "stretch": "all", "verdict": flow.verdict},
        }


_ENDS: Final = (("low", "low"), ("high", "high"))
