"""The page's tables: rows of text from a report."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, TypeVar

from ....analysis.health.finding import is_swapped, withheld
from ....analysis.readings.log_facts import only_ends
from ..wording import answer, clock, log_sentences, numbers
from ..wording.checks import ABOUT, TREND, not_judged
from ..wording.how_it_runs import speed_name
from ..wording.log_sentences import drawn

if TYPE_CHECKING:
    from ....analysis.charge.amounts import Amounts
    from ....analysis.cycles.cycle import Cycle
    from ....analysis.one_log.log_report import CloseUp, LogReport
    from ....analysis.readings.log_facts import LogFacts
    from ....analysis.readings.measured_span import Span
    from ....analysis.several_logs.report import Report
    from ..wording.shown import NotedPart

RowItem = TypeVar("RowItem")
#: Longer lists end with a sentence; all of them are in ``report --json`` and ``--csv``.
MOST_ROWS = 30

AT_LEAST = "≥: at least this much; readings came too slowly to see the top of the start."

_QUANTITIES = {"current_A": ("Current", "A"), "voltage_V": ("Voltage", "V"), "power_W": ("Power", "W")}


@dataclass(frozen=True)
class Table:
    """A table of text. The first column heads its row; ``prose`` columns hold sentences, others figures."""

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""
    prose: bool = False


def took(log: LogReport) -> Table:
    """Return charge and energy: drawn, returned and net, and the average draw over the measured time."""
    rows = []
    for what, x, unit, rate in (("Charge", log.charge.charge, "Ah", "A"), ("Energy", log.charge.energy, "Wh", "W")):
        if x is not None:
            rows.append((what, *three_amounts(x, unit), numbers.amount(_an_hour(log, x, x.net), rate)))
    caption = "What went out and what came back" if log.facts.side == "dc" else "What the loads took"
    return Table(caption, ("", "Drawn", "Returned", "Net", "Average of net"), tuple(rows))


def _an_hour(log: LogReport, x: Amounts, value: float) -> float | None:
    """Return a value of charge or energy by the hours measured for it; None where there are none. [unit/h]."""
    # Volts may be missing for a while: energy then has fewer hours than charge.
    span = log.charge.energy_span if x is log.charge.energy else None
    covered_s = (span or log.charge.span).covered_s
    return value / (covered_s / 3600) if covered_s else None


def three_amounts(x: Amounts | None, unit: str) -> tuple[str, str, str]:
    """Return what was drawn, returned and net, each with its interval."""
    if x is None:
        return (numbers.UNKNOWN,) * 3
    parts = ((x.drawn, x.drawn_u95), (x.returned, x.returned_u95), (x.net, x.net_u95))
    drawn, returned, net = (numbers.plus_minus(value, u95, unit) for value, u95 in parts)
    return drawn, returned, net


def ranges(log: LogReport) -> Table:
    """Return the lowest and the highest reading of each quantity that was followed."""
    rows = tuple(
        (what, numbers.amount(float(seen.low.min()), unit), numbers.amount(float(seen.high.max()), unit))
        for quantity, (what, unit) in _QUANTITIES.items()
        if (seen := log.envelopes.get(quantity)) is not None and len(seen.low)
    )
    return Table("Lowest and highest reading", ("", "Lowest", "Highest"), rows)


def gaps(log: LogReport) -> Table:
    """Return the gaps, the first of them where there are many."""
    every = log.charge.span.gaps
    rows = tuple(
        (
            clock.clock(gap.start_us, log.facts, near_us=log.charge.span.start_us),
            clock.clock(gap.stop_us, log.facts, near_us=log.charge.span.start_us),
            numbers.duration(gap.length_s),
        )
        for gap in every[:MOST_ROWS]
    )
    return Table("Gaps: no readings, nothing added", ("From", "To", "Length"), rows, more(len(every)))


def markers(log: LogReport) -> Table:
    """Return the notes with the numbers they have in the chart, and what was drawn from each to the next."""
    # A note after which nothing was measured has no stretch; two notes at one instant differ in their texts.
    stretches = {(stretch.at_us, stretch.text): stretch for stretch in log.marked}
    rows = []
    for place, (us, text) in enumerate(log.facts.markers[:MOST_ROWS], start=1):
        stretch = stretches.get((us, text))
        amounts = [(stretch.charge, "Ah"), (stretch.energy, "Wh")] if stretch is not None else []
        until = ", ".join(drawn(x, unit) for x, unit in amounts if x is not None)
        when = clock.clock(us, log.facts, near_us=log.charge.span.start_us)
        none = "" if only_ends(text) else numbers.UNKNOWN
        rows.append((str(place), when, numbers.shortened(text, 200), until or none))
    head = ("No.", "When", "What was noted", "Drawn until the next")
    return Table("Notes", head, tuple(rows), more(len(log.facts.markers)), prose=True)


def parts(log: LogReport, most: int) -> Table:
    """Return what went out from each note to the next and what the load took of it, of at most so many parts."""
    from ..wording import shown  # not where a capture shows its runs

    every = shown.noted_parts(log)
    columns: list[tuple[str, Callable[[NotedPart], str]]] = [
        ("From note to note", lambda part: part.text),
        ("How long", lambda part: part.lasted),
        ("Out of the bank" if log.facts.side == "dc" else "Behind the inverter", lambda part: part.amounts),
        (numbers.capital(log_sentences.load_name(log)), lambda part: part.load or numbers.UNKNOWN),
    ]
    head, rows = known_columns(columns, every[:most])
    left = f"{numbers.counted(len(every) - most, 'more part')} in the log." if len(every) > most else ""
    return Table("What each part took", head, rows, left, prose=True)


def cycles(log: LogReport) -> Table:
    """Return the runs, the first of them where there are many; columns that are unknown throughout are left out."""
    near_us, shown = log.charge.span.start_us, log.cycles.cycles[:MOST_ROWS]
    columns: list[tuple[str, Callable[[Cycle], str]]] = [
        ("Start", lambda c: clock.clock(c.start_us, log.facts, near_us=near_us)),
        ("Rest before", lambda c: numbers.duration(c.off_before_s)),
        ("Ran", lambda c: numbers.duration(c.run_s)),
        ("Highest at start", lambda c: bound(numbers.amount(None if log.cycles.speeds else c.surge_A, "A"), c)),
        ("Peak power", lambda c: bound(numbers.amount(c.peak_W, "W"), c)),
        ("On average" if log.cycles.speeds else "Settled", lambda c: numbers.amount(c.run_A, "A")),
        ("Average power" if log.cycles.speeds else "Settled power", lambda c: numbers.amount(c.run_W, "W")),
        ("Start / settled", lambda c: bound(numbers.number(c.surge_ratio), c)),
        ("Charge", lambda c: numbers.amount(c.charge_Ah, "Ah")),
        ("Energy", lambda c: numbers.amount(c.energy_Wh, "Wh")),
        ("Voltage sag", lambda c: bound(numbers.amount(c.sag_V, "V"), c)),
    ]
    columns += [(f"At {speed_name(speed)}", _time_at(k)) for k, speed in enumerate(log.cycles.speeds)]
    # A column of nothing but "yes" would tell nothing.
    if not all(c.complete for c in shown):
        columns.append(("Seen whole", lambda c: "yes" if c.complete else "no"))
    head, rows = known_columns(columns, shown)
    caption = f"Runs of {log_sentences.load_name(log)}; amps, watts, charge and energy are above what was drawn before"
    notes = [more(len(log.cycles.cycles), "; all of them count in the figures of this page"), _at_least(rows)]
    return Table(caption, head, rows, " ".join(note for note in notes if note))


def _time_at(k: int) -> Callable[[Cycle], str]:
    """Return what tells how long a run held one of its load's draws."""
    return lambda cycle: numbers.duration(cycle.at_speeds[k])


def known_columns(
    columns: Sequence[tuple[str, Callable[[RowItem], str]]], items: Sequence[RowItem]
) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    """Return the heads and rows of a table of items, without the columns that are unknown throughout."""
    filled = [(head, [cell(item) for item in items]) for head, cell in columns]
    known = [(head, cells) for head, cells in filled if any(cell != numbers.UNKNOWN for cell in cells)]
    return tuple(head for head, _ in known), tuple(zip(*(cells for _, cells in known), strict=True))


def bound(text: str, cycle: Cycle) -> str:
    """Return an amount of a start, marked as a lower bound where readings came too slowly to see its top."""
    return text if cycle.surge_resolved or text == numbers.UNKNOWN else f"≥\N{NO-BREAK SPACE}{text}"


def _at_least(rows: tuple[tuple[str, ...], ...]) -> str:
    return AT_LEAST if any("≥" in cell for row in rows for cell in row) else ""


def more(count: int, what_of_them: str = "") -> str:
    """Say how many of a long list's items are listed; empty where all are."""
    return f"Listed here are the first {MOST_ROWS} of {count:,}{what_of_them}." if count > MOST_ROWS else ""


def start(close_up: CloseUp, facts: LogFacts) -> Table:
    """Return what is known of one start."""
    cycle = close_up.cycle
    rows = (
        ("When", clock.clock(cycle.start_us, facts)),
        ("Highest, above what was drawn before", bound(numbers.amount(cycle.surge_A, "A"), cycle)),
        ("Settled draw, over the whole run", numbers.amount(cycle.run_A, "A")),
        ("Start over settled", bound(numbers.number(cycle.surge_ratio), cycle)),
        ("Half of its surge gone after", numbers.duration(cycle.start_s)),
        ("Highest power", bound(numbers.amount(cycle.peak_W, "W"), cycle)),
        ("Settled power, over the whole run", numbers.amount(cycle.run_W, "W")),
        ("Voltage sag", bound(numbers.amount(cycle.sag_V, "V"), cycle)),
        ("Ran for", numbers.duration(cycle.run_s)),
    )
    known = tuple(row for row in rows if row[1] != numbers.UNKNOWN)
    caption = "This start; amps and watts are above what was drawn before it"
    return Table(caption, ("", "Value"), known, _at_least(known), prose=True)


def usual_run(log: LogReport) -> Table:
    """Return the usual run and rest, and the shortest and longest."""
    summary, seen = log.cycles.summary, log.cycles.cycles
    rows = []
    for what, median_s, lengths in (
        ("Run", summary.median_run_s, [c.run_s for c in seen if c.run_s is not None]),
        ("Rest before a run", summary.median_off_s, [c.off_before_s for c in seen if c.off_before_s is not None]),
    ):
        if lengths:
            rows.append(
                (what, numbers.duration(min(lengths)), numbers.duration(median_s), numbers.duration(max(lengths)))
            )
    return Table("How long", ("", "Shortest", "Median", "Longest"), tuple(rows))


def quality(log: LogReport) -> Table:
    """Return how the log was read, and with which settings."""
    facts, span = log.facts, log.charge.span
    zone = f"{clock.zone_of(facts)[0]}{', assumed: it is the zone of the computer' if facts.zone_assumed else ''}"
    rows = (
        ("Log", numbers.shortened(facts.name, 200)),
        ("Meter", numbers.shortened(facts.meter, 200) if facts.meter else numbers.UNKNOWN),
        ("Source", numbers.shortened(facts.source, 200)),
        ("Where the meter sits", "at the bank (dc)" if facts.side == "dc" else "behind an inverter (ac)"),
        ("Rows read", f"{facts.rows_read:,}"),
        ("Rows kept", f"{facts.rows_kept:,}"),
        ("Rows rejected", f"{facts.rows_rejected:,}"),
        ("Rows with the same time, merged", f"{facts.rows_merged:,}"),
        ("Usual interval", numbers.duration(facts.usual_interval_s)),
        ("What a reading is", log_sentences.sampling(facts)),
        ("Gap limit", numbers.duration(facts.gap_limit_s) if facts.has_gaps else "none"),
        ("Measured", numbers.duration(span.covered_s)),
        ("Not measured", _not_measured(span)),
        ("Times", "no dates: counted from the log's start" if facts.undated else f"in the zone {zone}"),
        ("Energy from", log.charge.energy_by or numbers.UNKNOWN),
        ("Runs found in", _QUANTITIES.get(log.cycles.signal, (log.cycles.signal, ""))[0].lower()),
    )
    return Table("How the log was read", ("", "What we know"), rows, prose=True)


def _not_measured(span: Span) -> str:
    return (
        f"{numbers.duration(span.uncovered_s)} in {numbers.counted(len(span.gaps), 'gap')}" if span.gaps else "no gap"
    )


def compared(report: Report, *, findings: bool = True) -> Table:
    """Return logs side by side, with what was found in each, unless that stands elsewhere."""
    lines: tuple[tuple[str, Callable[[LogReport], str]], ...] = (
        ("Charge drawn, all loads", _of_right_sign(lambda log: drawn(log.charge.charge, "Ah"))),
        ("Energy drawn, all loads", _of_right_sign(lambda log: drawn(log.charge.energy, "Wh"))),
        ("Starts", _of_right_sign(lambda log: answer.starts_told(log.cycles.summary))),
        ("Measured", lambda log: numbers.duration(log.charge.span.covered_s)),
        # Beside each other logs are told by their rates.
        (
            "Charge drawn in an hour of readings, all loads",
            _of_right_sign(lambda log: _drawn_an_hour(log, log.charge.charge, "Ah")),
        ),
        (
            "Energy drawn in an hour of readings, all loads",
            _of_right_sign(lambda log: _drawn_an_hour(log, log.charge.energy, "Wh")),
        ),
        ("Starts an hour", _of_right_sign(lambda log: answer.rate_told(log.cycles.summary))),
        ("Running", _of_right_sign(running)),
        ("Usual run", _of_right_sign(lambda log: numbers.duration(log.cycles.summary.median_run_s))),
        ("Usual rest", _of_right_sign(lambda log: numbers.duration(log.cycles.summary.median_off_s))),
        *([("Findings", finding_titles)] if findings else []),
    )
    table = by_log("What each log shows", lines, report)
    return replace(table, rows=tuple(row for row in table.rows if any(cell != numbers.UNKNOWN for cell in row[1:])))


def running(log: LogReport) -> str:
    """Return for how much of the measured time the load ran."""
    summary = log.cycles.summary
    return answer.bounded(numbers.percent(summary.duty_cycle), least=summary.at_least)


def _of_right_sign(cell: Callable[[LogReport], str]) -> Callable[[LogReport], str]:
    """Return what gives a cell, but of a log whose sign seems wrong nothing: there rests look like runs."""
    return lambda log: numbers.UNKNOWN if is_swapped(log.findings) else cell(log)


def by_log(caption: str, lines: Sequence[tuple[str, Callable[[LogReport], str]]], report: Report) -> Table:
    """Return a table with a column a log."""
    head = ("", *(log_sentences.log_title(log.facts) for log in report.logs))
    rows = tuple((what, *(cell(log) for log in report.logs)) for what, cell in lines)
    return Table(caption, head, rows, prose=True)


def _drawn_an_hour(log: LogReport, x: Amounts | None, unit: str) -> str:
    return numbers.UNKNOWN if x is None else numbers.amount(_an_hour(log, x, x.drawn), unit)


def finding_titles(log: LogReport) -> str:
    """Return what was found in a log, or that nothing asks for action and what could not be judged."""
    left = not_judged(withheld(log.checks))
    none = ("nothing to act on" + (f"; {left}" if left else "")) if log.cycles.cycles else "no run to judge"
    # Notes would fill the cells of a comparison; each log's own section has them.
    serious = [finding for finding in log_sentences.by_severity(log) if finding.severity != "note"]
    return "; ".join(f"{f.severity}: {numbers.shortened(f.title, 120)}" for f in serious) or none


def checks(log: LogReport) -> Table:
    """Return every limit that was checked, with what came of it and where the limit is from."""
    rows = tuple(
        (
            ABOUT.get(check.code, check.code),
            check.outcome,
            numbers.capital(check.remark),
            numbers.capital(f"{check.limit} ({check.source})") if check.limit else numbers.UNKNOWN,
        )
        for check in log.checks
    )
    return Table("What was checked", ("", "Outcome", "Seen", "Limit, and where it is from"), rows, prose=True)


def trends(log: LogReport) -> Table:
    """Return how the load's figures change from day to day."""
    rows = tuple(
        (
            TREND[trend.name][0].capitalize(),
            numbers.amount(trend.usual, TREND[trend.name][1]),
            numbers.amount(trend.per_day, TREND[trend.name][1]),
            f"{numbers.number(trend.low)} to {numbers.number(trend.high)}",
            numbers.percent(trend.change),
        )
        for trend in log.trends
    )
    head = ("", "Usual", "Change a day", "95 % interval", "Over the log")
    return Table("From day to day (median slope of all pairs of runs)", head, rows)
