"""What a capture hands to its live page, and when."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from shuntbook.cli.capture.live_meter import Snapshot

from .view import live_state

if TYPE_CHECKING:
    from .server import LivePage

#: For how long it has been captured, and for how long it will be, where that is known. [s]
Times = tuple[float, float | None]
#: Often enough for figures that people read, seldom enough for a small computer with ten viewers. [s]
_EVERY_S = 0.5


class ToPage:
    """Shows browsers how a capture goes; without a page, nothing.

    Parameters
    ----------
    page : LivePage or None
        Where to.
    title : str
        What stands above it.
    """

    def __init__(self, page: LivePage | None, title: str) -> None:
        self._page, self._title = page, title
        self._due = 0.0

    def step(
        self,
        snapshots: Callable[[], Sequence[Snapshot]],
        times: Times,
        say: Callable[[str], object],
    ) -> None:
        """Show how it goes, if that is due, and tell the person here what the page has to say."""
        if self._page is None:
            return
        for line in self._page.news():
            say(line)
        if time.monotonic() >= self._due:
            self._due = time.monotonic() + _EVERY_S
            self._publish(self._page, snapshots(), times, ended=False)

    def end(self, snapshots: Sequence[Snapshot], times: Times) -> None:
        """Show the last figures, and that they are the last."""
        if self._page is not None:
            self._publish(self._page, snapshots, times, ended=True)

    def _publish(self, page: LivePage, snapshots: Sequence[Snapshot], times: Times, *, ended: bool) -> None:
        elapsed_s, left_s = times
        page.publish(live_state(snapshots, title=self._title, elapsed_s=elapsed_s, left_s=left_s, ended=ended))
