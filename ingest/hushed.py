"""Libraries of other languages write what they think of a damaged file to standard error, past Python."""

from __future__ import annotations

import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final


class _StandardError:
    """The process's standard error, which goes nowhere as long as any of its threads wants that."""

    def __init__(self) -> None:
        self._guard = threading.Lock()
        self._users, self._copy = 0, -1

    def put_away(self) -> None:
        """Let it go nowhere; whoever comes second must not keep what the first has put there as the real one."""
        with self._guard:
            self._users += 1
            if self._users > 1:
                return
            with suppress(OSError), Path(os.devnull).open("wb") as nothing:  # a program may have no standard error
                self._copy = os.dup(2)
                os.dup2(nothing.fileno(), 2)

    def bring_back(self) -> None:
        """Let it be what it was, behind the last of those who put it away."""
        with self._guard:
            self._users -= 1
            if self._users or self._copy < 0:
                return
            os.dup2(self._copy, 2)
            os.close(self._copy)
            self._copy = -1


_STANDARD_ERROR: Final = _StandardError()


@contextmanager
def hushed() -> Iterator[None]:
    """Keep all of that from the terminal, some pages long as it may be; what goes wrong is told by an exception."""
    _STANDARD_ERROR.put_away()
    try:
        yield
    finally:
        _STANDARD_ERROR.bring_back()
