"""Have the next items ready while the one before is worked on."""

from __future__ import annotations

from collections import deque
from collections.abc import Generator, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Final, TypeVar

#: So many items wait at most, beside the one that is worked on: the next, and the one after where that took long.
MOST: Final = 2

Item = TypeVar("Item")


def read_ahead(items: Generator[Item, None, None]) -> Iterator[Item]:
    """Yield the items of a generator, none of which is None, while a thread of its own makes those that follow.

    What it raises is raised here, in its place. It is closed in the end, also where nobody asks for all of it.
    """
    pool = ThreadPoolExecutor(1, thread_name_prefix="read-ahead")
    try:
        waiting = deque(pool.submit(next, items, None) for _ in range(MOST))
        while (item := waiting.popleft().result()) is not None:
            waiting.append(pool.submit(next, items, None))
            yield item
    finally:
        pool.shutdown(cancel_futures=True)
        items.close()
