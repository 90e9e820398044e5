"""What a conversion took an export for, in words: the readings as they were taken first, everything else after it."""

from __future__ import annotations

import shlex
from collections.abc import Mapping, Sequence
from pathlib import PurePath
from typing import TYPE_CHECKING, Final

from ....ingest.safe_files.rejects import rejects_path
from ..wording.clock import clock, from_to, in_zone
from ..wording.numbers import SAMPLING, amount, duration, true_minus
from .answer import Reply
from .columns import Columns

if TYPE_CHECKING:
    from ....analysis.readings.first_look import BothWays, FirstLook, ReadingShown
    from ....ingest.exports.adapter import Export, LooksLeftOut, Misreading
    from ....ingest.exports.convert import Converted
    from ....ingest.log.meta import LogMeta

#: What stands in the table of readings, and over it; lists of more have --json.
_COLUMNS: Final = {"current_A": "A", "voltage_V": "V", "power_W": "W"}
_SECOND_US = 1_000_000


def converted_answer(
    done: Converted,
    export: Export,
    look: FirstLook,
    *,
    reverse: bool,
    by_sign: bool,
    in_doubt: Sequence[str] = (),
    profile: str | None = None,
) -> Reply:
    """Return what was read and how: what it comes to, the readings as they were taken, what each column was taken for.

    `reverse` tells that the sign was turned on request, `by_sign` that nobody said which way is positive; `in_doubt` is
    what the spacings leave open; `profile` names the one that was written. All that was recognised is among the
    reasons.
    """
    meta = done.meta
    notes = [f"note: {line}" for line in meta.remarks]
    is_film = meta.display_delay_s is not None
    # Of a film what could be read, and how surely, comes first; what is the matter with it before all that is as usual.
    first = [note for note in notes if is_film and note.removeprefix("note: ") in export.layouts[0].remarks]
    counts = [_film_counts(done), *_left_out(done, export, explain=False), *_misread(export, explain=False)]
    return Reply(
        [
            *(counts if is_film else []),
            *in_doubt,
            _sums(look, by_sign=by_sign and meta.side == "dc" and not meta.noted),
            *first,
            _readings(look, meta, few=True),
            *([note for note in notes if note not in first] if is_film else []),
            _taken_for(done, export, reverse=reverse),
            *([] if is_film else [_counts(done)]),
            *([f"kept how it was read in {profile}: next time add --profile {profile}"] if profile is not None else []),
            *([] if is_film else notes),
            *_columns(export),
        ],
        [
            _readings(look, meta, few=False),
            *_explained(done, export, reverse=reverse),
            *_left_out(done, export, explain=True),
            *_misread(export, explain=True),
        ],
        "how it was recognised, more of its readings",
        last=f"wrote {done.log}; next: shuntbook look {done.log}",
    )


def _readings(look: FirstLook, meta: LogMeta, *, few: bool) -> Columns:
    """Return the first readings and the last, and the extremes."""
    names = [name for name in _COLUMNS if name in look.lowest]
    shown = {"first": look.first[:1], "": () if few else look.first[1:], "last": (look.last,) if look.last else ()}
    fraction = any(reading.time_us % _SECOND_US for readings in shown.values() for reading in readings)
    rows: list[list[str]] = []
    for word, readings in shown.items():
        rows += [
            [word, _instant(reading, meta, fraction=fraction), *_cells(reading.values, names)] for reading in readings
        ]
    rows += [["lowest", "", *_cells(look.lowest, names)], ["highest", "", *_cells(look.highest, names)]]
    zone = in_zone(meta) + (", assumed" if meta.zone_assumed and not meta.undated else "")
    heads = ["", zone, *(_COLUMNS[name] for name in names)]
    return Columns(rows, heads, right=range(2, len(heads)))


def _instant(reading: ReadingShown, meta: LogMeta, *, fraction: bool) -> str:
    """Return a reading's time, to the microsecond where one of those on show is no whole second."""
    whole_us = reading.time_us // _SECOND_US * _SECOND_US
    text = clock(whole_us, meta)
    digits = f"{reading.time_us - whole_us:06d}"
    # Behind the seconds, which are the clock's last digits: in an hour that comes twice, the offset follows.
    seconds = text.rindex(":") + 3
    return f"{text[:seconds]}.{digits.rstrip('0').ljust(3, '0')}{text[seconds:]}" if fraction else text


def _cells(values: Mapping[str, float | None], names: Sequence[str]) -> list[str]:
    # As they were taken: not rounded to what can be relied on, as all other figures are.
    return ["-" if (x := values.get(name)) is None else true_minus(f"{x:.7g}") for name in names]


def _sums(look: FirstLook, *, by_sign: bool) -> str:
    """Return what it amounts to; `by_sign` tells that nobody said which way is positive."""
    known = [(both, unit) for both, unit in ((look.charge, "Ah"), (look.energy, "Wh")) if both is not None]
    if not known:
        return "neither Ah nor Wh can be worked out of this (charge says why)"
    # Times read wrong show best by how long it all took.
    length_s = (look.last.time_us - look.first[0].time_us) / _SECOND_US if look.last else None
    both = f"drawn {_both(known, 'drawn')}; returned {_both(known, 'returned')}"
    return f"{'by this sign ' if by_sign else ''}{both}; over {duration(length_s)}"


def _both(known: Sequence[tuple[BothWays, str]], way: str) -> str:
    return ", ".join(amount(getattr(both, way), unit) for both, unit in known)


def _taken_for(done: Converted, export: Export, *, reverse: bool) -> str:
    """Return which way is drawn."""
    meta = done.meta
    sign = ", draw is positive after the turn" if reverse else ", positive is draw (if not, add --reverse-sign)"
    stands = "" if meta.sampling == "instant" else f"; {SAMPLING[meta.sampling]}"
    return f"took {_files(export)}: side {meta.side}{sign if meta.side == 'dc' else ''}{stands}"


def _columns(export: Export) -> list[str]:
    """Return what the columns were taken for."""
    layout = export.layouts[0]
    time = " and ".join(map(repr, layout.as_document()["time"]["columns"]))
    # Which quantity a column is shows by its unit, and how the times are written by those on show.
    known = [f"{name}: " for name in export.quantities]
    columns = [line.partition(": ")[2] for line in layout.describe() if line.startswith(tuple(known))]
    columns = [*([time] if time else []), *columns]
    return [f"columns {', '.join(columns)}"] if columns else []


def _files(export: Export) -> str:
    more = len(export.sources) - 1
    # Its folder is known to whoever named it.
    return PurePath(export.sources[0].name).name + (f" and {more} more" if more else "")


def _explained(done: Converted, export: Export, *, reverse: bool) -> list[str]:
    """Return all that was recognised rather than stated, a line each."""
    meta = done.meta
    lines = [f"took {_files(export)}", *(f"  {line}" for line in export.layouts[0].describe())]
    lines.append(f"  side {meta.side}; {SAMPLING[meta.sampling]}")
    # Which way is drawn no export says; behind an inverter nothing flows back.
    if meta.side == "dc":
        which = (
            "turned, so that draw out of the bank is positive"
            if reverse
            else "positive is taken as draw out of the bank (if not, add --reverse-sign)"
        )
        lines.append(f"  sign: {which}")
    return [*lines, _span(done)]


def _counts(done: Converted) -> str:
    meta = done.meta
    counts = [f"{meta.rows_read:,} rows read, {meta.rows_kept:,} kept"]
    counts += [f"{meta.rows_merged:,} merged"] if meta.rows_merged else []
    counts += [f"{meta.rows_rejected:,} not readable (see {rejects_path(done.log)})"] if meta.rows_rejected else []
    counts += [f"{done.repeated_headers} repeated headers passed over"] if done.repeated_headers else []
    # By hand nothing is a gap: what was typed stands until the next.
    if meta.sampling == "held":
        return ", ".join(counts)
    usual = f"one every {meta.usual_interval_s:g} s, " if meta.usual_interval_s else ""
    return f"{', '.join(counts)}; {usual}a gap above {meta.gap_limit_s:g} s"


def _film_counts(done: Converted) -> str:
    """Return how many readings a film gave, from when to when."""
    meta = done.meta
    usual = f", one every {meta.usual_interval_s:g} s" if meta.usual_interval_s else ""
    merged = f" ({meta.rows_merged:,} merged)" if meta.rows_merged else ""
    return f"read {meta.rows_kept:,} readings{merged}, {_span(done)}{usual}"


def _left_out(done: Converted, export: Export, *, explain: bool) -> list[str]:
    """Return how often a film's displays gave no value and mostly why, or how to see it; nothing of text."""
    left: LooksLeftOut | None = getattr(export, "left_out", None)
    if left is None or not left.times:
        return []
    share = 100 * left.times / left.looks
    at = f"{int(left.first_s) // 60}:{left.first_s % 60:04.1f}"
    if not explain:
        return [
            f"left out {left.times:,} of {left.looks:,} looks at its displays ({share:.2g} %), mostly since "
            f"{left.reason} ({at}); all are in {rejects_path(done.log)}"
        ]
    words = [export.sources[0].name, "--display", done.meta.profile or "", "--at", at]
    return [
        "what is not clear is no value, and adds nothing. To see what was left out, and mend the boxes where you can "
        f"read it yourself: shuntbook look {shlex.join(words)} --out boxes.png"
    ]


def _misread(export: Export, *, explain: bool) -> list[str]:
    """Return how many values of a film may be wrong, or how that is known; nothing of text."""
    misread: Misreading | None = getattr(export, "misread", None)
    if misread is None:
        return []
    if not explain:
        return [
            f"values read wrong, by this film itself: likely {_one_in(misread.share)}, at most "
            f"{_one_in(misread.at_most)} (95 %)"
        ]
    times = "once" if misread.no_figures == 1 else f"{misread.no_figures:,} times"
    return [
        f"values read wrong: in {misread.seconds:,} seconds of values, all displays together, a clear pattern that is "
        f"no figure stood {times if misread.no_figures else 'never'}. One segment that is hidden, broken or washed out "
        "makes such a pattern more often than it makes another figure; so these tell how many wrong figures there may "
        "be, and even none leaves up to three unseen. Beside that counts how far segments strayed from lit or dark. "
        "The ± of Ah and Wh has a share for it"
    ]


def _one_in(share: float) -> str:
    """Return a share as one in so many, in two digits, never fewer than it says."""
    if share >= 0.5:
        return "any of them"
    many = 1 / share
    step = 10 ** max(len(str(int(many))) - 2, 0)
    return f"1 in {int(many // step * step):,}"


def _span(done: Converted) -> str:
    """Return the first and last reading's time, for a check by eye that day and month are where they belong."""
    if done.meta.undated:
        return f"{(done.last_us - done.first_us) / 1e6:,.1f} s from the first reading to the last"
    return f"from {from_to(done.first_us, done.last_us, done.meta)} ({in_zone(done.meta)})"
