"""The page of a fleet: which logs to look after first, and how they lie among each other."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import TYPE_CHECKING, Final

from ...analysis.cautions import CAUTIONS
from ...analysis.several_logs.fleet import RULE, counts_of
from ...analysis.several_logs.pooled import taken_in_all
from ..render.page.figures import Figure
from ..render.page.log_tables import Table
from ..render.page.section import ShownFinding
from ..render.page.templated import filled, template_text
from ..render.still_charts.svg import both_sizes
from ..render.wording import numbers
from ..render.wording.verdict import State, Verdict
from . import words
from .chart import histogram

if TYPE_CHECKING:
    from ...analysis.several_logs.fleet import LogSummary

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
        "What the loads took",
        (
            f"Of each log's load by itself, above what was drawn before each run. {numbers.PLUS_MINUS_MEANS} Over all, "
            "what follows ± adds up; logs from behind an inverter count only where none is at a bank; where two logs "
            "show the same time, both count.",
        ),
    ),
)


#: Of each histogram: the figure of a log, what its scale shows, its name on the page.
_FIGURES: Final[tuple[tuple[Callable[[LogSummary], float | None], str, str], ...]] = (
    (lambda summary: summary.starts_per_hour, "starts an hour", "starts"),
    (
        lambda summary: None if summary.duty_cycle is None else 100 * summary.duty_cycle,
        "share of the time running [%]",
        "duty",
    ),
)


def render(ranking: Sequence[LogSummary], version: str) -> str:
    """Return the page of a fleet, at least one log, as a whole HTML document; the same ranking gives the same bytes."""
    counts = counts_of(ranking)
    # Notes alone press nobody: told in full they would bury what does.
    pressing = [summary for summary in ranking if summary.acts or summary.watches]
    return filled(
        "fleet.html",
        styles=("charts.css",),
        scripts=template_text("pictures.js"),
        first=_first(ranking),
        counts=words.in_short(counts) + ".",
        numbers=_numbers(ranking),
        order=_order(ranking),
        each=_figures(ranking),
        figures=[figure for figure in (_figure(ranking, *kind) for kind in _FIGURES) if figure is not None],
        worst=[
            (summary.log, _about(summary), _pressing(summary, f"worst-{place}"))
            for place, summary in enumerate(pressing[:_IN_FULL], start=1)
        ],
        not_read=_not_read(ranking),
        method=_METHOD,
        cautions=CAUTIONS,
        version=version,
    )


def _first(ranking: Sequence[LogSummary]) -> Verdict:
    """Return the verdict on a fleet: its most pressing log, by name, or that none presses."""
    counts, first = counts_of(ranking), ranking[0]
    if not counts.act and not counts.watch:
        known = counts.sound > 0 and not counts.not_read
        return Verdict("healthy" if known else "not judged", f"{words.in_short(counts)}.")
    state: State = "act" if first.acts else "watch"
    finding = first.findings[0]
    sentence = f"{numbers.shortened(first.log, 40)}: {numbers.sentence(finding.plain or finding.title)}"
    return Verdict(state, sentence, finding.first_step)


def _numbers(ranking: Sequence[LogSummary]) -> list[tuple[str, str]]:
    counts, total = counts_of(ranking), words.total_in_all(taken_in_all(ranking))
    measured_s = sum(summary.covered_s or 0.0 for summary in ranking)
    unread = f", {counts.not_read:,} of them not read" if counts.not_read else ""
    took = [] if total is None else [(total.charge or total.energy or "", f"taken by the loads in {total.in_runs}")]
    return [
        *took,
        (f"{counts.act:,}", f"to act on, {counts.watch:,} to watch"),
        (numbers.counted(counts.logs, "log"), f"{numbers.duration(measured_s)} measured{unread}"),
    ]


def _order(ranking: Sequence[LogSummary]) -> Table:
    """Return what there is to do; logs with nothing found or left open are in the table of figures alone."""
    # The ranking's own order, so that the number before a log is its place in the Parquet file, too.
    named = [summary for summary in ranking if summary.findings or summary.not_judged or summary.status != "read"]
    rows = tuple(
        (
            f"{place}. {numbers.shortened(summary.log, 80)}",
            _state_and_why(summary),
        )
        for place, summary in enumerate(named[:_MOST], start=1)
    )
    return Table("Logs with something to say", ("Log", "What"), rows, _rest(len(named)), prose=True)


def _state_and_why(summary: LogSummary) -> str:
    state = f"{words.state_of(summary)}: "
    # What could not be judged begins with the very words of the state.
    return state + numbers.shortened(words.told(summary).removeprefix(state), 120)


def _figures(ranking: Sequence[LogSummary]) -> Table:
    head = ("Log", "The load took", "Runs", "Starts an hour", "Running", "Usual run")
    read = [summary for summary in ranking if summary.status == "read"]
    return Table("All that were read, in the same order", head, tuple(map(_row, read[:_MOST])), _rest(len(read)))


def _rest(count: int) -> str:
    """Say where those are that a page has no room for."""
    return f"And {count - _MOST:,} more; all are in the Parquet file." if count > _MOST else ""


def _row(summary: LogSummary) -> tuple[str, ...]:
    runs = bool(summary.cycles)
    return (
        numbers.shortened(summary.log, 80),
        words.load_took(summary) if runs else "",
        *(words.how_often(summary) if runs else ("no start", "", "")),
        numbers.duration(summary.median_run_s) if runs else "",
    )


def _about(summary: LogSummary) -> str:
    """Return in a sentence where a log is from and what its runs are like."""
    where = [text for text in (summary.site_name, summary.load, summary.meter) if text]
    runs = (
        f"{numbers.counted(summary.cycles or 0, 'start')}, usual run {numbers.duration(summary.median_run_s)}, "
        f"usual rest {numbers.duration(summary.median_off_s)}; {numbers.duration(summary.covered_s)} measured."
    )
    return f"{', '.join(numbers.shortened(text) for text in where)}: {runs}" if where else runs


def _pressing(summary: LogSummary, anchor: str) -> list[ShownFinding]:
    serious = [finding for finding in summary.findings if finding.severity != "note"]
    return [ShownFinding(f"{anchor}-{place}", finding, "") for place, finding in enumerate(serious, start=1)]


def _not_read(ranking: Sequence[LogSummary]) -> Table:
    every = [(numbers.shortened(s.log, 80), s.reason or "") for s in ranking if s.status != "read"]
    rows = tuple((log, numbers.shortened(reason, 300)) for log, reason in every[:_MOST])
    return Table("Not read, and why", ("Log", "Why"), rows, _rest(len(every)), prose=True)


def _figure(
    ranking: Sequence[LogSummary], of: Callable[[LogSummary], float | None], what: str, name: str
) -> Figure | None:
    """Return a histogram of those logs that have runs; None where none has."""
    known = [(words.state_of(s), x) for s in ranking if s.cycles and (x := of(s)) is not None]
    if not known:
        return None
    # Three groups, not five: on a phone more colours could not be told apart.
    groups = [
        (called, [x for state, x in known if state in states])
        for called, states in (
            ("to act on", {"act"}),
            ("to watch", {"watch"}),
            ("neither", {"note", "not judged", "-"}),
        )
    ]
    drawn = both_sizes(partial(histogram, groups, what), name)
    caption = f"{numbers.counted(len(known), 'log')} with runs, by {what}."
    return Figure(drawn, caption)
