"""The page of a fleet: which logs to look after first, and how they lie among each other."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import TYPE_CHECKING, Final

from ...analysis.cautions import CAUTIONS
from ...analysis.fleet_rank import RULE, counts_of
from . import fleet_words, words
from .figures import Figure, both_sizes
from .fleet_chart import histogram
from .tables import Table
from .templated import filled

if TYPE_CHECKING:
    from ...analysis.finding import Finding
    from ...analysis.fleet import LogSummary

#: A page that people scroll through holds so many logs; all are in the Parquet file.
_MOST: Final = 100
#: The findings of so many logs are told in full.
_IN_FULL: Final = 10
_METHOD: Final = (
    ("Order", (RULE,)),
    (
        "Each log",
        (
            "Its figures are those that its own report shows: the same sums, the same 95 % intervals, the same limits. "
            "Gaps are never bridged.",
        ),
    ),
    (
        "Settled draw",
        ("The median of its runs, above what was drawn before each; runs that the array may have shared left out.",),
    ),
)


def render(ranking: Sequence[LogSummary], version: str) -> str:
    """Return the page of a fleet.

    Parameters
    ----------
    ranking : sequence of LogSummary
        The logs, the first to look after first; at least one.
    version : str
        Of this program.

    Returns
    -------
    str
        A whole HTML document, as `page.render` makes them; the same ranking gives the same bytes.
    """
    counts = counts_of(ranking)
    pressing = [summary for summary in ranking if summary.acts or summary.watches]
    return filled(
        "fleet.html",
        said=fleet_words.in_short(counts) + ".",
        numbers=_numbers(ranking),
        ranking=_ranking(ranking),
        figures=[figure for figure in (_starts(ranking), _duty(ranking)) if figure is not None],
        worst=[(summary.log, _about(summary), _pressing(summary)) for summary in pressing[:_IN_FULL]],
        not_read=_not_read(ranking),
        method=_METHOD,
        cautions=CAUTIONS,
        version=version,
    )


def _numbers(ranking: Sequence[LogSummary]) -> list[tuple[str, str]]:
    counts = counts_of(ranking)
    return [
        (f"{counts.act:,}", "to act on"),
        (f"{counts.watch:,}", "to watch"),
        (f"{counts.not_read:,}", "not read"),
        (words.counted(counts.logs, "log"), f"and {words.duration(_measured_s(ranking))} measured"),
    ]


def _measured_s(ranking: Sequence[LogSummary]) -> float:
    return sum(summary.covered_s or 0.0 for summary in ranking)


def _ranking(ranking: Sequence[LogSummary]) -> Table:
    head = ("Log", "", "What", "Starts an hour", "Running", "Settled draw", "Drawn")
    rows = tuple(_row(summary) for summary in ranking[:_MOST])
    rest = len(ranking) - _MOST
    note = f"And {rest:,} more; all are in the Parquet file." if rest > 0 else ""
    return Table("Which to look after first", head, rows, note)


def _row(summary: LogSummary) -> tuple[str, ...]:
    return (
        words.shortened(summary.log, 80),
        fleet_words.state_of(summary),
        words.shortened(fleet_words.said_of(summary), 90),
        words.number(summary.starts_per_hour),
        words.percent(summary.duty_cycle),
        words.amount(summary.run_W, "W"),
        fleet_words.drawn(summary),
    )


def _about(summary: LogSummary) -> str:
    """Return in a sentence where a log is from and what its runs are like."""
    where = [text for text in (summary.site_name, summary.load, summary.meter) if text]
    runs = (
        f"{words.counted(summary.cycles or 0, 'start')}, usual run {words.duration(summary.median_run_s)}, usual rest "
        f"{words.duration(summary.median_off_s)}; {words.duration(summary.covered_s)} measured."
    )
    return f"{', '.join(words.shortened(text) for text in where)}: {runs}" if where else runs


def _pressing(summary: LogSummary) -> list[Finding]:
    return [finding for finding in summary.findings if finding.severity != "note"]


def _not_read(ranking: Sequence[LogSummary]) -> Table:
    every = [(words.shortened(s.log, 80), s.reason or "") for s in ranking if s.status != "read"]
    note = f"And {len(every) - _MOST:,} more; all are in the Parquet file." if len(every) > _MOST else ""
    rows = tuple((log, words.shortened(reason, 300)) for log, reason in every[:_MOST])
    return Table("Not read, and why", ("Log", "Why"), rows, note, prose=True)


def _starts(ranking: Sequence[LogSummary]) -> Figure | None:
    return _figure(ranking, lambda summary: summary.starts_per_hour, "starts an hour", None, "starts")


def _duty(ranking: Sequence[LogSummary]) -> Figure | None:
    def share(summary: LogSummary) -> float | None:
        return None if summary.duty_cycle is None else 100 * summary.duty_cycle

    return _figure(ranking, share, "share of the time running [%]", 100.0, "duty")


def _figure(
    ranking: Sequence[LogSummary],
    of: Callable[[LogSummary], float | None],
    what: str,
    most: float | None,
    name: str,
) -> Figure | None:
    """Return a histogram of those logs that have runs; None where none has."""
    known = [(fleet_words.state_of(s), x) for s in ranking if s.cycles and (x := of(s)) is not None]
    if not known:
        return None
    groups = [
        (called, [x for state, x in known if state in states])
        for called, states in (("to act on", {"act"}), ("to watch", {"watch"}), ("neither", {"note", "-"}))
    ]
    draw = partial(histogram, groups, what, most=most)
    wide, narrow = both_sizes(lambda frame, unique: draw(name=unique, frame=frame), name)
    caption = f"{words.counted(len(known), 'log')} with runs, by {what}."
    return Figure(wide, narrow, caption, "", ())
