"""Which log of a fleet to look after first."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from .finding import OF_RUNS
from .fleet import LogSummary

#: What harms the pump, the bank or people soonest comes first: what ruins a motor while it runs, then what keeps the
#: load from starting or the bank from lasting, then what wears it out, what wastes, and what is wrong with the log
#: alone. Common practice, no source.
URGENCY: Final = (
    *("prime_lost", "never_cuts_out", "stalled_start", "overload"),
    *("start_trip", "surge_over_rating", "low_voltage"),
    *("short_cycling", "air_charge_lost"),
    *("leak_down", "draw_drift", "standing_draw"),
    *("charge_wrong_sign", "sampling_too_slow"),
)
#: The rule in a sentence, for whoever reads the ranking.
RULE: Final = (
    "Logs with a finding to act on come first, then those with one to watch, then those that could not be read, then "
    "the rest. Within each: by the most urgent of these findings (what ruins a motor while it runs, what keeps a load "
    "from starting, what wears it out, what wastes), then by how many there are, then by the most starts in an hour, "
    "then by name."
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
    """Return the logs in the order in which to look after them; `RULE` says how.

    The order of what comes in does not matter: no two names are alike.
    """
    return sorted(summaries, key=_place)


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


def _place(summary: LogSummary) -> tuple[int, int, int, int, int, str]:
    group = _group(summary)
    pressing = [finding.code for finding in summary.findings if finding.severity == ("act", "watch")[min(group, 1)]]
    urgency = min(map(_urgency, pressing), default=len(URGENCY))
    return group, urgency, -summary.acts, -summary.watches, -(summary.busiest_hour or 0), summary.log


def _group(summary: LogSummary) -> int:
    if summary.status != "read":
        return 2
    return 0 if summary.acts else 1 if summary.watches else 3


def _urgency(code: str) -> int:
    return URGENCY.index(code) if code in URGENCY else len(URGENCY)
