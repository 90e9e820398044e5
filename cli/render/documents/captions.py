"""Captions to lay over a film of a measurement: WebVTT, a cue for each second of the film, or for what changed in it.

The format: "WebVTT: The Web Video Text Tracks Format", World Wide Web Consortium (from memory).
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np

from ..wording import film
from ..wording.clock import clock, in_zone
from ..wording.numbers import shortened

if TYPE_CHECKING:
    from ....analysis.charge.every_second import EachSecond
    from ....analysis.cycles.cycle import Cycle
    from ....analysis.readings.log_facts import LogFacts

#: How long a note stands, and the longest step: common practice, no source. [ms]
_NOTE_MS: Final = 5000
_SECOND_MS: Final = 1000
#: Notes, and what a run took, stand at the film's upper edge, out of the way of the figures.
_ABOVE: Final = " line:0"


class Cue(NamedTuple):
    """What stands over the film from one moment to another, since its first frame [ms]; and where."""

    start_ms: int
    stop_ms: int
    text: str
    settings: str = ""


def caption_pieces(
    facts: LogFacts,
    seconds: Sequence[EachSecond],
    notes: Sequence[tuple[int, str]],
    *,
    from_us: int,
    to_us: int,
    has_charge: bool,
    step_ms: int = _SECOND_MS,
    runs: Sequence[Cycle] = (),
    load: str = "",
) -> Iterator[str]:
    """Yield the captions of a film piece by piece, so that none of a long film are held.

    Parameters
    ----------
    seconds : sequence of EachSecond
        The film's seconds in order, the first of them at `from_us` or later; those that lack are left without a cue.
    notes : sequence of int and str
        The log's notes with their instants [us]; those outside the film are left out.
    from_us, to_us : int
        When the film's first frame was taken, and its end. [us]
    has_charge : bool
        Whether the log tells Ah; else Wh stand for them.
    step_ms : int
        How far apart the instants of `seconds` are; those shorter than a second that tell the same have one cue. [ms]
    runs : sequence of Cycle
        The runs of a load that are told of: while one goes on what it has taken so far, and at its end how much it was.
    load : str
        What that load is called.
    """
    yield "WEBVTT\n\nNOTE\n"
    yield f"{_escaped(shortened(facts.name, 120))}; the film begins at {clock(from_us, facts)} ({in_zone(facts)}).\n"
    yield "Each cue says what stood at its first moment.\n"
    inside = sorted((at, text) for at, text in notes if from_us <= at < to_us)
    texts = _texts(facts, seconds, runs, has_charge=has_charge)
    figures = _of_seconds(texts, from_us, step_ms)
    ends = _of_ends(runs, load, from_us, to_us, has_charge=has_charge)
    # Cues must stand in the order in which they begin.
    cues = heapq.merge(figures, _of_notes(inside, from_us), ends, key=lambda cue: cue.start_ms)
    for cue in cues:
        yield f"\n{_stamp(cue.start_ms)} --> {_stamp(cue.stop_ms)}{cue.settings}\n{_escaped(cue.text)}\n"


def _of_notes(notes: Iterable[tuple[int, str]], from_us: int) -> Iterator[Cue]:
    for at, text in notes:
        start_ms = (at - from_us) // 1000
        yield Cue(start_ms, start_ms + _NOTE_MS, film.note(text), _ABOVE)


def _of_ends(runs: Iterable[Cycle], load: str, from_us: int, to_us: int, *, has_charge: bool) -> Iterator[Cue]:
    """Yield a cue at the end of each run: what it took, and how sure that is."""
    for run in runs:
        took, u95 = (run.charge_Ah, run.charge_u95_Ah) if has_charge else (run.energy_Wh, run.energy_u95_Wh)
        if run.stop_us is not None and from_us <= run.stop_us < to_us and took is not None:
            start_ms = (run.stop_us - from_us) // 1000
            text = film.run_took(load, took, u95, "Ah" if has_charge else "Wh", at_least=run.array_may_share)
            yield Cue(start_ms, start_ms + _NOTE_MS, text, _ABOVE)


def _taken(seconds: Sequence[EachSecond], runs: Iterable[Cycle], *, has_charge: bool) -> list[float | None]:
    """Return of each second what the run that goes on has taken so far; None where none does.

    A run stands on what else flows meanwhile, which is taken to be steady: so it comes to what the run took in the end.
    Of a run that the film does not show from start to stop nothing is told.
    """
    if not seconds:
        return []
    at_us = np.concatenate([part.at_us for part in seconds])
    sums = [(x.drawn_Ah, x.returned_Ah) if has_charge else (x.drawn_Wh, x.returned_Wh) for x in seconds]
    net = np.concatenate([drawn - returned for drawn, returned in sums])
    taken: list[float | None] = [None] * len(at_us)
    for run in runs:
        took = run.charge_Ah if has_charge else run.energy_Wh
        first = int(np.searchsorted(at_us, run.start_us, side="right")) - 1
        last = len(at_us) if run.stop_us is None else int(np.searchsorted(at_us, run.stop_us))
        if took is None or first < 0 or last >= len(at_us):
            continue
        part = slice(first, last)
        share = (at_us[part] - at_us[first]) / (at_us[last] - at_us[first])
        so_far = net[part] - net[first] - (net[last] - net[first] - took) * share
        taken[first + 1 : last] = np.clip(so_far[1:], 0.0, took).tolist()
    return taken


def _texts(
    facts: LogFacts, seconds: Sequence[EachSecond], runs: Iterable[Cycle], *, has_charge: bool
) -> Iterator[tuple[int, str, bool]]:
    """Yield instants [us], what is told of each, and whether anything was measured then."""
    at_bank = facts.side == "dc"
    taken = iter(_taken(seconds, runs, has_charge=has_charge))
    for part in seconds:
        rows = zip(*(x.tolist() for x in vars(part).values()), part.measured.tolist(), strict=True)
        for at, amps, volts, watts, *sums, measured in rows:
            first = film.figures(amps, volts, watts, at_bank=at_bank)
            second = _so_far(sums, next(taken), at_bank=at_bank, has_charge=has_charge)
            yield at, f"{first}\n{second}", measured


def _of_seconds(texts: Iterable[tuple[int, str, bool]], from_us: int, step_ms: int) -> Iterator[Cue]:
    """Yield a cue each second, one for all seconds of a gap, and of shorter steps one until the figures change.

    Sums that rise meanwhile wait for a second: a line that runs ten times a second nobody can read.
    """
    last: Cue | None = None
    for at, text, measured in texts:
        start_ms = (at - from_us) // 1000
        if last is not None and last.stop_ms == start_ms and _goes_on(last, text, start_ms, step_ms, measured):
            last = last._replace(stop_ms=start_ms + step_ms)
            continue
        if last is not None:
            yield last
        last = Cue(start_ms, start_ms + step_ms, text)
    if last is not None:
        yield last


def _goes_on(last: Cue, text: str, start_ms: int, step_ms: int, measured: bool) -> bool:
    """Tell whether a cue may stand for what is told of the next step, too."""
    if step_ms >= _SECOND_MS:
        return not measured and last.text == text
    figures, is_young = text.partition("\n")[0], start_ms - last.start_ms < _SECOND_MS
    return last.text == text or (is_young and last.text.partition("\n")[0] == figures)


def _so_far(sums: Sequence[float], taken: float | None, *, at_bank: bool, has_charge: bool) -> str:
    drawn_Ah, returned_Ah, drawn_Wh, returned_Wh = sums
    drawn, returned, unit = (drawn_Ah, returned_Ah, "Ah") if has_charge else (drawn_Wh, returned_Wh, "Wh")
    if taken is not None:
        return film.run_so_far(taken, drawn, unit)
    return film.so_far(drawn, returned, unit) if at_bank else film.used_so_far(drawn_Wh)


def _stamp(ms: int) -> str:
    """Return a time of the film as the format writes it; hours have two digits at least."""
    seconds = ms // 1000
    return f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}.{ms % 1000:03d}"


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
