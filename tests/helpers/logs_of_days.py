"""Reports of made-up days."""

from datetime import date, timedelta
from zoneinfo import ZoneInfo

from day_logs import made_log, us
from readings import US

HOUR_US = 3600 * US


DAY_US = 24 * HOUR_US


def zone_of(facts):
    """The rules of a log's zone."""
    return ZoneInfo(facts.zone)


def day_log(day, starts_h=(12.0,), name=None, **more):
    """A log of a whole day of UTC with starts at these hours of it."""
    start_us = us(f"{day}T00:00")
    starts_us = [start_us + round(h * HOUR_US) for h in starts_h]
    return made_log(name or str(day), start_us, start_us + DAY_US, starts_us, **{"zone": "UTC", **more})


def days_from(first, count):
    """So many dates from one on."""
    return [date.fromisoformat(first) + timedelta(days=k) for k in range(count)]
