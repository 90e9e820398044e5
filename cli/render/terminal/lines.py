"""Results as lines of text for a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from ....analysis.health.finding import withheld
from ..wording.checks import check_lines, when
from ..wording.clock import clock, from_to, in_zone
from ..wording.log_sentences import by_habit, reason_said, two_kinds
from ..wording.numbers import amount, counted, duration, number, percent, plus_minus, shortened
from .columns import table

if TYPE_CHECKING:
    from ....analysis.cycles.cycle import Cycle, Cycles
    from ....analysis.health.finding import Finding
    from ....analysis.nameplate.plate_check import PlateCheck
    from ....analysis.nameplate.reasons import Explained
    from ....analysis.one_log.log_report import LogReport
    from ....analysis.readings.log_facts import LogFacts
    from ....analysis.readings.measured_span import Span

#: A terminal shows this many cycles; all are in ``--json``.
_MOST_CYCLES = 20


def span_lines(facts: LogFacts, span: Span) -> list[str]:
    """Return in words what time was measured, and what was not."""
    zone = in_zone(facts) + (", assumed" if facts.zone_assumed and not facts.undated else "")
    lines = [
        f"from {from_to(span.start_us, span.stop_us, facts)} ({zone}): "
        f"{duration(span.covered_s)} measured, {counted(span.readings, 'reading')}"
    ]
    if span.gaps:
        gaps = "1 gap" if len(span.gaps) == 1 else f"{len(span.gaps)} gaps"
        lines.append(f"not measured: {duration(span.uncovered_s)} in {gaps}; nothing is counted for it")
    return lines


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
    if any(not cycle.surge_resolved and cycle.surge_ratio is not None for cycle in cycles.cycles):
        lines.append("≥ the readings are too far apart to see the whole surge: it was at least that")
    lines += [
        "",
        f"{counted(summary.count, 'start')}, {number(summary.starts_per_hour)} an hour; "
        f"running {percent(summary.duty_cycle)} of the time",
        f"usual run {duration(summary.median_run_s)}, usual rest {duration(summary.median_off_s)}",
        *_taken(cycles),
        *_other_runs(summary.other_runs),
        *([two_kinds(log)] if cycles.two_kinds is not None else []),
        "",
    ]
    return lines + _health_lines(log)


def _no_start(log: LogReport) -> list[str]:
    """Say that no start of the load was seen, and what there was instead."""
    cycles, others = log.cycles, log.cycles.summary.other_runs
    if cycles.expected is None:
        return ["no start of it was seen", *_other_runs(others)]
    # Names of quantities end in their unit: current_A.
    unit = cycles.signal.rsplit("_", 1)[1]
    sentence = f"no run like it was seen (by its plate it draws about {amount(cycles.expected, unit)})"
    hint = "; if one of them is it, look at its plate and inverter in the site file" if others else ""
    return [sentence, *(f"{line}{hint}" for line in _other_runs(others))]


def _taken(cycles: Cycles) -> list[str]:
    """Say what all runs took together; nothing where they may be two loads'."""
    summary, two = cycles.summary, cycles.two_kinds
    known = [(summary.charge_Ah, "Ah"), (summary.energy_Wh, "Wh")]
    amounts = ", ".join(amount(x, unit) for x, unit in known if x is not None)
    if not amounts or (two is not None and two.own is None):
        return []
    # A run cut off by the log's end or a gap took more than was seen of it.
    is_open = any(not cycle.complete for cycle in cycles.cycles)
    return [f"all runs together took {amounts}{' as long as they were seen' if is_open else ''}"]


def _other_runs(count: int) -> list[str]:
    return [f"runs of other loads seen meanwhile: {count}"] if count else []


_CYCLE_HEAD = ["start", "run", "rest before", "surge", "settled A", "settled W", "took Ah", "took Wh"]


def _cycle_row(facts: LogFacts, k: int, cycles: Sequence[Cycle]) -> list[str]:
    cycle = cycles[k]
    # The date stands where the day changes.
    near = cycles[k - 1].start_us if k else None
    surge = amount(cycle.surge_A, "A") if cycle.surge_A is not None else f"x {number(cycle.surge_ratio)}"
    return [
        clock(cycle.start_us, facts, near_us=near),
        duration(cycle.run_s) if cycle.complete else "not seen whole",
        duration(cycle.off_before_s) if cycle.off_before_s is not None else "-",
        "-" if cycle.surge_ratio is None else surge if cycle.surge_resolved else f"≥ {surge}",
        *("-" if x is None else number(x) for x in (cycle.run_A, cycle.run_W, cycle.charge_Ah, cycle.energy_Wh)),
    ]


def _health_lines(log: LogReport) -> list[str]:
    """Return the findings, then in short what else was checked."""
    lines = [line for finding in log.findings for line in _finding_lines(finding, log.facts)]
    return [*(lines or [_none_found(log)]), *check_lines(log.checks, log.trends)]


def _none_found(log: LogReport) -> str:
    if not log.cycles.cycles:
        return "no findings: there was no run to judge"
    # "Nothing found" must not sound like a clean bill where half could not be judged.
    if withheld(log.checks):
        return "no findings in what could be judged; what could not is named below"
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


def plate_lines(log: LogReport) -> list[str]:
    """Return paper, nameplate and measurement with the reasons between; empty where no plate was to be compared."""
    if log.plate is None:
        return [] if log.no_plate is None else ["", f"nameplate: not compared: {log.no_plate}"]
    check = log.plate
    estimate = check.estimate
    lines = [
        "",
        f"nameplate of {shortened(estimate.load)}, over the {duration(estimate.hours * 3600)} it ran",
        f"  on paper            {_both(estimate.paper_Wh, estimate.paper_Ah)}",
        *_reasons(check.left_out_on_paper),
        f"  from the nameplate  {_both(estimate.energy_Wh, estimate.charge_Ah)}",
        *_reasons(check.why),
        f"  measured            {_measured(check)}",
    ]
    habit = by_habit(check)
    lines += [f"  {habit}"] if habit else []
    lines += [f"  assumed: {text}" for text in estimate.assumptions]
    return lines + [f"  note: {text}" for text in check.remarks]


def _both(energy_Wh: float, charge_Ah: float) -> str:
    return f"{amount(energy_Wh, 'Wh')}, {amount(charge_Ah, 'Ah')}"


def _measured(check: PlateCheck) -> str:
    runs = check.runs
    energy = plus_minus(runs.energy_Wh, runs.energy_u95_Wh, "Wh")
    return energy if runs.charge_Ah is None else f"{energy}, {plus_minus(runs.charge_Ah, runs.charge_u95_Ah, 'Ah')}"


def _reasons(explained: Explained) -> list[str]:
    """Return a line for each reason, the amounts first."""
    return [f"      {reason_said(reason)} ({reason.basis})" for reason in explained.reasons]
