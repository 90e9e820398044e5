"""Run a capture: open journals, read, show, finish the logs, and say what it all came to."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from types import FrameType

from ...ingest.errors import InputError
from ...ingest.journal.compaction import finish
from ...ingest.journal.journal import Journal
from ...ingest.journal.lines import NothingCaptured
from ...ingest.live.capture import Capture, open_first
from ...ingest.live.capture import MeteredSource as Metered
from ...ingest.live.source import SourceLost, SteadyClock
from ...ingest.safe_files.whole_file import reason_of
from ..door import say, tell
from ..exit import Exit
from .live_meter import Snapshot
from .plan import Plan, first_meta
from .screen import summary_lines
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
            tell(f"shuntbook: {lost}")
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
        tell(f"shuntbook: {snapshot.name}: no reading came, so no log was written")
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
        tell(f"shuntbook: {error}; what was read is kept in {journal.path}")
        return Exit.BAD_INPUT
    say(f"{snapshot.name}: {snapshot.readings:,} readings in {done.log}")
    for line in summary_lines(snapshot):
        say(f"  {line}")
    for finding in snapshot.findings:
        say(f"  {finding.severity.upper()}: {finding.title}")
    say(f"  next: shuntbook charge {done.log}")
    return Exit.DONE


def _say_failure(meter: Metered) -> Exit:
    failure = meter.failure
    if failure is None:
        return Exit.DONE
    if isinstance(failure, InputError):
        tell(f"shuntbook: {failure}")
        return Exit.BAD_INPUT
    if isinstance(failure, OSError):
        _say(meter.name, failure, "what was read before is kept")
        return Exit.DEVICE_FAILED
    if isinstance(failure, SourceLost):
        tell(f"shuntbook: {meter.name}: {failure}")
        return Exit.DEVICE_FAILED
    raise failure


def _say(name: str, error: OSError, what_is_left: str) -> None:
    """Say that the disk failed, and what is left of the readings."""
    tell(f"shuntbook: {name}: {error.filename or 'the disk'}: {reason_of(error)}; {what_is_left}")
