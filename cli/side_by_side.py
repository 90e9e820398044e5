"""Run folds over the same readings on two processors."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Final, Protocol

import numpy as np

from ..analysis.chunk import Chunk

#: Larger than any array of a chunk, and within what glibc lets count. [byte]
_LARGE_PIECE: Final = 24 << 20


class Fed(Protocol):
    """What takes readings in: a fold, or a part of one."""

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""


def feed(chunks: Iterable[Chunk], *folds: Fed) -> None:
    """Hand every chunk to every fold; the first fold works here, the others meanwhile in a thread of their own.

    Each fold has all chunks in order and by itself, so the results are the same on any number of processors. NumPy
    lets other threads work while it counts.

    Parameters
    ----------
    chunks : iterable of Chunk
        The readings, in order.
    folds : Fed
        No two of them share anything that they change. The one that takes longest comes first.
    """
    _keep_memory()
    first, *others = folds
    with ThreadPoolExecutor(1, thread_name_prefix="folds") as pool:
        for chunk in chunks:
            meanwhile = pool.submit(_add, others, chunk) if others else None
            first.add(chunk)
            if meanwhile is not None:
                meanwhile.result()  # raises what was raised there


def _keep_memory() -> None:
    """Let the C library keep what arrays leave behind for the next ones.

    glibc's malloc gives memory back to the system, to be asked for again page by page, unless it has seen so large a
    piece come and go (mallopt(3), M_MMAP_THRESHOLD); a fifth of the time went there. It is never touched.
    """
    np.empty(_LARGE_PIECE, np.uint8)


def _add(folds: Sequence[Fed], chunk: Chunk) -> None:
    for fold in folds:
        fold.add(chunk)
