"""Clocks that stood still: far more rows than usual behind one another with one and the same stamp.

A row or two that share a stamp are merged into their mean. Of a clock that stood, the mean would hold what flowed for
minutes or hours, so that is refused.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np

from ..errors import InputError
from .log import Readings, level_of
from .whole_stamps import MINUTE_US

#: So many rows of one stamp are no burst within a second, or within a minute where the stamps have no seconds, nor what
#: is so many times the usual number. Common practice, no source.
_FEWEST, _FEWEST_A_MINUTE, _TIMES = 20, 60, 5
#: What moves no amount by more than this share is a rounding. [1]
_MATTERS = 1e-3


def refuse_standing_clock(readings: Readings) -> None:
    """Refuse readings, in the order they were written, whose clock stood still while the readings went on.

    Raises
    ------
    InputError
        With the row and the count.
    """
    time_us, x = readings.time_us, level_of(readings.quantities)
    begins = np.flatnonzero(np.append(True, np.diff(time_us) != 0))
    counts = np.diff(begins, append=len(time_us))
    fewest = _FEWEST if (time_us % MINUTE_US).any() else _FEWEST_A_MINUTE
    stood = np.flatnonzero(counts >= max(fewest, _TIMES * np.median(counts) if len(counts) > 1 else 0))
    if x is None or not len(stood):
        return
    x = np.nan_to_num(x)
    total = float(np.abs(x).sum())
    for k in stood[np.argsort(-counts[stood])].tolist():
        rows = slice(begins[k], begins[k] + counts[k])
        if float(np.abs(x[rows] - x[rows].mean()).sum()) > _MATTERS * total:
            at = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=int(time_us[begins[k]]))
            raise InputError(
                f"row {begins[k] + 1} of the readings and the {counts[k] - 1:,} behind it share one time stamp "
                f"({at:%Y-%m-%d %H:%M:%S} UTC) and say otherwise: the clock stood still there, or the stamps are cut "
                "short; export it with full stamps (date, hours, minutes and seconds), or leave those rows out of the "
                "file"
            )
