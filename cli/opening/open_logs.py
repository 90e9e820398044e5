"""Open logs and site files, and say what a log's readings stand for."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, cast

import click

from shuntbook.analysis.readings.chunk import Sampling, Side
from shuntbook.analysis.readings.log_facts import LogFacts
from shuntbook.analysis.readings.measured_span import CounterKind, HowRead

if TYPE_CHECKING:
    from shuntbook.analysis.site.site import Meter, Site
    from shuntbook.ingest.log.log import Log


def ends_of(log: Log) -> tuple[int, int]:
    """Return a log's first and last instant; both 0 for an empty one. [us]"""
    first = last = 0
    for k, readings in enumerate(log.scan([])):
        first = int(readings.time_us[0]) if k == 0 else first
        last = int(readings.time_us[-1])
    return first, last


def how_read(log: Log) -> HowRead:
    """Return what a reading of a log stands for; the metadata was checked when the log was opened."""
    meta = log.meta
    return HowRead(
        side=cast(Side, meta.side),
        sampling=cast(Sampling, meta.sampling),
        gap_limit_s=_gap_limit_s(log),
        usual_interval_s=meta.usual_interval_s,
        counter_kind=cast(CounterKind, meta.counter_kind),
        other_gap_limit_s=meta.other_gap_limit_s,
        noted=meta.noted,
    )


def _gap_limit_s(log: Log) -> float:
    assert log.meta.gap_limit_s is not None
    return log.meta.gap_limit_s


def facts_of(log: Log, site: Site | None = None) -> LogFacts:
    """Return what the reader of a result must know about a log's origin; a site's zone goes before the log's."""
    meta = log.meta
    zone = site.zone if site is not None and site.zone else meta.zone
    return LogFacts(
        name=log.path.name,
        meter=meta.meter,
        side=cast(Side, meta.side),
        sampling=cast(Sampling, meta.sampling),
        gap_limit_s=_gap_limit_s(log),
        usual_interval_s=meta.usual_interval_s,
        zone=zone,
        zone_assumed=meta.zone_assumed,
        undated=meta.undated,
        source=", ".join(str(source.get("name", "?")) for source in meta.source) or log.path.name,
        rows_read=meta.rows_read or log.rows,
        rows_kept=meta.rows_kept or log.rows,
        rows_rejected=meta.rows_rejected,
        rows_merged=meta.rows_merged,
        said=tuple(meta.said),
        markers=tuple(meta.markers),
        other_gap_limit_s=meta.other_gap_limit_s,
    )


def meter_of(site: Site | None, name: str | None, side: str) -> Meter | None:
    """Return the site's table of a meter: by its name, else the only one on its side."""
    meters = site.meters if site is not None else ()
    named = [meter for meter in meters if meter.name == name]
    beside = [meter for meter in meters if meter.side == side]
    return named[0] if named else beside[0] if len(beside) == 1 else None


def open_and_tell(path: Path) -> Log:
    """Open a log, and say so if an unfinished capture had to be completed for it."""
    from shuntbook.ingest.journal.opening import open_log

    log = open_log(path)
    if log.completed is not None:
        click.echo(f"note: {log.completed}", err=True)
    return log


def open_site(path: Path | None) -> Site | None:
    """Return the checked site file, if one is named."""
    return None if path is None else read_site(path)


def read_site(path: Path) -> Site:
    """Return the checked site file."""
    from shuntbook.analysis.site.site import Site
    from shuntbook.ingest.toml.toml_file import read_toml

    return read_toml(path, Site)
