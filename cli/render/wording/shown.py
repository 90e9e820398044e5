"""What is shown to others, on a card or step by step on a wall: place, days, the answers, the verdict."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

from ....analysis.health.finding import is_swapped
from ....analysis.readings.chunk import MICROSECONDS
from . import clock, log_sentences, numbers
from .answer import (
    LoadTotal,
    bank_gave,
    bank_gave_over,
    first_answer,
    load_between,
    load_took,
    load_took_over,
    one_or_both,
)
from .several_sentences import begins_with_all
from .verdict import State, Verdict, verdict_on, verdict_over

if TYPE_CHECKING:
    from ....analysis.charge.between_notes import MarkedStretch
    from ....analysis.one_log.log_report import LogReport
    from ....analysis.several_logs.report import Report

#: The answers of so many logs stand beside each other; of more it is that of the newest.
_MOST_ANSWERS: Final = 2
#: So much of a note is what its part is called by. [characters]
_MOST_OF_NOTE: Final = 40
#: So long is what an answer of one log among several is called by. [characters]
_MOST_CALLED: Final = 24
#: So many parts of a log, from note to note, are read on a wall at once. [1]
_MOST_PARTS: Final = 5
_WORST_FIRST: Final[tuple[State, ...]] = ("act", "watch", "not judged", "healthy")
#: What belongs to a first step, wherever that is shown.
CAUTION: Final = "Mains, batteries, tanks and wells are for people who are trained for them."


@dataclass(frozen=True)
class Answer:
    """What a load took in one log.

    ``of`` says of which log: its day without a year, its name where days do not tell; empty where one is shown alone.
    ``gave`` says what the bank gave to all loads, empty where that is not known.
    """

    of: str
    total: LoadTotal
    gave: str

    @property
    def figure(self) -> str:
        """What is written large."""
        return self.total.charge or self.total.energy or numbers.UNKNOWN

    @property
    def beside(self) -> str:
        """What belongs to it: energy and runs."""
        energy = f"{self.total.energy} " if self.total.charge and self.total.energy else ""
        return f"{energy}in {self.total.in_runs}"


@dataclass(frozen=True)
class NotedPart:
    """What a stretch from one note to the next came to, ready to be shown.

    ``text`` is the note's, ``lasted`` how long it went on; ``amounts`` are what went out to all loads, ``where`` that
    was measured, and ``load`` what the one that was looked for, called ``whose``, took of it, empty where that is not
    known.
    """

    text: str
    lasted: str
    amounts: str
    where: str
    load: str
    whose: str

    @property
    def figure(self) -> str:
        """What stands for it where there is room for one amount."""
        return self.amounts.partition(" (")[0]

    @property
    def in_line(self) -> str:
        """What stands behind its name in one line."""
        # Without it the figure would be taken for that of the load it stands below.
        return f"{self.lasted}: {self.amounts} {self.where}"


def noted_parts(log: LogReport) -> tuple[NotedPart, ...]:
    """Return the parts of a log from note to note, in order; none without notes, or where the sign seems wrong."""
    return () if is_swapped(log.findings) else tuple(_noted_part(log, each) for each in log.marked)


def _noted_part(log: LogReport, stretch: MarkedStretch) -> NotedPart:
    known = [(stretch.charge if log.facts.side == "dc" else None, "Ah"), (stretch.energy, "Wh")]
    amounts = [numbers.plus_minus(x.drawn, x.drawn_u95, unit) for x, unit in known if x is not None]
    return NotedPart(
        numbers.shortened(stretch.text, _MOST_OF_NOTE),
        numbers.duration((stretch.stop_us - stretch.start_us) / MICROSECONDS),
        one_or_both(amounts) or numbers.UNKNOWN,
        "out of the bank" if log.facts.side == "dc" else "behind the inverter",
        load_between(log.cycles, stretch.start_us, stretch.stop_us),
        log_sentences.load_name(log),
    )


@dataclass(frozen=True)
class Step:
    """One step of five: its heading, what stands large, and what stands below it.

    ``figure`` says which figure of the page belongs to it; empty where none does. ``parts`` are those of a log, from
    note to note.
    """

    heading: str
    large: tuple[str, ...] = ()
    answers: tuple[Answer, ...] = ()
    verdict: Verdict | None = None
    figure: str = ""
    lines: tuple[str, ...] = ()
    parts: tuple[NotedPart, ...] = ()


def steps(report: Report) -> tuple[Step, ...]:
    """Return a report in five steps for a wall: what was measured, the answer, the picture, the bank, the verdict.

    Of one log with notes the fourth says what each part took, beside what the bank gave to all of them.
    """
    logs, verdict, took = report.logs, told_verdict(report), answers_of(report)
    measured = f"{numbers.duration(sum(log.charge.span.covered_s for log in logs))} of readings"
    first = f"First: {numbers.uncapital(verdict.first_step)}" if verdict.first_step else ""
    ran = "" if took else first_answer(max(logs, key=start_us))
    gave = [f"{a.of}: {numbers.uncapital(a.gave)}" if a.of and a.gave else a.gave for a in took]
    gave = gave or [gave_of(report)]
    parts = parts_of(report)
    left = len(parts) - _MOST_PARTS
    more = f"And {numbers.counted(left, 'more part')}." if left > 0 else ""
    leads = verdict_leads(report)
    last = (first, CAUTION if first else "", verdict.history) if leads else (verdict.sentence,)
    return (
        Step("What was measured", _some(place(report)), lines=_some(days(logs), measured)),
        Step(f"What {took[-1].total.load} took" if took else "What was seen", _some(ran), took),
        Step("Every run", figure="picture"),
        Step(
            "What each part took" if parts else "What the bank gave",
            figure="" if parts else "flow",
            lines=_some(more, *gave),
            parts=parts[:_MOST_PARTS],
        ),
        Step("The verdict", verdict=verdict, lines=_some(*last))
        if leads
        else Step(f"In all {took[-1].total.load} took", answers=took, lines=_some(*last)),
    )


def parts_of(report: Report) -> tuple[NotedPart, ...]:
    """Return the parts of a report's one log, from note to note; none where there are several."""
    return noted_parts(report.logs[0]) if len(report.logs) == 1 else ()


def _some(*texts: str) -> tuple[str, ...]:
    return tuple(text for text in texts if text)


def verdict_of(report: Report) -> tuple[Verdict, LogReport]:
    """Return the verdict on all that a report holds, and the log that it speaks of, or that shows it best.

    Of many logs it is the state of the newest days; of a few the worst log is spoken of.
    """
    if report.over is None or not begins_with_all(report):
        log = leading(report.logs)
        return verdict_on(log), log
    verdict = verdict_over(report.over)
    # A log alone may be judged otherwise than its day.
    alike = [log for log in report.logs if verdict_on(log).state == verdict.state]
    return verdict, max(alike or report.logs, key=start_us)


def leading(logs: Sequence[LogReport]) -> LogReport:
    """Return the log to be spoken of first: the worst, and of those that are equally so the newest."""
    return min(logs, key=lambda log: (_WORST_FIRST.index(verdict_on(log).state), -start_us(log)))


def told_verdict(report: Report) -> Verdict:
    """Return the verdict on all that a report holds, whose sentence says of which of a few logs it is."""
    verdict, log = verdict_of(report)
    of = "" if begins_with_all(report) else _called(log, report.logs)
    return replace(verdict, sentence=f"{of}: {numbers.uncapital(verdict.sentence)}") if of else verdict


def verdict_leads(report: Report) -> bool:
    """Tell whether the verdict stands large and first; one that cannot be given yet stands small below an answer."""
    verdict, _ = verdict_of(report)
    return verdict.state != "not judged" or bool(verdict.first_step) or not answers_of(report)


def answers_of(report: Report) -> tuple[Answer, ...]:
    """Return what the load took: of many logs in all of them together, else in each of a few."""
    if report.over is None or not begins_with_all(report):
        return answers(report.logs)
    total = load_took_over(report.over)
    return (Answer("", total, gave_of(report)),) if total is not None else ()


def gave_of(report: Report) -> str:
    """Say what the bank gave in all of many logs, else in the newest; empty where that is not known."""
    if report.over is None or not begins_with_all(report):
        return bank_gave(max(report.logs, key=start_us)) or ""
    return bank_gave_over(report.over) or ""


def answers(logs: Sequence[LogReport]) -> tuple[Answer, ...]:
    """Return what the load took: of one log or two in order of time, of more of the newest; none where none ran."""
    totals = [(log, total) for log in sorted(logs, key=start_us) if (total := load_took(log)) is not None]
    chosen = totals if len(totals) <= _MOST_ANSWERS else totals[-1:]
    return tuple(Answer(_called(log, logs), total, bank_gave(log) or "") for log, total in chosen)


def _called(log: LogReport, logs: Sequence[LogReport]) -> str:
    """Return what tells a log from the others: its day, or its name where that is not enough; empty for one alone."""
    days_begun = [_day(each, each.charge.span.start_us) for each in logs]
    if len(logs) == 1:
        return ""
    # Two meters may tell of the same day, and a log may have no date.
    if all(days_begun) and len(set(days_begun)) == len(days_begun):
        return _day(log, log.charge.span.start_us).rpartition(" ")[0]
    return numbers.shortened(log_sentences.log_title(log.facts), _MOST_CALLED)


def place(report: Report) -> str:
    """Return the title of a report's one log, else the place that it is of, or what its logs are called."""
    if title := own_title(report):
        return title
    if report.site is not None:
        return numbers.shortened(report.site.name, 120)
    logs = report.logs
    return log_sentences.load_and_title(logs[0]) if len(logs) == 1 else numbers.counted(len(logs), "log")


def own_title(report: Report) -> str:
    """Return what its one log was called when it was captured; empty where nobody said, or where there are several."""
    title = report.logs[0].facts.title if len(report.logs) == 1 else None
    return numbers.shortened(title, 120) if title else ""


def days(logs: Sequence[LogReport]) -> str:
    """Return the day of a log, or the first and the last of several; empty where they have none."""
    first, last = min(logs, key=start_us), max(logs, key=lambda log: log.charge.span.stop_us or 0)
    both = [_day(first, first.charge.span.start_us), _day(last, last.charge.span.stop_us)]
    return " to ".join(dict.fromkeys(day for day in both if day))


def start_us(log: LogReport) -> int:
    """Return when a log begins, 0 where it holds no readings. [us]"""
    return log.charge.span.start_us or 0


def _day(log: LogReport, us: int | None) -> str:
    """Return the date of an instant of a log; empty where it has none."""
    if log.facts.undated or us is None:
        return ""
    day = clock.local(us, log.facts)
    return f"{day.day} {day:%b %Y}"
