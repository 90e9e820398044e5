"""Frames that come one by one, read and judged as they come; and how sure is what was read of them."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from .field_reader import FieldReader
from .follow import CameraFollower
from .one_digit import NO_FIGURE, UNLIT
from .patterns import others_for_none
from .seen import Seen
from .stands import FrameJudge

if TYPE_CHECKING:
    from .digit_places.straighten import Image
    from .display import Display


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


#: Of so many changes it is asked how often a display shows a new value; what stood for longer is a steady draw. [s]
_CHANGES, _STEADY_S = 500, 3.0
#: A value that comes again leaves no change, so the shortest of the times that values stood count: the lower quarter.
_COME_NEW: Final = 0.25


class HoldTimes:
    """How long the displays of one meter show each of their values, where one follows another in sight."""

    def __init__(self, displays: int) -> None:
        self._stands: list[tuple[str, float | None]] = [("", None)] * displays
        self._lengths_s: deque[float] = deque(maxlen=_CHANGES)

    def add(self, moment: Sequence[Seen]) -> None:
        """Take what a look showed, a `Seen` a display."""
        for k, seen in enumerate(moment):
            text = "" if seen.figure is None else seen.figure.text
            before, since_s = self._stands[k]
            if text == before:
                continue
            if text and since_s is not None and seen.time_s - since_s < _STEADY_S:
                self._lengths_s.append(seen.time_s - since_s)
            # What was hidden before may have stood for longer.
            self._stands[k] = text, seen.time_s if text and before else None

    @property
    def usual_s(self) -> float:
        """How long it is as a rule; nought where no value followed another. [s]"""
        lengths_s = sorted(self._lengths_s)
        return lengths_s[int(_COME_NEW * (len(lengths_s) - 1))] if lengths_s else 0.0


#: A pattern that is no figure counts once it has stood like a value, for so many looks at the display. [1]
_STOOD: Final = 3
#: A segment that strays beyond this would be taken for the contrary; how many do is told by those beyond the former.
_CONTRARY, _STRAYS = 1 - UNLIT, 0.2
#: How fast strays become rarer, where none goes far enough to tell. [1]
_LEAST_EXCESS: Final = 0.03
#: Upper 95 % limit of a count of chance, in its standard deviations and beside them (Cornish and Fisher, of a gamma
#: distribution, from memory).
_ONE_SIDED, _BESIDE = 1.645, 0.57
#: What a count of segments is raised by for its mean (Jeffreys).
_HALF: Final = 0.5
#: Before a film tells of itself it is one of many: so many of so many values were wrong in single states of displays
#: with known truth, hands and glares before them, and so many patterns that are no figure stood for a wrong one.
#: By `film_reading --states` of 92 films' displays: 2 wrong of 5,400, beside 78 patterns. Of 3,029 values that stood in
#: 91 films that makes two wrong, beside 5 patterns; none was.
_WRONG_BEFORE, _VALUES_BEFORE, _NONES_A_WRONG = 0.5, 1350.0, 39.0
#: So many patterns to a value there, and so many more may be chance.
_NONES_A_VALUE, _FEW_NONES = 78 / 5400, 3.0


@dataclass(frozen=True)
class Misread:
    """How many of the values that were taken may be wrong, by the evidence of the film itself.

    ``share`` is the likely one, ``at_most`` its upper 95 % limit. ``seconds`` is how long values stood, all displays
    together, and ``no_figures`` how often a clear pattern stood that no figure has, counted once a second.
    """

    share: float
    at_most: float
    seconds: int
    no_figures: int


class MisreadSums:
    """Gathers, look by look, what tells how many values may be wrong.

    A film begins as good as others are, and its own values and patterns add to that. Where a segment is hidden, broken
    or washed out, most figures become a pattern that is none, and some become another figure: patterns that stood and
    are none, more than others have, tell how many. Beside these, how far segments stray from what they were taken for
    tells how many may have strayed all the way.
    """

    def __init__(self, displays: int) -> None:
        self._figures, self._nones, self._far = 0, 0, 0
        self._excess = 0.0
        self._stands: list[tuple[str, float, int]] = [("", 0.0, 0)] * displays

    def add(self, moment: Sequence[Seen]) -> None:
        """Take in what a look showed, a `Seen` a display."""
        for k, seen in enumerate(moment):
            what = seen.figure.text if seen.figure else seen.glimpse.glyphs if NO_FIGURE in seen.glimpse.reason else ""
            before, since_s, looks = self._stands[k]
            goes_on = what == before and seen.time_s - since_s < 1.0
            since_s, looks = (since_s, looks + 1) if goes_on else (seen.time_s, 1)
            self._stands[k] = what, since_s, looks
            if seen.figure is not None and looks == 1:
                self._figures += 1
                stray = max(seen.glimpse.strays, default=0.0) - _STRAYS
                self._far, self._excess = self._far + (stray > 0), self._excess + max(stray, 0.0)
            self._nones += seen.figure is None and bool(what) and looks == _STOOD

    def result(self) -> Misread:
        """Return how many may be wrong so far."""
        if not self._figures:
            return Misread(1.0, 1.0, 0, self._nones)
        usual = min(self._nones, _FEW_NONES + _NONES_A_VALUE * self._figures)
        wrong = _WRONG_BEFORE + usual / _NONES_A_WRONG
        at_most = wrong + _ONE_SIDED * math.sqrt(wrong) + _BESIDE
        values = _VALUES_BEFORE + self._figures
        # More than hands and glares leave is a segment that is broken, or hidden for good.
        beyond, each = self._nones - usual, others_for_none() / (self._figures + self._nones)
        low, high = (self._strayed(deviations) for deviations in (0.0, _ONE_SIDED))
        return Misread(
            min(wrong / values + each * beyond + low, 1.0),
            min(at_most / values + each * (beyond + _ONE_SIDED * math.sqrt(beyond)) + high, 1.0),
            self._figures,
            self._nones,
        )

    def _strayed(self, deviations: float) -> float:
        """Return the share of values with a segment that strayed all the way, as an exponential tail tells."""
        excess = max(self._excess / max(self._far, 1), _LEAST_EXCESS) * (1 + deviations / math.sqrt(self._far + 1))
        share = (self._far + _HALF + deviations * math.sqrt(self._far)) / self._figures
        return min(share, 1.0) * math.exp(-(_CONTRARY - _STRAYS) / excess)
