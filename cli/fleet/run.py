"""A run over a fleet: which logs there are, what is finished already, how far it is, and the table that comes of it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import asdict, dataclass, fields
from datetime import datetime
from pathlib import Path, PurePosixPath
from typing import Any, Final

import pyarrow as pa

from ...analysis.health.finding import Finding
from ...analysis.several_logs.fleet import RULE, LogSummary, counts_of
from ...analysis.several_logs.pooled import taken_in_all
from ...ingest.errors import InputError
from ...ingest.fleet.find_logs import LOG, SITE, FoundLog, find_fleet, find_sites, meter_of
from ...ingest.fleet.finished_rows import KeptRows
from ...ingest.fleet.summary_table import write_table
from ...ingest.log.log import TIME_TYPE
from ..door import console, has_terminal
from ..render.documents.parts import Document
from ..render.wording.clock import moment_of
from .one_log import KIND, Done, SiteFile, Task, not_read

#: The rule, for the command's help and whoever looks at its results.
SITE_RULE = (
    "A log's site file is the nearest site.toml, in its own folder or one above, up to the fleet's. With --site-dir D "
    "it is D/<path and name of the log>.toml, else D/<name of the log>.toml, else D/<the log's meter>.toml."
)

#: By its name in the fleet, where a site file is, and its stamp.
Sites = Mapping[str, tuple[str, str]]


def tasks_of(
    places: Sequence[str], *, site_dir: str | None = None, load: str | None = None, leave_out: Iterable[Path] = ()
) -> list[Task]:
    """Return what there is to do, in order of the logs' names.

    `InputError` if a place or the folder of site files does not exist, or no log is found.
    """
    fleet = find_fleet(places, leave_out=leave_out)
    if site_dir is None:
        sites: Sites = fleet.sites
        chosen = {name: _nearest(name, sites) for name in fleet.logs}
    else:
        sites = find_sites(site_dir)
        chosen = {name: _by_name(log, sites) for name, log in fleet.logs.items()}
    return [Task(log, _file(chosen[name], sites), load) for name, log in sorted(fleet.logs.items())]


def _nearest(log: str, sites: Sites) -> str | None:
    near = ((folder / f"site{SITE}").as_posix() for folder in PurePosixPath(log).parents)
    return next((name for name in near if name in sites), None)


def _by_name(log: FoundLog, sites: Sites) -> str | None:
    path = log.name.removesuffix(LOG)
    for name in (path, PurePosixPath(path).name):
        if f"{name}{SITE}" in sites:
            return f"{name}{SITE}"
    # The meter comes last, since it must be read from the log itself.
    by_meter = f"{meter_of(log)}{SITE}"
    return by_meter if by_meter in sites else None


def _file(name: str | None, sites: Sites) -> SiteFile | None:
    return None if name is None else SiteFile(name, *sites[name])


OnProgress = Callable[[], object]


@contextmanager
def progress() -> Iterator[Callable[[int, int], OnProgress]]:
    """Give what begins a bar: told how many logs there are and how many are finished, it returns a step.

    Without a terminal nothing is shown.
    """
    if not has_terminal():
        yield lambda _total, _finished: lambda: None
        return
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("logs"), BarColumn(), MofNCompleteColumn(), TextColumn("left"), TimeRemainingColumn())
    with Progress(*columns, console=console(), transient=True) as bar:

        def begin(total: int, finished: int) -> OnProgress:
            shown = bar.add_task("logs", total=total, completed=finished)
            return lambda: bar.advance(shown)

        yield begin


Engine = Callable[[Sequence[Task]], Iterator[Done]]


@dataclass(frozen=True)
class FleetRun:
    """What came of a run: a summary for each log, in order of name.

    ``reused`` of them had been finished by an earlier run; reading the others took ``took_s``, of all workers together.
    """

    summaries: tuple[LogSummary, ...]
    reused: int
    took_s: float


class Finished:
    """The summaries that need not be worked out again, read from and written to the rows kept beside the result."""

    def __init__(self, rows: KeptRows | None, tasks: Sequence[Task]) -> None:
        self._rows, self._tasks = rows, {task.log.name: task for task in tasks}
        reused = {} if rows is None else rows.rows
        self.summaries = {
            name: summary
            for name, task in self._tasks.items()
            if name in reused and (summary := _kept(reused[name], task)) is not None
        }

    def add(self, done: Done) -> None:
        """Take a summary in; one of a log that could not be read is tried again by the next run."""
        summary = done.summary
        self.summaries[summary.log] = summary
        # A disk that was not mounted, a file still being copied: the reason may be gone tomorrow.
        if self._rows is not None and summary.status == "read":
            key = self._tasks[summary.log].key
            self._rows.keep([{"log": summary.log, "of": key, "took_s": done.took_s, "summary": asdict(summary)}])

    def tidy(self) -> None:
        """Forget the rows of logs that are no longer there."""
        if self._rows is not None:
            self._rows.tidy(self._tasks)


def run_fleet(
    tasks: Sequence[Task], engine: Engine, rows: KeptRows | None, begin: Callable[[int, int], OnProgress]
) -> FleetRun:
    """Read the logs that are not finished, in any order by the `engine`, and return what is known of all.

    `rows` is where finished ones are kept; None keeps none. `begin` is told how many logs there are and how many of
    them are finished; what it returns is called after each log.
    """
    # What is finished, or cannot be begun, is counted first: the bar then shows how much is truly left.
    finished = Finished(rows, tasks)
    for task in tasks:
        if task.log.kind != "log":
            finished.add(Done(not_read(task, task.log.reason or ""), 0.0))
    to_read = [task for task in tasks if task.log.name not in finished.summaries]
    reused = sum(summary.status == "read" for summary in finished.summaries.values())
    step, took_s = begin(len(tasks), len(tasks) - len(to_read)), 0.0
    # Closed, and so the workers ended, also where the loop is left by Ctrl-C.
    with closing(_stream(engine, to_read)) as coming:
        for done in coming:
            finished.add(done)
            took_s += done.took_s
            step()
    finished.tidy()
    # In order of name, whoever was done first: so the result does not depend on who read what.
    every = (finished.summaries[task.log.name] for task in tasks)
    logs = tuple(summary for summary in every if summary.status != "summary")
    if not logs:
        raise InputError("there is no log here but summaries of a fleet; make logs with 'shuntbook convert'")
    return FleetRun(logs, reused, took_s)


def _stream(engine: Engine, tasks: Sequence[Task]) -> Any:  # noqa: ANN401 - an iterator that can be closed
    yield from engine(tasks) if tasks else ()


def _kept(row: dict[str, Any], task: Task) -> LogSummary | None:
    """Return a log's summary from its row; None where the log has changed, or a row is damaged: it is read again."""
    if row.get("of") != task.key:
        return None
    try:
        return summary_from(row["summary"])
    except (AttributeError, KeyError, TypeError, ValueError):
        return None


def summary_from(row: dict[str, Any]) -> LogSummary:
    """Return a summary from what JSON made of it; floats come back exactly."""
    # Fields that are not known come of a row that somebody edited; those that are missing of an older program, whose
    # summary would have holes for ever.
    known = {field.name for field in fields(LogSummary)}
    if missing := known - row.keys():
        raise KeyError(min(missing))
    row = {name: value for name, value in row.items() if name in known}
    codes = {name: tuple(row[name]) for name in ("codes", "not_judged")}
    return LogSummary(**row | codes | {"findings": tuple(_finding(f) for f in row["findings"])})


def _finding(row: dict[str, Any]) -> Finding:
    if missing := {field.name for field in fields(Finding)} - row.keys():
        raise KeyError(min(missing))
    return Finding(**row | {"cycles": tuple(row["cycles"])})


#: A summary's findings are without their times.
_OF_FINDINGS: Final = [field.name for field in fields(Finding) if field.name not in ("cycles", "holds_us")]

_KINDS: Final = {
    "int": pa.int64(),
    "float": pa.float64(),
    "tuple[str, ...]": pa.list_(pa.string()),
    "tuple[Finding, ...]": pa.list_(pa.struct([(name, pa.string()) for name in _OF_FINDINGS])),
}


def rows_of(ranking: Sequence[LogSummary]) -> list[dict[str, Any]]:
    """Return a row for each log, the first in the ranking first; instants are those of a calendar."""
    return [{"rank": place, **_row(summary)} for place, summary in enumerate(ranking, start=1)]


def _row(summary: LogSummary) -> dict[str, Any]:
    row = {name.removesuffix("_us"): _instant(name, value) for name, value in asdict(summary).items()}
    return row | {"findings": [{name: finding[name] for name in _OF_FINDINGS} for finding in row["findings"]]}


def _instant(name: str, value: Any) -> Any:  # noqa: ANN401 - any value of a summary
    return moment_of(value) if name.endswith("_us") and value is not None else value


def write_summaries(path: Path, ranking: Sequence[LogSummary]) -> None:
    """Write the table as Parquet, whole or not at all; the same summaries give the same bytes."""
    write_table(path, rows_of(ranking), _schema(), KIND)


def _schema() -> pa.Schema:
    columns = [("rank", pa.int64())]
    for field in fields(LogSummary):
        kind = str(field.type).removesuffix(" | None")
        is_instant = field.name.endswith("_us")
        columns.append((field.name.removesuffix("_us"), TIME_TYPE if is_instant else _KINDS.get(kind, pa.string())))
    return pa.schema(columns)


def fleet_document(ranking: Sequence[LogSummary], work: Mapping[str, Any], version: str) -> Document:
    """Return a fleet's document; `work` says what the run took, and is all in it that another run may say otherwise."""
    rows = [{name: _in_json(value) for name, value in row.items()} for row in rows_of(ranking)]
    return {
        "load_total": asdict(taken_in_all(ranking)),
        "counts": asdict(counts_of(ranking)),
        "rule": RULE,
        "ranking": rows,
        "work": dict(work),
        "version": version,
    }


def _in_json(value: Any) -> Any:  # noqa: ANN401 - any value of a row
    return value.isoformat().replace("+00:00", "Z") if isinstance(value, datetime) else value
