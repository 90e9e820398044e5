"""A camera before a display as a live source: ``capture camera:0 --display display.toml``."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

import numpy as np

from ..errors import InputError
from ..events import HOLDS, MISREAD, Event, Reading, Refused, Remark
from ..live.address import Address
from ..live.source import Cadence, Clock, LiveSource, SourceLost
from ..log.meta import LogMeta
from ..zone import zone_of_computer
from .frames import EVERY_S, HIDDEN_S, LOOKED_AT
from .library import require_opencv

if TYPE_CHECKING:
    import cv2

    from ..profiles.model import Profile
    from .digit_places.straighten import Image
    from .live_reading import LiveReading
    from .seen import Seen

#: Live, a value is told so soon after it stood: long enough for what must stand three seconds. [s]
_BLOCK_S, _AROUND_S = 0.5, 3.6
#: Cameras fail now and then to give a frame; so many times one after another it is gone.
_MISSES: Final = 10
#: How often it is told how sure its values are, so that a capture that is cut off knows it, too. [s]
_TELLS_S: Final = 60


class CameraReadings(LiveSource):
    """A camera by its number or its path, and the display profile that says what it looks at.

    Values come some seconds late, since each must be held against those after it; their times are those of the frames.

    Raises
    ------
    InputError
        If the library, or the display profile, is missing or wrong.
    """

    cadence: Cadence = "pushed"

    def __init__(self, address: Address, profile: Profile | None, clock: Clock) -> None:
        super().__init__(clock)
        address.only("display")
        if profile is not None:
            raise InputError(f"{address.text}: a camera has no source profile; give its display profile with --display")
        if (name := address.settings.get("display")) is None:
            raise InputError(f"{address.text}: say with --display which display profile it is read by")
        require_opencv()
        from .display import load_display
        from .live_reading import HoldTimes, MisreadSums

        self._place, self._display = address.place, load_display(Path(name))
        self._text = f"camera {address.place}"
        self._reading: LiveReading | None = None
        displays = len(self._display.fields)
        self._misread, self._holds, self._tells_us = MisreadSums(displays), HoldTimes(displays), 0
        self.quantities: Sequence[str] = self._display.quantities
        self.side: str = self._display.side
        self.sampling: str = self._display.sampling
        self.meta = LogMeta(
            meter=self._display.meter,
            side=self.side,
            sampling=self.sampling,
            profile=name,
            zone=zone_of_computer(),
            usual_interval_s=EVERY_S,
            gap_limit_s=HIDDEN_S,
            display_delay_s=float(self._display.delay_s),
        )
        self._camera: cv2.VideoCapture | None = None
        self._number, self._misses = 0, 0
        self._looked_us = self._due_us = 0

    def open(self) -> None:
        """Open the camera."""
        import cv2

        self.close()
        self._camera = cv2.VideoCapture(int(self._place) if self._place.isdigit() else self._place)
        if not self._camera.isOpened():
            self.close()
            raise SourceLost("no camera", f"{self._text}: cannot be opened; is it there, and used by nothing else?")
        # One that opens and gives nothing is not back; a profile that does not go with its pictures is told at once.
        ok, picture = self._camera.retrieve() if any(self._camera.grab() for _ in range(_MISSES)) else (False, None)
        if not ok or picture is None:
            self.close()
            raise SourceLost("camera lost", f"{self._text}: opens, but gives no pictures")
        if self._reading is None:
            self._reading = self._begun(np.asarray(picture, dtype=np.uint8))

    def close(self) -> None:
        """Let go of the camera."""
        if self._camera is not None:
            self._camera.release()
            self._camera = None

    def read(self, timeout_s: float) -> list[Event]:
        """Look at the frames that come within a time; return what became of those before."""
        events: list[Event] = []
        until_us = self.now_us() + round(timeout_s * 1e6)
        while self.now_us() < until_us:
            events += self._frame()
        return events

    def ending(self) -> list[Event]:
        """Return what is still to be judged."""
        if self._reading is None:
            return []
        events = self._told(self._reading.end())
        return [*events, *self._how_sure(self.now_us())]

    def _how_sure(self, time_us: int) -> list[Event]:
        """Return how many values may be wrong, and how long each is shown, by those so far; nothing of no values."""
        misread = self._misread.result()
        if not misread.seconds:
            return []
        self._tells_us = time_us + _TELLS_S * 1_000_000
        of_display = ((MISREAD, misread.share), (HOLDS, self._holds.usual_s))
        return [Remark(time_us, kind, f"{value:.3g}") for kind, value in of_display]

    def _frame(self) -> list[Event]:
        if self._camera is None:
            raise SourceLost("no camera", f"{self._text}: is not open")
        is_new = self._camera.grab()
        now_us = self.now_us()
        # Frames between those that are looked at are let go undecoded.
        if is_new and now_us - self._looked_us < 0.9e6 / LOOKED_AT:
            return []
        ok, picture = self._camera.retrieve() if is_new else (False, None)
        if not ok or picture is None:
            self._misses += 1
            if self._misses >= _MISSES:
                self._misses = 0
                raise SourceLost("camera lost", f"{self._text}: gives no pictures any more")
            self._clock.sleep(0.02)
            return []
        self._misses, self._looked_us, self._number = 0, now_us, self._number + 1
        if self._reading is None:
            self._reading = self._begun(np.asarray(picture, dtype=np.uint8))
        return self._told(self._reading.add(self._number, now_us / 1e6, np.asarray(picture, dtype=np.uint8)))

    def _begun(self, picture: Image) -> LiveReading:
        """Return what reads the displays in pictures of that size."""
        from .film_export import refuse_beyond
        from .live_reading import LiveReading

        high, wide = picture.shape[:2]
        reading = LiveReading(self._display.fitted(wide, high, self._text), 1 / LOOKED_AT, _BLOCK_S, _AROUND_S)
        refuse_beyond(picture, reading.readers, self._text)
        return reading

    def _told(self, moments: Sequence[Sequence[Seen]]) -> list[Event]:
        events: list[Event] = []
        for moment in moments:
            time_us = round(moment[0].time_s * 1e6)
            if time_us < self._due_us:
                continue
            self._due_us = time_us + round(0.8e6 * EVERY_S)
            self._misread.add(moment)
            self._holds.add(moment)
            if values := {seen.figure.quantity: seen.figure.value for seen in moment if seen.figure is not None}:
                events.append(Reading(time_us, values))
            events += [
                Refused(time_us, "not read", seen.glimpse.glyphs, seen.reason) for seen in moment if seen.figure is None
            ]
            if time_us >= self._tells_us:
                events += self._how_sure(time_us)
        return events
