"""The tables that say what the pictures of the answer show, for whoever does not see them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from ....analysis.health.finding import is_swapped
from ....analysis.health.runs import busiest_hour
from ....analysis.one_log.from_array import straight_in, straight_in_all
from ....analysis.several_logs.day_figures import DayFigures, LoadUse
from ....analysis.several_logs.newest_state import judged_days
from ....analysis.stats.interval95 import Within
from ..still_charts.axis import NAMES
from ..still_charts.bars import AnswerBar
from ..wording import how_it_runs, log_sentences, numbers
from ..wording.answer import (
    AT_LEAST,
    LoadTotal,
    added_up,
    all_loads_took,
    amount_told,
    load_took,
    load_took_over,
    rate_told,
    starts_told,
    taken_over,
    use_told,
)
from ..wording.several_sentences import called, gravest_said, worst_of
from .log_tables import MOST_ROWS, Table, finding_titles, running

if TYPE_CHECKING:
    from ....analysis.charge.amounts import Amounts
    from ....analysis.one_log.log_report import LogReport
    from ....analysis.one_log.starts_together import StartsTogether
    from ....analysis.readings.chunk import Side
    from ....analysis.several_logs.over_logs import OverLogs
    from ....analysis.several_logs.report import Report
    from ..still_charts.clock_rows import ClockRows, Row
    from ..still_charts.energy_flow import Bands


def rows(shown: ClockRows) -> Table:
    """Return how many runs each row of the picture shows, how long and how high they are, and what was found."""
    # A year has more days than anybody reads off a table; the newest tell how it is now.
    newest = shown.shown(MOST_ROWS)
    unit = NAMES[shown.quantity][1] if shown.quantity is not None else ""
    lines = tuple(
        (
            row.name,
            f"{len(row.marks):,}",
            numbers.duration(_usual([mark.right - mark.left for mark in row.marks if mark.whole])),
            numbers.amount(_usual([mark.draw for mark in row.marks if mark.draw is not None]), unit),
            _marked(row),
        )
        for row in newest.rows
    )
    note = f"{newest.left_out:,} more rows are in the log." if newest.left_out else ""
    return Table("Runs, row by row", ("", "Runs", "Usual run", "Usual draw", "Found"), lines, note, prose=True)


def _marked(row: Row) -> str:
    # Not judged, or found of no run in particular: that is told elsewhere.
    return "nothing marked" if row.bracket is None else row.bracket.label


def _usual(values: Sequence[float]) -> float | None:
    return float(np.median(values)) if values else None


def starts(shown: StartsTogether) -> Table:
    """Return what the starts reach, and the usual one at some instants after its beginning."""
    unit = NAMES[shown.quantity][1]
    # The grid need not hold these very instants.
    at_s = (0.1, 0.2, 0.5, 1.0, 2.0, 5.0)
    usual = [float(shown.usual[int(np.abs(shown.seconds - s).argmin())]) for s in at_s]
    lines = (
        ("top of the start", numbers.amount(shown.surge, unit)),
        *((f"{numbers.duration(s)} after", numbers.amount(x, unit)) for s, x in zip(at_s, usual, strict=True)),
        ("running", numbers.amount(shown.running, unit)),
    )
    return Table(f"The usual of {numbers.counted(len(shown.each), 'start')}", ("", "Draw of the load"), lines)


def flow(shown: Bands, unit: str) -> Table:
    """Return every bar at both ends of the flow."""
    lines = []
    for stop in (*shown.sources, *shown.sinks):
        name, amount = stop.words.split("\n", 1)
        lines.append((numbers.capital(name), amount))
    caption = "Where energy went" if unit == "Wh" else "Where charge went"
    return Table(caption, ("", "How much"), tuple(lines), prose=True)


def apart(report: Report) -> tuple[LogReport, ...]:
    """Return the logs of a report whose amounts may be added up: none shows a time twice, or is swapped."""
    # What a meter at the bank and one behind an inverter saw at once must not be added up.
    left_out = {id(left.log) for left in report.over.left_out} if report.over is not None else set()
    return tuple(log for log in report.logs if id(log) not in left_out and not is_swapped(log.findings))


def answer_bars(log: LogReport) -> list[AnswerBar]:
    """Return what the load took and what the bank gave, in Ah, in Wh where no amps of the bank are known."""
    summary = log.cycles.summary
    amounts = summary.charge_Ah, summary.charge_u95_Ah, summary.energy_Wh, summary.energy_u95_Wh
    use = LoadUse(*amounts, at_least=summary.too_brief > 0)
    past = straight_in(log)[0]
    return _bars(log_sentences.load_name(log), use, log.charge.charge, log.charge.energy, log.facts.side, past)


def answer_bars_of_all(over: OverLogs) -> list[AnswerBar]:
    """Return the same of all logs together; none where what the load took is not known."""
    taken = taken_over(over)
    if over.whole is None or taken is None:
        return []
    use = LoadUse(taken.charge_Ah, taken.charge_u95_Ah, taken.energy_Wh, taken.energy_u95_Wh, at_least=over.at_least)
    name = log_sentences.load_name(next(log for log in added_up(over) if log.cycles.cycles))
    past, _ = straight_in_all(added_up(over), over.whole.starts)
    return _bars(name, use, over.whole.charge, over.whole.energy, over.side, past)


def _bars(
    load: str, use: LoadUse, charge: Amounts | None, energy: Amounts | None, side: Side, past: float
) -> list[AnswerBar]:
    # Both in one unit, for one scale: a bank is asked for amp-hours, a meter behind an inverter has none.
    amounts, own, u95, unit = (
        (charge, use.charge_Ah, use.charge_u95_Ah, "Ah")
        if charge is not None
        else (energy, use.energy_Wh, use.energy_u95_Wh, "Wh")
    )
    bars = []
    if own:
        half = u95 or 0.0
        who, text = numbers.capital(load), amount_told(own, u95, unit, least=use.at_least)
        bars.append(AnswerBar(who, text, Within(own, max(own - half, 0.0), own + half)))
    if amounts is not None and amounts.drawn:
        sure = amounts.sure.drawn if amounts.sure is not None else Within.exactly(amounts.drawn)
        who = "Out of the bank, all loads" if side == "dc" else "Behind the inverter, all loads"
        text = numbers.plus_minus(amounts.drawn, amounts.drawn_u95, unit)
        # What surely did not come out of the bank stands before the bank's bar: no part of what that gave.
        bars.append(AnswerBar(who, text, Within(amounts.drawn, max(sure.low, 0.0), sure.high), past))
    return bars


def one_log(log: LogReport, *, findings: bool) -> Table:
    """Return one log on a sheet: what the load took, draws and does, beside what all loads took, each by its name.

    With the titles of the findings, unless they stand elsewhere.
    """
    swapped, summary = is_swapped(log.findings), log.cycles.summary
    total, all_loads = load_took(log), all_loads_took(log)
    starts = starts_told(summary)
    # In less than an hour nothing happened in one; and runs that nobody could measure have no hour of theirs.
    if log_sentences.holds_an_hour(log) and summary.count:
        starts += f", {rate_told(summary)} an hour"
        most = busiest_hour(np.array([run.start_us for run in log.cycles.cycles]))
        starts += "" if summary.at_least else f", {most} in the busiest hour"
    of_runs = (
        ("Draws while it runs", how_it_runs.usual_draw(log.cycles)),
        ("Draws at its highest start", how_it_runs.highest_start(log.cycles)),
        ("Starts", starts),
        ("Running", running(log)),
        ("Usual run", numbers.duration(summary.median_run_s)),
        ("Usual rest", log_sentences.usual_rest(log)),
    )
    rows = (
        (numbers.capital(f"{log_sentences.load_name(log)} took"), "" if total is None else total.amounts),
        *(() if swapped else of_runs),
        (f"{'Out of the bank' if log.facts.side == 'dc' else 'Behind the inverter'}, all loads", all_loads),
        ("Measured", numbers.duration(log.charge.span.covered_s)),
        ("Findings", finding_titles(log) if findings else ""),
    )
    known = tuple(row for row in rows if row[1] not in ("", numbers.UNKNOWN))
    return Table("What the log shows", ("", log_sentences.log_title(log.facts)), known, prose=True)


def all_logs(over: OverLogs) -> Table:
    """Return what all logs show together, beside the worst of them and the newest."""
    by_log = {id(one.log): one for one in over.logs}
    newest = (added_up(over) or [one.log for one in over.logs])[-1]
    # Three columns are what a sheet has room for.
    few = [("Worst", log) for log in worst_of(over)[:1]]
    few += [("Newest", newest)] if not few or few[0][1] is not newest else []
    columns = [(f"All {len(over.logs):,} logs", over.whole, _days_found(over))] if over.whole is not None else []
    columns += [(f"{which}: {called(log)}", by_log[id(log)].figures, gravest_said(log)) for which, log in few]
    rows = [(what, *(cell(figures) for _, figures, _ in columns)) for what, cell in _OF_LOGS]
    if over.whole is not None:
        # Of days on which an amount is not known their own figures say nothing, the runs with one still do.
        total = load_took_over(over)
        took = (numbers.UNKNOWN,) * 2 if total is None else (total.charge, _energy_alone(total, least=over.at_least))
        rows[:2] = [(row[0], cell or numbers.UNKNOWN, *row[2:]) for row, cell in zip(rows[:2], took, strict=True)]
    rows.append(("Findings", *(finding or "nothing to act on" for *_, finding in columns)))
    known = tuple(row for row in rows if any(cell != numbers.UNKNOWN for cell in row[1:]))
    return Table("All logs, the worst and the newest", ("", *(name for name, *_ in columns)), known, prose=True)


def _energy_alone(total: LoadTotal, *, least: bool) -> str | None:
    # Beside its charge only this says that both are lower bounds; here each has a row of its own.
    return f"{AT_LEAST}{total.energy}" if least and total.charge and total.energy else total.energy


_OF_LOGS: Final[tuple[tuple[str, Callable[[DayFigures], str]], ...]] = (
    ("The load took", lambda each: use_told(each.use, "Ah")),
    ("In energy", lambda each: use_told(each.use, "Wh")),
    ("Runs", starts_told),
    ("Starts an hour", rate_told),
    ("Usual run", lambda each: numbers.duration(each.median_run_s)),
    ("All loads, charge", lambda each: log_sentences.drawn(each.charge, "Ah")),
    ("All loads, energy", lambda each: log_sentences.drawn(each.energy, "Wh")),
    ("Measured", lambda each: numbers.duration(each.measured_s)),
)


def _days_found(over: OverLogs) -> str:
    # Days that could not be judged are no days without a finding.
    days = judged_days(over)
    return f"on {sum(bool(day.findings) for day in days):,} of {numbers.counted(len(days), 'day')}" if days else ""
