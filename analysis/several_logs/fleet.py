"""One line on each log of a fleet, from the very results of its report, and which log to look after first."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from math import inf
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np

from ..charge.amounts import budget_of
from ..cycles.taken_by_load import taken_by_load
from ..health.finding import OF_RUNS, SEVERITIES, WRONG_SIGN, Finding, Severity, withheld
from ..health.hardly_seen import most_starts
from ..health.runs import Runs, busiest_hour
from ..quality.implausible import Grade
from .day_pieces import usual_of

if TYPE_CHECKING:
    from ..charge.amounts import Amounts, Charge
    from ..cycles.cycle import Cycles
    from ..one_log.log_report import LogReport
    from ..quality.fitness import Fitness

#: ``read``: its figures stand here; ``unfinished``: a capture that was not ended; ``not read``: see the reason;
#: ``summary``: no log, but the summary of a fleet, which no result counts.
Status = Literal["read", "unfinished", "not read", "summary"]


@dataclass(frozen=True)
class LogSummary:
    """What a fleet's table says of one log; None where the log cannot say it, or was not read.

    Parameters
    ----------
    log : str
        Its name within the fleet: the path from the fleet's folder, with ``/``.
    reason : str
        Why it was not read.
    site, site_name : str
        Its site file, and what that calls the place.
    start_us, stop_us : int
        Its first and last instant; None where it has no dates.
    uncovered_s : float
        Time not measured within the span.
    uncertainty, uncertainty_share : str, float
        The largest source of error of what was drawn, and its share of the squared uncertainty. [1]
    load_Ah, load_Wh : float
        What the load itself took in those of its runs whose amount is known: `runs_with_Ah`, `runs_with_Wh` of them.
        Where there were `runs_too_brief`, so many at the least, it is a lower bound.
    busiest_hour, most_starts : int
        The most starts in any hour: of runs that were seen, and with those that only rises prove.
    run_W, sag_V : float
        Median settled draw above the baseline, without runs in which the array may have shared it; deepest sag of a
        run.
    codes, worst, findings
        Of the findings, the most severe first, without the starts they rest on; `worst` is the first one's title.
    doubts : str
        Why it is not good for more.
    not_judged : tuple of str
        Codes of what the runs should have said and could not.
    """

    log: str
    status: Status = "read"
    reason: str | None = None
    site: str | None = None
    site_name: str | None = None
    meter: str | None = None
    side: str | None = None
    load: str | None = None
    start_us: int | None = None
    stop_us: int | None = None
    covered_s: float | None = None
    uncovered_s: float | None = None
    readings: int | None = None
    drawn_Ah: float | None = None
    drawn_u95_Ah: float | None = None
    returned_Ah: float | None = None
    returned_u95_Ah: float | None = None
    net_Ah: float | None = None
    net_u95_Ah: float | None = None
    drawn_Wh: float | None = None
    drawn_u95_Wh: float | None = None
    returned_Wh: float | None = None
    returned_u95_Wh: float | None = None
    net_Wh: float | None = None
    net_u95_Wh: float | None = None
    uncertainty: str | None = None
    uncertainty_share: float | None = None
    load_Ah: float | None = None
    load_u95_Ah: float | None = None
    load_Wh: float | None = None
    load_u95_Wh: float | None = None
    runs_with_Ah: int | None = None
    runs_with_Wh: int | None = None
    runs_too_brief: int | None = None
    cycles: int | None = None
    starts_per_hour: float | None = None
    duty_cycle: float | None = None
    median_run_s: float | None = None
    median_off_s: float | None = None
    busiest_hour: int | None = None
    most_starts: int | None = None
    run_W: float | None = None
    sag_V: float | None = None
    acts: int = 0
    watches: int = 0
    notes: int = 0
    codes: tuple[str, ...] = ()
    worst: str | None = None
    good_for_amounts: Grade | None = None
    good_for_cycles: Grade | None = None
    good_for_surges: Grade | None = None
    doubts: str | None = None
    not_judged: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()


def summary_of(
    log: str, report: LogReport, verdict: Fitness, *, site: str | None = None, site_name: str | None = None
) -> LogSummary:
    """Return the summary of a log that was read, by all that was worked out from it and what it is good for.

    `log` is its name within the fleet; `site` its site file, and `site_name` what that calls the place.
    """
    span, cycles, dated = report.charge.span, report.cycles, not report.facts.undated
    return replace(
        LogSummary(log, site=site, site_name=site_name, meter=report.facts.meter, side=report.facts.side),
        load=cycles.load,
        start_us=span.start_us if dated else None,
        stop_us=span.stop_us if dated else None,
        covered_s=span.covered_s,
        uncovered_s=span.uncovered_s,
        readings=span.readings,
        **_amounts(report.charge.charge, "Ah"),
        **_amounts(report.charge.energy, "Wh"),
        **_main_source(report.charge),
        **_runs(cycles),
        most_starts=starts_in_worst_hour(report),
        **_findings(report.findings),
        not_judged=withheld(report.checks),
        good_for_amounts=verdict.amounts.grade,
        good_for_cycles=verdict.cycles.grade,
        good_for_surges=verdict.surges.grade,
        doubts="; ".join(dict.fromkeys(reason for use in verdict.uses for reason in use.reasons)) or None,
    )


def _amounts(amounts: Amounts | None, unit: str) -> dict[str, Any]:
    """Return drawn, returned and net, with half of each interval."""
    if amounts is None:
        return {}
    figures = {f"{what}_{unit}": getattr(amounts, what) for what in ("drawn", "returned", "net")}
    return figures | {f"{what}_u95_{unit}": getattr(amounts, f"{what}_u95") for what in ("drawn", "returned", "net")}


def _main_source(charge: Charge) -> dict[str, Any]:
    """Return the largest source of error of the figure that the log's budget belongs to."""
    budget = budget_of(charge)
    if budget is None or not budget.sure.components:
        return {}
    largest = budget.sure.components[0]
    return {"uncertainty": largest.source, "uncertainty_share": budget.sure.share(largest)}


def _runs(cycles: Cycles) -> dict[str, Any]:
    summary, runs, taken = cycles.summary, cycles.cycles, taken_by_load(cycles)
    return {
        "load_Ah": taken.charge_Ah,
        "load_u95_Ah": taken.charge_u95_Ah,
        "load_Wh": taken.energy_Wh,
        "load_u95_Wh": taken.energy_u95_Wh,
        "runs_with_Ah": taken.runs_with_Ah,
        "runs_with_Wh": taken.runs_with_Wh,
        "runs_too_brief": taken.runs_too_brief,
        "cycles": summary.count,
        "starts_per_hour": summary.starts_per_hour,
        "duty_cycle": summary.duty_cycle,
        "median_run_s": summary.median_run_s,
        "median_off_s": summary.median_off_s,
        "busiest_hour": busiest_hour(np.array([run.start_us for run in runs], dtype=np.int64)),
        "run_W": usual_of(runs, "run_W", alone=True),
        "sag_V": max((run.sag_V for run in runs if run.sag_V is not None), default=None),
    }


def _findings(findings: Iterable[Finding]) -> dict[str, Any]:
    by_severity = sorted(findings, key=_gravity)
    ordered = tuple(replace(finding, cycles=(), holds_us=None) for finding in by_severity)
    severities = [finding.severity for finding in ordered]
    return {
        "acts": severities.count("act"),
        "watches": severities.count("watch"),
        "notes": severities.count("note"),
        "codes": tuple(finding.code for finding in ordered),
        "worst": ordered[0].title if ordered else None,
        "findings": ordered,
    }


#: What harms the pump, the bank or people soonest comes first: what ruins a motor while it runs, then what keeps the
#: load from starting or the bank from lasting, then what wears it out, what wastes, and what is wrong with the log
#: alone. Common practice, no source.
URGENCY: Final = (
    *("prime_lost", "never_cuts_out", "stalled_start", "overload"),
    *("start_trip", "surge_over_rating", "low_voltage"),
    *("short_cycling", "air_charge_lost"),
    *("leak_down", "flow_falls", "start_lengthens", "draw_drift", "standing_draw"),
    *(WRONG_SIGN, "sampling_too_slow"),
)

#: The rule in a sentence, for whoever reads the ranking.
RULE: Final = (
    "Logs with a finding to act on come first, and with them those to watch that start as often as one of them that "
    "starts too often; then others to watch, then those that could not be read, then the rest. Within each: by the "
    "most urgent of these findings (what ruins a motor while it runs, what keeps a load from starting, what wears it "
    "out, what wastes), then by the most starts in an hour, then by how many there are; of equals the newer comes "
    "first, then the name."
)


@dataclass(frozen=True)
class Counts:
    """How many logs of a fleet are how: each log is counted once, but ``unfinished`` is part of ``not_read``.

    ``not_judged`` are those with nothing to act on or to watch in which length and number of the runs, which come
    first of all that runs say, could not be judged; ``sound`` the rest.
    """

    logs: int
    act: int
    watch: int
    not_read: int
    unfinished: int
    sound: int
    not_judged: int = 0


def ranked(summaries: Iterable[LogSummary]) -> list[LogSummary]:
    """Return the logs in the order in which to look after them, as `RULE` says; names, never alike, end every tie."""
    every = list(summaries)
    starts = [max(summary.most_starts or 0, summary.busiest_hour or 0) for summary in every]
    least = _least((summary.findings for summary in every), starts)
    # A log that nobody could read may hide anything: it stands before those that are sound.
    places = [
        ((2,) if summary.status != "read" else _place(summary.findings, most, least), summary)
        for summary, most in zip(every, starts, strict=True)
    ]
    ordered = sorted(places, key=lambda each: (each[0], -(each[1].start_us or 0), each[1].log))
    return [summary for _, summary in ordered]


def counts_of(summaries: Iterable[LogSummary]) -> Counts:
    """Return how many logs there are of each kind."""
    every = list(summaries)
    groups = [_group(summary) for summary in every]
    unfinished = sum(summary.status == "unfinished" for summary in every)
    unjudged = sum(group == 3 and is_unjudged(summary) for summary, group in zip(every, groups, strict=True))
    sound = groups.count(3) - unjudged
    return Counts(len(every), groups.count(0), groups.count(1), groups.count(2), unfinished, sound, unjudged)


def is_unjudged(summary: LogSummary) -> bool:
    """Tell whether not even length and number of a log's runs could be judged."""
    return OF_RUNS[0] in summary.not_judged


def _group(summary: LogSummary) -> int:
    if summary.status != "read":
        return 2
    return 0 if summary.acts else 1 if summary.watches else 3


#: The finding that the most starts in an hour say most of.
_OFTEN: Final = "short_cycling"


def _least(findings: Iterable[Sequence[Finding]], starts: Iterable[int]) -> float:
    """Return the fewest starts in an hour of any log that is to be acted on because it starts too often."""
    pairs = zip(findings, starts, strict=True)
    return min((most for each, most in pairs if _OFTEN in _codes(each, "act")), default=inf)


def _codes(findings: Iterable[Finding], severity: Severity) -> list[str]:
    return [finding.code for finding in findings if finding.severity == severity]


def _place(findings: Sequence[Finding], starts: int, least: float) -> tuple[int, ...]:
    """Return what logs are sorted by, the worst first: 0, 1 or 3 as they are to be acted on, to be watched, or neither.

    `starts` are the most in any hour. Runs too brief to be measured prove no more than how many they are: where these
    are as many as `least`, the log is as bad as one whose runs were measured.
    """
    acts, watches = _codes(findings, "act"), _codes(findings, "watch")
    if not acts and _OFTEN in watches and starts >= least:
        acts = [_OFTEN]
    # Within a group only findings of its own severity count: what is to be watched must not outrank another act.
    urgency = min(map(_urgency, acts or watches), default=len(URGENCY))
    return 0 if acts else 1 if watches else 3, urgency, -starts, -len(acts), -len(watches)


def gravest(findings: Iterable[Finding]) -> Finding | None:
    """Return the most urgent of the most severe findings; None where there are only notes."""
    # What is to be watched must not outrank what is to be acted on.
    serious = [finding for finding in findings if finding.severity != "note"]
    return min(serious, key=_gravity, default=None)


def _gravity(finding: Finding) -> tuple[int, int]:
    return SEVERITIES.index(finding.severity), _urgency(finding.code)


def _urgency(code: str) -> int:
    return URGENCY.index(code) if code in URGENCY else len(URGENCY)


def worst_first(logs: Iterable[LogReport]) -> tuple[LogReport, ...]:
    """Return those of many logs that want acting on or watching, in the order of `ranked`."""
    pressing = [log for log in logs if gravest(log.findings) is not None]
    starts = [starts_in_worst_hour(log) for log in pressing]
    least = _least((log.findings for log in pressing), starts)
    since_us = [0 if log.facts.undated else log.charge.span.start_us or 0 for log in pressing]
    placed = [
        (_place(log.findings, most, least), -us, log.facts.name, k)
        for k, (log, most, us) in enumerate(zip(pressing, starts, since_us, strict=True))
    ]
    return tuple(pressing[k] for *_, k in sorted(placed))


def starts_in_worst_hour(log: LogReport) -> int:
    """Return the most starts in any hour of a log; where they are too many, with those that only rises prove."""
    # Where nothing is wrong with the starts, what rises may be any load.
    too_many = any(finding.code == "short_cycling" for finding in log.findings)
    return most_starts(Runs(log.cycles, log.facts.usual_interval_s), by_rises=too_many)
