"""From what a person and a profile state to an export that can be read, and the log's metadata to begin with."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING

from shuntbook import __version__
from shuntbook.ingest.durations import seconds
from shuntbook.ingest.errors import InputError
from shuntbook.ingest.exports.delimited.decode import Source, open_source
from shuntbook.ingest.exports.delimited.plan import Wishes
from shuntbook.ingest.log.meta import LogMeta
from shuntbook.ingest.zone import zone_named, zone_of_computer

from .adapter import Export
from .csv_export import CsvExport

if TYPE_CHECKING:
    from shuntbook.ingest.exports.delimited.stamp_patterns import DateOrder
    from shuntbook.ingest.profiles.model import Profile


@dataclass(frozen=True)
class Stated:
    """What a person states about an export; None leaves it to the profile, and then to be recognised."""

    profile: Profile | None = None
    zone: str | None = None
    start: datetime | None = None
    dates: DateOrder | None = None
    decimal: str | None = None
    side: str | None = None
    sampling: str | None = None
    gap_s: float | None = None
    meter: str | None = None
    reverse_sign: bool = False


@dataclass(frozen=True)
class Intake:
    """An export ready to be converted, and what is known of it beforehand."""

    export: Export
    meta: LogMeta
    gap_limit_s: float | None


def take_in(names: Sequence[str], stated: Stated) -> Intake:
    """Return the export that these files are.

    Parameters
    ----------
    names : sequence of str
        Paths in order; ``-`` is standard input.
    stated : Stated
        What is known about them.

    Raises
    ------
    InputError
        If one cannot be read, or what it is cannot be decided.
    """
    profile = stated.profile
    zone = _zone(stated)
    export = _export(names, stated, zone or zone_of_computer())
    gap_s = stated.gap_s
    if gap_s is None and profile is not None and profile.gap is not None:
        gap_s = seconds(profile.gap, what="the profile's gap")
    return Intake(export, _meta(export, stated, zone), gap_s)


def _zone(stated: Stated) -> str | None:
    if stated.zone is not None:
        zone_named(stated.zone, what="--zone")
        return stated.zone
    if stated.profile is None or stated.profile.zone is None:
        return None
    zone_named(stated.profile.zone, what="the profile's zone")
    return stated.profile.zone


def _export(names: Sequence[str], stated: Stated, zone: str) -> Export:
    profile = stated.profile
    if profile is not None and profile.notes:
        from .hand_notes import HandNotes

        if len(names) > 1:
            raise InputError("notes typed by hand are converted one file at a time")
        return HandNotes(names[0], zone, stated.start, side=stated.side or "dc")
    _refuse_names_given_twice(names)
    sources = [open_source(name) for name in names]
    _refuse_copies(sources)
    return CsvExport(sources, _wishes(stated), zone=zone, start=stated.start)


def _refuse_names_given_twice(names: Sequence[str]) -> None:
    places: set[str] = set()
    for name in names:
        place = name if name == "-" else os.path.realpath(name)
        if place in places:
            raise InputError(f"{name}: is given twice; name each export once")
        places.add(place)


def _refuse_copies(sources: Sequence[Source]) -> None:
    """Refuse an export under two names; those that only overlap are put together row by row."""
    found: dict[str, str] = {}
    for source in sources if len(sources) > 1 else ():
        source.stamp()
        if source.digest in found:
            raise InputError(
                f"{source.name}: is given twice, since {found[source.digest]} holds the same, byte for byte; "
                "leave one of them out"
            )
        found[source.digest] = source.name


def _wishes(stated: Stated) -> Wishes:
    profile = stated.profile
    wishes = Wishes(
        decimal=stated.decimal,
        dates=stated.dates,
        side=stated.side,
        sampling=stated.sampling,
        started=stated.start is not None,
    )
    if profile is None:
        return wishes
    return replace(
        wishes,
        profile=profile,
        delimiter=profile.file.delimiter,
        decimal=stated.decimal or profile.file.decimal,
        encoding=profile.file.encoding,
        header_line=profile.file.header_line,
        side=stated.side or profile.side,
        sampling=stated.sampling or profile.sampling,
    )


def _meta(export: Export, stated: Stated, zone: str | None) -> LogMeta:
    profile, assumed = stated.profile, zone or zone_of_computer()
    side = stated.side or (profile.side if profile else None)
    said = []
    if export.needs_zone and zone is None:
        said.append(f"the times carry no zone; this computer's own, {assumed}, is assumed (--zone says another)")
    if export.undated:
        said.append("the times only count from the start, so no dates are known (--start says when it began)")
    return LogMeta(
        meter=stated.meter,
        side=side or ("ac" if export.layouts[0].ac else "dc"),
        sampling=stated.sampling or (profile.sampling if profile else None) or "instant",
        counter_kind=(profile.counter if profile else None) or "net",
        profile=profile.name if profile else None,
        zone="UTC" if export.undated else assumed,
        zone_assumed=zone is None and export.needs_zone,
        undated=export.undated,
        sign_applied=-1 if stated.reverse_sign else 1,
        markers=list(export.markers),
        said=said,
        tool_version=__version__,
    )
