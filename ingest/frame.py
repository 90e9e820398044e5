"""A log as a pandas DataFrame, for notebooks."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from .errors import InputError
from .zone import zone_named

if TYPE_CHECKING:
    import pandas as pd

    from .log import Log

#: An end of a stretch: a date and time, as text in ISO 8601, too; in a log without dates the time since its start.
When = str | datetime | timedelta


def frame_of(log: Log, quantities: Sequence[str] | None, start: When | None, stop: When | None) -> pd.DataFrame:
    """Return a log, or a stretch of it, as `Log.to_pandas` says."""
    import pandas as pd

    names = list(log.quantities if quantities is None else quantities)
    if unknown := [name for name in names if name not in log.quantities]:
        raise InputError(f"{log.path}: has no {unknown[0]}; it holds {', '.join(log.quantities)}")
    from_us, to_us = (None if when is None else _microseconds(when, log) for when in (start, stop))
    parts = list(log.scan(names, from_us=from_us, to_us=to_us))
    time_us = np.concatenate([np.empty(0, np.int64), *(part.time_us for part in parts)])
    columns = {name: np.concatenate([np.empty(0), *(part.quantities[name] for part in parts)]) for name in names}
    if log.meta.undated:
        index: pd.Index = pd.TimedeltaIndex(time_us.astype("timedelta64[us]"), name="elapsed")
    else:
        index = pd.DatetimeIndex(time_us.astype("datetime64[us]"), name="time").tz_localize("UTC")
    inside = np.ones(len(time_us), dtype=bool)
    inside &= True if from_us is None else time_us >= from_us
    inside &= True if to_us is None else time_us <= to_us
    return pd.DataFrame(columns, index=index)[inside]


def _microseconds(when: When, log: Log) -> int:
    """Return an end of a stretch as the log counts its time; a clock time without a zone is one of the log's. [us]."""
    if log.meta.undated:
        if not isinstance(when, timedelta):
            raise InputError(f"{log.path}: has no dates; give start and stop as timedelta since its start")
        return when // timedelta(microseconds=1)
    try:
        moment = datetime.fromisoformat(when) if isinstance(when, str) else when
    except ValueError:
        moment = None
    if not isinstance(moment, datetime):
        raise InputError(f"{log.path}: {when!r} is no date and time; write it like 2026-06-13T10:30")
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=zone_named(log.meta.zone, what="the log's zone"))
    return (moment - datetime.fromisoformat("1970-01-01T00:00:00Z")) // timedelta(microseconds=1)
