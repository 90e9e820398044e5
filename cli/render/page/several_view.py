"""Several logs of one site as the template lays them out: what all of them show, month by month, day by day."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

from ....analysis.not_known import Missing
from ....analysis.several_logs.newest_state import months_of
from ....analysis.several_logs.over_logs import wanting_a_look
from ..still_charts import trends as trend_chart
from ..still_charts.svg import both_sizes
from ..wording import log_sentences, numbers, several_sentences, verdict
from ..wording.answer import bounded, load_took_over, starts_told, use_told
from ..wording.sureness import cells_of
from .figures import Figure
from .log_tables import Table, known_columns

if TYPE_CHECKING:
    from ....analysis.health.finding import Finding
    from ....analysis.one_log.log_report import LogReport
    from ....analysis.several_logs.day_figures import LoadUse
    from ....analysis.several_logs.day_pieces import LeftOut
    from ....analysis.several_logs.day_trends import DayTrend
    from ....analysis.several_logs.newest_state import DayState, Month, MonthDay
    from ....analysis.several_logs.over_logs import FoundOften, OneLog, OverLogs
    from ....analysis.several_logs.report import Report
    from ....analysis.several_logs.start_calendar import CalendarCell

#: The page's calendar shows so many days, the newest; all are in ``report --json``.
_MOST_DAYS = 92
_SHADES = 5


@dataclass(frozen=True)
class Cell:
    """One hour of the calendar: what is written, how dark its ground is (0 to 5), and what it says in full."""

    text: str
    shade: str
    title: str


@dataclass(frozen=True)
class CalendarView:
    """The calendar as rows of cells; `hours` are the clock's, ``again`` tells those that it passes twice."""

    hours: tuple[tuple[str, bool], ...]
    rows: tuple[tuple[str, tuple[Cell, ...]], ...]
    usual: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class DayView:
    """A day in a row: what its load took, its runs, what all loads took, its state, and what was found.

    ``links`` are anchors and titles of its logs that are shown in full.
    """

    name: str
    took: str
    runs: str
    out: str
    state: DayState
    findings: tuple[str, ...]
    links: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class MonthView:
    """A month in a line, which opens to its days; ``how_many`` are those in its worst state, empty if it is all."""

    name: str
    days: str
    took: str
    runs: str
    state: DayState
    how_many: str
    rows: tuple[DayView, ...]


@dataclass(frozen=True)
class SeveralView:
    """All logs together as text, tables and figures: nothing is left for the template to decide."""

    when: str
    headline: tuple[str, ...]
    chart: Figure | None
    trends: Table
    trends_said: tuple[str, ...]
    calendar: CalendarView | None
    change_said: tuple[str, ...]
    change: Table | None
    change_notes: tuple[str, ...]
    findings: list[tuple[Finding, str]]
    load: str
    out: str
    months: tuple[MonthView, ...]
    left_out: Table | None
    notes: tuple[str, ...]
    method: tuple[str, ...]


def logs_in_full(report: Report) -> tuple[LogReport, ...]:
    """Return the logs whose sections the page shows in full: all of few, of many those that want a look."""
    if report.over is None or len(report.logs) < several_sentences.MANY:
        return report.logs
    # A fleet of thirty pages would not be read.
    return wanting_a_look(report.logs)


def several_view(report: Report, anchors: dict[int, str]) -> SeveralView | None:
    """Return what all logs show; None where the page has nothing to say of them together.

    `anchors` says where the page shows a log in full, by the ``id`` of the log.
    """
    over = report.over
    # Two logs without a change are beside each other in a table further down; more words would say it twice.
    if over is None or not several_sentences.begins_with_all(report):
        return None
    total = load_took_over(over)
    trend_sentences, change_sentences = several_sentences.days_said(over), several_sentences.change_said(over)
    return SeveralView(
        when=several_sentences.when(over),
        headline=(
            *([verdict.took_over(over, total)] if total is not None else []),
            *several_sentences.headline(over, names_missing_days=False),
        ),
        chart=_chart(over),
        trends=trends(over),
        trends_said=tuple(trend_sentences),
        calendar=calendar_view(over) if over.calendar.days else None,
        change_said=tuple(change_sentences),
        change=before_and_after(over),
        change_notes=_change_notes(over),
        findings=findings(over),
        load=next((log_sentences.load_name(one.log) for one in over.logs if one.log.cycles.cycles), "the load"),
        out="Out of the bank" if over.side == "dc" else "All loads",
        months=months(over, anchors),
        left_out=left_out(over),
        notes=tuple(several_sentences.left_out_said(over)),
        method=_METHOD,
    )


_METHOD = (
    "A day's figures are those of all its readings, of one log or several. A day takes part in trends where at least "
    "half as much of it was measured as of a usual day; there must be eight such days.",
    "The slope is the median of the slopes of all pairs of days (Theil and Sen); its interval is by Kendall's score "
    "(Sen 1968), widened where days resemble the day before, and so wide that the intervals of all figures hold "
    "together with 95 %. A change is told where its interval leaves out nought and where over all the days it is 5 % "
    "or more.",
    "A figure steps at a note where the three days after it lie on one side of the three before, farther than days "
    "scatter and than it moved from day to day anyway.",
    "That starts take longer and longer is told by those of the newest three days beside those of the first three, by "
    "ranks (Hodges and Lehmann).",
    "Days of several logs add up; their ± is taken as one and the same error in all, so that it is too wide rather "
    "than too narrow.",
)


def _chart(over: OverLogs) -> Figure | None:
    if not over.days or not trend_chart.shown(over):
        return None
    drawn = both_sizes(partial(trend_chart.days, over), "days", (trend_chart.WIDE, trend_chart.NARROW))
    return Figure(drawn, trend_chart.caption(over))


def trends(over: OverLogs) -> Table:
    """Return how each figure changes from day to day, with its interval and the verdict."""
    # Around a named change each figure has a trend on either side; the row then says which.
    sides = len({trend.stretch for trend in over.trends}) > 1
    rows = []
    for trend in over.trends:
        name = f"{numbers.capital(trend.name)}, {trend.stretch}" if sides else numbers.capital(trend.name)
        verdict = f"{trend.verdict}: {trend.why}" if trend.why else trend.verdict
        rows.append((name, several_sentences.value(trend.usual, trend.unit), *_slope(trend), verdict))
    rows += several_sentences.pump_cells(over)
    head = ("", "Usual day", "Change a day", "Interval of that", "Verdict")
    caption = "From day to day, before and after the change" if sides else "From day to day"
    return Table(caption, head, tuple(rows), prose=True)


def _slope(trend: DayTrend) -> tuple[str, str]:
    if trend.per_day is None:
        return numbers.UNKNOWN, numbers.UNKNOWN
    value, low, high = (
        several_sentences.signed(x, trend.unit) for x in (trend.per_day.value, trend.per_day.low, trend.per_day.high)
    )
    return value, f"{low} to {high}"


def before_and_after(over: OverLogs) -> Table | None:
    """Return the days before the change beside those after; None where there are no two sides."""
    change = over.change
    if change is None or change.comparison is None:
        return None
    rows = []
    for row in change.comparison.rows:
        name, *cells = cells_of(row)
        otherwise = numbers.UNKNOWN if isinstance(row.difference, Missing) else "no difference"
        rows.append((numbers.capital(name), *cells[:-1], cells[-1] if row.differs else otherwise))
    days = (numbers.counted(n, "day") for n in (change.before_days, change.after_days))
    before, after = (f"{which}, {count}" for which, count in zip(("Before", "After"), days, strict=True))
    head = ("", before, after, "Difference, with its 95 % interval", "Times", "To be told")
    return Table("Before and after", head, tuple(rows))


def _change_notes(over: OverLogs) -> tuple[str, ...]:
    change = over.change
    if change is None or change.comparison is None:
        return ()
    comparison = change.comparison
    moved = [
        f"{numbers.capital(each.change)} with the change: {each.finding.severity}, {each.finding.title}"
        + ("." if each.judged else ", which could not be judged on the other side.")
        for each in comparison.findings
        if each.change != "stayed"
    ]
    # Many figures lack for one reason, which is said once.
    why_not = {row.difference.because for row in comparison.rows if isinstance(row.difference, Missing)}
    not_judged = [f"Not judged: {why}." for why in sorted(why_not)]
    return (*moved, *not_judged, *change.remarks, *comparison.remarks)


def findings(over: OverLogs) -> list[tuple[Finding, str]]:
    """Return the findings of all logs, the most serious and most frequent first, each with the logs that have it."""
    return [(each.finding, _found_in(each, len(over.logs))) for each in over.findings]


def _found_in(each: FoundOften, of: int) -> str:
    first, last = (log_sentences.log_title(log.facts) for log in (each.logs[0], each.logs[-1]))
    if len(each.logs) == 1:
        return f"In one of {of} logs: {first}"
    return f"In {len(each.logs)} of {of} logs, {first} the first and {last} the last"


def months(over: OverLogs, anchors: dict[int, str]) -> tuple[MonthView, ...]:
    """Return the months, the newest first; `anchors` says where a log is shown in full, by its ``id``."""
    # What is asked about first is how it has been of late.
    return tuple(_month(month, anchors) for month in reversed(months_of(over)))


def _month(month: Month, anchors: dict[int, str]) -> MonthView:
    first = month.days[0].day.date
    figures = [each.day.figures for each in month.days]
    runs = _runs(sum(each.starts + each.too_brief for each in figures), least=any(each.at_least for each in figures))
    days = numbers.counted(len(month.days), "day")
    # Where it is so on each of its days, they need no second figure.
    how_many = "" if month.in_state == len(month.days) else f"on {numbers.counted(month.in_state, 'day')}"
    rows = tuple(_day(each, anchors) for each in month.days)
    return MonthView(f"{first:%B} {first.year}", days, _took(month.use), runs, month.state, how_many, rows)


def _day(each: MonthDay, anchors: dict[int, str]) -> DayView:
    figures = each.day.figures
    return DayView(
        name=several_sentences.day_name(each.day.date),
        took=_took(figures.use),
        runs=starts_told(figures),
        out=log_sentences.drawn(figures.charge or figures.energy, "Ah" if figures.charge else "Wh"),
        state=each.state,
        findings=tuple(finding.plain or finding.title for finding in each.findings or ()),
        links=tuple(
            (anchor, log_sentences.log_title(log.facts))
            for log in each.day.logs
            if (anchor := anchors.get(id(log))) is not None
        ),
    )


def _took(use: LoadUse) -> str:
    return use_told(use, "Wh" if use.charge_Ah is None else "Ah")


def _runs(count: int, *, least: bool) -> str:
    return bounded(numbers.counted(count, "run"), least=least) if count else "no run"


def left_out(over: OverLogs) -> Table | None:
    """Return the logs that take no part, and what each shows by itself; None where there are none."""
    # No month has a place for them: what was found in them would be nowhere on the page.
    one_of = {id(one.log): one for one in over.logs}
    logs = [(each, one_of[id(each.log)]) for each in over.left_out]
    columns: tuple[tuple[str, Callable[[tuple[LeftOut, OneLog]], str]], ...] = (
        ("Log", lambda pair: log_sentences.log_title(pair[0].log.facts)),
        ("It", lambda pair: pair[0].why),
        ("Its load took", lambda pair: _took(pair[1].figures.use)),
        ("Runs", lambda pair: starts_told(pair[1].figures)),
        ("Findings", lambda pair: _counted(pair[1].findings)),
    )
    return Table("Logs that take no part", *known_columns(columns, logs), prose=True) if logs else None


def _counted(findings: tuple[int, int, int]) -> str:
    named = [f"{n} {severity}" for n, severity in zip(findings, ("act", "watch", "note"), strict=True) if n]
    return ", ".join(named) or "none"


def calendar_view(over: OverLogs) -> CalendarView:
    """Return the calendar of starts, a row a day."""
    # Shades are by the busiest hour of all days, those that are not shown as well.
    calendar = over.calendar
    days, most = calendar.days[-_MOST_DAYS:], max(calendar.most, 1)
    years = len({day.date.year for day in days}) > 1
    rows = tuple(
        (
            several_sentences.day_name(day.date, year=years),
            tuple(_cell(cell, most) for cell in day.cells),
        )
        for day in days
    )
    usual = tuple(numbers.UNKNOWN if x is None else f"{x:.1f}" for x in calendar.usual())
    hours = tuple((f"{hour:02d}", bool(again)) for hour, again in calendar.hours)
    return CalendarView(hours, rows, usual, _calendar_notes(over, rows))


def _cell(cell: CalendarCell, most: int) -> Cell:
    # An hour that the clocks of that day skip is no hour without starts, nor is one that nobody measured.
    if not cell.length_s:
        return Cell("", "none", "no such hour on this day")
    if cell.starts is None:
        return Cell(numbers.UNKNOWN, "unknown", "not measured")
    # Rounded up, so that a single start is not as pale as none.
    shade = f"s{-(-cell.starts * _SHADES // most)}"
    if cell.whole:
        return Cell(f"{cell.starts}", shade, "")
    seen = f"{numbers.counted(cell.starts, 'start')} in the {numbers.duration(cell.measured_s)} that were measured"
    return Cell(f"{cell.starts}+", shade, seen)


def _calendar_notes(over: OverLogs, rows: tuple[tuple[str, tuple[Cell, ...]], ...]) -> tuple[str, ...]:
    cells = [cell for _, row in rows for cell in row]
    notes = [f"Hours are those of the clock in {over.zone}: 06 is from 06:00 to 07:00. The darker, the more starts."]
    if any(cell.text.endswith("+") for cell in cells):
        notes.append("A + stands where part of an hour was measured: there were at least so many.")
    if any(cell.shade == "unknown" for cell in cells):
        notes.append("A dash stands where nothing was measured: unknown, not nought.")
    if any(cell.shade == "none" for cell in cells):
        notes.append("Hatched: an hour that the clocks of that day do not show, because they were changed or not.")
    # A day without any reading has no row, and would go unnoticed.
    missing = (over.days[-1].date - over.days[0].date).days + 1 - len(over.days)
    if missing:
        notes.append(f"{numbers.counted(missing, 'day')} without readings {'has' if missing == 1 else 'have'} no row.")
    if len(over.calendar.days) > _MOST_DAYS:
        notes.append(f"Shown are the newest {_MOST_DAYS} of {len(over.calendar.days)} days.")
    return tuple(notes)
