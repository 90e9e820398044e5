"""Run a capture: open journals, read, show, finish the logs."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from types import FrameType

import click

from shuntbook.cli.exit import Exit
from shuntbook.ingest.journal.compaction import finish
from shuntbook.ingest.journal.journal import Journal
from shuntbook.ingest.journal.lines import NothingCaptured
from shuntbook.ingest.live.capture import Capture, open_first
from shuntbook.ingest.live.capture import MeteredSource as Metered
from shuntbook.ingest.live.source import SourceLost, SteadyClock

from .finish import finish_meters
from .plan import Plan, first_meta
from .show import Show, Watcher


def run_capture(
    plans: Sequence[Plan],
    clock: SteadyClock,
    *,
    length_s: float | None,
    marks: Sequence[str],
    quiet: bool,
    watcher: Watcher | None = None,
) -> int:
    """Capture until it is over, finish the logs, and say what came of it; return the exit status.

    A `watcher` is shown how it goes, beside the person here.
    """
    stopped = threading.Event()
    with _ended_by_signals(stopped):
        # Sources before journals: only an open source knows for sure what it gives, and where one does not open no log
        # is begun that would hold nothing.
        try:
            for plan in plans:
                open_first(plan.source, clock, given_up=stopped.is_set)
            journals = _open_journals(plans)
        except SourceLost as lost:
            click.echo(f"shuntbook: {lost}", err=True)
            return int(Exit.DONE if stopped.is_set() else Exit.DEVICE_FAILED)
        meters = [
            Metered(plan.name, plan.source, journal, plan.every_s, connected=True)
            for plan, journal in zip(plans, journals, strict=True)
        ]
        capture = Capture(meters, clock, length_s=length_s)
        show = Show(capture, plans, clock, marks, length_s=length_s, quiet=quiet, watcher=watcher)
        # The meters are read in threads of their own, and this one shows: signals reach only this one, and a slow
        # terminal holds up no poll.
        capture.start()
        show.run(stopped)
        capture.stop()
        capture.join()
    # With the signals as they were: whoever presses Ctrl-C a second time, while logs are finished, means it. The
    # journals stay, and the next command completes them.
    show.take_rest()
    return finish_meters(meters, journals, show.last())


def _open_journals(plans: Sequence[Plan]) -> list[Journal]:
    """Open a journal for each meter, or none at all."""
    journals: list[Journal] = []
    try:
        for plan in plans:
            journals.append(Journal(plan.log, first_meta(plan), plan.source.quantities))
    except BaseException:
        for journal in journals:
            _discard(journal)
        raise
    return journals


def _discard(journal: Journal) -> None:
    with suppress(NothingCaptured):
        finish(journal)


@contextmanager
def _ended_by_signals(stopped: threading.Event) -> Iterator[None]:
    """Let Ctrl-C and a termination signal end the capture cleanly."""

    def end(_number: int, _frame: FrameType | None) -> None:
        stopped.set()

    before = {number: signal.signal(number, end) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
