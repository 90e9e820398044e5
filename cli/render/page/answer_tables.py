"""The tables that say what the pictures of the answer show, for whoever does not see them."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from ....analysis.health.finding import is_swapped
from ....analysis.stats.interval95 import Within
from ..still_charts.axis import NAMES
from ..still_charts.bars import AnswerBar
from ..wording import log_sentences, numbers
from ..wording.answer import amount_told
from .log_tables import MOST_ROWS, Table

if TYPE_CHECKING:
    from ....analysis.one_log.log_report import LogReport
    from ....analysis.one_log.starts_together import StartsTogether
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
    summary, charge, energy = log.cycles.summary, log.charge.charge, log.charge.energy
    # Both in one unit, for one scale: a bank is asked for amp-hours, a meter behind an inverter has none.
    amounts, own, u95, unit = (
        (charge, summary.charge_Ah, summary.charge_u95_Ah, "Ah")
        if charge is not None
        else (energy, summary.energy_Wh, summary.energy_u95_Wh, "Wh")
    )
    bars = []
    if own:
        half = u95 or 0.0
        who = numbers.capital(log_sentences.load_name(log))
        text = amount_told(own, u95, unit, least=summary.too_brief > 0)
        bars.append(AnswerBar(who, text, Within(own, max(own - half, 0.0), own + half)))
    if amounts is not None and amounts.drawn:
        sure = amounts.sure.drawn if amounts.sure is not None else Within.exactly(amounts.drawn)
        who = "Out of the bank, all loads" if log.facts.side == "dc" else "Behind the inverter, all loads"
        text = numbers.plus_minus(amounts.drawn, amounts.drawn_u95, unit)
        bars.append(AnswerBar(who, text, Within(amounts.drawn, max(sure.low, 0.0), sure.high)))
    return bars
