"""A section of the page: one question, its answer, and folded beneath it what the answer rests on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ....analysis.health.finding import Finding
    from .figures import Figure
    from .log_tables import Table


@dataclass(frozen=True)
class ShownFinding:
    """A finding as the page shows it: its place on the page, and when the runs were that it rests on."""

    anchor: str
    finding: Finding
    when: str


@dataclass(frozen=True)
class Folded:
    """What stands folded under a section until somebody asks; on paper it is open.

    ``summary`` tells what is inside; then follow sentences, findings, the figure, the tables, and ``listed``, the
    sentences of a list.
    """

    summary: str
    tables: tuple[Table, ...] = ()
    listed: tuple[str, ...] = ()
    sentences: tuple[str, ...] = ()
    figure: Figure | None = None
    findings: tuple[ShownFinding, ...] = ()

    @property
    def holds_anything(self) -> bool:
        """Whether there is anything in it."""
        rows = any(table.rows for table in self.tables)
        return rows or bool(self.listed or self.sentences or self.figure or self.findings)


@dataclass(frozen=True)
class Section:
    """A question and its answer: a sentence or two, what wants action, one figure, a short table; the rest in folds."""

    anchor: str
    heading: str
    heading_short: str
    sentences: tuple[str, ...] = ()
    findings: tuple[ShownFinding, ...] = ()
    figure: Figure | None = None
    tables: tuple[Table, ...] = ()
    folds: tuple[Folded, ...] = ()

    @property
    def holds_anything(self) -> bool:
        """Whether there is anything in it."""
        rows = any(table.rows for table in self.tables)
        return rows or bool(self.sentences or self.findings or self.figure or self.folds)


def without_empty(*folds: Folded | None) -> tuple[Folded, ...]:
    """Return the folds that hold anything."""
    # A fold is asked for by its summary: one with nothing inside would disappoint.
    return tuple(fold for fold in folds if fold is not None and fold.holds_anything)


def rests_on(sentences: tuple[str, ...]) -> Folded:
    """Return the fold of what a section's figures were taken from, and what was assumed for them."""
    return Folded(f"What this rests on: {len(sentences)} assumption{'' if len(sentences) == 1 else 's'}", (), sentences)
