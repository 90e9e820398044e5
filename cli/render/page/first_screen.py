"""The page's first screen: the verdict, what the load took, four tiles that lead on, and the picture."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from ....analysis.health.finding import is_swapped, withheld
from ....analysis.not_known import Missing
from ....analysis.one_log.bank_report import BankReport
from ....analysis.several_logs.day_trends import LEAST_DAYS
from ....analysis.several_logs.newest_state import judged_days
from ..wording import answer, clock, log_sentences, numbers, shown, site_sentences, verdict
from ..wording.several_sentences import (
    begins_with_all,
    called,
    facts_of,
    gravest_said,
    logs_and_days,
    until_said,
    worst_of,
)
from . import figures
from .log_sections import shown_findings

if TYPE_CHECKING:
    from ....analysis.charge.amounts import Amounts
    from ....analysis.one_log.log_report import LogReport
    from ....analysis.readings.chunk import Side
    from ....analysis.several_logs.over_logs import OverLogs
    from ....analysis.several_logs.report import Report
    from ..wording.answer import LoadTotal
    from ..wording.shown import NotedPart
    from ..wording.verdict import State, Verdict
    from .figures import Figure

_CARRIES = {"holds": "yes", "doubtful": "doubtful", "fails": "no", None: "not known"}
_EXPLAINED = (
    (r" Ah\b", "Ah, amp-hours: amps × hours."),
    (r" Wh\b", "Wh, watt-hours: watts × hours."),
    ("±", numbers.PLUS_MINUS_MEANS),
)
#: So many parts of a log, from note to note, stand on the first screen; all are in its section. [1]
_MOST_PARTS = 4
_NO_SITE, _NOT_KNOWN = "needs a site file", "not known"


@dataclass(frozen=True)
class Tile:
    """One answer as a figure or a word, what it is, and where its section is; ``target`` is empty where it has none.

    A tile with a ``state`` shows its sign and word in place of a value; one that ``asks`` knows nothing but what its
    owner could add.
    """

    name: str
    value: str
    line: str
    target: str
    state: State | None = None
    asks: bool = False


@dataclass(frozen=True)
class Glance:
    """What one log comes to: its state, what its load took, and four tiles.

    ``took`` says what the figure ``value`` is; ``either_side`` is its ±, ``beside`` what stands next to it, ``bar``
    both as a bar that fades; ``parts`` are the first of what went out from note to note, ``more`` says that there are
    others.
    """

    anchor: str
    title: str
    state: State
    took: str
    value: str
    either_side: str
    beside: str
    tiles: tuple[Tile, ...]
    bar: Figure | None = None
    parts: tuple[NotedPart, ...] = ()
    more: str = ""


@dataclass(frozen=True)
class WorstLog:
    """A log to look at first: its day, its state, what was seen, and where it is shown in full, empty if nowhere."""

    day: str
    state: State
    seen: str
    anchor: str


@dataclass(frozen=True)
class FirstScreen:
    """The verdict on what is worst and newest, and of which log it is; each log at a glance; and the picture.

    ``finding`` is where the page shows what the verdict rests on; empty where it does not. ``worst`` are the few of
    many logs to look at first. ``leads`` tells whether the verdict stands above what the load took.
    """

    verdict: Verdict
    of: str
    finding: str
    glances: tuple[Glance, ...]
    picture: Figure | None
    worst: tuple[WorstLog, ...] = ()
    leads: bool = True

    @property
    def explained(self) -> str:
        """What a visitor cannot know of the signs in sight."""
        shown = " ".join(
            text
            for glance in self.glances
            for text in (glance.value, f"±{glance.either_side}" if glance.either_side else "", glance.beside)
        )
        return " ".join(text for sign, text in _EXPLAINED if re.search(sign, shown))


def first_screen(report: Report, anchors: dict[int, str], picture: Figure | None) -> FirstScreen:
    """Return the first screen of a report; `anchors` says where a log is shown in full, by its ``id``."""
    judged, first = shown.verdict_of(report)
    over = report.over
    if over is not None and begins_with_all(report):
        # One glance at all of them: what one log of many shows is of no use without its day, and stands below.
        worst = tuple(
            WorstLog(called(log), verdict.verdict_on(log).state, _first_sentence(log), anchors.get(id(log), ""))
            for log in worst_of(over)
        )
        why = _finding(judged, first, anchors.get(id(first), ""))
        return FirstScreen(judged, "", why, (_glance_of_all(over, judged, worst, anchors),), picture, worst)
    return FirstScreen(
        judged,
        _whose(first, year=False) if len(report.logs) > 1 else "",
        _finding(judged, first, anchors.get(id(first), "")),
        tuple(
            _glance(log, anchors.get(id(log), ""), place, alone=len(report.logs) == 1)
            for place, log in enumerate((first, *(log for log in report.logs if log is not first)), start=1)
        ),
        picture,
        leads=shown.verdict_leads(report),
    )


def _finding(judged: Verdict, log: LogReport, anchor: str) -> str:
    """Return where the finding stands that a verdict rests on; empty where it rests on none."""
    serious, _ = shown_findings(log, anchor)
    if not anchor or not serious:
        return ""
    return next((each for each in serious if each.plain == judged.sentence), serious[0]).anchor


def _whose(log: LogReport, *, year: bool = True) -> str:
    title, start_us = log_sentences.log_title(log.facts), log.charge.span.start_us
    if start_us is None or log.facts.undated:
        return title
    day = clock.local(start_us, log.facts)
    return f"{title}, {day.day} {day:%b}{f' {day.year}' if year else ''}"


def _glance(log: LogReport, anchor: str, place: int, *, alone: bool) -> Glance:
    took, value, beside = _answer(log)
    figure, _, either_side = value.partition(" ± ")
    # Beside another log's figures there is no room for them.
    parts = shown.noted_parts(log) if alone else ()
    return Glance(
        anchor=anchor,
        title=_whose(log),
        state=verdict.verdict_on(log).state,
        took=took,
        value=figure,
        either_side=either_side,
        beside=beside,
        tiles=tuple(
            Tile(
                tile.name,
                tile.value,
                tile.line,
                f"{anchor}-{tile.target}" if anchor and tile.target else "",
                tile.state,
                tile.asks,
            )
            for tile in (_taken(log), _health(log), _carries(log), _full_again(log))
        ),
        bar=figures.answer_bar(log, f"sure-{place}"),
        parts=parts[:_MOST_PARTS],
        more=f"and {numbers.counted(len(parts) - _MOST_PARTS, 'more part')}" if len(parts) > _MOST_PARTS else "",
    )


def _glance_of_all(over: OverLogs, judged: Verdict, worst: Sequence[WorstLog], anchors: dict[int, str]) -> Glance:
    """Return what all of many logs come to: what the load took in all, its days, the worst of them, what changed."""
    swapped = any(is_swapped(log.findings) for log in answer.added_up(over))
    whole = over.whole
    drawn = ("", "") if whole is None else _drawn(whole.charge, whole.energy, over.side)
    load = next((log_sentences.load_name(one.log) for one in over.logs if one.log.cycles.cycles), "the load")
    took, value, beside = _told(answer.load_took_over(over), drawn, over.side, answer.past_the_bank_over(over))
    if swapped:
        took, value, beside = f"What {load} took", _NOT_KNOWN, answer.UNTIL_TURNED
    figure, _, either_side = value.partition(" ± ")
    tiles = (
        _out(drawn, over.side, "several", swapped=swapped),
        Tile(numbers.capital(numbers.shortened(load, 28)), "", _days_found(over), "several", judged.state),
        _worst_tile(worst),
        _change_tile(over),
    )
    return Glance(
        anchor="several" if anchors else "",
        title=logs_and_days(over),
        state=judged.state,
        took=took,
        value=figure,
        either_side=either_side,
        beside=beside,
        # On a sheet nothing leads further.
        tiles=tiles if anchors else tuple(replace(tile, target="") for tile in tiles),
        bar=figures.answer_bar_of_all(over, "sure-all"),
    )


def _days_found(over: OverLogs) -> str:
    days = judged_days(over)
    if not days:
        return "needs a run to judge by"
    return f"a finding on {sum(bool(day.findings) for day in days):,} of {numbers.counted(len(days), 'day')}"


def _worst_tile(worst: Sequence[WorstLog]) -> Tile:
    if not worst:
        return Tile("Worst", "none", "nothing to act on or to watch", "")
    return Tile("Worst", worst[0].day, numbers.shortened(worst[0].seen, 60), worst[0].anchor)


def _change_tile(over: OverLogs) -> Tile:
    change = over.change
    # Halves of the logs, set beside each other where nobody named a change, are no change.
    if change is not None and change.named:
        # The day on which the runs changed, which need not be that of the note.
        at_us = change.at_us if change.turn is None else change.turn.first_us
        at, name = clock.local(at_us, facts_of(over)), numbers.shortened(change.text, 60)
        line = "; ".join(filter(None, [name, until_said(change, facts_of(over))])) or "before and after it"
        return Tile("What changed", f"{at.day} {at:%b}", line, "several-change")
    moving = [trend for trend in over.trends if trend.verdict in ("rising", "falling")]
    if moving:
        return Tile("From day to day", moving[0].verdict, moving[0].name, "several-days")
    if any(trend.verdict != "not judged" for trend in over.trends):
        return Tile("From day to day", "no change", "to be told from chance", "several-days")
    return Tile("From day to day", "not judged", f"needs {LEAST_DAYS} days", "several-days")


def _first_sentence(log: LogReport) -> str:
    """Return what was seen in one of the worst logs, without how it should be."""
    return numbers.sentence(gravest_said(log).partition(". ")[0])


def _answer(log: LogReport) -> tuple[str, str, str]:
    """Return what is told in the largest type: whose it is, the figure with its ±, and what stands beside it."""
    if is_swapped(log.findings):
        return f"What {log_sentences.load_name(log)} took", _NOT_KNOWN, answer.UNTIL_TURNED
    drawn = _drawn(log.charge.charge, log.charge.energy, log.facts.side)
    return _told(answer.load_took(log), drawn, log.facts.side, answer.past_the_bank(log))


def _told(total: LoadTotal | None, drawn: tuple[str, str], side: Side, past: str = "") -> tuple[str, str, str]:
    if total is not None:
        runs = f"in {total.in_runs}{past}"
        name = f"{numbers.capital(total.load)} took"
        if total.charge is None:
            return name, total.energy or numbers.UNKNOWN, runs
        return name, total.charge, f"({total.energy}) {runs}" if total.energy else runs
    # Without a run of the load what all of them took is all there is to tell.
    charge, energy = drawn
    of = "All loads took out of the bank" if side == "dc" else "All loads behind the inverter took"
    return of, charge or energy or numbers.UNKNOWN, f"({energy})" if charge and energy else ""


def _drawn(charge: Amounts | None, energy: Amounts | None, side: Side) -> tuple[str, str]:
    """Return charge and energy that went out of the bank; empty where not measured."""
    both = (charge, "Ah"), (energy, "Wh")
    texts = ["" if x is None else numbers.plus_minus(x.drawn, x.drawn_u95, unit) for x, unit in both]
    # Amps behind an inverter are no charge of the bank.
    return (texts[0] if side == "dc" else ""), texts[1]


def _taken(log: LogReport) -> Tile:
    drawn = _drawn(log.charge.charge, log.charge.energy, log.facts.side)
    return _out(drawn, log.facts.side, "took", swapped=is_swapped(log.findings))


def _out(drawn: tuple[str, str], side: Side, target: str, *, swapped: bool) -> Tile:
    where = "Out of the bank" if side == "dc" else "Behind the inverter"
    if swapped:
        return Tile(where, _NOT_KNOWN, answer.UNTIL_TURNED, target)
    if not any(drawn):
        return Tile(where, numbers.UNKNOWN, "too few readings to add up", target)
    value, _, either_side = (drawn[0] or drawn[1]).partition(" ± ")
    return Tile(where, value, f"± {either_side}, all loads" if either_side else "all loads", target)


def _health(log: LogReport) -> Tile:
    state, name = verdict.verdict_on(log).state, numbers.capital(numbers.shortened(log_sentences.load_name(log), 28))
    serious = sum(finding.severity != "note" for finding in log.findings)
    left = len(withheld(log.checks))
    passed = sum(check.outcome == "passed" for check in log.checks)
    # What was found says more than what was kept.
    if serious:
        line = numbers.counted(serious, "finding")
    elif not log.cycles.cycles:
        line = "needs a run to judge by"
    else:
        line = f"{numbers.counted(passed, 'limit')} kept" + (f", {left} not judged" if left else "")
    return Tile(name, "", line, "health", state)


def _carries(log: LogReport) -> Tile:
    word, name = site_sentences.carries(log), "System carries it?"
    if word is None or log.by_site is None:
        return Tile(name, _NOT_KNOWN, _NO_SITE, "", asks=True)
    if is_swapped(log.findings):
        return Tile(name, _NOT_KNOWN, answer.UNTIL_TURNED, "carry")
    both_hold = word.verdict == "holds" and " and " in word.parts
    parts = "inverter and bank" if both_hold else word.parts
    return Tile(name, _CARRIES[word.verdict], numbers.shortened(parts, 60), "carry", asks=word.verdict is None)


def _full_again(log: LogReport) -> Tile:
    name, site = "Bank full again", log.by_site
    if site is None:
        return Tile(name, _NOT_KNOWN, _NO_SITE, "", asks=True)
    if is_swapped(log.findings):
        return Tile(name, _NOT_KNOWN, answer.UNTIL_TURNED, "full")
    owed = site.bank.to_full if isinstance(site.bank, BankReport) else site.bank
    chargers = site.bank.chargers if isinstance(site.bank, BankReport) else ()
    if isinstance(owed, Missing) and chargers:
        quickest = min(chargers, key=lambda each: each.hours.value)
        return Tile(name, numbers.duration(quickest.hours.value * 3600), f"at least, by {quickest.charger}", "full")
    if isinstance(owed, Missing):
        why = f"needs {owed.add[0]} in the site file" if owed.add else owed.because
        return Tile(name, _NOT_KNOWN, numbers.shortened(why, 60), "full", asks=True)
    if owed.owed_Ah <= 0:
        return Tile(name, "full", "at the log's end", "full")
    return Tile(name, numbers.duration(owed.sun_h * 3600), "of good sun at least", "full")
