"""The days of the folder's logs: a month at a glance by the day each began, with what its load took and its state."""

from __future__ import annotations

import time
from calendar import Calendar
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Final

from ...ingest.journal.opening import open_log
from ..opening.prepared_log import open_site, prepared_log
from ..render.wording.answer import load_took
from ..render.wording.clock import local
from ..render.wording.numbers import shortened
from ..render.wording.verdict import State, verdict_on
from .chosen import WRONG, ChosenSite
from .folder import Entry, Folder

if TYPE_CHECKING:
    from ...analysis.readings.log_facts import LogFacts
    from .desk_handler import DeskHandler

#: A log with more readings is not quick to know. [1]
_MOST_ROWS: Final = 200_000
#: So long a page of days may take; the logs that are left over are known by their names until it is loaded again. [s]
_PATIENCE_S: Final = 1.5
#: More logs than a year has days are looked for by name. [1]
_MOST_LOGS: Final = 400


@dataclass(frozen=True)
class LogDay:
    """A log: the day it began, None without dates; and what is quick to know of it.

    ``took`` is what its load took, "" where that is not known; ``state`` is None where nothing was worked out; ``why``
    says what keeps it from being read.
    """

    name: str
    began: date | None = None
    took: str = ""
    state: State | None = None
    why: str = ""

    @property
    def shown(self) -> str:
        """What stands for it on its day."""
        return self.took or self.title

    @property
    def title(self) -> str:
        """What it is called."""
        return shortened(self.name.removesuffix(".parquet").replace("_", " "), 28)


@dataclass(frozen=True)
class LogMonth:
    """A month: its first day, and its weeks of seven days from Monday, each with its logs; None beyond its ends."""

    first: date
    weeks: tuple[tuple[tuple[date | None, tuple[LogDay, ...]], ...], ...]


async def show_days(handler: DeskHandler, chosen: ChosenSite) -> None:
    """Answer with the days of the folder's logs."""
    logs = await handler.in_thread(log_days, handler.desk.folder, chosen)
    handler.show("days.html", months=months_of(logs), logs=logs, chosen=chosen)


def log_days(
    folder: Folder, chosen: ChosenSite, *, most: int = _MOST_LOGS, patience_s: float | None = None
) -> list[LogDay]:
    """Return the folder's logs, of `most` the newest, the latest first; those without dates last."""
    until_s = time.monotonic() + (_PATIENCE_S if patience_s is None else patience_s)
    site = folder.place(chosen.name) if chosen.name else None
    stamp = 0 if site is None else site.stat().st_mtime_ns
    days = [_day(folder, entry, site, stamp, until_s) for entry in folder.of_kind("log")[:most]]
    return sorted(days, key=lambda day: (day.began is None, -(day.began or date.min).toordinal(), day.name))


def _day(folder: Folder, entry: Entry, site: Path | None, site_stamp: int, until_s: float) -> LogDay:
    quick = time.monotonic() < until_s
    try:
        path = folder.existing(entry.name)
        return (_known if quick else _begun)(path, entry.changed_s, site, site_stamp)
    except WRONG as error:
        return LogDay(entry.name, why=folder.without_path(str(error)))
    except OSError as error:
        return LogDay(entry.name, why=f"cannot be read ({error.strerror})")


@lru_cache(maxsize=2 * _MOST_LOGS)
def _begun(path: Path, _changed_s: float, site: Path | None, _site_stamp: int) -> LogDay:
    """Return when a log began, and nothing else; it is not completed, since its capture may be going on."""
    log = open_log(path, complete=False)
    facts = prepared_log(log, open_site(site)).facts
    return LogDay(path.name, _first_day(next((int(part.time_us[0]) for part in log.scan([])), None), facts))


@lru_cache(maxsize=2 * _MOST_LOGS)
def _known(path: Path, changed_s: float, site: Path | None, site_stamp: int) -> LogDay:
    """Return a log's day with what its load took and its state, where it is short."""
    log = open_log(path, complete=False)
    if log.rows > _MOST_ROWS:
        return _begun(path, changed_s, site, site_stamp)
    from ..assembling.report import in_short  # it loads large libraries, which no other page of the desk needs

    system = open_site(site)
    report = in_short(prepared_log(log, system), system, None)
    total = load_took(report)
    took = "" if total is None else total.charge or total.energy or ""
    began = _first_day(report.charge.span.start_us, report.facts)
    return LogDay(path.name, began, took, verdict_on(report).state)


def _first_day(first_us: int | None, facts: LogFacts) -> date | None:
    return None if first_us is None or facts.undated else local(first_us, facts).date()


def months_of(days: Sequence[LogDay]) -> list[LogMonth]:
    """Return the months in which logs began, the latest first."""
    dated = sorted((day for day in days if day.began is not None), key=_by_day, reverse=True)
    months = groupby(dated, lambda day: _by_day(day).replace(day=1))
    return [LogMonth(first, tuple(_weeks(first, list(logs)))) for first, logs in months]


def _by_day(day: LogDay) -> date:
    assert day.began is not None
    return day.began


def _weeks(first: date, logs: list[LogDay]) -> Iterator[tuple[tuple[date | None, tuple[LogDay, ...]], ...]]:
    for week in Calendar().monthdatescalendar(first.year, first.month):
        yield tuple(
            (day, tuple(log for log in logs if log.began == day)) if day.month == first.month else (None, ())
            for day in week
        )
