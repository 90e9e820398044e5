"""From what a person and a profile state to an export that can be read, and the log's metadata to begin with."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import chain
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ... import __version__
from ..durations import seconds
from ..errors import InputError, ReadAnew
from ..log.arrow import strings
from ..log.log import ahead
from ..log.meta import LogMeta
from ..zone import NO_TIME, LocalClock, zone_named, zone_of_computer
from .delimited.layout import find_layout
from .delimited.plan import Draft, Layout
from .delimited.rows import RowBatch, RowReader
from .delimited.stated import Stated
from .delimited.time_columns import joined_cells
from .texts.decode import Block, Source, blocks, lines_of_words, open_source
from .times.instants import parse
from .times.stamps import Style

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from .adapter import Export
    from .times.half_days import HalfDays


@dataclass(frozen=True)
class Intake:
    """An export ready to be converted, and what is known of it beforehand."""

    export: Export
    meta: LogMeta
    gap_limit_s: float | None


def take_in(names: Sequence[str], stated: Stated) -> Intake:
    """Return the export that these files are, given in order; ``-`` is standard input.

    Raises
    ------
    InputError
        If one cannot be read, or what it is cannot be decided.
    """
    profile = stated.profile
    zone = zone_stated(stated)
    export = _export(names, stated, zone or zone_of_computer())
    gap_s = stated.gap_s
    if gap_s is None and profile is not None and profile.gap is not None:
        gap_s = seconds(profile.gap, what="the profile's gap")
    return Intake(export, meta_of(export, stated.filled(), zone), gap_s)


def zone_stated(stated: Stated) -> str | None:
    """Return the zone that a person or a profile states."""
    # What the person says goes before the profile, and that before this computer.
    if stated.zone is not None:
        zone_named(stated.zone, what="--zone")
        return stated.zone
    if stated.profile is None or stated.profile.zone is None:
        return None
    zone_named(stated.profile.zone, what="the profile's zone")
    return stated.profile.zone


def _export(names: Sequence[str], stated: Stated, zone: str) -> Export:
    profile = stated.profile
    # Notes have no columns, and so share nothing with a table but what comes out.
    if profile is not None and profile.notes:
        from .hand_notes import HandNotes

        if len(names) > 1:
            raise InputError("notes typed by hand are converted one file at a time")
        return HandNotes(names[0], zone, stated.start, side=stated.side or "dc")
    _refuse_names_given_twice(names)
    sources = [opened(name, stated) for name in names]
    _refuse_copies(sources)
    return CsvExport(sources, stated.filled(), zone=zone, start=stated.start)


def opened(name: str, stated: Stated, *, most_lines: int | None = None) -> Source:
    """Return a file's text, or that of the table in it; of a workbook's sheet `most_lines` at most."""
    source = open_source(name)
    if source.is_container:
        from .spreadsheets.container import table_of

        return table_of(source, stated, most_lines)
    if stated.sheet is not None:
        raise InputError(f"{source.name}: is no spreadsheet, so there is no sheet to choose; leave --sheet out")
    return source


def _refuse_names_given_twice(names: Sequence[str]) -> None:
    places: set[str] = set()
    for name in names:
        # Links and relative names may lead to one file twice, which would count each reading twice.
        place = name if name == "-" else os.path.realpath(name)
        if place in places:
            raise InputError(f"{name}: is given twice; name each export once")
        places.add(place)


def _refuse_copies(sources: Sequence[Source]) -> None:
    """Refuse an export under two names; those that only overlap are put together row by row."""
    names: dict[str, str] = {}
    for source in sources if len(sources) > 1 else ():
        source.stamp()
        if source.digest in names:
            raise InputError(
                f"{source.name}: is given twice, since {names[source.digest]} holds the same, byte for byte; "
                "leave one of them out"
            )
        names[source.digest] = source.name


def meta_of(export: Export, stated: Stated, zone: str | None) -> LogMeta:
    """Return what is known of a log before its export is read."""
    profile, assumed = stated.profile, zone or zone_of_computer()
    sentences = []
    if export.needs_zone and zone is None:
        sentences.append(f"the times carry no zone; this computer's own, {assumed}, is assumed (--zone says another)")
    if export.undated:
        sentences.append("the times only count from the start, so no dates are known (--start says when it began)")
    return LogMeta(
        meter=stated.meter,
        side=stated.side or ("ac" if export.layouts[0].ac else "dc"),
        sampling=stated.sampling or "instant",
        counter_kind=(profile.counter if profile else None) or "net",
        profile=profile.name if profile else None,
        zone="UTC" if export.undated else assumed,
        zone_assumed=zone is None and export.needs_zone,
        undated=export.undated,
        sign_applied=-1 if stated.reverse_sign else 1,
        markers=list(export.markers),
        remarks=sentences,
        tool_version=__version__,
    )


_HOUR_US = 3_600_000_000
_DAY_US = 24 * _HOUR_US
#: No month is shorter, but for a change of clocks.
_LEAP_US = 28 * _DAY_US - 2 * _HOUR_US
_AM_OR_PM = re.compile(r"[AaPp]\.?[Mm]|午")


def _may_hide_halves(layout: Layout) -> bool:
    """Tell whether stamps show hours that could be those of a clock with twelve, without AM and PM."""
    style = layout.time.style
    clock = style.unit == "h:m:s" or (style.kind == "calendar" and not style.zoned and not style.unit.startswith("day"))
    cells = joined_cells(layout.dialect, layout.time.indices)[:20]
    return clock and not any(map(_AM_OR_PM.search, cells))


class StampClock:
    """Turns a source's stamps into UTC: by a zone, from a start [us], or not at all.

    A clock of hours, minutes and seconds without a date that falls from the end of a day to its beginning has passed
    midnight: a day is added from there on. `backwards`: the newest row comes first. `halves`: its hours may be those of
    a clock without AM and PM.
    """

    def __init__(
        self, style: Style, zone: ZoneInfo | None, start_us: int, *, backwards: bool = False, halves: bool = False
    ) -> None:
        self.zone, self._backwards, self._start_us = zone, backwards, start_us
        self._wraps = style.unit == "h:m:s"
        self._halves: HalfDays | None = None
        self._may_hide = halves
        self._begin()

    def _begin(self) -> None:
        self.local = None if self.zone is None else LocalClock(self.zone, newest_first=self._backwards)
        self._days_us = 0
        self._last_us: int | None = None

    def to_utc(self, time_us: NDArray[np.int64]) -> NDArray[np.int64]:
        """Return UTC; shape (n,) [us]."""
        if self._may_hide and len(time_us):
            time_us = self._with_halves(time_us)
        if self.local is not None:
            return self.local.to_utc(time_us)
        if self._wraps and len(time_us):
            before = np.concatenate([[time_us[0] if self._last_us is None else self._last_us], time_us[:-1]])
            # A clock that falls by nearly a day has passed midnight; by less it was set back, which is settled later. A
            # count of hours beyond 24 never wraps.
            midnights = (before - time_us > _DAY_US * 9 // 10) & (before <= _DAY_US)
            self._last_us = int(time_us[-1])
            days = self._days_us + np.cumsum(midnights) * _DAY_US
            self._days_us = int(days[-1])
            time_us = time_us + days
        return time_us + self._start_us

    def _with_halves(self, time_us: NDArray[np.int64]) -> NDArray[np.int64]:
        if self._halves is None or not self._halves.settled:
            hours = time_us // _HOUR_US
            # Most logs show another hour sooner or later: it is a clock of 24 hours.
            if (hours[-1] % 24 - 1) % 24 > 11 or ((hours - 1) % 24 > 11).any():
                self._may_hide, self._halves = False, None
                return time_us
        if self._halves is None:
            from .times.half_days import HalfDays

            self._halves = HalfDays(backwards=self._backwards, dated=self.zone is not None)
        return self._halves.read(time_us)

    def begun_anew(self, name: str) -> str:
        """Return in a sentence, once the last row was read, why all are to be read again; empty where they are not.

        Raises
        ------
        InputError
            If the clock has twelve hours without AM and PM, and the order of the rows does not tell which they are.
        """
        if self._halves is None or self._halves.shown is None or self._halves.settled:
            return ""
        sentence = self._halves.settle(name)
        self._begin()
        return sentence


class CsvExport:
    """One meter's export in delimited text: one file or several, in order, all with the same quantities.

    ``zone`` is that of stamps without an offset, an IANA name; `start` is when elapsed time began: without it the log
    is undated. What is known of a file that is asked about stands in the `draft`.

    Raises
    ------
    InputError
        If a file is no such export, or what it is cannot be decided.
    """

    def __init__(
        self, sources: list[Source], stated: Stated, *, zone: str, start: datetime | None, draft: Draft = None
    ) -> None:
        self.sources = sources
        self._stated = stated
        #: What was met on the way and must be known before relying on any amount.
        self.moved: list[str] = []
        self.layouts = [find_layout(source, stated, draft) for source in self.sources]
        if any(layout.time.is_open for layout in self.layouts):
            from .date_order import with_orders  # most dates leave one order only

            self.layouts = with_orders(self.layouts, self.sources)
        if any(layout.time.style.word for layout in self.layouts):
            from .zone_words import by_words  # few stamps hold any

            zone_is_stated = stated.zone is not None or (stated.profile is not None and stated.profile.zone is not None)
            self.layouts = by_words(self.layouts, zone, stated=zone_is_stated)
        first = self.layouts[0]
        for layout in self.layouts[1:]:
            if layout.quantities != first.quantities:
                raise InputError(f"{layout.name}: holds other columns than {first.name}; convert them one at a time")
            if layout.time.way != first.time.way:
                raise InputError(
                    f"{layout.name}: tells the time in another way than {first.name}; convert them one at a time"
                )
        style = first.time.style
        self._may_be_day_first = first.time.may_be_day_first and not stated.says_order
        self._last_us: int | None = None
        self.counted = style.kind == "elapsed"
        self.undated = self.counted and start is None
        by_zone = style.kind == "calendar" and not style.zoned
        self.needs_zone = by_zone or (style.kind == "elapsed" and start is not None and start.tzinfo is None)
        backwards = by_zone and _is_newest_first(first)
        began_us = start_us(start, zone) if self.counted and start is not None else 0
        own = zone_named(zone, what="--zone") if by_zone else None
        self._clock = StampClock(style, own, began_us, backwards=backwards, halves=_may_hide_halves(first))

    #: A table holds no notes.
    markers: Sequence[tuple[int, str]] = ()

    @property
    def quantities(self) -> tuple[str, ...]:
        """The quantities it holds."""
        return self.layouts[0].quantities

    def batches(self) -> Iterator[RowBatch]:
        """Yield the readings in the order they were written, and the rows that could not be read.

        Raises
        ------
        ReadAnew
            If the last row shows that all must be read again, by what is known of the clock then.
        """
        for source, layout in zip(self.sources, self.layouts, strict=True):
            for batch in self._rows(layout, ahead(blocks(source, layout.encoding))):
                self._look_at_leaps(batch.readings.time_us)
                yield batch
        if sentence := self._clock.begun_anew(self.layouts[0].name):
            self.moved = [sentence]
            raise ReadAnew

    def _look_at_leaps(self, time_us: NDArray[np.int64]) -> None:
        """Ask where each day seems to be a month later than the one before: the day may stand ahead of the month."""
        if not self._may_be_day_first or not len(time_us):
            return
        before_us = np.concatenate([time_us[:1] if self._last_us is None else [self._last_us], time_us[:-1]])
        self._last_us = int(time_us[-1])
        leaps = np.flatnonzero(np.abs(time_us - before_us) > _LEAP_US)
        if len(leaps):
            from .date_order import refuse_months_for_days  # hardly any export leaps so far

            refuse_months_for_days(before_us[leaps], time_us[leaps], self._clock.zone, self.layouts[0].name)

    @property
    def local(self) -> LocalClock | None:
        """The local clock that the stamps are read by; None where they need no zone."""
        return self._clock.local

    def _rows(self, layout: Layout, lines: Iterator[Block]) -> Iterator[RowBatch]:
        several = f"{layout.name}, " if len(self.sources) > 1 else ""
        reader = RowReader(layout, self._clock.to_utc)
        for block in lines:
            if not lines_of_words(block, layout.dialect.first_line):
                yield reader.read(block)
                continue
            # Among rows of numbers a line of words may be another header.
            from .sections import SectionReader

            sections = SectionReader(layout, self._stated, self._clock.to_utc)
            yield from sections.batches(chain([block], lines))
            self.moved += [several + sentence for sentence in sections.sentences]
        self.moved += [several + sentence for sentence in reader.sentences()]


def _is_newest_first(layout: Layout) -> bool:
    time_us = parse(strings(joined_cells(layout.dialect, layout.time.indices)), layout.time.style)
    steps = np.diff(time_us[time_us != NO_TIME])
    return bool((steps < 0).sum() > (steps > 0).sum())


def start_us(start: datetime, zone: str) -> int:
    """Return an instant that a person states, without an offset by the clocks of a zone; since 1970 [us]."""
    if start.tzinfo is None:
        start = start.replace(tzinfo=zone_named(zone, what="--zone"))
    delta = start - datetime(1970, 1, 1, tzinfo=UTC)
    return (delta.days * 86_400 + delta.seconds) * 1_000_000 + delta.microseconds
