"""The page's first screen: the verdict, what the load took, four tiles that lead on, and the picture."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ....analysis.health.finding import is_swapped, withheld
from ....analysis.not_known import Missing
from ....analysis.one_log.bank_report import BankReport
from ..wording import answer, clock, log_sentences, numbers, shown, site_sentences, verdict
from ..wording.several_sentences import begins_with_all
from . import figures
from .log_sections import shown_findings

if TYPE_CHECKING:
    from ....analysis.one_log.log_report import LogReport
    from ....analysis.several_logs.report import Report
    from ..wording.answer import NotedPart
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
class FirstScreen:
    """The verdict on what is worst and newest, and of which log it is; each log at a glance; and the picture.

    ``finding`` is where the page shows what the verdict rests on; empty where it does not.
    """

    verdict: Verdict
    of: str
    finding: str
    glances: tuple[Glance, ...]
    picture: Figure | None

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
    # Of many logs one is enough: the section on all of them follows.
    many = begins_with_all(report)
    logs = (first,) if many else report.logs
    return FirstScreen(
        judged,
        _whose(first, year=False) if len(report.logs) > 1 and not many else "",
        _finding(judged, first, anchors.get(id(first), "")),
        tuple(
            _glance(log, anchors.get(id(log), ""), place, alone=len(report.logs) == 1)
            for place, log in enumerate((first, *(log for log in logs if log is not first)), start=1)
        ),
        picture,
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
    parts = answer.noted_parts(log) if alone else ()
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


def _answer(log: LogReport) -> tuple[str, str, str]:
    """Return what is told in the largest type: whose it is, the figure with its ±, and what stands beside it."""
    if is_swapped(log.findings):
        return f"What {log_sentences.load_name(log)} took", _NOT_KNOWN, answer.UNTIL_TURNED
    total = answer.load_took(log)
    if total is not None:
        runs = f"in {total.in_runs}{answer.past_the_bank(log)}"
        name = f"{numbers.capital(total.load)} took"
        if total.charge is None:
            return name, total.energy or numbers.UNKNOWN, runs
        return name, total.charge, f"({total.energy}) {runs}" if total.energy else runs
    # Without a run of the load what all of them took is all there is to tell.
    charge, energy = _drawn(log)
    of = "All loads took out of the bank" if log.facts.side == "dc" else "All loads behind the inverter took"
    return of, charge or energy or numbers.UNKNOWN, f"({energy})" if charge and energy else ""


def _drawn(log: LogReport) -> tuple[str, str]:
    """Return charge and energy that went out of the bank; empty where not measured."""
    both = (log.charge.charge, "Ah"), (log.charge.energy, "Wh")
    charge, energy = ("" if x is None else numbers.plus_minus(x.drawn, x.drawn_u95, unit) for x, unit in both)
    # Amps behind an inverter are no charge of the bank.
    return (charge if log.facts.side == "dc" else ""), energy


def _taken(log: LogReport) -> Tile:
    charge, energy = _drawn(log)
    where = "Out of the bank" if log.facts.side == "dc" else "Behind the inverter"
    if is_swapped(log.findings):
        return Tile(where, _NOT_KNOWN, answer.UNTIL_TURNED, "took")
    if not charge and not energy:
        return Tile(where, numbers.UNKNOWN, "too few readings to add up", "took")
    value, _, either_side = (charge or energy).partition(" ± ")
    return Tile(where, value, f"± {either_side}, all loads" if either_side else "all loads", "took")


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
    parts = "inverter and bank hold" if both_hold else word.parts
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
