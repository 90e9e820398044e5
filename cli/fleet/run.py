"""A run over a fleet: what is finished already, what is to be done, and what came of it."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from dataclasses import asdict, dataclass, fields
from typing import Any

from ...analysis.finding import Finding
from ...analysis.fleet import LogSummary
from ...ingest.kept_rows import KeptRows
from .one_log import Done, Task, not_read

Engine = Callable[[Sequence[Task]], Iterator[Done]]


@dataclass(frozen=True)
class FleetRun:
    """What came of a run.

    Parameters
    ----------
    summaries : tuple of LogSummary
        One for each log, in order of name.
    kept : int
        How many of them had been finished by an earlier run.
    took_s : float
        What reading the others took, of all workers together. [s]
    """

    summaries: tuple[LogSummary, ...]
    kept: int
    took_s: float


class Finished:
    """The summaries that need not be worked out again, read from and written to the rows kept beside the result."""

    def __init__(self, rows: KeptRows | None, tasks: Sequence[Task]) -> None:
        self._rows, self._tasks = rows, {task.log.name: task for task in tasks}
        kept = {} if rows is None else rows.rows
        self.summaries = {
            name: summary_from(kept[name]["summary"])
            for name, task in self._tasks.items()
            if name in kept and kept[name].get("of") == task.key
        }

    def add(self, done: Done) -> None:
        """Take a summary in; one of a log that could not be read is tried again by the next run."""
        summary = done.summary
        self.summaries[summary.log] = summary
        if self._rows is not None and summary.status == "read":
            key = self._tasks[summary.log].key
            self._rows.keep([{"log": summary.log, "of": key, "took_s": done.took_s, "summary": asdict(summary)}])

    def tidy(self) -> None:
        """Forget the rows of logs that are no longer there."""
        if self._rows is not None:
            self._rows.tidy(self._tasks)


def run_fleet(
    tasks: Sequence[Task], engine: Engine, rows: KeptRows | None, begin: Callable[[int, int], Callable[[], object]]
) -> FleetRun:
    """Read the logs that are not finished, and return what is known of all.

    Parameters
    ----------
    tasks : sequence of Task
        The logs.
    engine : callable
        Reads some, in any order.
    rows : KeptRows or None
        Where finished ones are kept; None keeps none.
    begin : callable
        Told how many logs there are and how many of them are finished; what it returns is called after each log.
    """
    finished = Finished(rows, tasks)
    for task in tasks:
        if task.log.kind != "log":
            finished.add(Done(not_read(task, task.log.reason or ""), 0.0))
    to_read = [task for task in tasks if task.log.name not in finished.summaries]
    kept = sum(summary.status == "read" for summary in finished.summaries.values())
    step, took_s = begin(len(tasks), len(tasks) - len(to_read)), 0.0
    with closing(_stream(engine, to_read)) as coming:
        for done in coming:
            finished.add(done)
            took_s += done.took_s
            step()
    finished.tidy()
    return FleetRun(tuple(finished.summaries[task.log.name] for task in tasks), kept, took_s)


def _stream(engine: Engine, tasks: Sequence[Task]) -> Any:  # noqa: ANN401 - an iterator that can be closed
    yield from engine(tasks) if tasks else ()


def summary_from(row: dict[str, Any]) -> LogSummary:
    """Return a summary from what JSON made of it; floats come back exactly."""
    known = {field.name for field in fields(LogSummary)}
    row = {name: value for name, value in row.items() if name in known}
    codes = {name: tuple(row[name]) for name in ("codes", "not_judged")}
    return LogSummary(**row | codes | {"findings": tuple(_finding(f) for f in row["findings"])})


def _finding(row: dict[str, Any]) -> Finding:
    return Finding(**row | {"cycles": tuple(row["cycles"])})
