"""A fleet as lines for a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from ...analysis.health.finding import WRONG_SIGN
from ...analysis.several_logs.fleet import counts_of, is_unjudged, taken_in_all
from ..render.terminal.answer import Reply
from ..render.terminal.columns import Columns
from ..render.wording.checks import not_judged
from ..render.wording.numbers import counted, number, percent, plus_minus, shortened

if TYPE_CHECKING:
    from ...analysis.several_logs.fleet import Counts, LogSummary

#: Told first, mostly in two lines each: with what comes before them an answer of at most twelve lines.
_FIRST = 3
#: With --explain a terminal shows so many logs; all are in the Parquet file and in ``--json``.
_MOST = 25


def fleet_answer(ranking: Sequence[LogSummary]) -> Reply:
    """Return how many logs are how, what all loads took, and which logs to look after first; each log is a reason."""
    lines = [in_short(counts_of(ranking)), *filter(None, [took_in_all(ranking)])]
    for place, summary in enumerate(ranking[:_FIRST], start=1):
        state = state_of(summary).replace("-", "healthy")
        lines += [f"{place}. {state}: {shortened(summary.log, 60)}", f"   {shortened(told(summary), 150)}"]
    rest = len(ranking) - _MOST
    rows = [_row(place, summary) for place, summary in enumerate(ranking[:_MOST], start=1)]
    more = f"{len(ranking) - _FIRST:,} more logs" if len(ranking) > _FIRST else "figures of each"
    return Reply(
        lines,
        [
            Columns(rows, _HEAD, right=(0, 4, 5, 6)),
            *([f"... and {rest:,} more (all in the Parquet file, and with --json)"] if rest > 0 else []),
        ],
        f"{more}; all in the Parquet file, --json and --page",
    )


def took_in_all(ranking: Sequence[LogSummary]) -> str:
    """Return in a sentence what the loads of all logs took; empty where no log tells."""
    taken = taken_in_all(ranking)
    amounts = _both((taken.load_Ah, taken.load_u95_Ah), (taken.load_Wh, taken.load_u95_Wh))
    return (
        f"The loads took {amounts} in {counted(taken.runs, 'run')} of {counted(taken.logs, 'log')}." if amounts else ""
    )


def load_took(summary: LogSummary) -> str:
    """Return what a log's load took by itself; empty where that is not known, or the sign seems wrong."""
    if WRONG_SIGN in summary.codes:
        return ""
    most = _runs_known(summary)
    return _both(
        (summary.load_Ah if summary.runs_with_Ah == most else None, summary.load_u95_Ah),
        (summary.load_Wh if summary.runs_with_Wh == most else None, summary.load_u95_Wh),
    )


def _runs_known(summary: LogSummary) -> int:
    """Return of how many runs the amount is known that is told; of one that fewer have nothing is said beside it."""
    return max(summary.runs_with_Ah or 0, summary.runs_with_Wh or 0)


def _both(*amounts: tuple[float | None, float | None]) -> str:
    known = [plus_minus(x, u95, unit) for (x, u95), unit in zip(amounts, ("Ah", "Wh"), strict=True) if x is not None]
    return known[0] if len(known) == 1 else f"{known[0]} ({known[1]})" if known else ""


def told(summary: LogSummary) -> str:
    """Return the sentence on a log: its worst finding in plain words, else what its load took, or why nobody knows."""
    if summary.findings and summary.findings[0].plain:
        more = len(summary.findings) - 1
        return summary.findings[0].plain + (f" (And {more} more.)" if more else "")
    if summary.status != "read" or summary.findings or summary.not_judged:
        return gist_of(summary)
    if took := load_took(summary):
        runs, known = counted(summary.cycles or 0, "run"), _runs_known(summary)
        return f"took {took} in {runs if known == summary.cycles else f'{known:,} of {runs}'}"
    return "no run of its load was seen" if not summary.cycles else "what its load took is not known"


def in_short(counts: Counts) -> str:
    """Return in a sentence how many logs there are, and how many of them are how."""
    parts = [
        (counts.act, "to act on"),
        (counts.watch, "to watch"),
        (counts.not_read, "not read"),
        (counts.not_judged, "not judged"),
        (counts.sound, "with nothing to act on or to watch"),
    ]
    return f"{counted(counts.logs, 'log')}: {', '.join(f'{count:,} {what}' for count, what in parts if count)}"


def state_of(summary: LogSummary) -> str:
    """Return in a word how a log is."""
    if summary.status != "read":
        return summary.status
    # Where nothing was found, whether it could have been is what counts.
    if not summary.acts and not summary.watches and is_unjudged(summary):
        return "not judged"
    return "act" if summary.acts else "watch" if summary.watches else "note" if summary.notes else "-"


def gist_of(summary: LogSummary) -> str:
    """Return what is to be said of a log: its worst finding, or why it was not read."""
    if summary.status != "read":
        return summary.reason or ""
    more = len(summary.findings) - 1
    worst = (summary.worst or "no finding") + (f", and {more} more" if more > 0 else "")
    left = not_judged(summary.not_judged)
    # "No finding" beside "not judged" would read as if it were well.
    return worst if not left else f"{worst}; {left}" if summary.findings else left


_HEAD = ["", "log", "", "the load took", "runs", "starts an hour", "running", "finding"]


def _row(place: int, summary: LogSummary) -> list[str]:
    return [
        f"{place}",
        shortened(summary.log, 40),
        state_of(summary),
        load_took(summary) or "-",
        f"{summary.cycles:,}" if summary.cycles is not None else "-",
        number(summary.starts_per_hour) if summary.cycles else "-",
        percent(summary.duty_cycle) if summary.cycles else "-",
        shortened(gist_of(summary), 70),
    ]
