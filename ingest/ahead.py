"""Work done in a thread of its own, a little ahead of whoever needs it."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

T = TypeVar("T")
_DEPTH = 2


def ahead(items: Iterable[T]) -> Iterator[T]:
    """Yield the same items in the same order, while a thread works out the next ones.

    Only that thread ever touches `items`, and it is never more than two of them ahead, so memory stays bounded. What
    goes wrong in it is raised here, in its place among the items.
    """
    source = iter(items)
    waiting: deque[Future[T | None]] = deque()
    with ThreadPoolExecutor(max_workers=1) as thread:
        try:
            while True:
                while len(waiting) < _DEPTH:
                    waiting.append(thread.submit(next, source, None))
                item = waiting.popleft().result()
                if item is None:
                    return
                yield item
        finally:
            for future in waiting:
                future.cancel()
