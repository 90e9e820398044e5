"""Logs read by processes of this machine, one log at a time each."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Generator, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from typing import Final

from ..parallel.worker_process import processes
from .one_log import Done, Task, not_read, read_log

LOST: Final = "the process that read it ended each time, perhaps for want of memory"
#: A sum of many products is cut differently by more threads, and its last bit with it; and each core has its process.
_ONE_THREAD: Final = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")


def on_this_machine(tasks: Sequence[Task], workers: int) -> Iterator[Done]:
    """Read logs with so many processes, and yield each as it is done.

    Where a process ends by itself (killed for want of memory, say), the logs that were being read are read again, each
    by a process of its own; one that ends that, too, is told as lost.
    """
    waiting = deque(tasks)
    while waiting:
        for task in (yield from _until_one_ends(waiting, workers)):
            if (yield from _until_one_ends(deque([task]), 1)):
                yield Done(not_read(task, LOST), 0.0)


def _until_one_ends(waiting: deque[Task], workers: int) -> Generator[Done, None, list[Task]]:
    """Read what is waiting; return early, with what was being read, if a process ended by itself."""
    running: dict[Future[Done], Task] = {}
    with _pool(min(workers, len(waiting))) as pool:
        while waiting or running:
            # Two for each: none waits for this process to hand it its next log, and few are lost where one ends.
            while waiting and len(running) < 2 * workers:
                task = waiting.popleft()
                running[_submit(pool, task)] = task
            for future in wait(running, return_when=FIRST_COMPLETED).done:
                if not isinstance(future.exception(), BrokenProcessPool):
                    del running[future]
                    yield future.result()
            # A broken pool breaks all that is under way, and does not say which of them it was that ended it.
            if any(future.done() for future in running):
                return list(running.values())
    return []


def _submit(pool: ProcessPoolExecutor, task: Task) -> Future[Done]:
    try:
        return pool.submit(read_log, task)
    except BrokenProcessPool as broken:
        # As if it had been under way: the loop has one place where a broken pool is seen.
        failed: Future[Done] = Future()
        failed.set_exception(broken)
        return failed


@contextmanager
def _pool(workers: int) -> Iterator[ProcessPoolExecutor]:
    """Give a pool of processes of one thread each; all of them have begun."""
    with processes(workers) as pool:
        with _one_thread_each():  # the first to be submitted starts them all
            pool.submit(os.getpid).result()
        yield pool


@contextmanager
def _one_thread_each() -> Iterator[None]:
    before = {name: os.environ.get(name) for name in _ONE_THREAD}
    os.environ.update(dict.fromkeys(_ONE_THREAD, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value
