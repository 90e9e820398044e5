"""Figures of two logs beside each other, and what lies between them."""

from __future__ import annotations

from math import isfinite
from typing import TYPE_CHECKING

from shuntbook.analysis.not_known import Missing

from .numbers import amount, duration, number, rounded_u95, with_sign

if TYPE_CHECKING:
    from shuntbook.analysis.several_logs.compared import Compared
    from shuntbook.analysis.stats.interval95 import Within

#: Differences in time with a wider interval are told in minutes. [s]
_IN_MINUTES_S = 30.0

NO_DIFFERENCE = "no difference that these logs can show"


def cells_of(row: Compared) -> list[str]:
    """Return a figure's name, its values in both logs, the difference, how many times, and what of it can be told."""
    return [row.name, figure(row.before.value, row.unit), figure(row.after.value, row.unit), *_apart(row)]


def _apart(row: Compared) -> list[str]:
    if isinstance(row.difference, Missing):
        return ["not judged", "", ""]
    apart = row.difference
    ratio = "" if row.ratio is None else f"{number(row.ratio.low)} to {number(row.ratio.high)}"
    if not row.differs:
        return [difference(apart, row.unit), ratio, NO_DIFFERENCE]
    return [difference(apart, row.unit), ratio, "more" if apart.value > 0 else "less"]


def figure(x: float, unit: str) -> str:
    """Return a figure as people write it: seconds as a duration."""
    return duration(x) if unit == "s" else amount(x, unit).rstrip()


def difference(apart: Within, unit: str) -> str:
    """Return a difference with its ends, with their signs and as many digits as the interval gives: ``+1.5 Ah, …``."""
    half = max(apart.high - apart.value, apart.value - apart.low)
    if not isfinite(half):
        return _signed(apart.value, 2, unit)
    if unit == "s" and half >= _IN_MINUTES_S:
        return "{}, {} to {}".format(*(with_sign(x, duration(abs(x))) for x in (apart.value, apart.low, apart.high)))
    digits = max(rounded_u95(half)[0], 0) if half > 0 else 2
    unit = "percentage points" if unit == "%" else unit
    value, low, high = (_signed(x, digits) for x in (apart.value, apart.low, apart.high))
    return f"{value} {unit}, {low} to {high}" if unit else f"{value}, {low} to {high}"


def _signed(x: float, digits: int, unit: str = "") -> str:
    return f"{with_sign(x, f'{abs(x):,.{digits}f}')} {unit}".rstrip()
