"""How the figures of a site's days change over its logs: robust slopes, and a verdict that is slow to alarm."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Sequence
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
#: So many days on either side of an instant are set beside each other, to tell whether a figure steps there. [1]
NEAREST: Final = 3
#: Of few days the scatter is known so much worse: tried on simulated days.
_FEW: Final = 6.0
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


@dataclass(frozen=True)
class FigureStep:
    """How a figure differs on either side of an instant: the medians of the nearest days before it and after. [unit]

    `clear` is how many times as large the difference is as chance and the days' own slopes make it: over 1.
    """

    code: str
    name: str
    unit: str
    before: float
    after: float
    clear: float


class DaySteps:
    """Looks for figures that step from one level to another at an instant, among days in order of time.

    A figure steps where each of the nearest days after lies on one side of each of those before, farther than days
    scatter and than it moved within those days anyway: who notes something amid a slide has not caused it.
    """

    def __init__(self, days: Sequence[Day]) -> None:
        some = [day for day, fit in zip(days, counts(days), strict=True) if fit]
        self._starts_us, self._stops_us = ([getattr(day, end) for day in some] for end in ("start_us", "stop_us"))
        self._at_d = np.array([(day.start_us + day.stop_us) / 2 / _DAY_US for day in some])
        followed = [figure for figure in FIGURES if _any(days, figure.code)]
        values = [values_of_days(some, figure.code) for figure in followed]
        self._figures = [(figure, y, _scatter(y), self._slope(y)) for figure, y in zip(followed, values, strict=True)]

    def at(self, at_us: int, *, instants: int = 1) -> tuple[FigureStep, ...]:
        """Return the figures that step at an instant, the clearest first; `instants` is how many are looked at."""
        sides = self._sides(at_us)
        if sides is None:
            return ()
        # As for trends: chance steps in none of all figures and instants, with 95 %.
        reach = NormalDist().inv_cdf(1 - 0.025 / max(len(self._figures) * instants, 1))
        steps = (self._step(*each, *sides, reach) for each in self._figures)
        return tuple(sorted((step for step in steps if step is not None), key=lambda step: -step.clear))

    def clearest(self, notes: Iterable[tuple[int, str]]) -> tuple[int, str] | None:
        """Return the note at which a figure steps most clearly, notes of one day together; None where none does."""
        # The nearest days are the same for all notes of a day, so that instants are no more than days.
        by_sides: dict[tuple[int, int], list[tuple[int, str]]] = {}
        for at_us, text in sorted(set(notes)):
            if (sides := self._sides(at_us)) is not None:
                by_sides.setdefault(sides, []).append((at_us, text))
        clear = [(self.at(noted[0][0], instants=len(by_sides)), noted) for noted in by_sides.values()]
        _, noted = max(clear, key=lambda each: each[0][0].clear if each[0] else 0.0, default=((), []))
        if not any(steps for steps, _ in clear):
            return None
        return noted[0][0], "; ".join(text for _, text in noted)

    def _sides(self, at_us: int) -> tuple[int, int] | None:
        """Return how many days end before an instant and which begins after it; None where either side has too few."""
        low, high = bisect_right(self._stops_us, at_us), bisect_left(self._starts_us, at_us)
        return (low, high) if low >= NEAREST and len(self._starts_us) - high >= NEAREST else None

    def _slope(self, y: FloatArray) -> float:
        known = np.isfinite(y)
        return theil_sen(self._at_d[known], y[known])[0] if known.sum() > 1 else 0.0

    def _step(
        self, figure: FollowedFigure, y: FloatArray, scatter: float, slope: float, low: int, high: int, reach: float
    ) -> FigureStep | None:
        windows = slice(low - NEAREST, low), slice(high, high + NEAREST)
        before, after = (y[window] for window in windows)
        apart = before.max() < after.min() or before.min() > after.max()
        if not apart:  # nor is it where a day has none: NaN is on no side
            return None
        change = float(np.median(after) - np.median(before))
        # By what all days, or those next to it, moved a day anyway, that way, over the days between the middles.
        near = [float((y[w][-1] - y[w][0]) / (self._at_d[w][-1] - self._at_d[w][0])) for w in windows]
        between_d = float(np.median(self._at_d[windows[1]]) - np.median(self._at_d[windows[0]]))
        slide = max(0.0, *(each * between_d * np.sign(change) for each in (slope, *near)))
        by_chance = max(reach * scatter, LEAST_CHANGE * abs(float(np.nanmedian(y))))
        clear = abs(change) / (slide + by_chance) if slide + by_chance > 0 else 0.0
        return FigureStep(*figure, float(np.median(before)), float(np.median(after)), clear) if clear > 1 else None


def _scatter(y: FloatArray) -> float:
    """Return the standard deviation of the difference of two medians of `NEAREST` days, were they alike but for chance.

    It is that of one day, by the differences of neighbouring days, which a step in one place hardly changes.
    """
    apart = np.diff(y[np.isfinite(y)])
    if len(apart) < LEAST_DAYS - 1:
        return float("inf")
    # A normal error's deviation is 1.4826 times the median size (0.6745), a difference's the root of 2 times a day's.
    # Medians of three have two thirds of a day's, their difference 0.95 times; of few days the estimate is uncertain.
    return float(1.4826 * np.median(np.abs(apart - np.median(apart))) / sqrt(2) * (1 + _FEW / len(apart)))
