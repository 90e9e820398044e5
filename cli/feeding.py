"""Open logs and feed their readings to folds, in one pass."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..analysis.charge import HowRead
from ..analysis.chunk import Chunk, Fold
from ..analysis.report import LogFacts

if TYPE_CHECKING:
    from ..analysis.site import Site
    from ..ingest.log import Log


def feed(
    log: Log, folds: Iterable[Fold[Any]], *, from_us: int | None = None, to_us: int | None = None
) -> None:
    """Run every reading of a log through all folds."""
    folds = list(folds)
    for readings in log.scan(from_us=from_us, to_us=to_us):
        chunk = Chunk(readings.time_us, readings.quantities)
        for fold in folds:
            fold.add(chunk)


def how_read(log: Log) -> HowRead:
    """Return what a reading of a log stands for."""
    meta = log.meta
    return HowRead(
        side=meta.side,  # type: ignore[arg-type] - checked when the log was opened
        sampling=meta.sampling,  # type: ignore[arg-type]
        gap_limit_s=meta.gap_limit_s or 10.0,
        usual_interval_s=meta.usual_interval_s,
        counter_kind=meta.counter_kind,  # type: ignore[arg-type]
    )


def facts_of(log: Log, site: Site | None = None) -> LogFacts:
    """Return what the reader of a result must know about a log's origin; a site's zone goes before the log's."""
    meta = log.meta
    zone = site.zone if site is not None and site.zone else meta.zone
    return LogFacts(
        name=log.path.name,
        meter=meta.meter,
        side=meta.side,  # type: ignore[arg-type]
        sampling=meta.sampling,  # type: ignore[arg-type]
        gap_limit_s=meta.gap_limit_s or 10.0,
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
    )


def open_site(path: Path | None) -> Site | None:
    """Return the checked site file, if one is named."""
    if path is None:
        return None
    from ..analysis.site import Site
    from ..ingest.toml_file import read_toml

    return read_toml(path, Site)
