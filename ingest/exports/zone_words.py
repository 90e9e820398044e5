"""Words for a zone in the stamps, such as CET: held against the zone that is stated, and then each row's own offset."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from ..log.arrow import strings
from ..zone import NO_TIME, zone_named
from .delimited.plan import Layout
from .delimited.time_columns import joined_cells
from .times.forms import ZONE_WORDS, zone_words
from .times.instants import parse

#: German words for those of the IANA time zone database.
_SAME = {"MEZ": "CET", "MESZ": "CEST"}


def by_words(layouts: Sequence[Layout], zone: str, *, stated: bool) -> list[Layout]:
    """Return layouts in which a zone's words, where the stamps hold some, are offsets from UTC.

    `zone` is an IANA name, stated or this computer's.

    Raises
    ------
    InputError
        If nothing says whose clock such a word means, or the zone that is stated has no such word.
    """
    return [_by_words(layout, zone, stated=stated) if layout.time.style.word else layout for layout in layouts]


def _by_words(layout: Layout, zone: str, *, stated: bool) -> Layout:
    style, name = layout.time.style, layout.name
    place = ZONE_WORDS[style.word]
    if not stated:
        from .questions.times import whose_clock

        raise whose_clock(name, style.word, place)
    cells = joined_cells(layout.dialect, layout.time.indices)
    years = _years(layout, cells)
    own = _offsets(zone, years)
    offsets = dict(own)
    for word in sorted(set(zone_words(cells, style.forms)) - own.keys()):
        theirs = _offsets(ZONE_WORDS[word], years)
        # A zone of one offset has no words, and is the place's clock for a time.
        if theirs.get(word) not in own.values():
            from .questions.times import other_clock

            raise other_clock(name, word, f"--zone {zone} has {' and '.join(sorted(own))}", ZONE_WORDS[word])
        offsets = {**theirs, **offsets}
    return replace(layout, time=replace(layout.time, style=replace(style, zoned=True, offsets=tuple(offsets.items()))))


def _years(layout: Layout, cells: list[str]) -> range:
    """Return the years of the sample, and those beside them."""
    style = layout.time.style
    time_us = parse(strings(cells), replace(style, order=style.order or "d/m/y"))
    known = time_us[time_us != NO_TIME]
    now = datetime.now(tz=UTC).year
    years = [1970 + int(us // 31_556_952_000_000) for us in (known.min(), known.max())] if len(known) else [now]
    return range(max(years[0] - 1, 1), min(years[-1] + 2, 9999))


def _offsets(zone: str, years: range) -> dict[str, str]:
    """Return the words of a zone in these years, each with its offset as it is written."""
    info, offsets = zone_named(zone, what="--zone"), {}
    for year in years:
        for month in range(1, 13):
            moment = datetime(year, month, 15, tzinfo=info)
            minutes = (moment.utcoffset() or timedelta()) // timedelta(minutes=1)
            sign = "-" if minutes < 0 else "+"
            offsets[moment.tzname() or ""] = f"{sign}{abs(minutes) // 60:02d}:{abs(minutes) % 60:02d}"
    return offsets | {german: offsets[word] for german, word in _SAME.items() if word in offsets}
