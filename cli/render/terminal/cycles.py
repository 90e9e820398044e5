"""The runs of a load: what they took, how it is with the load, and on request each run and each check."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Final

from ....analysis.health.finding import WRONG_SIGN, is_swapped, withheld
from ..wording.answer import bank_gave, first_answer, load_took
from ..wording.checks import check_lines, of_starts, when
from ..wording.clock import clock
from ..wording.how_it_runs import (
    air_sentence,
    at_speeds,
    highest_start,
    pump_rests_on,
    pump_sentences,
    times_at,
    usual_draw,
)
from ..wording.log_sentences import by_severity, other_loads, ran
from ..wording.numbers import PLUS_MINUS_MEANS, amount, counted, duration, number
from ..wording.several_sentences import MANY
from ..wording.verdict import verdict_on
from .answer import Block, Reply
from .charge import doubt_lines
from .columns import Columns
from .plate import plate_in_short, plate_lines
from .span import span_in_short, span_lines

if TYPE_CHECKING:
    from pathlib import Path

    from ....analysis.cycles.cycle import Cycle, Cycles
    from ....analysis.health.finding import Finding
    from ....analysis.one_log.log_report import LogReport
    from ....analysis.readings.log_facts import LogFacts

#: A terminal shows this many cycles; all are in ``--json``.
_MOST_CYCLES: Final = 200


def cycles_answer(log: LogReport, *, folder: Path | None = None) -> Reply:
    """Return what a load took by itself and how it is with it; each run, finding and check are among the reasons.

    Of a `folder` whose logs were read as one it is said what tells them apart.
    """
    total = first_answer(log)
    return Reply(
        [
            *(f"WARNING: {each.title}. {each.check_first}" for each in log.findings if each.code == WRONG_SIGN),
            *doubt_lines(log.charge),
            total,
            *([] if is_swapped(log.findings) else _of_the_load(log, folder)),
            *span_in_short(log.facts, log.charge.span),
            *([PLUS_MINUS_MEANS] if "±" in total else []),
        ],
        list(_reasons(log)),
        "each run, every check, the nameplate",
    )


def _of_the_load(log: LogReport, folder: Path | None) -> list[str]:
    """Say how it is with the load, how it ran, and what it draws."""
    return [
        *_verdict(log),
        *([] if folder is None else _all_together(folder)),
        *([ran(log)] if load_took(log) is not None else _no_start(log)),
        *filter(None, [bank_gave(log)]),
        *_draws(log),
        *_cut_off(log),
        *plate_in_short(log),
    ]


def _verdict(log: LogReport) -> list[str]:
    """Say how it is with the load: what is gravest, what to do first, and what else was found."""
    verdict = verdict_on(log)
    serious = [finding for finding in by_severity(log) if finding.severity != "note"]
    also = "; ".join(finding.title for finding in serious[1:])
    lines = [f"{verdict.state.upper()}: {verdict.sentence}"]
    lines += [f"Do first: {verdict.first_step}"] if verdict.first_step else []
    return [*lines, *([f"Also found: {also}."] if also else [])]


def _all_together(folder: Path) -> list[str]:
    """Say what a judgement of many logs as one leaves out: a fault that has been mended meanwhile, above all."""
    logs = sum(1 for _ in folder.glob("*.parquet"))
    apart = f"shuntbook report {folder}/*.parquet"
    line = f"That is of {logs} logs together; {apart} tells them apart, and how it is since a change."
    return [line] if logs >= MANY else []


def _no_start(log: LogReport) -> list[str]:
    """Say what draw was looked for in vain, and what there was instead."""
    cycles, others = log.cycles, log.cycles.summary.other_runs
    if cycles.cycles:
        return []
    hint = "; if one of them is it, look at its plate and inverter in the site file" if cycles.expected else ""
    return [f"Runs of {other_loads(cycles)} seen meanwhile: {others}{hint}."] if others else []


def _draws(log: LogReport) -> list[str]:
    """Say what the load draws at a start and when it runs."""
    if log.cycles.speeds:
        return [at_speeds(log.cycles)]
    running, start = usual_draw(log.cycles), highest_start(log.cycles)
    if not running:
        return []
    return [f"It draws {running} while it runs{f', and {start} at its highest start' if start else ''}."]


def _cut_off(log: LogReport) -> list[str]:
    """Say how many of the runs took more than was seen of them."""
    cut = sum(not cycle.complete for cycle in log.cycles.cycles)
    was = "was" if cut == 1 else "were"
    return [f"{counted(cut, 'run')} {was} cut off by a gap or the log's end and count as long as seen."] if cut else []


def _reasons(log: LogReport) -> Iterator[Block]:
    """Yield what was found and checked, then what the runs rest on: a list of hundreds stands last."""
    yield from (*_health(log), *_pump(log), *plate_lines(log), "")
    yield from _runs(log)


def _runs(log: LogReport) -> Iterator[Block]:
    facts, cycles = log.facts, log.cycles
    yield from span_lines(facts, log.charge.span)
    yield f"{facts.name}: runs of {cycles.load or 'the largest load that matters'}, from {cycles.signal}"
    if cycles.expected is not None and not cycles.cycles:
        # Names of quantities end in their unit: current_A.
        yield f"by its plate it draws about {amount(cycles.expected, cycles.signal.rsplit('_', 1)[1])}"
    if log.load_starts is not None:
        yield of_starts(log.load_starts)
    if cycles.cycles:
        yield f"runs of {other_loads(cycles)} seen meanwhile: {cycles.summary.other_runs}"
        rows = [_row(facts, k, cycles.cycles) for k in range(min(len(cycles.cycles), _MOST_CYCLES))]
        yield from ("", _at_speeds(rows, cycles) if cycles.speeds else Columns(rows, _HEADS, right=range(1, 8)))
        if len(cycles.cycles) > _MOST_CYCLES:
            yield f"... and {len(cycles.cycles) - _MOST_CYCLES} more (all with --json)"
        if any(not cycle.surge_resolved and cycle.surge_ratio is not None for cycle in cycles.cycles):
            yield "≥ the readings are too far apart to see the whole surge: it was at least that"


_HEADS: Final = ("start", "run", "rest before", "surge", "settled A", "settled W", "took Ah", "took Wh")
_SPEED_HEADS: Final = (*_HEADS[:4], "mean A", "mean W", *_HEADS[6:], "draws")


def _at_speeds(rows: Sequence[list[str]], cycles: Cycles) -> Columns:
    """Return the runs of a load of several speeds with the time at each draw; what is not known of any is left out."""
    rows = [[*row, times_at(cycle, cycles.speeds)] for row, cycle in zip(rows, cycles.cycles, strict=False)]
    known = [k for k in range(len(_SPEED_HEADS)) if any(row[k] != "-" for row in rows)]
    heads = [_SPEED_HEADS[k] for k in known]
    return Columns([[row[k] for k in known] for row in rows], heads, right=range(1, len(heads) - 1))


def _row(facts: LogFacts, k: int, cycles: Sequence[Cycle]) -> list[str]:
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


def _health(log: LogReport) -> list[str]:
    """Return the findings, the gravest first, then in short what else was checked."""
    lines = [line for finding in by_severity(log) for line in _finding_lines(finding, log.facts)]
    return [*(lines or [_none_found(log)]), *check_lines(log.checks, log.trends)]


def _pump(log: LogReport) -> list[str]:
    """Return what the runs say of flow and water, of a pump whose tank is in the site file."""
    if log.pulse is None or is_swapped(log.findings) or not log.cycles.cycles:
        return []
    # The answer stands above what it rests on, also here.
    rests = [f"  {text}" for text in pump_rests_on(log.pulse)]
    heading = ["What the flow rests on:"] if rests else []
    return ["", *pump_sentences(log.pulse), *air_sentence(log.pulse), *heading, *rests]


def _none_found(log: LogReport) -> str:
    if not log.cycles.cycles:
        return "no findings: there was no run to judge"
    # "Nothing found" must not sound like a clean bill where half could not be judged.
    if withheld(log.checks):
        return "no findings in what could be judged; what could not is named below"
    return "no findings: nothing in these cycles crosses a limit that was checked"


def _finding_lines(finding: Finding, facts: LogFacts) -> list[str]:
    parts = (
        ("in short", finding.plain),
        ("seen", finding.evidence),
        ("when", when(finding, facts)),
        ("limit", finding.limit),
        ("source", finding.source),
        ("usual causes", finding.causes),
        ("check first", finding.check_first),
    )
    title = f"{finding.severity.upper()}: {finding.title} ({finding.code})"
    return [title, *(f"  {what}: {text}" for what, text in parts if text)]
