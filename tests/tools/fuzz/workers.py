"""Cases run in processes of their own, so that one that hangs, dies or eats memory is found and the others go on."""

from __future__ import annotations

import multiprocessing
import resource
import signal
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, nullcontext, suppress
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path
from types import FrameType

from .case import Case
from .kinds import case_of, module
from .law import Fault

#: What a case may take: processor time, so that a busy machine fails none, and memory. [s], [bytes]
HANG_S, MEMORY_MOST = 10.0, 1 << 30
#: When a process that waits, or does not come back from a library's code, is ended; by the clock. [s]
_GIVEN_UP_S = 6 * HANG_S
#: Address space, far above what is allowed: so that a bomb ends the case and not the machine. [bytes]
_SPACE_MOST = 8 << 30


class Hang(BaseException):
    """A case took longer than `HANG_S`; no ordinary handler may catch it."""


@dataclass
class Tally:
    """What came out of cases: how often they ended how, and those that broke the law."""

    ended: Counter[str] = field(default_factory=Counter)
    faults: list[tuple[str, str]] = field(default_factory=list)

    @property
    def cases(self) -> int:
        """How many were run."""
        return self.ended.total()


def run_case(case: Case, *, alarm: bool = True) -> str:
    """Run a case in a folder of its own and return how it ended.

    Raises
    ------
    Fault
        If it breaks the law.
    """
    with tempfile.TemporaryDirectory() as folder, _alarm() if alarm else nullcontext():
        try:
            return module(case.kind).run(case, Path(folder))
        except Hang:
            raise Fault(f"takes longer than {HANG_S:g} s\n{traceback.format_exc()}") from None


@contextmanager
def _alarm() -> Iterator[None]:
    def ring(_number: int, _frame: FrameType | None) -> None:
        raise Hang

    before = signal.signal(signal.SIGPROF, ring)
    signal.setitimer(signal.ITIMER_PROF, HANG_S)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)


def run_all(kind: str, seed: int, numbers: Sequence[int], *, processes: int, keep: Path | None) -> Tally:
    """Run many cases of a kind; those that break the law are kept in a folder. Ctrl-C ends it with what was run."""
    tally = Tally()
    shares = [list(numbers[k::processes]) for k in range(processes)]
    workers = [_Worker(kind, seed, share, tally, keep) for share in shares if share]
    try:
        while workers := [worker for worker in workers if worker.step()]:
            time.sleep(0.01)
    except KeyboardInterrupt:
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        for worker in workers:
            worker.stop()
    return tally


class _Worker:
    """A process that runs its share, and begins anew behind a case that ended it."""

    def __init__(self, kind: str, seed: int, left: list[int], tally: Tally, keep: Path | None) -> None:
        self._kind, self._seed, self._left, self._tally, self._keep = kind, seed, left, tally, keep
        self._start()

    def _start(self) -> None:
        context = multiprocessing.get_context("fork")
        self._pipe, theirs = context.Pipe(duplex=False)
        share = list(self._left)
        self._process = context.Process(target=_work, args=(self._kind, self._seed, share, self._keep, theirs))
        self._process.start()
        theirs.close()
        self._heard = time.monotonic()

    def step(self) -> bool:
        """Take what it has to tell; False when its share is done."""
        with suppress(EOFError):
            while self._left and self._pipe.poll():
                self._take(*self._pipe.recv())
                self._heard = time.monotonic()
        if not self._left:
            self._process.join()
            return False
        if time.monotonic() - self._heard > _GIVEN_UP_S:
            self._process.kill()
            self._end("hangs where no alarm is heard")
        elif not self._process.is_alive() and not self._pipe.poll():
            if self._process.exitcode == 0:
                self._start()  # it had taken too much memory, which was told
                return True
            self._end(f"ends its process (status {self._process.exitcode})")
        return True

    def stop(self) -> None:
        """End the process, whatever it is at."""
        self._process.kill()
        self._process.join()

    def _take(self, ended: str, fault: str | None) -> None:
        number = self._left.pop(0)
        self._tally.ended[ended] += 1
        if fault is not None:
            self._tally.faults.append((f"{self._kind} {self._seed} {number}", fault))

    def _end(self, fault: str) -> None:
        """Count the case that was under way as a fault, and go on behind it with a new process."""
        self._process.join()
        if self._keep is not None:
            case_of(self._kind, self._seed, self._left[0]).save(self._keep)
        self._take("fault", fault)
        if self._left:
            self._start()


def _work(kind: str, seed: int, numbers: list[int], keep: Path | None, pipe: Connection) -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # its parent ends it
    resource.setrlimit(resource.RLIMIT_AS, (_SPACE_MOST, _SPACE_MOST))
    for number in numbers:
        pipe.send(_outcome(kind, seed, number, keep))
        if peak_bytes() > MEMORY_MOST:
            return  # the next one begins in a process that has not had that much


def _outcome(kind: str, seed: int, number: int, keep: Path | None) -> tuple[str, str | None]:
    """Return how a case ended, and what was wrong; keep it then."""
    case = case_of(kind, seed, number)
    try:
        ended, fault = run_case(case), None
        if peak_bytes() > MEMORY_MOST:
            ended, fault = "fault", f"takes {peak_bytes() / 1e6:.0f} MB"
    except Fault as broken:
        ended, fault = "fault", str(broken)
    except Exception:
        ended, fault = "fault", traceback.format_exc()
    if fault is not None and keep is not None:
        case.save(keep)
    return ended, fault


def peak_bytes() -> int:
    """Return the most memory that this process has had. [bytes]"""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
