"""Results as lines of text for a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from .checked import check_lines, when
from .words import SAMPLING, amount, clock, counted, duration, number, percent, plus_minus, shortened, zone_of

if TYPE_CHECKING:
    from ...analysis.charge import Amounts, Charge, Span
    from ...analysis.cycle_record import Cycle
    from ...analysis.finding import Finding
    from ...analysis.marked import MarkedStretch
    from ...analysis.quality import Quality, SignCheck
    from ...analysis.report import LogFacts, LogReport

#: A terminal shows this many cycles; all are in ``--json``.
_MOST_CYCLES = 20


def table(rows: Sequence[Sequence[str]], *, right: Sequence[int] = ()) -> list[str]:
    """Return rows as aligned lines; columns in `right` are aligned to the right."""
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    lines = []
    for row in rows:
        cells = [c.rjust(w) if k in right else c.ljust(w) for k, (c, w) in enumerate(zip(row, widths, strict=True))]
        lines.append("  ".join(cells).rstrip())
    return lines


def span_lines(facts: LogFacts, span: Span) -> list[str]:
    """Return in words what time was measured, and what was not."""
    zone = "" if facts.undated else f" ({zone_of(facts)[0]}{', assumed' if facts.zone_assumed else ''})"
    lines = [
        f"from {clock(span.start_us, facts)} to {clock(span.stop_us, facts, near_us=span.start_us)}{zone}: "
        f"{duration(span.covered_s)} measured, {counted(span.readings, 'reading')}"
    ]
    if span.gaps:
        gaps = "1 gap" if len(span.gaps) == 1 else f"{len(span.gaps)} gaps"
        lines.append(f"not measured: {duration(span.uncovered_s)} in {gaps}; nothing is counted for it")
    return lines


def charge_lines(facts: LogFacts, charge: Charge, sign: SignCheck | None = None) -> list[str]:
    """Return charge and energy as a small table with what they rest on."""
    lines = [f"{facts.name}: {facts.meter or 'a meter'} on side {facts.side}", *span_lines(facts, charge.span), ""]
    if charge.charge is None and charge.energy is None:
        return [*lines, "too little was measured: no two readings lie close enough together (see the gap limit)"]
    rows = [["", *(["charge"] if charge.charge else []), *(["energy"] if charge.energy else [])]]
    for word, meaning in (("drawn", "out of the bank"), ("returned", "into the bank"), ("net", "")):
        row = [f"{word} {'' if facts.side == 'ac' else meaning}".rstrip()]
        row += [_cell(charge.charge, word, "Ah")] if charge.charge else []
        row += [_cell(charge.energy, word, "Wh")] if charge.energy else []
        rows.append(row)
    return [*lines, *table(rows, right=(1, 2)), "", *_rests_on(facts, charge), *wrong_sign_lines(sign)]


def _rests_on(facts: LogFacts, charge: Charge) -> list[str]:
    """Return what the amounts were computed from, and what they leave out."""
    lines = []
    if charge.charge is None and facts.side == "ac":
        lines.append("behind an inverter: amps there are no charge out of the bank, so energy only")
    if charge.energy is None:
        lines.append("no energy: volts and amps, or watts, were never read together")
    else:
        lines.append(f"energy from {charge.energy_by}" + _of_means(facts, charge))
    span = charge.energy_span
    if charge.charge is not None and span is not None and abs(span.covered_s - charge.span.covered_s) > 1.0:
        lines.append(
            f"amps and energy were not read for the same time: energy covers {duration(span.covered_s)}, "
            f"charge {duration(charge.span.covered_s)}"
        )
    if (counter := charge.counter) is not None:
        lines.append(
            f"the meter's own counter says {amount(counter.charge_Ah, 'Ah')} ({counter.against}); "
            f"ours differs by {amount(counter.difference_Ah, 'Ah')}"
        )
    return lines


def marked_lines(facts: LogFacts, marked: Sequence[MarkedStretch]) -> list[str]:
    """Return what was drawn from each note to the next as a table."""
    if not marked:
        return []
    rows = [["from the note", "at", "for", "drawn Ah", "drawn Wh"]]
    for stretch in marked:
        rows.append(
            [
                shortened(stretch.text, 40),
                clock(stretch.start_us, facts, near_us=marked[0].start_us),
                duration((stretch.stop_us - stretch.start_us) / 1e6),
                "-" if stretch.charge is None else number(stretch.charge.drawn),
                "-" if stretch.energy is None else number(stretch.energy.drawn),
            ]
        )
    return ["", *table(rows, right=(3, 4))]


def wrong_sign_lines(sign: SignCheck | None) -> list[str]:
    """Return a warning where the log's own voltage says that draw and return are swapped."""
    if sign is None or sign.plausible is not False:
        return []
    return ["WARNING: draw and return seem to be swapped (the voltage rises with the draw); see shuntbook look"]


def _of_means(facts: LogFacts, charge: Charge) -> str:
    if facts.sampling == "mean" and charge.energy_by == "volts x amps":
        return " (of means: what switched within a reading makes it a little wrong)"
    return ""


def _cell(amounts: Amounts | None, word: str, unit: str) -> str:
    if amounts is None:
        return ""
    return plus_minus(getattr(amounts, word), getattr(amounts, f"{word}_u95"), unit)


def cycles_lines(log: LogReport) -> list[str]:
    """Return a load's cycles as a table, their summary and the findings."""
    facts, cycles = log.facts, log.cycles
    summary = cycles.summary
    name = cycles.load or "the largest load that matters"
    lines = [f"{facts.name}: runs of {name}, from {cycles.signal}", *span_lines(facts, log.charge.span), ""]
    if not cycles.cycles:
        return [*lines, *_no_start(log), "", *_health_lines(log)]
    lines += table(
        [_CYCLE_HEAD, *(_cycle_row(facts, k, cycles.cycles) for k in range(min(len(cycles.cycles), _MOST_CYCLES)))],
        right=range(1, 8),
    )
    if len(cycles.cycles) > _MOST_CYCLES:
        lines.append(f"... and {len(cycles.cycles) - _MOST_CYCLES} more (all with --json)")
    if any(not cycle.surge_resolved for cycle in cycles.cycles):
        lines.append("> the readings are too far apart to see the whole surge: it was at least that")
    lines += [
        "",
        f"{counted(summary.count, 'start')}, {number(summary.starts_per_hour)} an hour; "
        f"running {percent(summary.duty_cycle)} of the time",
        f"usual run {duration(summary.median_run_s)}, usual rest {duration(summary.median_off_s)}",
        *_other_runs(summary.other_runs),
        "",
    ]
    return lines + _health_lines(log)


def _no_start(log: LogReport) -> list[str]:
    """Say that no start of the load was seen, and what there was instead."""
    cycles, others = log.cycles, log.cycles.summary.other_runs
    if cycles.expected is None:
        return ["no start of it was seen", *_other_runs(others)]
    unit = cycles.signal.rsplit("_", 1)[1]
    said = f"no run like it was seen (by its plate it draws about {amount(cycles.expected, unit)})"
    hint = "; if one of them is it, look at its plate and inverter in the site file" if others else ""
    return [said, *(f"{line}{hint}" for line in _other_runs(others))]


def _other_runs(count: int) -> list[str]:
    return [f"runs of other loads seen meanwhile: {count}"] if count else []


_CYCLE_HEAD = ["start", "run", "rest before", "surge", "settled A", "settled W", "took Ah", "took Wh"]


def _cycle_row(facts: LogFacts, k: int, cycles: Sequence[Cycle]) -> list[str]:
    cycle = cycles[k]
    near = cycles[k - 1].start_us if k else None
    surge = amount(cycle.surge_A, "A") if cycle.surge_A is not None else f"x {number(cycle.surge_ratio)}"
    return [
        clock(cycle.start_us, facts, near_us=near),
        duration(cycle.run_s) if cycle.complete else "not seen whole",
        duration(cycle.off_before_s) if cycle.off_before_s is not None else "-",
        surge if cycle.surge_resolved else f"> {surge}",
        *("-" if x is None else number(x) for x in (cycle.run_A, cycle.run_W, cycle.charge_Ah, cycle.energy_Wh)),
    ]


def _health_lines(log: LogReport) -> list[str]:
    """Return the findings, then in short what else was checked."""
    lines = [line for finding in log.findings for line in _finding_lines(finding, log.facts)]
    return [*(lines or [_none_found(log)]), *check_lines(log.checks, log.trends)]


def _none_found(log: LogReport) -> str:
    if not log.cycles.cycles:
        return "no findings: there was no run to judge"
    return "no findings: nothing in these cycles crosses a limit that was checked"


def _finding_lines(finding: Finding, facts: LogFacts) -> list[str]:
    parts = (
        ("seen", finding.evidence),
        ("when", when(finding, facts)),
        ("limit", finding.limit),
        ("source", finding.source),
        ("usual causes", finding.causes),
        ("check first", finding.check_first),
    )
    title = f"{finding.severity.upper()}: {finding.title} ({finding.code})"
    return [title, *(f"  {what}: {text}" for what, text in parts if text)]


def look_lines(facts: LogFacts, span: Span, quality: Quality) -> list[str]:
    """Return in words what is in a log."""
    lines = [
        f"{facts.name}: {facts.meter or 'a meter'} on side {facts.side}, from {facts.source}",
        *span_lines(facts, span),
    ]
    usual = f"every {facts.usual_interval_s:g} s as a rule" if facts.usual_interval_s else "at no usual spacing"
    gap = "" if facts.sampling == "held" else f"; a gap is longer than {facts.gap_limit_s:g} s"
    lines.append(f"a reading {usual}, {SAMPLING[facts.sampling]}{gap}")
    lines.append(
        f"{facts.rows_kept:,} of {facts.rows_read:,} rows kept, {facts.rows_rejected:,} not readable, "
        f"{facts.rows_merged:,} merged"
    )
    lines.append("")
    rows = [["quantity", "lowest", "mean", "highest", "missing"]]
    for name, part in quality.ranges.items():
        rows.append(
            [
                name,
                number(part.low),
                number(part.mean),
                number(part.high),
                f"{part.missing:,}" if part.missing else "none",
            ]
        )
    lines += [*table(rows, right=range(1, 5)), ""]
    lines += _sign_lines(facts, quality)
    lines += [f"note: {said}" for said in facts.said]
    return lines


def _sign_lines(facts: LogFacts, quality: Quality) -> list[str]:
    sign = quality.sign
    if sign is None or facts.side == "ac":
        return []
    if sign.plausible is None:
        return ["sign: volts and amps do not move together enough to tell whether draw is positive"]
    if sign.plausible:
        return [
            f"sign: plausible, the voltage falls when the draw rises ({number((sign.resistance_ohm or 0) * 1000)} mohm)"
        ]
    return [
        "sign: PROBABLY TURNED, the voltage rises when the draw does; convert again with --reverse-sign (or without)"
    ]
