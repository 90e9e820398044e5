"""Captions to lay over a film of a measurement: WebVTT, a cue each second of the film.

The format: "WebVTT: The Web Video Text Tracks Format", World Wide Web Consortium (from memory).
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, Final, NamedTuple

from ..wording import film
from ..wording.clock import clock, in_zone
from ..wording.numbers import shortened

if TYPE_CHECKING:
    from ....analysis.charge.every_second import EachSecond
    from ....analysis.readings.log_facts import LogFacts

#: How long a note stands, and a second: common practice, no source. [ms]
_NOTE_MS: Final = 5000
_SECOND_MS: Final = 1000
#: Notes stand at the film's upper edge, out of the way of the figures.
_ABOVE: Final = " line:0"


class Cue(NamedTuple):
    """What stands over the film from one moment to another, since its first frame [ms]; and where."""

    start_ms: int
    stop_ms: int
    text: str
    settings: str = ""


def caption_pieces(
    facts: LogFacts,
    seconds: Iterable[EachSecond],
    notes: Sequence[tuple[int, str]],
    *,
    from_us: int,
    to_us: int,
    has_charge: bool,
) -> Iterator[str]:
    """Yield the captions of a film piece by piece, so that none of a long film are held.

    Parameters
    ----------
    seconds : iterable of EachSecond
        The film's seconds in order, the first of them at `from_us` or later; those that lack are left without a cue.
    notes : sequence of int and str
        The log's notes with their instants [us]; those outside the film are left out.
    from_us, to_us : int
        When the film's first frame was taken, and its end. [us]
    has_charge : bool
        Whether the log tells Ah; else Wh stand for them.
    """
    yield "WEBVTT\n\nNOTE\n"
    yield f"{_escaped(shortened(facts.name, 120))}; the film begins at {clock(from_us, facts)} ({in_zone(facts)}).\n"
    yield "Each cue says what stood at its first moment.\n"
    inside = sorted((at, text) for at, text in notes if from_us <= at < to_us)
    figures = _of_seconds(facts, seconds, from_us, has_charge=has_charge)
    # Cues must stand in the order in which they begin.
    cues = heapq.merge(figures, _of_notes(inside, from_us), key=lambda cue: cue.start_ms)
    for cue in cues:
        yield f"\n{_stamp(cue.start_ms)} --> {_stamp(cue.stop_ms)}{cue.settings}\n{_escaped(cue.text)}\n"


def _of_notes(notes: Iterable[tuple[int, str]], from_us: int) -> Iterator[Cue]:
    for at, text in notes:
        start_ms = (at - from_us) // 1000
        yield Cue(start_ms, start_ms + _NOTE_MS, film.note(text), _ABOVE)


def _of_seconds(facts: LogFacts, seconds: Iterable[EachSecond], from_us: int, *, has_charge: bool) -> Iterator[Cue]:
    """Yield a cue each second, and one for all seconds of a gap."""
    at_bank = facts.side == "dc"
    gap: Cue | None = None
    for part in seconds:
        rows = zip(*(x.tolist() for x in vars(part).values()), part.measured.tolist(), strict=True)
        for at, amps, volts, watts, *sums, measured in rows:
            start_ms = (at - from_us) // 1000
            first = film.figures(amps, volts, watts, at_bank=at_bank)
            second = _so_far(sums, at_bank=at_bank, has_charge=has_charge)
            cue = Cue(start_ms, start_ms + _SECOND_MS, f"{first}\n{second}")
            if not measured and gap is not None:
                gap = gap._replace(stop_ms=cue.stop_ms)
                continue
            if gap is not None:
                yield gap
            gap = None if measured else cue
            if measured:
                yield cue
    if gap is not None:
        yield gap


def _so_far(sums: Sequence[float], *, at_bank: bool, has_charge: bool) -> str:
    drawn_Ah, returned_Ah, drawn_Wh, returned_Wh = sums
    if has_charge:
        return film.so_far(drawn_Ah, returned_Ah, "Ah")
    return film.so_far(drawn_Wh, returned_Wh, "Wh") if at_bank else film.used_so_far(drawn_Wh)


def _stamp(ms: int) -> str:
    """Return a time of the film as the format writes it; hours have two digits at least."""
    seconds = ms // 1000
    return f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}.{ms % 1000:03d}"


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
