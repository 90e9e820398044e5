"""What a capture hands to its live page, and when."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from shuntbook.cli.capture.live_meter import Snapshot
from shuntbook.cli.capture.show import Times

from .view import live_state

if TYPE_CHECKING:
    from .server import LivePage

#: Often enough for figures that people read, seldom enough for a small computer with ten viewers. [s]
_EVERY_S = 0.5


class ToPage:
    """Shows browsers how a capture goes, under a title."""

    def __init__(self, page: LivePage, title: str) -> None:
        self._page, self._title = page, title
        self._due = 0.0

    def step(
        self,
        snapshots: Callable[[], Sequence[Snapshot]],
        times: Times,
        say: Callable[[str], object],
    ) -> None:
        """Show how it goes, if that is due, and tell the person here what the page has to say."""
        for line in self._page.news():
            say(line)
        # A snapshot takes all meters' folds together, and so is made only when it is due.
        if time.monotonic() >= self._due:
            self._due = time.monotonic() + _EVERY_S
            self._publish(snapshots(), times, ended=False)

    def end(self, snapshots: Sequence[Snapshot], times: Times) -> None:
        """Show the last figures, and that they are the last."""
        self._publish(snapshots, times, ended=True)

    def _publish(self, snapshots: Sequence[Snapshot], times: Times, *, ended: bool) -> None:
        elapsed_s, left_s = times
        self._page.publish(live_state(snapshots, title=self._title, elapsed_s=elapsed_s, left_s=left_s, ended=ended))
