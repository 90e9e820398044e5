"""Run folds over the same readings on two processors."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Generator, Iterable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import closing, suppress
from functools import partial
from typing import TYPE_CHECKING, Final, Protocol, TypeAlias, runtime_checkable

import numpy as np

if TYPE_CHECKING:
    from ...analysis.charge.completed import CompletedReadings
    from ...analysis.readings.chunk import Chunk

    #: A chunk, and what makes the first fold take it in.
    Begun: TypeAlias = tuple[Chunk, Callable[[], None]]

#: Larger than any array of a chunk, and within what glibc lets count. [byte]
_LARGE_PIECE: Final = 24 << 20
#: So many threads work ahead, and so many chunks are begun at most beside the one that is taken in.
_THREADS: Final = 2
_BEGUN: Final = 2


class Fed(Protocol):
    """What takes readings in: a fold, or a part of one."""

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""


@runtime_checkable
class WorksAhead(Fed, Protocol):
    """A fold most of whose work on a chunk needs no other chunk, and can be done ahead."""

    def read(self, chunk: Chunk) -> CompletedReadings:
        """Join the next readings, at least one, to those before: quick, in order."""

    def work_out(self, read: CompletedReadings) -> None:
        """Do what needs nothing but what was read: in any thread, in any order."""

    def take(self, read: CompletedReadings) -> None:
        """Take in what was read: quick where it is worked out, in order."""


def feed(chunks: Iterable[Chunk], *folds: Fed) -> None:
    """Hand every chunk to every fold; the first fold works here, the others meanwhile in a thread of their own.

    Each fold has all chunks in order and by itself, so the results are the same on any number of processors. NumPy lets
    other threads work while it counts. No two folds share anything that they change. The one that takes longest comes
    first; where it `WorksAhead`, the next chunks are worked on in threads.
    """
    _keep_memory()
    first, *others = folds
    begun = _ahead(first, chunks) if isinstance(first, WorksAhead) else ((c, partial(first.add, c)) for c in chunks)
    with closing(begun), ThreadPoolExecutor(1, thread_name_prefix="folds") as pool:
        for chunk, add in begun:
            # Chunk by chunk, not each fold at its own pace: no more than a few chunks are ever in memory.
            meanwhile = pool.submit(_add, others, chunk) if others else None
            add()
            if meanwhile is not None:
                meanwhile.result()  # raises what was raised there


def _ahead(fold: WorksAhead, chunks: Iterable[Chunk]) -> Generator[Begun, None, None]:
    """Yield the chunks in order, each with what makes the fold take it in, while the next are worked on."""
    waiting: deque[tuple[CompletedReadings, Future[None]]] = deque()
    with ThreadPoolExecutor(_THREADS, thread_name_prefix="sums") as pool:
        for chunk in filter(len, chunks):
            # What needs the chunk before is done here, in order; all else in any thread.
            read = fold.read(chunk)
            waiting.append((read, pool.submit(fold.work_out, read)))
            if len(waiting) > _BEGUN:
                yield _worked_out(fold, *waiting.popleft())
        while waiting:
            yield _worked_out(fold, *waiting.popleft())


def _worked_out(fold: WorksAhead, read: CompletedReadings, done: Future[None]) -> Begun:
    done.result()  # raises what was raised there
    return read.chunk, partial(fold.take, read)


def _keep_memory() -> None:
    """Let the C library keep what arrays leave behind for the next ones.

    glibc's malloc gives memory back to the system, to be asked for again page by page, unless it has seen so large a
    piece come and go (mallopt(3), M_MMAP_THRESHOLD); a fifth of the time went there. It is never touched.
    """
    np.empty(_LARGE_PIECE, np.uint8)


def give_back_memory() -> None:
    """Give back to the system what arrays left behind, where the C library is one that can be asked (glibc's).

    Objects of Python's own lie elsewhere, and would need as much memory once more.
    """
    import ctypes

    import pyarrow as pa

    pa.default_memory_pool().release_unused()
    with suppress(AttributeError, OSError, TypeError):
        ctypes.CDLL(None).malloc_trim(0)


def _add(folds: Sequence[Fed], chunk: Chunk) -> None:
    for fold in folds:
        fold.add(chunk)
