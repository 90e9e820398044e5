"""A log that was just written, seen once through for what is shown first."""

from __future__ import annotations

from pathlib import Path
from typing import cast

from ...analysis.readings.chunk import Chunk, Sampling, Side
from ...analysis.readings.first_look import FirstLook, FirstLookFold
from ...analysis.readings.measured_span import HowRead
from ...ingest.log.log import Log
from ...ingest.log.meta import LogMeta


def first_look(path: Path, meta: LogMeta, quantities: tuple[str, ...]) -> FirstLook:
    """Return what is shown first of a log: the plain sums leave out a column that `charge` does not use either."""
    log = Log(path, (path,), meta, quantities, meta.rows_kept)
    look = _of(log, set(quantities))
    if not look.columns_apart:
        return look
    # Few logs come here: whether the watts are to be believed takes more of the program than the sums do.
    from .prepared_log import prepared_log

    trusted = prepared_log(log, None).quantities
    return look if "power_W" in trusted else look.with_energy_of(_of(log, trusted))


def _of(log: Log, quantities: set[str]) -> FirstLook:
    meta = log.meta
    assert meta.gap_limit_s is not None  # every conversion fixes it
    fold = FirstLookFold(
        HowRead(cast(Side, meta.side), cast(Sampling, meta.sampling), meta.gap_limit_s, meta.usual_interval_s),
        quantities,
    )
    for readings in log.scan():
        fold.add(Chunk(readings.time_us, readings.quantities))
    return fold.result()
