"""What an adapter for files offers: `convert.convert` needs no more of it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Protocol

from ..zone import LocalClock
from .delimited.rows import RowBatch
from .texts.decode import Source


class Described(Protocol):
    """What an export was taken for."""

    @property
    def name(self) -> str:
        """The file."""

    @property
    def ac(self) -> bool:
        """Whether its columns speak of alternating current."""

    @property
    def remarks(self) -> Sequence[str]:
        """What was noticed, in sentences."""

    def describe(self) -> list[str]:
        """Return in words, a line each, what was taken for what."""

    def as_document(self) -> dict[str, Any]:
        """Return the same for JSON: ``dialect``, ``quantities`` and ``time``."""


class Export(Protocol):
    """What an adapter for files offers."""

    @property
    def sources(self) -> Sequence[Source]:
        """The files."""

    @property
    def layouts(self) -> Sequence[Described]:
        """What each was taken for."""

    @property
    def quantities(self) -> Sequence[str]:
        """The quantities they hold."""

    @property
    def local(self) -> LocalClock | None:
        """The local clock that their stamps are read by; None where they need no zone."""

    @property
    def undated(self) -> bool:
        """Whether their times only count from the start."""

    @property
    def counted(self) -> bool:
        """Whether their times count from a start, that may be known."""

    @property
    def moved(self) -> Sequence[str]:
        """What was met on the way, once all is read, and must be known before relying on any amount; in sentences."""

    @property
    def needs_zone(self) -> bool:
        """Whether their times need a zone to become UTC."""

    @property
    def markers(self) -> Sequence[tuple[int, str]]:
        """Notes that stand in them, with their instants. [us]"""

    def batches(self) -> Iterator[RowBatch]:
        """Yield the readings in the order they were written, and the rows that could not be read."""


class LooksLeftOut(Protocol):
    """How often displays of a film gave no value, its ``left_out``, and the commonest reason with when it was first."""

    @property
    def looks(self) -> int:
        """How often a display was looked at."""

    @property
    def times(self) -> int:
        """How often that gave no value."""

    @property
    def reason(self) -> str:
        """The commonest reason."""

    @property
    def first_s(self) -> float:
        """When in the film that was so for the first time. [s]"""


class Misreading(Protocol):
    """How many values may be wrong of an export that was read by its look, its ``misread``; as shares of one."""

    @property
    def share(self) -> float:
        """The likely one."""

    @property
    def at_most(self) -> float:
        """Its upper 95 % limit."""

    @property
    def seconds(self) -> int:
        """How long values were read, all displays together. [s]"""

    @property
    def no_figures(self) -> int:
        """How often, counted once a second, a clear pattern stood that no figure has."""
