"""What the terminal says of a report: the answer and the verdict, and on request what stands behind them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

from ..wording.answer import bank_gave, first_answer, load_took_over
from ..wording.how_it_runs import pump_sentences
from ..wording.log_sentences import log_title
from ..wording.numbers import PLUS_MINUS_MEANS, uncapital
from ..wording.several_sentences import begins_with_all, changed_said, headline, over_lines, worst_said
from ..wording.shown import start_us
from ..wording.site_sentences import carry_all, in_short, paid_back, returned_by, unsafe
from ..wording.verdict import took_over, verdict_on, verdict_over
from .answer import Block, Reply
from .charge import doubt_lines

if TYPE_CHECKING:
    from ....analysis.one_log.log_report import LogReport
    from ....analysis.several_logs.report import Report
    from ..wording.verdict import Verdict

#: So many logs are each told of; of more the newest is.
_MOST_LOGS: Final = 2


def report_answer(report: Report) -> Reply:
    """Return what a report comes to: what the load took, how it is with it, and whether the system carries it."""
    carried, reasons = carry_all(report), list(_reasons(report))
    lines = [*unsafe(report), *_with_changes(report), *_of_logs(report), *([carried] if carried is not None else [])]
    # More is only promised where there is some: what ± means is told of every log.
    if not reasons:
        return Reply([*lines, PLUS_MINUS_MEANS])
    return Reply(lines, [*reasons, PLUS_MINUS_MEANS], "what carries it, what owes what, trends")


def _with_changes(report: Report) -> Iterator[Block]:
    """Yield what changes would do, in a sentence: whoever names one asks for that first."""
    if report.what_if is not None:
        from ..wording.what_if import changes_in_short

        yield changes_in_short(report.what_if)


def _of_logs(report: Report) -> Iterator[Block]:
    """Yield the answers, the newest log's first."""
    over = report.over
    if over is not None and begins_with_all(report):
        total = load_took_over(over)
        yield from filter(None, [took_over(over, total) if total else "", *verdict_lines(verdict_over(over))])
        yield from filter(None, [worst_said(over), changed_said(over), *headline(over)[:1]])
        return
    newest = sorted(report.logs, key=start_us, reverse=True)[:_MOST_LOGS]
    for log in newest:
        yield from _of_log(log, f"{log_title(log.facts)}: " if len(newest) > 1 else "")


def _of_log(log: LogReport, name: str) -> Iterator[Block]:
    yield from doubt_lines(log.charge)
    answer = first_answer(log)
    yield f"{name}{uncapital(answer) if name else answer}"
    yield from verdict_lines(verdict_on(log))
    if (gave := bank_gave(log)) is not None:
        yield gave
    yield from returned_by(log)
    yield from paid_back(log)


def verdict_lines(verdict: Verdict) -> Iterator[str]:
    """Yield a verdict's state and sentence, what was before, and what to do first."""
    yield f"{verdict.state.upper()}: {verdict.sentence}"
    if verdict.history:
        yield verdict.history
    if verdict.first_step:
        yield f"Do first: {verdict.first_step}"


def _reasons(report: Report) -> Iterator[Block]:
    several = len(report.logs) > 1
    if report.what_if is not None:
        from .what_if import what_if_answer

        yield from what_if_answer(report.what_if, report.logs[0].facts.name).lines
    if report.over is not None and begins_with_all(report):
        yield from over_lines(report.over)
    else:
        # Of many logs only what they show together: a line on each would scroll away what matters.
        for log in report.logs:
            name = f"{log_title(log.facts)}: " if several else ""
            pump = pump_sentences(log.pulse) if log.pulse is not None and log.pulse.has_tank else ()
            yield from (f"{name}{sentence}" for sentence in (*in_short(log), *pump))
