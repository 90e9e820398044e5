"""Processes beside this one, and what a second one can work out: the cycles of a long log, and drawings."""

from __future__ import annotations

import gc
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import ExitStack, contextmanager, suppress
from functools import cache, partial
from multiprocessing import active_children, get_context, parent_process
from typing import Final, TypeVar

from ..door import tell

#: So many new things are there before rings of them are sought that nobody uses any more. [1]
_SELDOM: Final = 100_000
#: The signals that ask a process to end.
_ENDING: Final = (signal.SIGINT, signal.SIGTERM)


@contextmanager
def processes(count: int) -> Iterator[ProcessPoolExecutor]:
    """Give a pool of so many processes, which do not outlive the block, nor this process."""
    others = set(active_children())
    # Not fork: a copy of a process with threads may wait for ever for a lock that one of them held.
    pool = ProcessPoolExecutor(count, get_context("spawn"), initializer=_begin)
    try:
        yield pool
    except BaseException:
        # After Ctrl-C nobody wants to wait for a log to be read to its end.
        for process in set(active_children()) - others:
            process.terminate()
        raise
    finally:
        pool.shutdown(cancel_futures=True)


def _begin() -> None:
    """Make a new process ready: Ctrl-C is for the one that started it, and it ends when that does."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    # Levels and runs are many small things that stay: to look through them for rings takes a tenth of the time.
    gc.set_threshold(_SELDOM)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    # Killed, a parent ends no child; without this one would go on reading for nobody.
    if (parent := parent_process()) is not None:
        parent.join()
        os._exit(1)


@contextmanager
def deaf_to_ctrl_c() -> Iterator[None]:
    """Let processes that are started in the block hear no Ctrl-C, also while they cannot ignore it yet.

    What this process is sent meanwhile is heard at the end: a process or a thread that is half started would complain.
    """
    if sys.platform == "win32":  # it knows no masks
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    with _heard_later():
        try:
            yield
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, before)


@contextmanager
def _heard_later() -> Iterator[None]:
    """Keep the signals that end a process until the block is done; the mask alone leaves them to other threads."""
    if threading.current_thread() is not threading.main_thread():  # only that one is interrupted by them
        yield
        return
    waiting = list[int]()
    before = {each: signal.signal(each, lambda number, _: waiting.append(number)) for each in _ENDING}
    try:
        yield
    finally:
        for each, handler in before.items():
            signal.signal(each, signal.SIG_DFL if handler is None else handler)
        for number in waiting[:1]:
            signal.raise_signal(number)


WorkResult = TypeVar("WorkResult")
#: So many pieces of shared work are with the other process at once. [1]
_AWAY = 2


class Second:
    """Where work is done that need not be done here at once; this one does it here, when its result is asked for."""

    is_beside = False  # whether the work is done meanwhile

    def prepare(self) -> None:
        """Make ready for what comes later, once what was begun is done."""

    def begin(self, work: Callable[[], WorkResult]) -> Callable[[], WorkResult]:
        """Begin some work, and return what waits for its result, as often as it is asked.

        It is a function of a module, or a `partial` of one: it may be sent to another process.
        """
        return cache(work)

    def share(self, works: Sequence[Callable[[], WorkResult]]) -> Iterator[WorkResult]:
        """Yield what much work gives, in its order; each piece is done by whoever is free first."""
        for work in works:
            yield work()


class _Beside(Second):
    """A process of its own, which does one thing after the other in the order in which they were begun."""

    is_beside = True

    def __init__(self, pool: ProcessPoolExecutor, ready: Callable[[], None], waiting: Callable[[], None]) -> None:
        self._pool, self._ready, self._waiting = pool, ready, waiting
        self._ended = False

    def prepare(self) -> None:
        if self._ready is not _nothing:
            self._begun(self._ready)

    def begin(self, work: Callable[[], WorkResult]) -> Callable[[], WorkResult]:
        return cache(partial(self._result, self._begun(work), work))

    def share(self, works: Sequence[Callable[[], WorkResult]]) -> Iterator[WorkResult]:
        done: dict[int, Callable[[], WorkResult]] = {}
        away: dict[int, Future[WorkResult] | None] = {}
        following, given = iter(range(len(works))), 0
        for k in following:
            # Two are away at once, so that the other need not wait for this process to hand it its next.
            while len(away) < _AWAY and (other := next(following, None)) is not None:
                away[other] = self._begun(works[other])
            done[k] = _kept(works[k])
            for other in [other for other, future in away.items() if future is None or future.done()]:
                done[other] = partial(self._result, away.pop(other), works[other])
            while given in done:
                yield done.pop(given)()
                given += 1
        done |= {k: partial(self._result, future, works[k]) for k, future in away.items()}
        yield from (done[k]() for k in range(given, len(works)))

    def _begun(self, work: Callable[[], WorkResult]) -> Future[WorkResult] | None:
        try:
            with deaf_to_ctrl_c():  # the first to be submitted starts the process
                return self._pool.submit(work)
        except (BrokenProcessPool, OSError):  # it has ended, or the system gives no process
            return None

    def _result(self, begun: Future[WorkResult] | None, work: Callable[[], WorkResult]) -> WorkResult:
        # A second process is a matter of time saved alone: wherever it fails, the same work is done here, once more.
        try:
            if begun is not None:
                if not begun.done():
                    self._waiting()
                return begun.result()
        except BrokenProcessPool:
            pass
        self._tell()
        return work()

    def _tell(self) -> None:
        if not self._ended:
            note = "note: a second process ended or could not begin, perhaps for want of memory; its work is done here"
            tell(note)
        self._ended = True


def _kept(work: Callable[[], WorkResult]) -> Callable[[], WorkResult]:
    """Do some work, and return what gives its result or raises what it raised."""
    done: Future[WorkResult] = Future()
    try:
        done.set_result(work())
    except Exception as why:
        done.set_exception(why)
    return done.result


def _nothing() -> None:
    """Prepare nothing."""


#: Nothing is done beside.
HERE = Second()


@contextmanager
def second_process(
    ready: Callable[[], None] = _nothing, waiting: Callable[[], None] = _nothing, *, allowed: bool
) -> Iterator[Second]:
    """Give a second process, which begins with the first work it is given and does not outlive the block.

    Parameters
    ----------
    ready : callable, optional
        What it does when `prepare` is called, which may be sent to it.
    waiting : callable, optional
        What the first does while it waits for the second: as often as it does so.
    allowed : bool
        Whether this process is a command's own: where others call it, their main module would be run once more.
        Where it is not, or there is but one processor, the work is done here.
    """
    with ExitStack() as stack:
        second = HERE
        if allowed and _processors() > 1:
            with suppress(ImportError, NotImplementedError, OSError):  # where the system has no semaphores
                second = _Beside(stack.enter_context(processes(1)), ready, waiting)
        yield second


def _processors() -> int:
    """Return how many processors this process may use. [1]."""
    # Of a machine's processors a container or a batch system may grant one.
    ask = getattr(os, "sched_getaffinity", None)
    return len(ask(0)) if ask is not None else os.cpu_count() or 1
