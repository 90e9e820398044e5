"""How the figures of a site's days change over its logs: robust slopes, and a verdict that is slow to alarm."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from math import sqrt
from statistics import NormalDist
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from ..one_log.log_report import LogReport
from ..readings.chunk import MICROSECONDS, FloatArray
from ..stats.interval95 import Within
from ..stats.ranks import theil_sen
from .day_figures import FIGURES, DayFigures, FollowedFigure

#: From so many days on there is a trend to speak of, as eight runs are needed to judge a load: common practice, no
#: source. [1]
LEAST_DAYS: Final = 8
#: A day of which less than this share of a usual day's time was measured takes no part: common practice, no source. [1]
LEAST_SHARE: Final = 0.5
#: A change over all the days that is smaller than this share of the usual value is not worth a word: common practice,
#: no source. [1]
LEAST_CHANGE: Final = 0.05
#: A line that may bend with the values takes about so much of their likeness from day to day: tried on simulated days.
_TAKEN_BY_LINE: Final = 0.25
_DAY_US: Final = 86400 * MICROSECONDS

TrendPeriod = Literal["all", "before", "after"]
TrendVerdict = Literal["rising", "falling", "no change to be told", "not judged"]


@dataclass(frozen=True)
class Day:
    """A local day: its date, its two midnights [us], its figures, and the logs that these are of."""

    date: date
    start_us: int
    stop_us: int
    figures: DayFigures
    logs: tuple[LogReport, ...] = ()


@dataclass(frozen=True)
class DayTrend:
    """How one figure changes from day to day.

    Parameters
    ----------
    stretch : {'all', 'before', 'after'}
        Over which days: all of them, or those on one side of a change that was named.
    code, name, unit : str
        The field of `DayFigures`, what it is called, and its unit; a share of one is told in per cent.
    usual : float or None
        Its median. [unit of the field]
    per_day : Within or None
        Change a day, and its interval: all figures' intervals hold together with 95 %. [unit/d]
    span_d, count : float, int
        From the first day that counts to the last, and how many count.
    why : str
        Why it was not judged, or why a change that is sure is not told; else empty.
    """

    stretch: TrendPeriod
    code: str
    name: str
    unit: str
    usual: float | None
    per_day: Within | None
    span_d: float
    count: int
    verdict: TrendVerdict
    why: str = ""

    @property
    def change(self) -> float | None:
        """Change over all the days. [unit of the field]"""
        return None if self.per_day is None else self.per_day.value * self.span_d


def counts(days: Sequence[Day]) -> NDArray[np.bool_]:
    """Return which days were measured long enough to be set beside the others."""
    measured_s = np.array([day.figures.measured_s for day in days])
    return np.asarray(measured_s >= LEAST_SHARE * np.median(measured_s)) if len(days) else np.zeros(0, bool)


def values_of_days(days: Sequence[Day], code: str) -> FloatArray:
    """Return a figure of each day; NaN where it is not known."""
    values = [getattr(day.figures, code) for day in days]
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)


def day_trends(days: Sequence[Day], changed_at_us: int | None = None) -> tuple[DayTrend, ...]:
    """Return the trend of each figure that any of the days, in order of time, has.

    Where something was changed, the days before it and those after have each their own trends, and its own day has part
    in none.
    """
    some = [day for day, fit in zip(days, counts(days), strict=True) if fit]
    figures = [figure for figure in FIGURES if _any(days, figure.code)]
    stretches = _stretches(some, changed_at_us)
    # To alarm seldom where nothing changes: of k figures that are judged each interval is one of 1 - 0.05/k
    # (Bonferroni), so that all hold together with 95 %.
    judged = sum(_known(part, figure.code) >= LEAST_DAYS for part in stretches.values() for figure in figures)
    reach = NormalDist().inv_cdf(1 - 0.025 / max(judged, 1))
    return tuple(_trend(stretch, figure, part, reach) for figure in figures for stretch, part in stretches.items())


def _stretches(days: Sequence[Day], changed_at_us: int | None) -> dict[TrendPeriod, Sequence[Day]]:
    if changed_at_us is None:
        return {"all": days}
    return {
        "before": [day for day in days if day.stop_us <= changed_at_us],
        "after": [day for day in days if day.start_us >= changed_at_us],
    }


def _known(days: Sequence[Day], code: str) -> int:
    return int(np.isfinite(values_of_days(days, code)).sum())


def _any(days: Sequence[Day], code: str) -> bool:
    """Tell whether any day has a figure; amps and Ah are not followed beside watts and Wh, which say it better."""
    better = {"run_A": "run_W", "drawn_Ah_per_h": "drawn_Wh_per_h"}.get(code)
    if better is not None and _any(days, better):
        return False
    return any(getattr(day.figures, code) is not None for day in days)


def _trend(stretch: TrendPeriod, figure: FollowedFigure, days: Sequence[Day], reach: float) -> DayTrend:
    at_d = np.array([(day.start_us + day.stop_us) / 2 / _DAY_US for day in days])
    values = values_of_days(days, figure.code)
    known = np.isfinite(values)
    x, y = at_d[known], values[known]
    usual = float(np.median(y)) if len(y) else None
    span_d = float(x[-1] - x[0]) if len(x) else 0.0
    if usual is None or len(y) < LEAST_DAYS:
        days_were = "no day was" if not len(y) else "one day was" if len(y) == 1 else f"{len(y)} days were"
        why = f"{days_were} measured long enough; at least {LEAST_DAYS} are needed"
        return DayTrend(stretch, *figure, usual, None, span_d, len(y), "not judged", why)
    slope = theil_sen(x, y)[0]
    per_day = Within(*theil_sen(x, y, reach * _wider(y, rising=slope > 0)))
    verdict, why = _verdict(per_day, span_d, usual)
    return DayTrend(stretch, *figure, usual, per_day, span_d, len(y), verdict, why)


def _verdict(per_day: Within, span_d: float, usual: float) -> tuple[TrendVerdict, str]:
    if per_day.holds(0.0):
        return "no change to be told", ""
    if abs(per_day.value) * span_d < LEAST_CHANGE * abs(usual):
        return "no change to be told", f"it moves by less than {100 * LEAST_CHANGE:.0f} % over all the days"
    return ("rising" if per_day.value > 0 else "falling"), ""


def _wider(y: FloatArray, *, rising: bool) -> float:
    """Return how much wider an interval must be where values resemble the one before; 1 where they do not."""
    from scipy.optimize import isotonic_regression  # heavy, and needed for days of many logs alone

    # What is left over a line that rises (or falls) any way it likes is looked at: a trend that is bent, not straight,
    # must not pass for days that are alike.
    left_over = y - isotonic_regression(y, increasing=rising).x
    about = left_over - left_over.mean()
    spread = float(about @ about)
    r = float(about[1:] @ about[:-1]) / spread + _TAKEN_BY_LINE if spread > 0 else 0.0
    # As many independent values as n (1 - r)/(1 + r), r the correlation from day to day (Bayley and Hammersley 1946,
    # from memory). Nearer to 1 than 0.9 it cannot be told from few days.
    r = min(max(r, 0.0), 0.9)
    return sqrt((1 + r) / (1 - r))
