"""The newest state of the capture, for any number of viewers: each takes it when it can, none is waited for."""

from __future__ import annotations

import asyncio
from contextlib import suppress
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from .view import LiveState


class Board:
    """Holds one state. Belongs to the server's loop: nothing here may be called from another thread."""

    def __init__(self) -> None:
        self.newest: LiveState | None = None
        self.closed = False
        self._changed = asyncio.Event()

    def pin(self, state: LiveState) -> None:
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

    async def newer(self, than: LiveState | None, wait_s: float) -> LiveState | None:
        """Return the newest state as soon as it is another than this one; None if none came for so long. [s]"""
        if self.newest is than and not self.closed:
            with suppress(TimeoutError):
                await asyncio.wait_for(self._changed.wait(), wait_s)
        return None if self.newest is than else self.newest
