"""Work done in a thread of its own, a little ahead of whoever needs it."""

from __future__ import annotations

from collections import deque
from collections.abc import Generator, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from typing import Final, TypeVar

Item = TypeVar("Item")

#: So many items wait at most, beside the one that is worked on: the next, and the one after where that took long.
MOST: Final = 2


def ahead(items: Iterable[Item]) -> Iterator[Item]:
    """Yield the same items in the same order, none of which is None, while a thread works out those that follow.

    Only that thread ever touches `items`, and it is never more than `MOST` of them ahead, so memory stays bounded. What
    goes wrong in it is raised here, in its place among the items. A generator is closed in the end, also where nobody
    asks for all of it.
    """
    source = iter(items)
    pool = ThreadPoolExecutor(1, thread_name_prefix="ahead")
    try:
        waiting = deque(pool.submit(next, source, None) for _ in range(MOST))
        while (item := waiting.popleft().result()) is not None:
            waiting.append(pool.submit(next, source, None))
            yield item
    finally:
        pool.shutdown(cancel_futures=True)
        if isinstance(source, Generator):
            with suppress(ValueError):  # a signal came while the thread began, so the pool did not wait for it
                source.close()
