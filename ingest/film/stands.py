"""From glimpses of a display to values that stood on it: one counts only where it holds and goes with its neighbours.

Frames are few to the second and may catch a display while it changes, flickers or is half covered. So a value must be
read in several frames, stand for a while where it jumps, and lose no digit beside frames that could not be read.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import groupby, pairwise
from typing import Final

import numpy as np

from .display import FieldEntry
from .field_reader import Glimpse
from .figures import DisplayValue, NoFigureError, figure_of
from .patterns import DOUBT, is_part_of

#: A part of a digit that is dark for no longer was not lit at that moment; of displays that flicker, longer. [s]
_PART_S, _PART_FLICKERS_S = 0.25, 0.55
#: A digit that was not clear for no longer, and is the same before and after, was the same between. [s]
_SAME_S: Final = 0.4
#: What stands for less may be a mixture of two values; what jumps must stand as long. [s]
_STANDS_S: Final = 0.25
#: Who has fewer digits than before and after, beside frames that could not be read, must stand so long. [s]
_FEWER_S = 3.0
_UNREAD_S: Final = 0.18
#: Neighbours in time that a value is held against. [s]
_NEAR_S: Final = 3.0
#: A change of no more is none of those that must stand: of the value, and in last digits.
_SMALL_SHARE, _SMALL_DIGITS = 0.05, 3
#: Frames are judged so many seconds at once, with as many before and after them as a judgement may ask for.
BLOCK_S, AROUND_S = 6.0, 5.0


@dataclass
class Seen:
    """A frame of one display: what was glimpsed, and once it is judged the figure that stood, or why there is none."""

    number: int
    time_s: float
    glimpse: Glimpse
    figure: DisplayValue | None = None
    reason: str = ""


@dataclass
class _Stand:
    """Frames in a row that show the same."""

    frames: list[Seen]
    text: str
    point: int | None
    figure: DisplayValue | None = None
    reason: str = ""
    sure: int = 0

    @property
    def from_s(self) -> float:
        return self.frames[0].time_s

    @property
    def to_s(self) -> float:
        return self.frames[-1].time_s

    @property
    def lit(self) -> int:
        return len(self.text.replace(" ", "").replace("-", ""))


@dataclass
class FrameJudge:
    """Judges the frames of one display, some seconds late; ``apart_s`` is how far apart they are [s]."""

    entry: FieldEntry
    apart_s: float
    block_s: float = BLOCK_S
    around_s: float = AROUND_S
    _waiting: list[Seen] = field(default_factory=list)
    _judged: int = 0

    def add(self, seen: Seen) -> list[Seen]:
        """Take a frame in; return those that are judged by now, in order."""
        self._waiting.append(seen)
        ready_s = seen.time_s - self._reach_s
        if len(self._waiting) <= self._judged or ready_s - self._waiting[self._judged].time_s < self._block_s:
            return []
        return self._settle(ready_s)

    def end(self) -> list[Seen]:
        """Return the rest."""
        return self._settle(np.inf) if self._waiting else []

    # Stills may be minutes apart: then so many frames count as do seconds of a film.
    @property
    def _slow(self) -> float:
        return max(self.apart_s, 1.0)

    @property
    def _reach_s(self) -> float:
        return self.around_s * self._slow

    @property
    def _block_s(self) -> float:
        return self.block_s * self._slow

    def _settle(self, ready_s: float) -> list[Seen]:
        _judge(self._waiting, self.entry, self.apart_s)
        done = [seen for seen in self._waiting[self._judged :] if seen.time_s <= ready_s]
        self._judged += len(done)
        # What is judged stays as long as those after it may ask for it.
        first = next((k for k, seen in enumerate(self._waiting) if seen.time_s > ready_s - self._reach_s), 0)
        first = min(first, self._judged)
        done = [Seen(s.number, s.time_s, s.glimpse, s.figure, s.reason) for s in done]
        self._waiting, self._judged = self._waiting[first:], self._judged - first
        return done


def _judge(frames: Sequence[Seen], entry: FieldEntry, apart_s: float) -> None:
    """Give each frame its figure or the reason why it has none."""
    for seen in frames:
        seen.figure, seen.reason = None, seen.glimpse.reason or "was not clear"
    stands = _stands(frames, entry)
    need = 3 if apart_s < 0.1 else 2 if apart_s < 0.5 else 1
    for stand in stands:
        _examine(stand, entry, need)
    whole = [stand for stand in stands if stand.figure is not None]
    for k, stand in enumerate(whole):
        before, after = _neighbours(whole, k)
        stand.reason = _against(stand, before, after, apart_s)
    for stand in stands:
        for seen in stand.frames:
            seen.figure = None if stand.reason else stand.figure
            seen.reason = stand.reason


def _stands(frames: Sequence[Seen], entry: FieldEntry) -> list[_Stand]:
    texts, sure = _cleaned(frames)
    points = [seen.glimpse.point for seen in frames]
    if entry.decimals == "seen" or any(one.decimals == "seen" for one in entry.in_turn):
        points = _points(frames)
    else:
        points = [-1] * len(frames)
    stands, k = [], 0
    for (text, point), group in groupby(zip(texts, points, strict=True)):
        length = len(list(group))
        if DOUBT not in text and point is not None:
            stand = _Stand(list(frames[k : k + length]), text, point)
            stand.sure = min(sum(column) for column in zip(*sure[k : k + length], strict=True))
            stands.append(stand)
        k += length
    return stands


def _cleaned(frames: Sequence[Seen]) -> tuple[list[str], list[list[bool]]]:
    """Return what each frame shows once single digits are cleaned, and which of its digits were read in it."""
    times = [seen.time_s for seen in frames]
    part_s = _PART_FLICKERS_S if _flickers(frames) else _PART_S
    columns = [list(column) for column in zip(*(seen.glimpse.glyphs for seen in frames), strict=True)]
    sure = []
    for column in columns:
        _doubt_parts(column, times, part_s)
        sure.append([glyph != DOUBT for glyph in column])
        _fill(column, times)
    texts = ["".join(row) for row in zip(*columns, strict=True)]
    return texts, [list(row) for row in zip(*sure, strict=True)]


def _flickers(frames: Sequence[Seen]) -> bool:
    """Tell whether digits that are lit are now bright, now dim."""
    light = [seen.glimpse.light for seen in frames if seen.glimpse.light]
    if len(light) < 5:
        return False
    each = np.array(light)
    steps = np.abs(np.diff(each, axis=0))[(each[1:] > 0.3) & (each[:-1] > 0.3)]
    return len(steps) > 0 and float(np.percentile(steps, 75)) > 0.08


def _runs(column: Sequence[str]) -> list[tuple[str, int, int]]:
    """Return the runs of one glyph, those in doubt left out, and their first and last frame."""
    runs: list[tuple[str, int, int]] = []
    for k, glyph in enumerate(column):
        if glyph == DOUBT:
            continue
        if runs and runs[-1][0] == glyph:
            runs[-1] = (glyph, runs[-1][1], k)
        else:
            runs.append((glyph, k, k))
    return runs


def _doubt_parts(column: list[str], times: Sequence[float], part_s: float) -> None:
    """Put in doubt what shows a part of the glyph that stands before and after it, for a moment."""
    runs = _runs(column)
    for k, (glyph, first, last) in enumerate(runs):
        around = [runs[j][0] for j in (k - 1, k + 1) if 0 <= j < len(runs)]
        if times[last] - times[first] < part_s and any(is_part_of(glyph, other) for other in around):
            same = len(around) == 2 and around[0] == around[1]
            if same or times[last] - times[first] < part_s / 2:
                column[first : last + 1] = [DOUBT] * (last + 1 - first)


def _fill(column: list[str], times: Sequence[float]) -> None:
    """Fill in a digit where it was in doubt for a moment and is the same before and after."""
    places = [k for k, glyph in enumerate(column) if glyph != DOUBT]
    for a, b in pairwise(places):
        if b > a + 1 and column[a] == column[b] and times[b] - times[a] <= _SAME_S:
            column[a + 1 : b] = [column[a]] * (b - a - 1)


def _points(frames: Sequence[Seen]) -> list[int | None]:
    column = [DOUBT if seen.glimpse.point is None else str(seen.glimpse.point) for seen in frames]
    # No point at all, between frames with one, is a moment in which it was dark.
    times = [seen.time_s for seen in frames]
    runs = _runs(column)
    for k, (point, first, last) in enumerate(runs):
        if point == "-1" and times[last] - times[first] < _PART_FLICKERS_S and 0 < k < len(runs) - 1:
            column[first : last + 1] = [DOUBT] * (last + 1 - first)
    _fill(column, times)
    return [None if point == DOUBT else int(point) for point in column]


def _examine(stand: _Stand, entry: FieldEntry, need: int) -> None:
    """Find a stand's figure; without enough frames or a proper form it has none."""
    if stand.sure < need:
        stand.reason = f"{stand.text.strip()} was read in too few frames"
        return
    try:
        stand.figure = figure_of(entry, stand.text, stand.point)
    except NoFigureError as error:
        stand.reason = str(error)


def _neighbours(whole: Sequence[_Stand], k: int) -> tuple[_Stand | None, _Stand | None]:
    """Return the stands of the same quantity before and after one."""
    figure = whole[k].figure
    same = None if figure is None else figure.quantity

    def first(others: Iterator[_Stand]) -> _Stand | None:
        return next((s for s in others if s.figure is not None and s.figure.quantity == same), None)

    return first(reversed(whole[:k])), first(iter(whole[k + 1 :]))


def _against(stand: _Stand, before: _Stand | None, after: _Stand | None, apart_s: float) -> str:
    """Return why a stand does not go with its neighbours; nothing where it does."""
    lasts_s = stand.to_s - stand.from_s + apart_s
    around = [other for other in (before, after) if other is not None]
    if not around:
        return ""
    # Of stills one alone is a moment, however far apart they are.
    short = lasts_s < _STANDS_S or (apart_s >= _STANDS_S and len(stand.frames) == 1)
    if short and len(around) == 2 and _is_mixture(stand.text, around[0].text, around[1].text):
        return f"{stand.text.strip()} stood for a moment only, while the display changed"
    if short and not _goes_with(stand, before, after, apart_s):
        return f"{stand.text.strip()} is far from what stood before and after, and stood for a moment only"
    if lasts_s < _FEWER_S and stand.text.strip() and all(stand.lit < other.lit for other in around):
        gaps = ([stand.from_s - before.to_s] if before else []) + ([after.from_s - stand.to_s] if after else [])
        if any(gap > _UNREAD_S + apart_s for gap in gaps):
            return f"{stand.text.strip()} has fewer digits than what stood before, and came as something was in the way"
    return ""


def _is_mixture(text: str, one: str, other: str) -> bool:
    """Tell whether each digit is that of one or the other of two values, and not all of one."""
    return text not in {one, other} and all(x in pair for x, *pair in zip(text, one, other, strict=True))


def _goes_with(stand: _Stand, before: _Stand | None, after: _Stand | None, apart_s: float) -> bool:
    """Tell whether a value lies near a neighbour's or between two; those far off in time do not count."""
    assert stand.figure is not None
    value, digit = stand.figure.value, stand.figure.last_digit
    slow = max(apart_s, 1.0)
    near = [
        s for s in (before, after) if s and min(abs(s.from_s - stand.to_s), abs(stand.from_s - s.to_s)) < _NEAR_S * slow
    ]
    others = [s.figure.value for s in near if s.figure is not None]
    if not others:
        return False
    small = max(_SMALL_SHARE * abs(value), _SMALL_DIGITS * digit)
    return min(others) - small <= value <= max(others) + small
