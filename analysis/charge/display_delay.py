"""What a display does to an integral that is read from it: it shows a change late, may be hidden, misses surges."""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import Final

import numpy as np

from ..readings.chunk import MICROSECONDS, FloatArray, TimeArray
from ..site.motor_tables import MOST_AT_START, USUAL_START_S

#: An interval longer than the display's own times by so much was hidden: readings of a film come some times a second.
#: [s]
_HIDDEN_S = 1.0
_PARTS = ("drawn", "returned", "net")
#: A start of which a value shows so many times the settled draw was met, not missed: common practice, no source. [1]
_MET: Final = 1.5


@dataclass(frozen=True)
class DelayFacts:
    """How late what was read may be.

    Each dict goes by ``drawn``, ``returned`` and ``net``: sums of the second and fourth powers of each change times how
    much later than others it may have been shown [unit s]; by how much, from gap to gap, the last value lies above the
    first, all together [unit]; the sum of the squares of all changes [unit2]; and of each change times how long nobody
    looked while it came [unit s]. ``hidden2`` is the sum of the squares of the lengths of intervals in which nothing
    could be read [s2]. There were ``stretches`` without a gap, of ``all_s`` together. [s]
    """

    squares: dict[str, float]
    fourths: dict[str, float]
    rises: dict[str, float]
    changes2: dict[str, float]
    unseen: dict[str, float]
    hidden2: float
    stretches: int
    all_s: float


class DelaySums:
    """Add up `DelayFacts` of one signal, interval by interval; part of a fold. It carries one interval.

    `delay_s` is how late the display may be with all that it shows, `holds_s` how long it shows each value. [s]
    """

    def __init__(self, delay_s: float, holds_s: float, *, held: bool) -> None:
        self._hidden_s, self._holds_s, self._held = delay_s + holds_s + _HIDDEN_S, holds_s, held
        self._powers = np.zeros((2, 3))
        self._changes2, self._rises, self._unseen = np.zeros(3), np.zeros(3), np.zeros(3)
        self._hidden2 = self._all_s = 0.0
        self._stretches = 1
        self._last = np.empty(0), np.empty(0, np.int64), np.empty(0, np.int64)

    def add(self, x: FloatArray, start_us: TimeArray, stop_us: TimeArray) -> None:
        """Take the next values in [unit], at least one, and from when to when each has stood."""
        values, start, stop = (np.concatenate(both) for both in zip(self._last, (x, start_us, stop_us), strict=True))
        lengths, length_s = (stop - start) / MICROSECONDS, (stop_us - start_us) / MICROSECONDS
        # What changed over a gap is in no sum, so no delay of it is.
        joined = start[1:] == stop[:-1]
        # What is held may have changed at any moment before the next look, a mean at any moment it was taken over.
        unseen_s = lengths[:-1] if self._held else lengths[1:]
        late_s = self._holds_s + unseen_s
        above, below = np.maximum(values, 0.0), np.maximum(-values, 0.0)
        for k, part in enumerate((above, below, values)):
            change = np.diff(part) * joined
            square = (change * late_s) ** 2
            self._powers[:, k] += square.sum(), (square**2).sum()
            self._changes2[k] += (change**2).sum()
            self._rises[k] += change.sum()
            self._unseen[k] += (change * unseen_s).sum()
        hidden = length_s[length_s > self._hidden_s]
        self._hidden2 += float((hidden**2).sum())
        self._all_s += float(length_s.sum())
        self._stretches += int((~joined).sum())
        self._last = values[-1:], start[-1:], stop[-1:]

    def result(self) -> DelayFacts:
        """Return the facts so far."""
        sums = (*self._powers, self._rises, self._changes2, self._unseen)
        squares, fourths, rises, changes2, unseen = (dict(zip(_PARTS, x.tolist(), strict=True)) for x in sums)
        return DelayFacts(squares, fourths, rises, changes2, unseen, self._hidden2, self._stretches, self._all_s)


@dataclass(frozen=True)
class StartFacts:
    """What the loads draw, once settled, whose starts show no surge: the sum over all, and of the squares. [unit]"""

    sum: float
    squares: float

    def missed(self, between_s: float, *, all_alike: bool) -> float:
        """Return how much more they may have drawn at most between two values so far apart. [unit s]

        A display that takes a value some times a second meets some surges, and counts those for as long as it shows
        them: over many starts that evens out. A person notes none of them (`all_alike`).
        """
        # At first it draws the most that is usual for pumps and compressors, and comes down evenly to what it settles
        # at: half of that in the mean. One that lasts longer than values are apart would be met.
        each_s = (MOST_AT_START - 1) / 2 * min(between_s, USUAL_START_S)
        return (self.sum if all_alike else sqrt(self.squares)) * each_s


class StartSums:
    """Add up `StartFacts` of one signal, interval by interval; part of a fold.

    A fall within `soon_s` of a rise ends a surge that was met; what is left of the rise is the settled draw. It carries
    one value, and the rise that nothing has ended.
    """

    def __init__(self, soon_s: float) -> None:
        self._soon_s = soon_s
        self._last = np.empty(0)
        self._sum = self._squares = 0.0
        self._rise = self._since_s = 0.0

    def add(self, x: FloatArray, length_s: FloatArray) -> None:
        """Take the next values in [unit], at least one, and how long each has stood [s]."""
        values = np.concatenate([self._last, np.maximum(x, 0.0)])
        at_s = (np.cumsum(length_s) - length_s)[len(x) - len(values) + 1 :]
        changed = np.flatnonzero(np.diff(values))
        change = np.concatenate([[self._rise], np.diff(values)[changed]])
        at_s = np.concatenate([[-self._since_s], at_s[changed]])
        falls = 1 + np.flatnonzero((change[1:] < 0) & (change[:-1] > 0))
        # Rises one after another are one: what goes up between two falls.
        up = np.cumsum(np.maximum(change, 0.0))
        rises = np.diff(up[falls], prepend=0.0)
        soon = at_s[falls] - at_s[falls - 1] <= self._soon_s
        settled = np.maximum(rises + np.where(soon, change[falls], 0.0), 0.0)
        missed = settled[rises < _MET * settled]
        self._sum += float(missed.sum())
        self._squares += float((missed**2).sum())
        self._rise = float(up[-1] - (up[falls[-1]] if len(falls) else 0.0))
        self._since_s = float(length_s.sum() - at_s[-1])
        self._last = values[-1:]

    def result(self) -> StartFacts:
        """Return the facts so far; a rise that nothing has ended is a start."""
        return StartFacts(self._sum + self._rise, self._squares + self._rise**2)
