"""What a worker does: read one log, and return one line on it whatever happens."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Final

from ... import __version__
from ...analysis.not_known import Refusal
from ...analysis.one_log.log_analysis import LogAnalysis
from ...analysis.quality.fitness import verdict_of
from ...analysis.several_logs.fleet import LogSummary, summary_of
from ...ingest.errors import InputError
from ...ingest.fleet.find_logs import FoundLog
from ...ingest.fleet.remote import as_files
from ...ingest.fleet.summary_table import is_table
from ...ingest.journal.opening import open_log
from ..opening.prepared_log import prepared_log, read_site

if TYPE_CHECKING:
    from ...analysis.site.site import Site


#: What the metadata of a fleet's summary says it is.
KIND: Final = "summary of a fleet by shuntbook"


@dataclass(frozen=True)
class SiteFile:
    """A site file: its name among the fleet's, where it is, and a stamp that changes when it does."""

    name: str
    place: str
    stamp: str


@dataclass(frozen=True)
class Task:
    """A log to read, with its site file, and the load to look for."""

    log: FoundLog
    site: SiteFile | None = None
    load: str | None = None

    @property
    def key(self) -> list[str | None]:
        """What its summary rests on: it is worked out again when any of it has changed."""
        site = (None, None) if self.site is None else (self.site.name, self.site.stamp)
        return [__version__, self.log.stamp, *site, self.load]


@dataclass(frozen=True)
class Done:
    """A log's summary, and how long it took to work out. [s]"""

    summary: LogSummary
    took_s: float


def read_logs(tasks: Sequence[Task]) -> list[Done]:
    """Read some logs, one after the other."""
    return [read_log(task) for task in tasks]


def read_log(task: Task) -> Done:
    """Read a log; what cannot be read is told in the summary's ``reason``, and never raised.

    One log of ten thousand must not end the run, so even a fault of ours is one line.
    """
    begun_s = time.perf_counter()
    try:
        with as_files(task.log.place, None if task.site is None else task.site.place) as (log, site):
            assert log is not None
            summary = _read(task, log, site)
    except (InputError, Refusal) as why:
        summary = not_read(task, str(why))
    except OSError as error:
        summary = not_read(task, f"cannot be read ({error.strerror or error})")
    except Exception as error:
        summary = not_read(task, f"a fault of ours ({type(error).__name__}: {error})")
    return Done(summary, time.perf_counter() - begun_s)


def not_read(task: Task, reason: str) -> LogSummary:
    """Return the line on a log that could not be read."""
    site = None if task.site is None else task.site.name
    # a reason may hold the name of a file, which need not be text, as each cell of the summary must be
    reason = reason.encode("utf-8", "backslashreplace").decode()
    return LogSummary(task.log.name, "unfinished" if task.log.kind == "unfinished" else "not read", reason, site=site)


def _read(task: Task, log: Path, site: Path | None) -> LogSummary:
    try:
        known = None if site is None or task.site is None else _site(site, task.site.stamp)
        return _summary(task, log, known)
    except (InputError, Refusal) as why:  # by its name in the fleet: where it lies, or was copied to, changes
        # The summary of an earlier run may lie among the logs; looked at only now, it costs sound logs nothing.
        if is_table(log, KIND):
            return LogSummary(task.log.name, "summary")
        reason = str(why).replace(str(log), task.log.name)
        if site is not None and task.site is not None:
            reason = reason.replace(str(site), task.site.name)
        raise InputError(reason.removeprefix(f"{task.log.name}: ")) from None


def _summary(task: Task, path: Path, site: Site | None) -> LogSummary:
    # An unfinished capture may be going on, perhaps on another machine: it is left alone.
    ready = prepared_log(open_log(path, complete=False), site)
    analysis = LogAnalysis(ready.facts, ready.how, ready.quantities, site=site, load=task.load, figures=ready.figures)
    quality = ready.quality_fold(site, analysis.instants)
    ready.feed(analysis, quality)  # one pass; over a network the file's way here is what takes longest
    names = {} if site is None or task.site is None else {"site": task.site.name, "site_name": site.name}
    return summary_of(task.log.name, analysis.result(), verdict_of(quality.result(), ready.how), **names)


@lru_cache(maxsize=16)
def _site(path: Path, stamp: str) -> Site:  # noqa: ARG001 - a site file that changed is another one
    """Return a site file, read once for the logs that follow each other."""
    return read_site(path)
