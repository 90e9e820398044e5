"""A fleet as lines for a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from ...analysis.cycles.taken_by_load import TakenByLoad
from ...analysis.health.finding import WRONG_SIGN
from ...analysis.several_logs.fleet import counts_of, is_unjudged
from ...analysis.several_logs.pooled import taken_in_all
from ..render.terminal.answer import Reply
from ..render.terminal.columns import Columns
from ..render.wording.answer import LoadTotal, bounded, total_of
from ..render.wording.checks import not_judged
from ..render.wording.numbers import counted, number, percent, shortened

if TYPE_CHECKING:
    from ...analysis.several_logs.fleet import Counts, LogSummary
    from ...analysis.several_logs.pooled import TakenInAll

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
    total = total_in_all(taken)
    return f"The loads {total.took} of {counted(taken.logs, 'log')}." if total is not None else ""


def total_in_all(taken: TakenInAll) -> LoadTotal | None:
    """Return what the loads of all logs took, ready to be shown; None where no log tells."""
    return _total(taken, runs=taken.runs, runs_with_Ah=taken.runs, runs_with_Wh=taken.runs)


def load_took(summary: LogSummary) -> str:
    """Return what a log's load took by itself; empty where that is not known, or the sign seems wrong."""
    total = _load_total(summary)
    return total.amounts if total is not None else ""


def _load_total(summary: LogSummary) -> LoadTotal | None:
    if WRONG_SIGN in summary.codes:
        return None
    known = summary.runs_with_Ah or 0, summary.runs_with_Wh or 0
    return _total(summary, runs=summary.cycles or 0, runs_with_Ah=known[0], runs_with_Wh=known[1])


def _total(of: LogSummary | TakenInAll, *, runs: int, runs_with_Ah: int, runs_with_Wh: int) -> LoadTotal | None:
    # No summary knows which runs were seen only in part; the log's own report tells.
    known = (runs_with_Ah, runs_with_Wh, of.load_Ah, of.load_u95_Ah, of.load_Wh, of.load_u95_Wh)
    return total_of(TakenByLoad(runs, 0, *known, of.runs_too_brief or 0), "the load")


def told(summary: LogSummary) -> str:
    """Return the sentence on a log: its worst finding in plain words, else what its load took, or why nobody knows."""
    if summary.findings and summary.findings[0].plain:
        more = len(summary.findings) - 1
        return summary.findings[0].plain + (f" (And {more} more.)" if more else "")
    if summary.status != "read" or summary.findings or summary.not_judged:
        return gist_of(summary)
    if (total := _load_total(summary)) is not None:
        return total.took
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


def how_often(summary: LogSummary) -> tuple[str, str, str]:
    """Return how often a log's load started, in all and in an hour, and its share of the time; at least one run."""
    seen, brief, rate = summary.cycles or 0, summary.runs_too_brief or 0, summary.starts_per_hour
    # Those too brief to be measured are so many more in the same time.
    rate = rate and rate * (1 + brief / max(seen, 1))
    texts = f"{seen + brief:,}", number(rate), percent(summary.duty_cycle)
    starts, an_hour, running = (bounded(text, least=brief > 0) for text in texts)
    return starts, an_hour, running


_HEAD = ["", "log", "", "the load took", "runs", "starts an hour", "running", "finding"]


def _row(place: int, summary: LogSummary) -> list[str]:
    return [
        f"{place}",
        shortened(summary.log, 40),
        state_of(summary),
        load_took(summary) or "-",
        *(how_often(summary) if summary.cycles else ("-" if summary.cycles is None else "0", "-", "-")),
        shortened(gist_of(summary), 70),
    ]
