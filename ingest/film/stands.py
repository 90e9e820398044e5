"""From glimpses of a display to values that stood on it: one counts only where it holds and goes with its neighbours.

Frames are few to the second and may catch a display while it changes, flickers or is half covered. So a value must be
read in several frames, stand for a while where it jumps, and lose no digit beside frames that could not be read.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import chain, groupby
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .digit_light.moving_light import MovingLight
from .display import FieldEntry
from .figures import NoFigureError, figure_of
from .lost_digits import CHANGE_S, SMALL_DIGITS, KnownValues, doubt_what_lost_digits
from .patterns import (
    DOUBT,
    NAMES,
    dark_for,
    doubt_darkness,
    doubt_parts,
    doubt_what_seems_dark,
    fill,
    is_half_changed,
    is_mixture,
    runs_of,
)
from .seen import Seen, Stand, unread_between_s

#: A part of a digit that is dark for no longer was not lit at that moment; of displays that flicker, longer; of those
#: read by the light of each row, shorter. [s]
_PART_S, _PART_FLICKERS_S, _PART_ROWS_S = 0.25, 0.55, 0.15
#: Light is away from a digit that is dark in a whole look at least. [looks]
_DARK_LOOKS: Final = 1.5
#: A display flickers where a quarter of the steps of its light, or of its segments, are larger than this, in parts of a
#: lit one's light, of digits that have more than the other; by films of the tests.
_FLICKERS, _LIT = 0.08, 0.3
#: What stands for less may be a mixture of two values; what jumps must stand as long. [s]
_STANDS_S: Final = 0.25
#: A slow display shows for a moment what is lit in both of two values, or in either: for no longer than so many times
#: the frames between that show neither, where these are no more than a change takes.
_SLOW: Final = 1.5
#: So long it is remembered what stood there before digits were lost. [s]
_REMEMBERS_S: Final = 15.0
#: Frames so far apart are stills: what one shows may have stood nowhere else. It counts by itself where no segment
#: strays further than this from what it was taken for, in parts of a lit one's light; by pictures of the tests.
_STILLS_S, _STILL_STRAYS = 1.0, 0.2
CHANGING: Final = "the display was still changing"
#: Neighbours in time that a value is held against. [s]
_NEAR_S: Final = 3.0
#: A change of no more of the value is none of those that must stand.
_SMALL_SHARE: Final = 0.05
#: A point that so many of the frames show stands there.
_MOST: Final = 0.6
#: Frames are judged so many seconds at once, with as many before and after them as a judgement may ask for.
BLOCK_S, AROUND_S = 6.0, 12.0


@dataclass
class FrameJudge:
    """Judges the frames of one display, some seconds late; ``apart_s`` is how far apart they are [s]."""

    entry: FieldEntry
    apart_s: float
    block_s: float = BLOCK_S
    around_s: float = AROUND_S
    _waiting: list[Seen] = field(default_factory=list)
    _judged: int = 0
    _before: KnownValues = field(default_factory=KnownValues)

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
        _judge(self._waiting, self.entry, self.apart_s, self._before)
        done = [seen for seen in self._waiting[self._judged :] if seen.time_s <= ready_s]
        self._judged += len(done)
        for seen in done:
            if seen.figure is not None:
                self._before.add(seen.figure, self.apart_s)
        # What is judged stays as long as those after it may ask for it.
        since_s = ready_s - max(self._reach_s, _REMEMBERS_S * self._slow)
        first = next((k for k, seen in enumerate(self._waiting) if seen.time_s > since_s), 0)
        first = min(first, self._judged)
        done = [Seen(s.number, s.time_s, s.glimpse, s.figure, s.reason) for s in done]
        self._waiting, self._judged = self._waiting[first:], self._judged - first
        return done


def _judge(frames: Sequence[Seen], entry: FieldEntry, apart_s: float, before: KnownValues) -> None:
    """Give each frame its figure or the reason why it has none."""
    for seen in frames:
        seen.figure, seen.reason = None, seen.glimpse.reason or "what it shows was not clear"
    stands = _stands(frames, entry, apart_s)
    need = 3 if apart_s < 0.1 else 2 if apart_s < 0.5 else 1
    for stand in stands:
        _examine(stand, entry, need)
    by_quantity: dict[str, list[Stand]] = {}
    for stand in stands:
        if stand.figure is not None:
            by_quantity.setdefault(stand.figure.quantity, []).append(stand)
    unread_s = _unread_s(frames, by_quantity.values(), apart_s)
    for same in by_quantity.values():
        for k, stand in enumerate(same):
            around = same[k - 1] if k else None, same[k + 1] if k + 1 < len(same) else None
            stand.reason = _against(stand, *around, apart_s, unread_s)
        doubt_what_lost_digits(same, apart_s, unread_s, before)
    for stand in stands:
        for seen in stand.frames:
            seen.figure = None if stand.reason else stand.figure
            seen.reason = stand.reason


def _stands(frames: Sequence[Seen], entry: FieldEntry, apart_s: float) -> list[Stand]:
    texts, sure = _cleaned(frames, apart_s)
    is_seen = entry.decimals == "seen" or any(one.decimals == "seen" for one in entry.in_turn)
    points = _points(frames) if is_seen else [-1] * len(frames)
    columns, read = (list(zip(*rows, strict=True)) for rows in (texts, sure))
    stands, k = [], 0
    for (text, point), group in groupby(zip(texts, points, strict=True)):
        length = len(list(group))
        if DOUBT not in text and point is not None:
            stand = Stand(list(frames[k : k + length]), text, point, k)
            stand.point = point if is_seen else _usual_point(stand.frames)
            # Of a display that flickers a digit that stays as it is may be read before or after, too.
            by_rows = frames[k].glimpse.flickers
            spans = [_same_about(column, k) if by_rows else slice(k, k + length) for column in columns]
            stand.sure = min(sum(column[span]) for column, span in zip(read, spans, strict=True))
            stands.append(stand)
        k += length
    return stands


def _cleaned(frames: Sequence[Seen], apart_s: float) -> tuple[list[str], list[list[bool]]]:
    """Return what each frame shows once single digits are cleaned, and which of its digits were read in it."""
    times = [seen.time_s for seen in frames]
    by_rows = any(seen.glimpse.flickers for seen in frames)
    part_flickers_s = _PART_FLICKERS_S if _flickers(frames) else _PART_S
    part_s = 0.0 if apart_s >= _STILLS_S else _PART_ROWS_S if by_rows else part_flickers_s
    columns = [list(column) for column in zip(*(seen.glimpse.glyphs for seen in frames), strict=True)]
    light = np.array([seen.glimpse.light or [0.0] * len(columns) for seen in frames]).T
    # A value's last two digits are always lit, but for the flicker.
    dark_s = max(dark_for(one, times) for one in light[-2:])
    changing = _doubt_what_changes(columns, frames, apart_s)
    sure = []
    for k, column in enumerate(columns):
        if by_rows and dark_s > _DARK_LOOKS * apart_s:
            doubt_what_seems_dark(column, light[k], times, dark_s)
        doubt_darkness(column, [seen.glimpse.light[k : k + 1] for seen in frames], times)
        doubt_parts(column, times, part_s)
        sure.append([glyph != DOUBT for glyph in column])
        fill(column, times, changing[:, k])
    texts = ["".join(row) for row in zip(*columns, strict=True)]
    return texts, [list(row) for row in zip(*sure, strict=True)]


def _same_about(column: Sequence[str], k: int) -> slice:
    """Return the frames about one in which a digit is the same all along."""
    first = last = k
    while first and column[first - 1] == column[k]:
        first -= 1
    while last + 1 < len(column) and column[last + 1] == column[k]:
        last += 1
    return slice(first, last + 1)


def _doubt_what_changes(columns: Sequence[list[str]], frames: Sequence[Seen], apart_s: float) -> NDArray[np.bool_]:
    """Put in doubt digits that a slow display is still changing, and say so; return which, shape (frames, digits)."""
    changing = np.zeros((len(frames), len(columns)), dtype=bool)
    nothing = (np.nan,) * (len(columns) * len(NAMES))
    light = np.array([seen.glimpse.segments or nothing for seen in frames]).reshape(*changing.shape, len(NAMES))
    # Between two stills anything may have come and gone, and what flickers shines.
    by_rows = any(seen.glimpse.flickers for seen in frames)
    if apart_s >= _STILLS_S or by_rows or not np.isfinite(light).any():
        return changing
    moving = MovingLight(light, [seen.time_s for seen in frames])
    read = np.array(columns).T != DOUBT
    if moving.is_quick(read):
        return changing
    for k, column in enumerate(columns):
        changing[:, k] = moving.goes_away(k, column) & read[:, k]
        column[:] = [DOUBT if gone else glyph for gone, glyph in zip(changing[:, k], column, strict=True)]
    for at in np.flatnonzero(changing.any(axis=1)).tolist():
        frames[at].reason = CHANGING
    return changing


def _flickers(frames: Sequence[Seen]) -> bool:
    """Tell whether digits that are lit are now bright, now dim; or parts of them, as a camera takes row after row."""
    seen = [(one.glimpse.light, one.glimpse.strays) for one in frames if one.glimpse.light and one.glimpse.strays]
    if len(seen) < 5:
        return False
    each = np.array(seen)
    is_lit = (each[1:, 0] > _LIT) & (each[:-1, 0] > _LIT)
    steps = np.abs(np.diff(each, axis=0)).swapaxes(0, 1)[:, is_lit]
    return bool(is_lit.any() and (np.percentile(steps, 75, axis=1) > _FLICKERS).any())


def _points(frames: Sequence[Seen]) -> list[int | None]:
    column = [DOUBT if seen.glimpse.point is None else str(seen.glimpse.point) for seen in frames]
    # No point at all, between frames with one, is a moment in which it was dark.
    times = [seen.time_s for seen in frames]
    runs = runs_of(column)
    for k, (point, first, last) in enumerate(runs):
        if point == "-1" and times[last] - times[first] < _PART_FLICKERS_S and 0 < k < len(runs) - 1:
            column[first : last + 1] = [DOUBT] * (last + 1 - first)
    fill(column, times, np.zeros(len(column), dtype=bool))
    return [None if point == DOUBT else int(point) for point in column]


def _usual_point(frames: Sequence[Seen]) -> int | None:
    """Return where most frames show a point, though the profile says where it is; None where most show none."""
    (point, count), *_ = Counter(seen.glimpse.point for seen in frames).most_common(1)
    return point if count > _MOST * len(frames) else None


def _examine(stand: Stand, entry: FieldEntry, need: int) -> None:
    """Find a stand's figure; without enough frames or a proper form it has none."""
    if stand.sure < need:
        stand.reason = f"{stand.text.strip()} was read in too few frames"
        return
    try:
        stand.figure = figure_of(entry, stand.text, stand.point)
    except NoFigureError as error:
        stand.reason = str(error)


def _unread_s(frames: Sequence[Seen], wholes: Iterable[Sequence[Stand]], apart_s: float) -> NDArray[np.float64]:
    """Return how long, up to each frame and all of them, frames showed no figure; shape (frames + 1,). [s]

    Before what was only changing there is nothing.
    """
    unread = np.array([seen.reason != CHANGING or DOUBT in seen.glimpse.glyphs for seen in frames], dtype=np.float64)
    for stand in chain.from_iterable(wholes):
        unread[stand.first : stand.first + len(stand.frames)] = 0
    return np.concatenate([[0.0], np.cumsum(unread)]) * apart_s


def _against(
    stand: Stand, before: Stand | None, after: Stand | None, apart_s: float, unread_s: NDArray[np.float64]
) -> str:
    """Return why a stand does not go with its neighbours; nothing where it does."""
    if apart_s >= _STILLS_S and stand.strays <= _STILL_STRAYS:
        return ""
    lasts_s = stand.to_s - stand.from_s + apart_s
    # Of stills one alone is a moment, however far apart they are.
    short = lasts_s < _STANDS_S or (apart_s >= _STANDS_S and len(stand.frames) == 1)
    if before is not None and after is not None:
        changes_s = [unread_between_s(before, stand, unread_s), unread_between_s(stand, after, unread_s)]
        slow_s = _SLOW * max((x for x in changes_s if x <= CHANGE_S), default=0.0)
        mixed = short and is_mixture(stand.text, before.text, after.text)
        if mixed or (lasts_s < slow_s and is_half_changed(stand.text, before.text, after.text)):
            return f"{stand.text.strip()} stood for a moment only, while the display changed"
    if short and (before or after) and not _goes_with(stand, before, after, apart_s):
        return f"{stand.text.strip()} is far from what stood before and after, and stood for a moment only"
    return ""


def _goes_with(stand: Stand, before: Stand | None, after: Stand | None, apart_s: float) -> bool:
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
    small = max(_SMALL_SHARE * abs(value), SMALL_DIGITS * digit)
    return min(others) - small <= value <= max(others) + small
