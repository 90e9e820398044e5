"""The command for many logs at once."""

from __future__ import annotations

import os
from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ... import __version__
from ...analysis.several_logs.fleet import counts_of, ranked
from ...ingest.fleet.finished_rows import KeptRows, rows_path
from ...ingest.fleet.summary_table import is_table, refuse_another_table
from ...ingest.safe_files.whole_file import refuse_existing, refuse_input, write_text
from ..door import say
from ..exit import Exit
from ..fleet.one_log import KIND
from ..fleet.pool import on_this_machine
from ..fleet.run import (
    SITE_RULE,
    Engine,
    FleetRun,
    fleet_document,
    progress,
    run_fleet,
    tasks_of,
    write_summaries,
)
from ..fleet.words import fleet_answer
from ..render.documents.parts import print_json
from ..render.terminal.answer import explain_option, page_written, say_answer
from ..render.wording.numbers import counted, duration

if TYPE_CHECKING:
    from ..fleet.one_log import Task


def _cores() -> int:
    """Return how many cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


@click.command(
    "fleet",
    help=f"""Sum up every log under a folder, and say which to look after first.

    FOLDER holds logs at any depth: a file NAME.parquet, or a folder of that name with the files of one log. A pattern
    ('logs/*/pump.parquet'), single logs and the URL of a store (s3://..., with the extra 'fleet') will do, too. A log
    that cannot be read is a line with its reason; an unfinished capture is named and left alone.

    {SITE_RULE} A log without one is judged by published limits.

    The summary is kept up to date: run it again, and only logs that are new or have changed (they, their site file, or
    this program) are read. What is finished stands in SUMMARY.parquet.rows beside it, also after Ctrl-C; remove that
    file to have all read again.

    Example: shuntbook fleet logs --out fleet.parquet --page fleet.html
    """,
)
@click.argument("places", nargs=-1, required=True, metavar="FOLDER...")
@click.option("--site-dir", metavar="D", help="A folder (or its URL) with a site file for each log, by name.")
@click.option("--load", metavar="NAME", help="The load to look for, by its name in the site files. Default: the pump.")
@click.option("--workers", type=click.IntRange(1), help="Processes on this machine. Default: one for each core.")
@click.option("--scheduler", metavar="ADDRESS", help="Have a Dask cluster do it: tcp://HOST:8786 (extra 'fleet').")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=Path("fleet.parquet"),
    show_default=True,
    help="The summary to write or bring up to date (Parquet), a row a log, in order of the ranking.",
)
@click.option("--page", type=click.Path(path_type=Path), help="A page to write as well (HTML).")
@click.option("--strict", is_flag=True, help="End with status 4 if a finding wants watching or acting on.")
@click.option("--force", is_flag=True, help="Replace an existing page, and a file in the summary's place.")
@explain_option
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document alone.")
def command(
    places: tuple[str, ...],
    site_dir: str | None,
    load: str | None,
    workers: int | None,
    scheduler: str | None,
    out: Path,
    page: Path | None,
    strict: bool,
    force: bool,
    explain: bool,
    as_json: bool,
) -> int:
    """Sum up every log under a folder; see the help above."""
    _check_places(out, page, force=force)
    if scheduler is not None and workers is not None:
        raise click.UsageError("--workers is for this machine; a cluster has its own (leave out one of the two)")
    ours = [out] if is_table(out, KIND) else []  # from an earlier run; it may lie among the logs
    # Places first, then what lies in them: a mistake costs no search through a store.
    tasks = tasks_of(places, site_dir=site_dir, load=load, leave_out=ours)
    for result in (out, page):
        if result is not None:
            refuse_input(result, [task.log.place for task in tasks], called="one of the logs")
    run = _run(tasks, _engine(scheduler, workers or _cores()), out)
    # Written before anything is shown: what comes after can be had from it again.
    ranking = ranked(run.summaries)
    write_summaries(out, ranking)
    say(f"wrote {out}: {_work(run)}", err=as_json)
    if page is not None:
        from ..fleet.page import render

        write_text(page, render(ranking, __version__))
        say(page_written(page), err=as_json)
    counts = counts_of(ranking)
    if as_json:
        work = {"logs_kept": run.reused, "logs_computed": len(ranking) - run.reused, "worker_s": run.took_s}
        print_json(fleet_document(ranking, work, __version__))
    else:
        say_answer(fleet_answer(ranking), explain=explain)
    return int(Exit.FINDING if strict and counts.act + counts.watch else Exit.DONE)


def _check_places(out: Path, page: Path | None, *, force: bool) -> None:
    """Stop before the work where its results could not be written."""
    # A summary is brought up to date without --force, which is for a file that is no summary of ours.
    refuse_existing(out, force=True)
    refuse_another_table(out, KIND, force=force)
    if page is not None:
        refuse_existing(page, force=force, what="--page")
        refuse_input(page, [out, rows_path(out)], called="the summary itself")


def _engine(scheduler: str | None, workers: int) -> Engine:
    if scheduler is None:
        return partial(on_this_machine, workers=workers)
    from ..fleet.cluster import on_cluster

    return partial(on_cluster, address=scheduler)


def _run(tasks: Sequence[Task], engine: Engine, out: Path) -> FleetRun:
    """Run, and say what is kept where the run is stopped."""
    with KeptRows(out, KIND) as rows:
        try:
            with progress() as begin:
                return run_fleet(tasks, engine, rows, begin)
        except (KeyboardInterrupt, SystemExit):
            finished = sum(task.log.name in rows.rows for task in tasks)
            say(f"{finished} of {counted(len(tasks), 'log')} are kept; run it again to go on from there", err=True)
            raise


def _work(run: FleetRun) -> str:
    """Say what was done anew, and what that took."""
    done = len(run.summaries) - run.reused
    work = f"{counted(done, 'log')} read in {duration(run.took_s)} of work"
    return f"{work}, {run.reused:,} as they were" if run.reused else work
