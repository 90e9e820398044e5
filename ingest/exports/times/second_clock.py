"""A second clock in the rows, such as elapsed seconds beside dates: held against the first as the rows pass."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from ...errors import InputError
from ...zone import NO_TIME
from .instants import parse
from .stamps import IntArray, Style, find_style

#: Names of clocks; those of beginnings and ends of intervals are others.
_CLOCKS = {
    "time", "elapsed", "timestamp", "datetime", "utc", "local", "uptime", "runtime", "seconds", "millis", "epoch",
    "unix", "zeit", "laufzeit", "uhrzeit", "sekunden", "temps", "ms", "s", "sec", "min", "minutes",
}  # fmt: skip
_OTHERS = {"end", "ende", "stop", "start", "begin", "fin", "until", "step", "cycle", "on", "off", "run", "since"}
#: Two clocks agree to within these seconds, so many of the coarser one's grains, and this share of what has passed; it
#: takes so many rows on end to tell that they do not. Common practice, no source.
_NEAR_S, _GRAINS, _DRIFT, _ON_END, _FEWEST = 2.5, 1.5, 5e-3, 5, 12
_QUARTER_US, _MOST_QUARTERS = 900_000_000, 12


@dataclass
class SecondClock:
    """The column of a second clock, and how far it was from the first clock at the beginning. [us]

    ``first_stood`` tells, once they do not agree any more, whether the first stood still while this one went on.
    """

    index: int
    style: Style
    _apart_us: int | None = None
    _first_us: int = 0
    _near_us: int = round(_NEAR_S * 1e6)
    _last_us: int | None = None
    is_over: bool = False
    first_stood: bool = False

    def first_apart(self, time_us: IntArray, cells: pa.Array) -> int | None:
        """Return the row from which the clocks do not agree any more; None where they do. [us]"""
        other_us = parse(cells, self.style)
        rows = np.flatnonzero((time_us != NO_TIME) & (other_us != NO_TIME))
        if self.is_over or len(rows) < _ON_END:
            return None
        own_us, other_us = time_us[rows], other_us[rows]
        # A count that falls has begun anew: it is no clock of the whole log.
        if (np.diff(other_us) < 0).any() or (self._last_us is not None and other_us[0] < self._last_us):
            self.is_over = True
            return None
        self._last_us = int(other_us[-1])
        apart_us = own_us - other_us
        if self._apart_us is None:
            self._apart_us, self._first_us = int(np.median(apart_us[:_ON_END])), int(other_us[0])
            coarse = any(not (x % 60_000_000).any() for x in (own_us, other_us))
            self._near_us = max(self._near_us, round(_GRAINS * 60e6) if coarse else 0)
        moved_us = np.abs(apart_us - self._apart_us)
        far = moved_us > self._near_us + _DRIFT * (other_us - self._first_us)
        if self.style.kind == "calendar":
            # Summer time comes and goes in one of them.
            far &= (np.abs(moved_us - np.rint(moved_us / _QUARTER_US) * _QUARTER_US) > self._near_us) | (
                moved_us > _MOST_QUARTERS * _QUARTER_US
            )
        on_end = np.convolve(far, np.ones(_ON_END), "valid") >= _ON_END
        if not on_end.any():
            return None
        self.is_over = True
        first = int(np.argmax(on_end))
        self.first_stood = _goes_on(other_us[own_us == own_us[first]], self._near_us)
        return int(rows[first])

    def at_odds(self, own: str, other: str, place: str) -> str:
        """Return the sentence that two clocks, by their columns' names, do not agree from a place on.

        Raises
        ------
        InputError
            If the first stood still there: its times are none.
        """
        if self.first_stood:
            raise InputError(
                f"{place}: the clock of {own} stands still while that of {other} goes on; say in a profile (--profile) "
                "that the other holds the time: [time] column and style"
            )
        line = place.rpartition(", ")[2]
        return (
            f"from {line} on the clock of {other} does not go with that of {own} any more, which is taken: one of them "
            "was set, or stood still"
        )


def _goes_on(time_us: IntArray, near_us: int) -> bool:
    """Tell whether a clock passes on, by more than clocks may differ, in many steps and not in one jump."""
    span_us = int(time_us[-1] - time_us[0])
    return len(time_us) >= _FEWEST and span_us > near_us and int(np.diff(time_us).max()) < span_us / 2


def second_clock(names: Sequence[str], columns: Mapping[int, Sequence[str]]) -> SecondClock | None:
    """Return the first of some columns, by index, that is a clock by its name and its cells."""
    for index, cells in columns.items():
        words = set(re.findall(r"[a-zà-ÿ]+", names[index].lower()))
        if not words & _CLOCKS or words & _OTHERS or len(cells) < _FEWEST:
            continue
        style = find_style(cells, header=names[index])
        if style is not None and (style.order if style.kind == "calendar" else style.unit):
            return SecondClock(index, style)
    return None
