"""The end of a capture: its logs finished, and what it all came to."""

from __future__ import annotations

from collections.abc import Sequence

import click

from shuntbook.cli.exit import Exit
from shuntbook.ingest.errors import InputError
from shuntbook.ingest.journal.compaction import finish
from shuntbook.ingest.journal.journal import Journal
from shuntbook.ingest.journal.lines import NothingCaptured
from shuntbook.ingest.live.capture import MeteredSource as Metered
from shuntbook.ingest.live.source import SourceLost
from shuntbook.ingest.safe_files.whole_file import reason_of

from .live_meter import Snapshot
from .screen import summary_lines


def finish_meters(meters: Sequence[Metered], journals: Sequence[Journal], snapshots: Sequence[Snapshot]) -> int:
    """Finish every log, whatever happened to the others, and say what came of it."""
    # All logs first: a failure that is told, or raised, must not keep the next meter's log from being written.
    status = Exit.DONE
    for meter, journal, snapshot in zip(meters, journals, snapshots, strict=True):
        status = max(status, _finish_log(meter, journal, snapshot))
    for meter in meters:
        status = max(status, _say_failure(meter))
    return int(status)


def _finish_log(meter: Metered, journal: Journal, snapshot: Snapshot) -> Exit:
    try:
        done = finish(journal)
    except NothingCaptured:
        click.echo(f"shuntbook: {snapshot.name}: no reading came, so no log was written", err=True)
        return Exit.DEVICE_FAILED
    except OSError as error:
        if isinstance(meter.failure, OSError):
            meter.failure = None  # the same disk: one sentence on it will do
        _say(
            snapshot.name,
            error,
            f"what was read is kept in {journal.path}; make room and run shuntbook look on the log",
        )
        return Exit.DEVICE_FAILED
    except InputError as error:
        click.echo(f"shuntbook: {error}; what was read is kept in {journal.path}", err=True)
        return Exit.BAD_INPUT
    click.echo(f"{snapshot.name}: {snapshot.readings:,} readings in {done.log}")
    for line in summary_lines(snapshot):
        click.echo(f"  {line}")
    for finding in snapshot.findings:
        click.echo(f"  {finding.severity.upper()}: {finding.title}")
    click.echo(f"  next: shuntbook charge {done.log}")
    return Exit.DONE


def _say_failure(meter: Metered) -> Exit:
    failure = meter.failure
    if failure is None:
        return Exit.DONE
    if isinstance(failure, InputError):
        click.echo(f"shuntbook: {failure}", err=True)
        return Exit.BAD_INPUT
    if isinstance(failure, OSError):
        _say(meter.name, failure, "what was read before is kept")
        return Exit.DEVICE_FAILED
    if isinstance(failure, SourceLost):
        click.echo(f"shuntbook: {meter.name}: {failure}", err=True)
        return Exit.DEVICE_FAILED
    raise failure


def _say(name: str, error: OSError, what_is_left: str) -> None:
    """Say that the disk failed, and what is left of the readings."""
    click.echo(f"shuntbook: {name}: {error.filename or 'the disk'}: {reason_of(error)}; {what_is_left}", err=True)
