"""Run a capture: open journals, read, show, finish the logs, and say what it all came to."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from types import FrameType

from ...analysis.health.finding import SEVERITIES
from ...ingest.errors import InputError
from ...ingest.journal.compaction import finish
from ...ingest.journal.journal import Journal
from ...ingest.journal.lines import NothingCaptured
from ...ingest.live.capture import Capture, open_first
from ...ingest.live.capture import MeteredSource as Metered
from ...ingest.live.source import SourceLost, SteadyClock
from ...ingest.safe_files.whole_file import reason_of
from ..door import tell
from ..exit import Exit
from ..render.terminal.answer import Reply, say_answer
from .beside import Announced, beside_the_log
from .live_meter import Snapshot
from .plan import Plan, first_meta
from .screen import summary_lines
from .show import Show, Watcher, Ways, say_plainly


def run_capture(
    plans: Sequence[Plan],
    clock: SteadyClock,
    *,
    length_s: float | None,
    marks: Sequence[str],
    quiet: bool,
    watcher: Watcher | None = None,
    announced: Announced | None = None,
) -> int:
    """Capture until it is over, finish the logs, and say what came of it; return the exit status.

    While it runs it can be found, and spoken to, by what lies beside its first log (`beside_the_log`); others are told
    what is `announced`.

    A `watcher` is shown how it goes, beside the person here. Where the person goes, and the terminal with them, it goes
    on in silence: what is being measured goes on, too.
    """
    with _deaf_to_hang_up():
        return _run(plans, clock, Ways(length_s, marks, quiet), watcher, announced or Announced(""))


def _run(plans: Sequence[Plan], clock: SteadyClock, ways: Ways, watcher: Watcher | None, announced: Announced) -> int:
    stopped = threading.Event()
    with ExitStack() as beside:
        with ended_by_signals(stopped) as signals:
            # Sources before journals: only an open source knows for sure what it gives, and where one does not open no
            # log is begun that would hold nothing.
            try:
                for plan in plans:
                    for odd in open_first(plan.source, clock, given_up=stopped.is_set):
                        tell(f"{plan.name}: {odd}")
                journals = _open_journals(plans, announced.title)
            except SourceLost as lost:
                tell(f"shuntbook: {lost}")
                return int(Exit.DONE if stopped.is_set() else Exit.DEVICE_FAILED)
            meters = [
                Metered(plan.name, plan.source, journal, plan.every_s, connected=True)
                for plan, journal in zip(plans, journals, strict=True)
            ]
            capture = Capture(meters, clock, length_s=ways.length_s)
            inbox = beside.enter_context(beside_the_log(plans, announced, capture.start_us))
            show = Show(capture, plans, clock, ways, watcher=watcher, inbox=inbox)
            # The meters are read in threads of their own, and this one shows: signals reach only this one, and a slow
            # terminal holds up no poll.
            capture.start()
            show.run(stopped)
            capture.stop()
            capture.join()
        # With the signals as they were: whoever presses Ctrl-C a second time, while logs are finished, means it. The
        # journals stay, and the next command completes them.
        show.take_rest()
        last = show.last()
        status = finish_meters(meters, journals, last)
    # Logs and results first: whatever becomes of the rest, they are safe. Who ends a process means it, and nobody comes
    # late to see nothing.
    if watcher is not None and signal.SIGTERM not in signals and any(snapshot.readings for snapshot in last):
        left = threading.Event()
        with ended_by_signals(left):
            watcher.stay(left.is_set, say_plainly)
    return status


def _open_journals(plans: Sequence[Plan], title: str | None) -> list[Journal]:
    """Open a journal for each meter, or none at all; the logs of several meters are told apart by their names."""
    journals: list[Journal] = []
    try:
        for plan in plans:
            called = title and (title if len(plans) == 1 else f"{title}, {plan.name}")
            journals.append(Journal(plan.log, first_meta(plan, called), plan.source.quantities))
    except BaseException:
        for journal in journals:
            _discard(journal)
        raise
    return journals


def _discard(journal: Journal) -> None:
    with suppress(NothingCaptured):
        finish(journal)


@contextmanager
def _deaf_to_hang_up() -> Iterator[None]:
    """Let a terminal that is closed end nothing; Windows has no such signal."""
    hang_up = getattr(signal, "SIGHUP", None)
    before = signal.signal(hang_up, signal.SIG_IGN) if hang_up is not None else None
    try:
        yield
    finally:
        if hang_up is not None:
            signal.signal(hang_up, before)


@contextmanager
def ended_by_signals(stopped: threading.Event) -> Iterator[list[int]]:
    """Let Ctrl-C and a termination signal end the capture cleanly; those that come are in the list."""
    signals: list[int] = []

    def end(number: int, _frame: FrameType | None) -> None:
        signals.append(number)
        stopped.set()

    # Nor does whoever sees to it that a signal ends a command at once hear of it meanwhile.
    wakeup = signal.set_wakeup_fd(-1)
    before = {number: signal.signal(number, end) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield signals
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
        signal.set_wakeup_fd(wakeup, warn_on_full_buffer=False)


@dataclass(frozen=True)
class Ending:
    """How a meter's capture ended, and what is to be said of it."""

    status: Exit
    lines: Sequence[str]


def finish_meters(meters: Sequence[Metered], journals: Sequence[Journal], snapshots: Sequence[Snapshot]) -> int:
    """Finish every log, whatever happened to the others, and say what came of it."""
    # All logs first: a failure that is told, or raised, must not keep the next meter's log from being written, nor may
    # a disk that is too full for what is said here.
    endings = [
        _finish_log(meter, journal, snapshot)
        for meter, journal, snapshot in zip(meters, journals, snapshots, strict=True)
    ]
    for ending in endings:
        if ending.status is Exit.DONE:
            # Where it is kept finds room, however much there is to say.
            *lines, where, onward = ending.lines
            say_answer(Reply(lines, last=onward, caution=where), explain=False)
        else:
            for line in ending.lines:
                tell(line)
    return int(max([*(ending.status for ending in endings), *map(_say_failure, meters)]))


def _finish_log(meter: Metered, journal: Journal, snapshot: Snapshot) -> Ending:
    try:
        done = finish(journal)
    except NothingCaptured:
        return Ending(Exit.DEVICE_FAILED, [f"shuntbook: {snapshot.name}: no reading came, so no log was written"])
    except OSError as error:
        if isinstance(meter.failure, OSError):
            meter.failure = None  # the same disk: one sentence on it will do
        what_is_left = f"what was read is kept in {journal.path}; make room and run shuntbook look on the log"
        return Ending(Exit.DEVICE_FAILED, [_disk_failed(snapshot.name, error, what_is_left)])
    except InputError as error:
        return Ending(Exit.BAD_INPUT, [f"shuntbook: {error}; what was read is kept in {journal.path}"])
    took, *others = [line for line in summary_lines(snapshot) if line]
    gravest = sorted(snapshot.findings, key=lambda finding: SEVERITIES.index(finding.severity))
    lines = [f"{snapshot.name}: {took}"]
    lines += [f"  {finding.severity.upper()}: {finding.plain or finding.title}" for finding in gravest]
    lines += [f"  {line}" for line in others]
    lines.append(f"  {snapshot.readings:,} readings in {done.log}")
    return Ending(Exit.DONE, [*lines, f"  next: shuntbook charge {done.log}"])


def _say_failure(meter: Metered) -> Exit:
    failure = meter.failure
    if failure is None:
        return Exit.DONE
    if isinstance(failure, InputError):
        tell(f"shuntbook: {failure}")
        return Exit.BAD_INPUT
    if isinstance(failure, OSError):
        tell(_disk_failed(meter.name, failure, "what was read before is kept"))
        return Exit.DEVICE_FAILED
    if isinstance(failure, SourceLost):
        tell(f"shuntbook: {meter.name}: {failure}")
        return Exit.DEVICE_FAILED
    raise failure


def _disk_failed(name: str, error: OSError, what_is_left: str) -> str:
    return f"shuntbook: {name}: {error.filename or 'the disk'}: {reason_of(error)}; {what_is_left}"
