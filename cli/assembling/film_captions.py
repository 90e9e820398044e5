"""Captions for a film of a measurement, written while the log is read."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Final

from ...analysis.charge.every_second import EachSecond, EverySecond
from ...analysis.health.finding import is_swapped
from ...analysis.one_log.log_analysis import LogAnalysis
from ...analysis.quality.sign_check import SignFold
from ...analysis.readings.chunk import MICROSECONDS
from ...analysis.site.site import Site
from ...ingest.durations import seconds
from ...ingest.errors import InputError
from ...ingest.safe_files.whole_file import whole_file
from ..door import say
from ..opening.films import at_moment
from ..opening.prepared_log import Corrections, Prepared, ends_of, prepared
from ..opening.times_written import span_of
from ..render.documents.captions import caption_pieces
from ..render.terminal.charge import wrong_sign_lines
from ..render.wording.clock import clock, from_to, in_zone
from ..render.wording.log_sentences import load_name
from ..render.wording.numbers import duration

#: A log that was read from a film is told in such steps, so that its captions change with the display; others by the
#: second, as people read. [us]
_FILM_STEP_US: Final = 100_000
#: A film is no longer, unless it is said to be shorter: common practice, no source. [s]
_LONGEST_S: Final = 24 * 3600


def write_captions(
    out: Path,
    log: Path,
    site: Site | None,
    corrections: Corrections,
    film_start: str,
    film_length: str | None,
    *,
    err: bool = False,
) -> None:
    """Write the captions of a film of which a log was made meanwhile, and say so; to stderr with `err`.

    Where draw and return seem to be swapped, each second of them is the wrong way round: that is told as well.

    `film_start` is when its first frame was taken, as ``--from`` takes a time or a note, or one of these and which
    moment of the film it was (``10:31:28@1:23``); without `film_length` it goes on to the log's end.

    Raises
    ------
    InputError, Refusal
        If the log cannot be read, the film lies outside it, or nothing can be worked out from it.
    """
    ready = prepared(log, site, corrections)
    from_us, to_us = _film_of(ready, film_start, film_length)
    # What a run took above the rest is known when it is over: the log is read for that first.
    analysis = LogAnalysis(ready.facts, ready.how, ready.quantities, site=site, figures=ready.figures)
    ready.feed(analysis)
    report = analysis.result()
    step_us = MICROSECONDS if ready.how.delay_s is None else _FILM_STEP_US
    stream = EverySecond(ready.how, ready.quantities, from_us=from_us, to_us=to_us, step_us=step_us)
    sign = SignFold.of(ready.how, ready.quantities)
    has_charge = ready.how.side == "dc" and "current_A" in ready.quantities
    pieces = caption_pieces(
        ready.facts,
        tuple(_seconds(ready, stream, sign)),
        ready.facts.markers,
        from_us=from_us,
        to_us=to_us,
        step_ms=step_us // 1000,
        has_charge=has_charge,
        runs=() if is_swapped(report.findings) else report.cycles.cycles,
        load=load_name(report),
    )
    with whole_file(out) as hidden, hidden.open("w", encoding="utf-8", newline="\n") as file:
        file.writelines(pieces)
    for line in wrong_sign_lines(ready.facts, sign.result()):
        say(line, err=err)
    begins = f"{clock(from_us, ready.facts)} ({in_zone(ready.facts)})"
    say(f"wrote {out}: captions for {duration((to_us - from_us) / MICROSECONDS)} of film from {begins} on", err=err)


def _seconds(ready: Prepared, stream: EverySecond, sign: SignFold) -> Iterator[EachSecond]:
    last_us = 0
    for chunk in ready.chunks():
        sign.add(chunk)
        yield from stream.add(chunk)
        last_us = int(chunk.time_us[-1]) if len(chunk) else last_us
    yield from stream.rest(last_us)


def _film_of(ready: Prepared, film_start: str, film_length: str | None) -> tuple[int, int]:
    """Return when a film begins and ends. [us]"""
    first_us, last_us = ends_of(ready.log)
    # A note is one, whatever it looks like.
    is_note = any(note.strip().lower() == film_start.strip().lower() for _, note in ready.facts.markers)
    moment, since = (film_start, timedelta()) if is_note else at_moment(film_start, what="--film-start")
    # A log of a film without a date counts from the film's first frame, whether that could be read or not.
    nought_us = 0 if ready.facts.undated and ready.how.delay_s is not None else first_us
    options = ("--film-start",) * 2
    from_us, _ = span_of(moment, None, ready.facts, first_us=nought_us, last_us=last_us, options=options)
    assert from_us is not None
    from_us -= since // timedelta(microseconds=1)
    # What stands at the log's last reading is still told.
    to_us = last_us + 1
    if film_length is not None:
        to_us = from_us + round(seconds(film_length, what="--film-length") * MICROSECONDS)
    if from_us > last_us or to_us <= first_us:
        goes = f"{from_to(first_us, last_us, ready.facts)} ({in_zone(ready.facts)})"
        raise InputError(
            f"--film-start: the film from {clock(from_us, ready.facts)} on lies outside the log, which goes from {goes}"
        )
    if to_us - from_us > _LONGEST_S * MICROSECONDS:
        raise InputError("--film-length: a film is at most 24 h long; say how long this one is, such as 20m")
    return from_us, to_us
