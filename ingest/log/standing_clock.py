"""Clocks that stood still: far more rows than usual behind one another with one and the same stamp.

A row or two that share a stamp are merged into their mean. Of a clock that stood, the mean would hold what flowed for
minutes or hours, so that is refused.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from functools import partial
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from ..errors import InputError
from .log import LEVELS, Readings, level_of
from .stored import forget, parts_of, slices, steps_of
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
    time_us, begins, counts = readings.time_us, *_long_stands(readings.time_us)
    if not set(LEVELS) & set(readings.quantities) or not len(begins):
        return
    total = sum(float(np.abs(x).sum()) for x in map(partial(_levels, readings), slices(len(time_us))))
    for k in np.argsort(-counts).tolist():
        x = _levels(readings, slice(begins[k], begins[k] + counts[k]))
        if float(np.abs(x - x.mean()).sum()) > _MATTERS * total:
            at = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=int(time_us[begins[k]]))
            raise InputError(
                f"row {begins[k] + 1} of the readings and the {counts[k] - 1:,} behind it share one time stamp "
                f"({at:%Y-%m-%d %H:%M:%S} UTC) and say otherwise: the clock stood still there, or the stamps are cut "
                "short; export it with full stamps (date, hours, minutes and seconds), or leave those rows out of the "
                "file"
            )


def _long_stands(time_us: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return where one stamp begins that far more rows than usual have behind one another, and how many have it."""
    shortest = _FEWEST if any((part % MINUTE_US).any() for part in parts_of(time_us)) else _FEWEST_A_MINUTE
    begin, usual = 0, np.zeros(shortest, dtype=np.int64)
    long: list[tuple[int, int]] = []
    for at, steps in chain(steps_of(time_us), [(len(time_us) - 1, np.ones(1, dtype=np.int64))]):
        ends = at + 1 + np.flatnonzero(steps)
        counts = np.diff(ends, prepend=begin)
        begin = int(ends[-1]) if len(ends) else begin
        # How many are usual is told by those that are no longer than a burst.
        usual += np.bincount(np.minimum(counts, shortest - 1), minlength=shortest)
        for k in np.flatnonzero(counts >= shortest).tolist():
            long.append((int(ends[k] - counts[k]), int(counts[k])))
    begins, rows = np.array(long, dtype=np.int64).reshape(-1, 2).T
    if usual.sum() < 2:
        return begins, rows
    stood = rows >= _TIMES * _median(usual, np.sort(rows))
    return begins[stood], rows[stood]


def _median(usual: NDArray[np.int64], longer: NDArray[np.int64]) -> float:
    """Return the median of counts: how often each of the lower ones is there, and the longest, which share the last."""
    upto = np.cumsum(usual)
    middle = []
    for k in ((upto[-1] - 1) // 2, upto[-1] // 2):
        count = int(np.searchsorted(upto, k, side="right"))
        beyond = int(k - (upto[-1] - len(longer)))
        middle.append(int(longer[beyond]) if beyond >= 0 else count)
    return sum(middle) / 2


def _levels(readings: Readings, rows: slice) -> NDArray[np.float64]:
    """Return the levels of some rows, 0 where the meter gave none. [A or W]"""
    x = level_of({name: column[rows] for name, column in readings.quantities.items()})
    forget(*readings.quantities.values())
    return np.nan_to_num(x if x is not None else np.zeros(rows.stop - rows.start))
