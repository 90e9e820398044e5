"""What a person types while a capture runs: readings for a source that takes them, else notes; asked where in doubt."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from ...ingest.live.source import LiveSource
from ..render.wording.numbers import amount, shortened
from .screen import LARGE

#: A question that nobody answers is a note by then: common practice, no source. [s]
_PATIENCE_S = 20.0
_READING, _NOTE = ("r", "reading"), ("n", "note")


@dataclass(frozen=True)
class DoubtfulNote:
    """A line of `at_us` that a source could take for a reading as well. [us]"""

    text: str
    at_us: int
    source: LiveSource
    values: Mapping[str, float]

    @property
    def question(self) -> str:
        """What is asked of it, in a line."""
        amounts = [amount(self.values[name], unit) for name, _, unit in LARGE if name in self.values]
        return f"'{shortened(self.text, 30)}': a reading of {', '.join(amounts)} (r) or a note (n)? No answer: a note"


class TypedLines:
    """Gives each line to whom it is meant for; `note` keeps one that is a note, with its instant [us].

    Nothing is lost: a line in doubt is a note as soon as it is not answered, whatever comes in place of an answer.
    ``asks`` is whether there is somebody who sees a question and can answer.
    """

    def __init__(self, sources: Sequence[LiveSource], note: Callable[[str, int], None], *, asks: bool = False) -> None:
        self._sources, self._note = sources, note
        self.asks = asks
        self._doubtful: DoubtfulNote | None = None

    @property
    def question(self) -> str | None:
        """What the person is asked now."""
        return None if self._doubtful is None else self._doubtful.question

    def take(self, text: str, at_us: int) -> None:
        """Take a line that was finished at an instant. [us]"""
        doubtful, self._doubtful = self._doubtful, None
        if doubtful is not None:
            if text.strip().lower() in _READING:
                doubtful.source.take_as("reading", doubtful.text, doubtful.at_us)
                return
            self._note(doubtful.text, doubtful.at_us)
            if text.strip().lower() in _NOTE:
                return
        if not any(source.typed(text, at_us) for source in self._sources):
            self._take_note(text, at_us)

    def _take_note(self, text: str, at_us: int) -> None:
        for source in self._sources:
            if (values := source.reading_in(text)) is not None:
                if self.asks:
                    self._doubtful = DoubtfulNote(text, at_us, source, values)
                    return
                source.take_as("note", text, at_us)
        self._note(text, at_us)

    def give_up(self, now_us: int | None = None) -> None:
        """Keep what was not answered as a note: what has stood long enough by `now_us`, or without one at once [us]."""
        doubtful = self._doubtful
        if doubtful is not None and (now_us is None or now_us - doubtful.at_us > _PATIENCE_S * 1e6):
            self._doubtful = None
            self._note(doubtful.text, doubtful.at_us)
