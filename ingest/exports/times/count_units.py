"""Units that a count of time is in, by its column's name: ``Elapsed (s)``, ``t_ms``, ``ticks (10 ms)``."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Final

UNITS_US: Final = {
    "s": 1_000_000, "ms": 1_000, "us": 1, "min": 60_000_000, "h": 3_600_000_000, "days": 86_400_000_000,
}  # fmt: skip
_WORDS: Final = {
    "s": {"s", "sec", "secs", "second", "seconds", "sekunden", "secondes"},
    "ms": {"ms", "msec", "millis", "millisecond", "milliseconds", "millisekunden"},
    "us": {"us", "usec", "micros", "microsecond", "microseconds"},
    "min": {"min", "mins", "minute", "minutes", "minuten"},
    "h": {"h", "hr", "hrs", "hour", "hours", "stunden", "heures"},
    "days": {"d", "day", "days", "tage", "jours"},
}
#: What is counted where the unit is not one of a clock's: a name with such a word says how long one of them lasts.
TICKS: Final = {"tick", "ticks", "count", "counts", "jiffies"}
_UNIT: Final = "(" + "|".join(sorted(set().union(*_WORDS.values()), key=len, reverse=True)) + r")(?![a-z])"
#: So many of a unit, as in 10 ms, or a part of it, as in 1/100 s.
_SEVERAL: Final = re.compile(rf"(?<![\d.,/])(\d+(?:[.,]\d+)?)(?:\s*/\s*(\d+))?\s*{_UNIT}")
_BRACKETED: Final = re.compile(rf"[(\[]\s*(\d+(?:[.,]\d+)?)(?:\s*/\s*(\d+))?\s*{_UNIT}\s*[)\]]")


def unit_of_name(header: str, words: set[str]) -> str | None:
    """Return the unit that a column's name, in small letters, says; empty where it says none.

    None where it counts something and does not say how long one of these lasts.
    """
    counts = words & TICKS
    several = (_SEVERAL if counts else _BRACKETED).search(header)
    if several is not None and (unit := _of_several(several)):
        return unit
    return next((unit for unit, names in _WORDS.items() if words & names), None if counts else "")


def _of_several(match: re.Match[str]) -> str:
    """Return a unit from its number, its divisor and its word; empty where it is no whole microseconds, or long."""
    count, divisor, word = match.groups()
    unit = next(unit for unit, names in _WORDS.items() if word in names)
    size_us = Fraction(count.replace(",", ".")) / max(int(divisor or 1), 1) * UNITS_US[unit]
    # (24 h) and (15 min) speak of a clock or of averages: what is counted is shorter than a second.
    if not 0 < size_us <= UNITS_US["s"] or size_us != int(size_us):
        return ""
    return next((unit for unit, us in UNITS_US.items() if us == size_us), f"{int(size_us)} us")


def unit_us(unit: str) -> int:
    """Return how long one of a unit lasts, that may be several of one: ``s``, ``10000 us``. [us]"""
    count, _, one = unit.rpartition(" ")
    return int(count or 1) * UNITS_US[one]
