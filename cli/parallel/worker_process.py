"""A second process, for what can be worked out beside the first: the cycles of a long log, and drawings."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import ExitStack, contextmanager, suppress
from functools import cache, partial
from typing import Protocol, TypeVar

import click

from .processes import deaf_to_ctrl_c, processes

WorkResult = TypeVar("WorkResult")


class Second(Protocol):
    """Where work is done that need not be done here at once."""

    @property
    def is_beside(self) -> bool:
        """Whether the work is done meanwhile, and not only when it is asked for."""

    def prepare(self) -> None:
        """Make ready for what comes later, once what was begun is done."""

    def begin(self, work: Callable[[], WorkResult]) -> Callable[[], WorkResult]:
        """Begin some work, and return what waits for its result, as often as it is asked.

        It is a function of a module, or a `partial` of one: it may be sent to another process.
        """


class _Here:
    """No second process: work is done when its result is asked for, in this one."""

    is_beside = False

    def prepare(self) -> None:
        pass

    def begin(self, work: Callable[[], WorkResult]) -> Callable[[], WorkResult]:
        return cache(work)


class _Beside:
    """A process of its own, which does one thing after the other in the order in which they were begun."""

    is_beside = True

    def __init__(self, pool: ProcessPoolExecutor, there: Callable[[], None], here: Callable[[], None]) -> None:
        self._pool, self._there, self._here = pool, there, here
        self._ended = False

    def prepare(self) -> None:
        if self._there is not _nothing:
            self._begun(self._there)

    def begin(self, work: Callable[[], WorkResult]) -> Callable[[], WorkResult]:
        return cache(partial(self._result, self._begun(work), work))

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
                    self._here()
                return begun.result()
        except BrokenProcessPool:
            pass
        self._tell()
        return work()

    def _tell(self) -> None:
        if not self._ended:
            note = "note: a second process ended or could not begin, perhaps for want of memory; its work is done here"
            click.echo(note, err=True)
        self._ended = True


def _nothing() -> None:
    """Prepare nothing."""


#: Nothing is done beside.
HERE: Second = _Here()


@contextmanager
def second_process(
    there: Callable[[], None] = _nothing, here: Callable[[], None] = _nothing, *, allowed: bool
) -> Iterator[Second]:
    """Give a second process, which begins with the first work it is given and does not outlive the block.

    Parameters
    ----------
    there : callable, optional
        What it does when `prepare` is called, which may be sent to it.
    here : callable, optional
        What the first does while it waits for the second: as often as it does so.
    allowed : bool
        Whether this process is a command's own: where others call it, their main module would be run once more.
        Where it is not, or there is but one processor, the work is done here.
    """
    with ExitStack() as stack:
        second = HERE
        if allowed and _processors() > 1:
            with suppress(ImportError, NotImplementedError, OSError):  # where the system has no semaphores
                second = _Beside(stack.enter_context(processes(1)), there, here)
        yield second


def _processors() -> int:
    """Return how many processors this process may use. [1]."""
    # Of a machine's processors a container or a batch system may grant one.
    ask = getattr(os, "sched_getaffinity", None)
    return len(ask(0)) if ask is not None else os.cpu_count() or 1
