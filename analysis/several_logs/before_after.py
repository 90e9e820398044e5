"""The days before a change and those after it, put together on either side and set beside each other."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np

from ..charge.between_notes import MarkedStretch
from ..cycles.cycle import Cycle, Cycles, CycleSummary
from ..health.finding import SEVERITIES, Check, Finding
from ..health.runs import LEAST_CYCLES
from ..one_log.log_report import LogReport
from ..readings.chunk import MICROSECONDS, SECONDS_PER_HOUR
from ..stats.ranks import FEWEST
from .compare import LogComparison, compare_logs
from .compared import ComparedLog
from .day_figures import too_brief_of
from .day_pieces import DayPiece, Pool, by_day, running_s, usual_of
from .day_trends import FigureStep
from .pooled import pooled_charge


@dataclass(frozen=True)
class NamedChange:
    """When something was changed at the site, as a person said: the instant [us], and the note's text or empty."""

    at_us: int
    text: str = ""


@dataclass(frozen=True)
class TurnOfRuns:
    """When runs turned from those of the days before a change to those of the days after, beside when it was named.

    ``last_us`` is the start of the last run that is like those before, ``first_us`` that of the first that is like
    those after. [us]. ``late``: the runs went on as before when the change was named; else they had turned already.
    """

    last_us: int
    first_us: int
    late: bool


@dataclass(frozen=True)
class BeforeAfter:
    """What differs between the days before a change and those after.

    `at_us` is the change and `text` the note that `named` it; where nobody named one, the middle of the logs. Days on
    either side may be parts of days. `comparison` is None where one side is empty; `remarks` say in sentences what it
    rests on. `steps` are the figures that differ on the days next to a named change, the clearest first; `turn` is
    when the runs changed, None where that was when the change was named as far as they tell.
    """

    at_us: int
    text: str
    named: bool
    before_days: int
    after_days: int
    comparison: LogComparison | None
    remarks: tuple[str, ...]
    steps: tuple[FigureStep, ...] = ()
    turn: TurnOfRuns | None = None


def before_after(pool: Pool, change: NamedChange | None = None) -> BeforeAfter | None:
    """Set the days before a change beside those after it; without a change the first half of the logs beside the last.

    None where nobody named a change and there is but one log. What a log holds of the day in which the change lies
    belongs to neither side, unless it ends before the change or begins after it.
    """
    logs = list(dict.fromkeys(id(piece.log) for piece in pool.pieces))
    if not pool.pieces or (change is None and len(logs) < 2):
        return None
    # A log's identity stands for it: two logs may have one name, and comparing all their figures would take long.
    if change is None:
        at_us = next(piece.start_us for piece in pool.pieces if id(piece.log) == logs[len(logs) // 2])
    else:
        at_us = change.at_us
    before = [piece for piece in pool.pieces if piece.stop_us <= at_us]
    after = [piece for piece in pool.pieces if piece.start_us >= at_us]
    return BeforeAfter(
        at_us=at_us,
        text=change.text if change is not None else "",
        named=change is not None,
        before_days=len(by_day(before)),
        after_days=len(by_day(after)),
        comparison=_compared(before, after) if before and after else None,
        remarks=tuple(_remarks(before, after, len(pool.pieces) - len(before) - len(after))),
    )


#: What of a run stands for a figure that steps, and what of its day that is: the surest first.
_OF_RUN: Final = ("run_s", "off_before_s", "run_W", "run_A", "start_s")
_OF_DAY: Final = ("median_run_s", "median_rest_s", "run_W", "run_A", "start_s")


def turn_of_runs(pool: Pool, at_us: int, steps: Sequence[FigureStep]) -> TurnOfRuns | None:
    """Return when runs turned on the day of a change, by the surest figure that steps there.

    None where they tell of no other time than that of the change: no figure of single runs steps, or fewer than
    `LEAST_CYCLES` runs lie between the change and their turn.
    """
    known = {step.code: step for step in steps if step.before > 0 and step.after > 0}
    name, step = next(((of, known[day]) for of, day in zip(_OF_RUN, _OF_DAY, strict=True) if day in known), ("", None))
    before = [cycle for piece in pool.pieces if piece.stop_us <= at_us for cycle in piece.cycles]
    after = [cycle for piece in pool.pieces if piece.start_us >= at_us for cycle in piece.cycles]
    around = [c for p in pool.pieces if p.start_us < at_us < p.stop_us for c in p.cycles if getattr(c, name or "run_s")]
    if step is None or not (before and after and around):
        return None
    # A run is like that side whose usual figure is the nearer one, by how many times.
    apart = np.log([getattr(cycle, name) for cycle in around]) - np.log(step.before * step.after) / 2
    like_before = np.where((apart > 0) == (step.before > step.after), 1, -1)
    # The turn is where the fewest runs are on the wrong side of it.
    turn = int(np.argmax(np.concatenate([[0], np.cumsum(like_before)])))
    named = sum(cycle.start_us < at_us for cycle in around)
    if abs(turn - named) < LEAST_CYCLES:
        return None
    last, first = [before[-1], *around][turn], [*around, after[0]][turn]
    return TurnOfRuns(last.start_us, first.start_us, late=turn > named)


def _remarks(before: Sequence[DayPiece], after: Sequence[DayPiece], between: int) -> Iterator[str]:
    for pieces, which in ((before, "before"), (after, "after")):
        if not pieces:
            yield f"Nothing was measured {which} the change."
    if between:
        yield "The day in which the change lies belongs to neither side."
    logs = {id(piece.log) for piece in before} & {id(piece.log) for piece in after}
    if logs:
        yield "A log that holds days of both sides has its findings on neither."


def _compared(before: Sequence[DayPiece], after: Sequence[DayPiece]) -> LogComparison:
    # Days are the stretches by which chance is judged. From six days with runs on either side on, a day's medians stand
    # for its runs, which are more alike than those of different days.
    enough = min(len(_usual_runs(pieces)) for pieces in (before, after)) >= FEWEST
    return compare_logs(
        _side(before, "before", after, by_day_alone=enough), _side(after, "after", before, by_day_alone=enough)
    )


def _side(pieces: Sequence[DayPiece], which: str, others: Sequence[DayPiece], *, by_day_alone: bool) -> ComparedLog:
    """Return one side as if it were one log, cut at its midnights."""
    days = by_day(pieces)
    charge = pooled_charge([piece.line.whole for piece in pieces])
    # A finding is of a whole log; of one that holds days of both sides nobody can say to which it belongs.
    elsewhere = {id(piece.log) for piece in others}
    whole = [log for log in _logs(pieces) if id(log) not in elsewhere]
    checks = tuple(check for log in whole for check in log.checks)
    report = LogReport(
        facts=replace(
            pieces[0].log.facts,
            name=f"the logs {which}",
            meter=_common_meter(pieces),
            usual_interval_s=max((piece.log.facts.usual_interval_s or 0.0 for piece in pieces), default=0.0) or None,
        ),
        charge=charge,
        cycles=_cycles(pieces, charge.span.covered_s),
        findings=_worst(finding for log in whole for finding in log.findings),
        checks=_judged(checks),
        figures=pieces[0].log.figures,
    )
    return ComparedLog(report, tuple(_stretch(day) for day in days), _usual_runs(pieces) if by_day_alone else None)


def _usual_runs(pieces: Sequence[DayPiece]) -> tuple[Cycle, ...]:
    """Return one run for each day that has any: its fields are the medians of the day's runs."""
    days = [[cycle for piece in day for cycle in piece.cycles] for day in by_day(pieces)]
    return tuple(_usual_run(cycles) for cycles in days if cycles)


def _usual_run(cycles: Sequence[Cycle]) -> Cycle:
    fields = ("run_s", "off_before_s", "run_W", "run_A", "surge_A", "energy_Wh", "charge_Ah")
    # What the array may have shared tells how long a run was, but not what it drew.
    medians: dict[str, Any] = {name: usual_of(cycles, name, alone=not name.endswith("_s")) for name in fields}
    resolved = all(cycle.surge_resolved for cycle in cycles)
    return replace(cycles[0], **medians, surge_resolved=resolved, array_may_share=False)


def _logs(pieces: Iterable[DayPiece]) -> list[LogReport]:
    return list({id(piece.log): piece.log for piece in pieces}.values())


def _common_meter(pieces: Sequence[DayPiece]) -> str | None:
    meters = {piece.log.facts.meter for piece in pieces}
    return meters.pop() if len(meters) == 1 else None


def _stretch(day: Sequence[DayPiece]) -> MarkedStretch:
    line = day[0].line
    return MarkedStretch(
        at_us=line.start_us,
        text=line.text,
        start_us=day[0].start_us,
        stop_us=line.stop_us - 1,
        whole=pooled_charge([piece.line.whole for piece in day]),
    )


def _cycles(pieces: Sequence[DayPiece], covered_s: float) -> Cycles:
    cycles = tuple(cycle for piece in pieces for cycle in _until_seen(piece))
    known = covered_s > 0
    summary = CycleSummary(
        count=len(cycles),
        starts_per_hour=len(cycles) * SECONDS_PER_HOUR / covered_s if known else None,
        duty_cycle=running_s(pieces) / covered_s if known else None,
        median_run_s=usual_of(cycles, "run_s"),
        median_off_s=usual_of(cycles, "off_before_s"),
        too_brief=too_brief_of(pieces),
    )
    first = pieces[0].log.cycles
    return Cycles(cycles, summary, first.signal, first.load, covered_s=covered_s)


def _until_seen(piece: DayPiece) -> Iterator[Cycle]:
    """Yield the runs of a piece; one whose end was not seen stops where it was last seen."""
    lengths_s = piece.runs.lengths_s()[piece.began]
    for cycle, length_s in zip(piece.cycles, lengths_s.tolist(), strict=True):
        seen_us = cycle.start_us + round(length_s * MICROSECONDS)
        yield cycle if cycle.stop_us is not None else replace(cycle, stop_us=seen_us)


def _worst(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Return one finding of each code: the most serious."""
    worst: dict[str, Finding] = {}
    for finding in sorted(findings, key=lambda finding: SEVERITIES.index(finding.severity)):
        worst.setdefault(finding.code, finding)
    return tuple(worst.values())


def _judged(checks: Iterable[Check]) -> tuple[Check, ...]:
    """Return one check of each code, one that was judged before any other."""
    by_code: dict[str, Check] = {}
    for check in sorted(checks, key=lambda check: check.outcome == "not judged"):
        by_code.setdefault(check.code, check)
    return tuple(by_code.values())
