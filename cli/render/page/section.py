"""A section of the page: one question, its answer in few words, and folded beneath it what the answer rests on."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

from ..wording import numbers

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ....analysis.health.finding import Finding
    from .figures import Figure
    from .log_tables import Table


#: So many words of a section stand in sight, its heading and the captions of its charts among them; the rest is folded.
MOST_WORDS = 40
_WORD = re.compile(r"\S*\w\S*")
# A colon or a full stop ends a sentence only before a capital: figures have points, too.
_END = re.compile(r"(?<=[.:;]) (?=[A-Z“])")


@dataclass(frozen=True)
class ShownFinding:
    """A finding as the page shows it: its place on the page, and when the runs were that it rests on."""

    anchor: str
    finding: Finding
    when: str

    @property
    def plain(self) -> str:
        """What was seen and how it should be, as short as it is known."""
        return numbers.sentence(self.finding.plain or self.finding.title)


@dataclass(frozen=True)
class Folded:
    """What stands folded under a section until somebody asks.

    ``summary`` tells what is inside; then follow sentences, findings, the figure, the tables, and ``listed``, the
    sentences of a list. What is `long` is printed only where its reader has opened it; the rest is open on paper.
    """

    summary: str
    tables: tuple[Table, ...] = ()
    listed: tuple[str, ...] = ()
    sentences: tuple[str, ...] = ()
    figure: Figure | None = None
    findings: tuple[ShownFinding, ...] = ()
    long: bool = False

    @property
    def holds_anything(self) -> bool:
        """Whether there is anything in it."""
        rows = any(table.rows for table in self.tables)
        return rows or bool(self.listed or self.sentences or self.figure or self.findings)


@dataclass(frozen=True)
class Section:
    """A question and its answer: what wants action, a sentence or two, its charts; tables and the rest in folds.

    ``findings`` and `sentences` come in order of weight: those for which there is no room in sight are folded. An
    ``answer`` is a few rows that stand in sight, where the answer is a table.
    """

    anchor: str
    heading: str
    heading_short: str
    sentences: tuple[str, ...] = ()
    findings: tuple[ShownFinding, ...] = ()
    figures: tuple[Figure, ...] = ()
    tables: tuple[Table, ...] = ()
    folds: tuple[Folded, ...] = ()
    answer: Table | None = None

    @property
    def holds_anything(self) -> bool:
        """Whether there is anything in it."""
        rows = any(table.rows for table in (*self.tables, *((self.answer,) if self.answer else ())))
        return rows or bool(self.sentences or self.findings or self.figures or self.folds)

    @cached_property
    def in_sight(self) -> InSight:
        """What stands before the folds."""
        return in_sight(self)

    @property
    def every_fold(self) -> tuple[Folded, ...]:
        """What is folded: first what found no room in sight, then the tables, then the rest."""
        shown = self.in_sight
        findings, sentences = self.findings[len(shown.findings) :], self.sentences[len(shown.sentences) :]
        captions = tuple(
            text
            for each, caption in zip(self.figures, shown.captions, strict=True)
            for text in (each.caption.removeprefix(caption).strip(), each.remark)
        )
        return without_empty(
            Folded(numbers.counted(len(findings), "more finding"), findings=findings),
            Folded(
                "In words and figures", self.tables, sentences=tuple(text for text in (*sentences, *captions) if text)
            ),
            *self.folds,
        )


@dataclass(frozen=True)
class InSight:
    """The findings and sentences of a section that stand before its folds, and how each chart's caption begins there.

    A caption for which there is no room is empty.
    """

    findings: tuple[ShownFinding, ...]
    sentences: tuple[str, ...]
    captions: tuple[str, ...]


def in_sight(section: Section) -> InSight:
    """Return what of a section fits in sight: its findings first, then its sentences, then captions."""
    room = MOST_WORDS - words(section.heading)
    # With each finding stands its severity, a word, and a fold of its own.
    lengths = [words(shown.plain) + 1 for shown in section.findings]
    findings = _fitting(lengths, room)
    room -= sum(lengths[:findings])
    lengths = [words(text) for text in section.sentences]
    sentences = _fitting(lengths, room)
    room -= sum(lengths[:sentences])
    begun = [begun_and_rest(each.caption)[0] for each in section.figures]
    captions = _fitting([words(text) for text in begun], room)
    shown = (*begun[:captions], *("" for _ in begun[captions:]))
    return InSight(section.findings[:findings], section.sentences[:sentences], shown)


def _fitting(lengths: Sequence[int], room: int) -> int:
    """Return how many from the beginning fit together."""
    for count, length in enumerate(lengths):
        room -= length
        if room < 0:
            return count
    return len(lengths)


def words(text: str) -> int:
    """Return how many words a text has; a sign alone is none."""
    return len(_WORD.findall(text))


def begun_and_rest(text: str) -> tuple[str, str]:
    """Return the first sentence of a text, and what follows it."""
    first, *rest = _END.split(text, maxsplit=1)
    return first, "".join(rest)


def with_terms(section: Section, terms: numbers.TradeTerms) -> Section:
    """Return a section with the trade's terms beside our plain words where they are met first, in reading order."""
    sentences = tuple(map(terms.once, section.sentences))
    tables = tuple(_table_with(table, terms) for table in section.tables)
    folds = tuple(
        replace(
            fold,
            sentences=tuple(map(terms.once, fold.sentences)),
            tables=tuple(_table_with(table, terms) for table in fold.tables),
            listed=tuple(map(terms.once, fold.listed)),
        )
        for fold in section.folds
    )
    return replace(section, sentences=sentences, tables=tables, folds=folds)


def _table_with(table: Table, terms: numbers.TradeTerms) -> Table:
    return replace(table, rows=tuple(tuple(map(terms.once, row)) for row in table.rows))


def without_empty(*folds: Folded | None) -> tuple[Folded, ...]:
    """Return the folds that hold anything."""
    # A fold is asked for by its summary: one with nothing inside would disappoint.
    return tuple(fold for fold in folds if fold is not None and fold.holds_anything)


def rests_on(sentences: tuple[str, ...]) -> Folded:
    """Return the fold of what a section's figures were taken from, and what was assumed for them."""
    return Folded(f"What this rests on: {numbers.counted(len(sentences), 'assumption')}", (), sentences, long=True)
