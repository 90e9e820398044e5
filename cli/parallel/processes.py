"""Processes beside this one, which end with the work they were begun for, and with this process."""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing import active_children, get_context, parent_process


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
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    # Killed, a parent ends no child; without this one would go on reading for nobody.
    if (parent := parent_process()) is not None:
        parent.join()
        os._exit(1)


@contextmanager
def deaf_to_ctrl_c() -> Iterator[None]:
    """Let processes that are started in the block hear no Ctrl-C, also while they cannot ignore it yet."""
    if sys.platform == "win32":  # it knows no masks
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
