"""The cycles of a long log, found by a second process that reads the log by itself."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Final

from ..analysis.chunk import Chunk, Fold
from ..analysis.cycle_record import Cycles
from ..analysis.log_analysis import Watched, cycle_fold
from ..analysis.steps import names_of
from .prepared import Prepared
from .second import Second
from .side_by_side import feed

#: With fewer readings a second process is hardly there before they are read. [1]
LONG: Final = 1_000_000


def begun(log: Prepared, watched: Watched, second: Second) -> Fold[Cycles] | None:
    """Begin to find a log's cycles beside; return what stands for them among its folds, None where it is not worth it.

    Parameters
    ----------
    log : Prepared
        The log; a second process reads it a second time, only what cycles are found by.
    watched : Watched
        The load whose runs are sought.
    second : Second
        Where they are found.
    """
    if log.log.rows < LONG or not second.is_beside:
        return None
    return _Awaited(second.begin(partial(found, log, watched)))


def found(log: Prepared, watched: Watched) -> Cycles:
    """Read a log and return its cycles."""
    fold = cycle_fold(watched, log.how, log.quantities, log.facts.markers)
    feed(log.chunks(only=names_of(log.quantities)), fold)
    return fold.result()


class _Awaited:
    """Stands for cycles that are found elsewhere, as a fold that needs no readings."""

    def __init__(self, wait: Callable[[], Cycles]) -> None:
        self._wait = wait

    def add(self, chunk: Chunk) -> None:
        """Leave it: whoever finds the cycles reads them."""

    def result(self) -> Cycles:
        """Wait for the cycles."""
        return self._wait()
