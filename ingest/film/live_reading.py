"""Frames that come one by one, read and judged as they come."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from .field_reader import FieldReader
from .follow import CameraFollower
from .stands import FrameJudge, Seen

if TYPE_CHECKING:
    from .display import Display
    from .straighten import Image


class LiveReading:
    """Reads every display in frames that are about `apart_s` apart, and judges them by blocks of a length. [s]"""

    def __init__(
        self,
        display: Display,
        apart_s: float,
        block_s: float,
        around_s: float,
        readers: Sequence[FieldReader] | None = None,
    ) -> None:
        self.readers = readers or [FieldReader(entry.box(), entry.shows) for entry in display.fields]
        self._follower = CameraFollower([reader.box for reader in self.readers])
        self._judges = [FrameJudge(entry, apart_s, block_s, around_s) for entry in display.fields]

    def add(self, number: int, time_s: float, picture: Image) -> list[tuple[Seen, ...]]:
        """Take a frame in; return those that are judged by now, a `Seen` a display."""
        moved = self._follower.moved(picture)
        done = []
        for reader, judge in zip(self.readers, self._judges, strict=True):
            glimpse = reader.look(picture, moved, time_s)
            done.append(judge.add(Seen(number, time_s, glimpse)))
        return list(zip(*done, strict=True))

    def end(self) -> list[tuple[Seen, ...]]:
        """Return the rest."""
        return list(zip(*(judge.end() for judge in self._judges), strict=True))
