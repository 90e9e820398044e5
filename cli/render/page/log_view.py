"""One log as the page's template lays it out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from ..terminal.charge import doubt_lines
from ..wording import log_sentences, numbers
from . import log_sections, site_sections
from .section import Section, ShownFinding

if TYPE_CHECKING:
    from ....analysis.one_log.log_report import LogReport
    from ....analysis.several_logs.report import Report


@dataclass(frozen=True)
class Brief:
    """A log in three sentences and the numbers that matter.

    ``asked`` are the findings whose titles, as links, end the last sentence, ``verdict``; ``severity`` is theirs.
    """

    sentences: tuple[str, ...]
    verdict: str
    asked: tuple[ShownFinding, ...]
    severity: str
    numbers: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class LogView:
    """One log as text and sections: nothing is left for the template to decide.

    ``times`` are the instants in ``when``, each as a machine reads it and as it stands there.
    """

    anchor: str
    title: str
    when: str
    times: tuple[tuple[str, str], ...]
    sections: tuple[Section, ...]


def view_of(report: Report, log: LogReport, anchor: str) -> LogView:
    """Return one of a report's logs laid out; `anchor` is unique on the page."""
    return LogView(
        anchor=anchor,
        title=log_sentences.log_title(log.facts),
        when=log_sentences.when(log),
        times=log_sentences.times(log),
        sections=_sections(report, log, anchor),
    )


def brief_of(log: LogReport, anchor: str, second: str) -> Brief:
    """Return a log in short; `second` is its second sentence, after what it took, and `anchor` that of its findings."""
    verdict, asked = log_sentences.verdict(log)
    # Notes ask for nothing: no link leads to them from the first sentences.
    serious, _ = log_sections.shown_findings(log, anchor)
    return Brief(
        sentences=(log_sentences.took(log), *(f"{line}." for line in doubt_lines(log.charge)), second),
        verdict=verdict,
        asked=tuple(shown for shown in serious if shown.finding in asked),
        severity=asked[0].severity if asked else "",
        numbers=_numbers(log),
    )


def _sections(report: Report, log: LogReport, anchor: str) -> tuple[Section, ...]:
    """Return the sections a log has, in the order of the questions; those with nothing in them are left out."""
    every = (
        log_sections.took(report, log, anchor),
        site_sections.carry(report, log, anchor),
        log_sections.health(report, log, anchor),
        log_sections.plate(report, log, anchor),
        site_sections.full(report, log, anchor),
        site_sections.water(log, anchor),
        log_sections.quality(log, anchor),
    )
    return tuple(section for section in every if section is not None and section.holds_anything)


def _numbers(log: LogReport) -> tuple[tuple[str, str], ...]:
    """Return the figures that matter, each with what it is; what was not measured is left out."""
    summary, charge, energy = log.cycles.summary, log.charge.charge, log.charge.energy
    running = "" if summary.duty_cycle is None else f", running {numbers.percent(summary.duty_cycle)} of the time"
    # With no load named and none seen, none can be called the largest.
    of = "any load" if not summary.count and log_sentences.named_load(log) is None else log_sentences.load_name(log)
    cards = [
        (log_sentences.drawn(charge, "Ah"), "charge drawn"),
        (log_sentences.drawn(energy, "Wh"), "energy drawn"),
        (numbers.counted(summary.count, "start"), f"of {of}{running if summary.count else ''}"),
    ]
    return tuple(card for card in cards if card[0] != numbers.UNKNOWN)
