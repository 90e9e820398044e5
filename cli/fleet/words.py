"""A fleet as lines for a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from ...analysis.several_logs.fleet import counts_of, is_unjudged
from ..render.terminal.columns import table
from ..render.wording.checks import not_judged
from ..render.wording.numbers import amount, counted, number, percent, plus_minus, shortened

if TYPE_CHECKING:
    from ...analysis.several_logs.fleet import Counts, LogSummary

#: A terminal shows so many logs; all are in the Parquet file and in ``--json``.
_MOST = 25


def fleet_lines(ranking: Sequence[LogSummary]) -> list[str]:
    """Return how many logs are how, and which to look after first."""
    rows = [_row(place, summary) for place, summary in enumerate(ranking[:_MOST], start=1)]
    lines = [in_short(counts_of(ranking)), "", *table([_HEAD, *rows], right=(0, 4, 5, 6))]
    if len(ranking) > _MOST:
        lines.append(f"... and {len(ranking) - _MOST:,} more (all in the Parquet file, and with --json)")
    return lines


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


def drawn(summary: LogSummary) -> str:
    """Return what a log drew: charge at the bank, energy behind an inverter."""
    if summary.drawn_Ah is not None:
        return plus_minus(summary.drawn_Ah, summary.drawn_u95_Ah, "Ah")
    return plus_minus(summary.drawn_Wh, summary.drawn_u95_Wh, "Wh")


_HEAD = ["", "log", "", "drawn", "starts an hour", "running", "settled draw", "finding"]


def _row(place: int, summary: LogSummary) -> list[str]:
    read = summary.status == "read"
    return [
        f"{place}",
        shortened(summary.log, 40),
        state_of(summary),
        drawn(summary) if read else "-",
        number(summary.starts_per_hour) if summary.cycles else "-",
        percent(summary.duty_cycle) if summary.cycles else "-",
        amount(summary.run_W, "W") if summary.run_W is not None else "-",
        shortened(gist_of(summary), 70),
    ]
