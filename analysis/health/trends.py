"""How running draw, run time and rest time change over days and weeks: robust slopes with their intervals."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from ..readings.chunk import MICROSECONDS, FloatArray
from ..stats.ranks import theil_sen
from .runs import Runs

#: A slope is worked out from at most so many cycles, evenly thinned: all pairs of them are looked at.
MOST_POINTS: Final = 300
#: From so many cycles over so long a time on there is a trend to speak of: common practice, no source. [1, s]
LEAST_POINTS: Final = 20
LEAST_SPAN_S: Final = 2 * 86400.0
DAY_US: Final = 86400 * MICROSECONDS


@dataclass(frozen=True)
class Trend:
    """How one figure of a load's cycles changes a day, with its 95 % interval, and its median; in its own unit.

    `name` is the field of the cycle: ``run_W``, ``run_A``, ``run_s`` or ``off_before_s``. From the first cycle that
    counts to the last it is `span_d`.
    """

    name: str
    per_day: float
    low: float
    high: float
    usual: float
    span_d: float
    count: int

    @property
    def change(self) -> float:
        """Change over the whole span, as a share of the usual value. [1]."""
        return self.per_day * self.span_d / self.usual

    @property
    def sure(self) -> bool:
        """Whether the interval holds no zero: the figure does change."""
        return self.low > 0 or self.high < 0


def trend_of(runs: Runs, name: str, values: FloatArray) -> Trend | None:
    """Return how a field changes; None where the cycles are too few or lie too close together.

    `values`, shape (n,), is the field's value for each cycle; NaN where it does not count.
    """
    known = np.flatnonzero(~np.isnan(values))
    if len(known) < LEAST_POINTS:
        return None
    span_us = int(runs.start_us[known[-1]] - runs.start_us[known[0]])
    usual = float(np.median(values[known]))
    # Day and night differ, so what changes within a day or two is no trend.
    if span_us < LEAST_SPAN_S * MICROSECONDS or usual <= 0:
        return None
    # Thinned by rank and not by chance, so that the same log has the same trend.
    some = known[np.unique(np.linspace(0, len(known) - 1, MOST_POINTS).round().astype(int))]
    days = (runs.start_us[some] - runs.start_us[some[0]]) / DAY_US
    slope, low, high = theil_sen(days, values[some])
    return Trend(name, slope, low, high, usual, span_us / DAY_US, len(known))


def trends_of(runs: Runs) -> tuple[Trend, ...]:
    """Return the trends of running draw, run time and rest time, as far as there are any."""
    fields = {f"run_{runs.draw_unit}": runs.draw, "run_s": runs.run_s, "off_before_s": runs.rest_s}
    return tuple(trend for name, values in fields.items() if (trend := trend_of(runs, name, values)) is not None)
