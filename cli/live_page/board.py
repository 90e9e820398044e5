"""The newest state of the capture, for any number of viewers: each takes it when it can, none is waited for."""

from __future__ import annotations

import asyncio
from contextlib import suppress
from typing import Protocol


class State(Protocol):
    """How the capture stood at one moment; never changes."""

    @property
    def ended(self) -> bool:
        """Whether the capture is over: no later state comes."""

    def message(self, seen: dict[int, int]) -> str:
        """Return the state as JSON, with the points of its charts from those `seen` on; notes what it returned."""


class Board:
    """Holds one state. Belongs to the server's loop: nothing here may be called from another thread."""

    def __init__(self) -> None:
        self.newest: State | None = None
        self.closed = False
        self._changed = asyncio.Event()

    def pin(self, state: State) -> None:
        """Put a newer state in the place of the one before."""
        self.newest = state
        self._tell()

    def close(self) -> None:
        """Let nobody wait any longer."""
        self.closed = True
        self._tell()

    def _tell(self) -> None:
        # A new event for those to come: cleared in place, it could be missed by who has not run yet.
        self._changed.set()
        self._changed = asyncio.Event()

    async def newer(self, than: State | None, wait_s: float) -> State | None:
        """Return the newest state as soon as it is another than this one; None if none came for so long. [s]"""
        if self.newest is than and not self.closed:
            with suppress(TimeoutError):
                await asyncio.wait_for(self._changed.wait(), wait_s)
        return None if self.newest is than else self.newest
