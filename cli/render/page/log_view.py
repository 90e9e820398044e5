"""One log as the page's template lays it out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from ....analysis.health.finding import is_swapped
from ..wording import answer, log_sentences
from . import log_sections, site_sections
from .section import Section, with_terms

if TYPE_CHECKING:
    from ....analysis.one_log.log_report import LogReport
    from ....analysis.several_logs.report import Report
    from ..wording.numbers import TradeTerms


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


def view_of(report: Report, log: LogReport, anchor: str, terms: TradeTerms) -> LogView:
    """Return one of a report's logs laid out; `anchor` is unique on the page, `terms` are those its reader has met."""
    return LogView(
        anchor=anchor,
        title=log_sentences.log_title(log.facts),
        when=log_sentences.when(log),
        times=log_sentences.times(log),
        sections=tuple(with_terms(section, terms) for section in _sections(report, log, anchor)),
    )


def _sections(report: Report, log: LogReport, anchor: str) -> tuple[Section, ...]:
    """Return the sections a log has, in the order of the questions; those with nothing in them are left out."""
    of_load: tuple[Section | None, ...] = (
        site_sections.carry(report, log, anchor),
        log_sections.health(report, log, anchor),
        log_sections.plate(report, log, anchor),
        site_sections.full(report, log, anchor),
        site_sections.water(log, anchor),
        site_sections.pump(log, anchor),
    )
    if is_swapped(log.findings):
        of_load = tuple(None if section is None else _until_turned(section) for section in of_load)
    took, quality = log_sections.took(report, log, anchor), log_sections.quality(log, anchor)
    every = (took, site_sections.what_if(report, anchor), *of_load, quality)
    return tuple(section for section in every if section is not None and section.holds_anything)


def _until_turned(section: Section) -> Section:
    """Return a section of a log whose sign seems wrong: of it all only the findings, since any figure may be another's.

    What looks like the load's runs are then the rests between them.
    """
    return replace(
        section,
        sentences=(f"Not known {answer.UNTIL_TURNED}: draw and return seem swapped.",),
        figures=(),
        tables=(),
        folds=tuple(fold for fold in section.folds if fold.findings),
    )
