"""What several logs of one site show together, in plain sentences for the page and the terminal."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from math import isfinite
from typing import TYPE_CHECKING

from ....analysis.health.finding import withheld
from ....analysis.not_known import Missing
from ....analysis.pump_pulse.flow_trend import FlowTrend
from ....analysis.readings.chunk import MICROSECONDS
from ....analysis.several_logs.day_trends import NEAREST
from ....analysis.several_logs.fleet import gravest, worst_first
from . import clock, log_sentences, numbers
from .answer import UNTIL_TURNED
from .how_it_runs import trend_sentence, volume_text
from .log_sentences import load_name, log_title

if TYPE_CHECKING:
    from ....analysis.one_log.log_report import LogReport
    from ....analysis.readings.log_facts import LogFacts
    from ....analysis.several_logs.before_after import BeforeAfter
    from ....analysis.several_logs.day_trends import DayTrend
    from ....analysis.several_logs.over_logs import OverLogs
    from ....analysis.several_logs.report import Report

#: From so many logs on the page begins with what all of them show.
MANY = 3
#: Less of a day than this is no gap to speak of, and so many days with one are named: common practice, no source. [s]
_LEAST_MISSING_S = 1800.0
_MOST_PARTLY = 3
#: So many figures that step at a change are told in its sentence.
_MOST_STEPS = 3
#: A list of log names in a sentence ends after so many.
_MOST_NAMES = 5
_STRETCH = {
    "all": "From day to day",
    "before": "From day to day before the change",
    "after": "From day to day after the change",
}


def begins_with_all(report: Report) -> bool:
    """Tell whether the page begins with what all logs show: where they are many, or somebody named a change."""
    over = report.over
    return over is not None and (len(report.logs) >= MANY or (over.change is not None and over.change.named))


def over_lines(over: OverLogs) -> list[str]:
    """Return what a terminal shows of all the logs together."""
    return [*headline(over), *days_said(over), *change_said(over), *left_out_said(over)]


def when(over: OverLogs) -> str:
    """Say how many logs there are and from when to when they go."""
    if not over.days:
        return f"{logs_and_days(over)}."
    none = without_readings(over)
    also = f"; none on {none}" if none else ""
    return f"{logs_and_days(over)} ({over.zone}): readings on {numbers.counted(len(over.days), 'day')}{also}."


def logs_and_days(over: OverLogs) -> str:
    """Return how many logs there are, and the first and the last day that they hold."""
    logs = numbers.counted(len(over.logs), "log")
    if not over.days:
        return logs
    first, last = over.days[0].date, over.days[-1].date
    span = day_name(first, year=True)
    if last != first:
        span = f"{day_name(first, year=first.year != last.year)} to {day_name(last, year=True)}"
    return f"{logs}, {span}"


def without_readings(over: OverLogs) -> str:
    """Name the days between the first and the last of which there is no reading; empty where there is none."""
    if not over.days:
        return ""
    known = {day.date for day in over.days} | days_left_out(over)
    first, last = over.days[0].date, over.days[-1].date
    return clock.days_named(
        [day for k in range((last - first).days) if (day := first + timedelta(days=k)) not in known]
    )


def headline(over: OverLogs, *, names_missing_days: bool = True) -> list[str]:
    """Say what all the logs together took and how often the load started, and how many logs want action.

    `names_missing_days`: unless `when` stands nearby, which names them too.
    """
    whole = over.whole
    if whole is None:
        return ["No log could be set beside the others: none has dates and readings that add up."]
    name = next((load_name(one.log) for one in over.logs if one.log.cycles.cycles), "the largest load")
    measured = f"{numbers.duration(whole.measured_s)} of readings"
    if whole.runs is None and whole.measured_s > 0:
        return [f"What {name} took, and the bank gave, in {measured} is not known {UNTIL_TURNED}.", _acts(over)]
    amounts = [
        log_sentences.drawn(x, unit) for x, unit in ((whole.charge, "Ah"), (whole.energy, "Wh")) if x is not None
    ]
    who = "the bank gave" if over.side == "dc" else "the loads behind the inverter took"
    took = f" {who} {amounts[0]}{f' ({amounts[1]})' if len(amounts) > 1 else ''};" if amounts else ""
    at_least, count = "at least " if over.at_least else "", whole.starts + over.too_brief
    starts = f" {name} started {at_least}{numbers.counted(count, 'time')}"
    if whole.starts_per_h is not None and not over.at_least:
        starts += f", {numbers.number(whole.starts_per_h)} an hour"
    from .sureness import why_so_wide  # it knows motors, which what is drawn need not load

    none = without_readings(over) if names_missing_days else ""
    part = _missing_in_days(over)
    gaps = " and ".join(filter(None, [f"on {none}" if none else "", f"for {part}" if part else ""]))
    no_log = f" No readings {gaps}." if gaps else ""
    first = f"In {measured}{took}{starts}.{no_log}"
    return [first, *filter(None, [why_so_wide(over.days, facts_of(over).usual_interval_s)]), _acts(over)]


def _missing_in_days(over: OverLogs) -> str:
    """Say how much was not measured of days within the logs; empty where that is not worth a word."""
    inner = over.days[1:-1]
    lacks = [(day, (day.stop_us - day.start_us) / MICROSECONDS - day.figures.measured_s) for day in inner]
    parts = [(day.date, lack_s) for day, lack_s in lacks if lack_s > _LEAST_MISSING_S]
    if len(parts) > _MOST_PARTLY:
        return f"part of {len(parts)} more days"
    return " and ".join(f"{numbers.duration(lack_s)} of {clock.days_named([day])}" for day, lack_s in parts)


def _acts(over: OverLogs) -> str:
    # A log is counted once, under the gravest of its findings.
    act = [one for one in over.logs if one.findings[0]]
    watch = [one for one in over.logs if one.findings[1] and not one.findings[0]]
    logs = numbers.counted(len(over.logs), "log")
    if act:
        also = f", {len(watch)} more want watching" if watch else ""
        return f"{len(act)} of {logs} {'asks' if len(act) == 1 else 'ask'} for action{also}."
    if watch:
        return f"Nothing asks for action; {len(watch)} of {logs} {'wants' if len(watch) == 1 else 'want'} watching."
    left = sum(bool(withheld(one.log.checks)) for one in over.logs)
    but = f", but in {left} of them not all could be judged" if left else ""
    return f"Nothing in the {logs} asks for action{but}."


#: So many of the worst logs are named. [1]
MOST_WORST = 3


def worst_of(over: OverLogs) -> tuple[LogReport, ...]:
    """Return the few logs to look at first, the worst first; none where nothing asks for action or wants watching."""
    return worst_first(one.log for one in over.logs)[:MOST_WORST]


def worst_said(over: OverLogs) -> str:
    """Name the worst of the logs by its day and say what was found in it; empty where nothing is to be looked at."""
    worst = worst_of(over)
    if not worst:
        return ""
    others = " and ".join(called(log) for log in worst[1:])
    then = f" Then {others}." if others else ""
    return f"Worst, {called(worst[0])}: {numbers.uncapital(gravest_said(worst[0]))}{then}"


def gravest_said(log: LogReport) -> str:
    """Say the finding for which a log has its place among the worst; empty where it has but notes."""
    finding = gravest(log.findings)
    return "" if finding is None else numbers.sentence(finding.plain or finding.title)


def called(log: LogReport) -> str:
    """Return the day that a log is of, as people write it; its title where it is of several or has no dates."""
    days = _days_of(log)
    return day_name(days[0]) if len(days) == 1 else log_title(log.facts)


def days_left_out(over: OverLogs) -> set[date]:
    """Return the days of which there are readings, but only in logs that take no part."""
    return {day for left in over.left_out for day in _days_of(left.log)} - {day.date for day in over.days}


def _days_of(log: LogReport) -> list[date]:
    return clock.days_held(log.charge.span.start_us, log.charge.span.stop_us, log.facts)


def days_said(over: OverLogs) -> list[str]:
    """Say what changed when, and which figures rise or fall from day to day."""
    return [*filter(None, [changed_said(over)]), *trends_said(over)]


def trends_said(over: OverLogs) -> list[str]:
    """Say which figures rise or fall from day to day, or that none does as far as can be told."""
    stretches = dict.fromkeys(trend.stretch for trend in over.trends)
    by_stretch = [[trend for trend in over.trends if trend.stretch == stretch] for stretch in stretches]
    # What moves is said first, and then that nothing else does.
    flow = None if over.pump is None or isinstance(over.pump.trend, Missing) else over.pump.trend.verdict
    moves = flow in ("rising", "falling")
    of_days = [_trends_of(trends, besides=moves) for trends in by_stretch]
    return [*_pump(over), *of_days] if moves else [*of_days, *_pump(over)]


def _pump(over: OverLogs) -> Iterator[str]:
    """Yield how much water the pump gave, and whether its flow changes; nothing where that is not known."""
    pump = over.pump
    if pump is None:
        return
    if isinstance(pump.trend, FlowTrend):
        yield trend_sentence(pump.trend)
    if pump.per_day_L is not None:
        yield f"The pump gave {volume_text(pump.per_day_L, pump.shown)} a day."


def _trends_of(trends: list[DayTrend], *, besides: bool = False) -> str:
    where = _STRETCH[trends[0].stretch]
    judged = [trend for trend in trends if trend.verdict != "not judged"]
    moving = [trend for trend in judged if trend.verdict in ("rising", "falling")]
    if not judged:
        # The figure known on most days says best what all of them lack.
        return f"{where}: not judged, {max(trends, key=lambda trend: trend.count).why}."
    if not moving:
        return f"{where}: no {'other ' if besides else ''}change that can be told from chance."
    return f"{where}: {'; '.join(_moving(trend) for trend in moving)}."


def _moving(trend: DayTrend) -> str:
    change = trend.change or 0.0
    return f"{trend.name} {trend.verdict}, by {value(abs(change), trend.unit)} over {trend.span_d:.0f} days"


def pump_cells(over: OverLogs) -> list[tuple[str, str, str, str, str]]:
    """Return how the pump's flow changes a day; nothing where no tank is known."""
    if over.pump is None:
        return []
    trend, name = over.pump.trend, "Flow of the pump, by its shortest runs"
    if isinstance(trend, Missing):
        return [(name, numbers.UNKNOWN, numbers.UNKNOWN, numbers.UNKNOWN, trend.not_judged)]
    usual = over.pump.shown.of_flow((trend.first_L_per_min + trend.last_L_per_min) / 2)
    value, low, high = (
        signed(x / trend.span_d, "%") for x in (trend.change.value, trend.change.low, trend.change.high)
    )
    return [(name, usual, value, f"{low} to {high}", trend.verdict)]


def change_said(over: OverLogs) -> list[str]:
    """Say what differs before and after the change."""
    from .sureness import NO_DIFFERENCE  # as above

    change = over.change
    if change is None:
        return []
    if change.comparison is None:
        return [f"{which(over, change)}: {' '.join(change.remarks)}"]
    differing = [(row.name, _value(row.difference)) for row in change.comparison.rows if row.differs]
    higher, lower = ([name for name, apart in differing if sign * apart > 0] for sign in (1, -1))
    parts = [f"{word} {', '.join(names)}" for word, names in (("higher:", higher), ("lower:", lower)) if names]
    return [f"{which(over, change)}, {'; '.join(parts) or NO_DIFFERENCE}."]


def changed_said(over: OverLogs) -> str:
    """Say in a sentence what changed when: the figures that step at a named change; empty where none does."""
    change = over.change
    if change is None or not change.steps:
        return ""
    steps = "; ".join(
        f"{step.name} from {value(step.before, step.unit)} to {value(step.after, step.unit)}"
        for step in change.steps[:_MOST_STEPS]
    )
    facts = facts_of(over)
    at, days = _minute(change.at_us, facts), f"{steps} (the {NEAREST} days before and after)"
    if (turn := change.turn) is None:
        note = f", {numbers.shortened(change.text)}" if change.text else ""
        return f"Changed {at}{note}: {days}."
    # What the runs show counts, not when somebody noted it.
    last, first = (_minute(us, facts) for us in (turn.last_us, turn.first_us))
    what = f"'{numbers.shortened(change.text)}'" if change.text else "the change"
    noted = f"not at {at} with {what}" if turn.late else f"before {what} at {at}"
    return f"Changed between {last} and {first}, {noted}: {days}."


def _minute(us: int, facts: LogFacts) -> str:
    at = clock.local(us, facts)
    return f"{at.day} {at:%b %H:%M}"


def until_said(change: BeforeAfter, facts: LogFacts) -> str:
    """Say how long runs went on as before when a change was named; empty where they did not."""
    turn = change.turn
    if turn is None or not turn.late:
        return ""
    at, last = clock.local(change.at_us, facts), clock.local(turn.last_us, facts)
    day = "" if last.date() == at.date() else f" on {last.day} {last:%b}"
    return f"it went on as before until {last:%H:%M}{day}"


def _value(x: object) -> float:
    return float(getattr(x, "value", 0.0))


def which(over: OverLogs, change: BeforeAfter) -> str:
    """Say what is set beside what."""
    if not change.named:
        return "In the last half of the logs beside the first"
    when_text = clock.clock(change.at_us, facts_of(over))
    note = f" ({numbers.shortened(change.text)})" if change.text else ""
    if change.turn is not None:
        return f"On the days after that of {when_text}{note}, beside the days before"
    return f"Since {when_text}{note}, beside the days before"


def left_out_said(over: OverLogs) -> list[str]:
    """Say which logs take no part and why, and what else must be known."""
    reasons: dict[str, list[str]] = {}
    for left in over.left_out:
        reasons.setdefault(left.why, []).append(log_title(left.log.facts))
    return [*(f"Left out here: {_names(names)}: {why}." for names, why in _each(reasons)), *over.remarks]


def _each(reasons: dict[str, list[str]]) -> Iterator[tuple[list[str], str]]:
    for why, names in reasons.items():
        yield names, why if len(names) == 1 else f"each {why}"


def _names(names: list[str]) -> str:
    more = len(names) - _MOST_NAMES
    return ", ".join(names[:_MOST_NAMES]) + (f" and {more} more" if more > 0 else "")


def facts_of(over: OverLogs) -> LogFacts:
    """Return the facts of a log whose zone is that of the days."""
    # Words of time need a log's facts; the days are of one zone, and any log of that zone will do.
    dated = [one.log.facts for one in over.logs if not one.log.facts.undated and one.log.facts.zone == over.zone]
    return dated[0] if dated else over.logs[0].log.facts


def day_name(day: date, *, year: bool = False) -> str:
    """Return a day as people write it: ``Sat 10 Oct``."""
    return f"{day:%a} {day.day} {day:%b}{f' {day.year}' if year else ''}"


def value(x: float | None, unit: str) -> str:
    """Return a figure with its unit: seconds as a duration, a share of one in per cent."""
    if x is None or not isfinite(x):
        return numbers.UNKNOWN
    if unit == "s":
        return numbers.duration(x)
    return numbers.percent(x) if unit == "%" else numbers.amount(x, unit).rstrip()


def signed(x: float, unit: str) -> str:
    """Return a change with its sign, in the unit of its figure."""
    return numbers.with_sign(x, value(abs(x), unit))
