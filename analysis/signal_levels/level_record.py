"""What is kept of a level once it is complete, the list of all levels of a log, and what is kept of that in short."""

from __future__ import annotations

from collections import deque
from collections.abc import Set
from dataclasses import dataclass, field, replace
from functools import cached_property
from math import nan
from typing import NamedTuple

import numpy as np

from ..readings.chunk import MICROSECONDS, FloatArray

#: What is drawn at rest is the least that was drawn in so long: common practice, no source. [s]
REST_S = 6 * 3600.0


@dataclass(frozen=True, slots=True)
class LevelRecord:
    """A stretch of readings in which no load stepped; levels are by quantity, in its unit.

    ``start_us`` is the middle between the last reading before the change that led here and the first after it,
    ``spacing_s`` the time between those two; ``first_us`` and ``last_us`` are its first and last reading. Where the
    change took several readings, as a ramp does, ``left_us`` is when the signal left the level before, ``reached_us``
    when it had come to this one, each with the spacing of readings there: ``left_s``, ``reached_s``. ``least`` is
    the smallest change that stood out from the noise where it began [unit of the signal]. ``first``, ``last`` and
    ``usual`` are how it begins, ends and is as a rule; ``peak`` is the highest reading of the change and of a start's
    time after it. ``lowest_V`` and ``highest_W`` hold for the change as well; NaN where unknown. ``sums_first`` and
    ``sums_last`` are running integrals at its first and last reading [unit s]; ``burst`` is what stood out between the
    level before and this one. ``inner`` are the levels that it went through on slow ramps, if it did; of
    the last of these, ``leaves`` is when it began to move towards the next level, and the spacing there [us], [s].
    ``start_s`` is how long the start took that led to it, NaN where none showed [s].
    """

    start_us: float
    spacing_s: float
    left_us: float
    left_s: float
    reached_us: float
    reached_s: float
    first_us: int
    last_us: int
    after_gap: bool
    least: float
    first: dict[str, float]
    last: dict[str, float]
    usual: dict[str, float]
    peak: dict[str, float]
    lowest_V: float
    highest_W: float
    sums_first: dict[str, float]
    sums_last: dict[str, float]
    burst: Burst | None
    inner: tuple[LevelRecord, ...] = ()
    leaves: tuple[float, float] | None = None
    start_s: float = nan

    @property
    def length_s(self) -> float:
        """From its first to its last reading. [s]."""
        return (self.last_us - self.first_us) / MICROSECONDS


@dataclass(frozen=True, slots=True)
class Burst:
    """Readings that stand out above the same level before and after.

    It lasts from the middle before its first reading to the middle after its last. ``readings`` is how many there are,
    or as many as are enough; ``peak`` the highest above the level before, by quantity [unit]; ``sag_V`` by how much the
    voltage fell, NaN where unknown.
    """

    start_us: float
    stop_us: float
    readings: int
    peak: dict[str, float]
    sag_V: float


@dataclass
class LevelList:
    """All levels of a log, in order, and their steps; `signal` is the quantity in which they were found."""

    signal: str
    levels: list[LevelRecord] = field(default_factory=list)

    @property
    def names(self) -> Set[str]:
        """The quantities that were read."""
        return self.levels[0].first.keys() if self.levels else set()

    def refined(self) -> LevelList:
        """Return the list with the levels within each in place of those that went through some."""
        refined = list[LevelRecord]()
        for level in self.levels:
            for each in level.inner or (level,):
                leaves = refined[-1].leaves if refined and not each.after_gap else None
                refined.append(replace(each, left_us=leaves[0], left_s=leaves[1]) if leaves else each)
        return LevelList(self.signal, refined)

    def change(self, k: int, name: str) -> float:
        """Return the step at the beginning of a level. [unit]."""
        return self.levels[k].first[name] - self.levels[k - 1].last[name]

    def changes(self, name: str) -> FloatArray:
        """Return the step at the beginning of each level, nought for the first; shape (n,), in the quantity's unit."""
        first = np.array([level.first[name] for level in self.levels])
        last = np.array([level.last[name] for level in self.levels])
        return np.concatenate([[0.0], first[1:] - last[:-1]])

    @cached_property
    def before(self) -> FloatArray:
        """Where the signal was right before each level; shape (n,). [unit of the signal]."""
        last = np.array([level.last[self.signal] for level in self.levels])
        return np.concatenate([[self.levels[0].first[self.signal]], last[:-1]])

    @cached_property
    def after(self) -> FloatArray:
        """The lower of where each level begins and where it stays as a rule; shape (n,). [unit of the signal]."""
        return np.array([min(level.first[self.signal], level.usual[self.signal]) for level in self.levels])

    @cached_property
    def rest(self) -> FloatArray:
        """The least that was drawn in the last `REST_S` up to each level; shape (n,). [unit of the signal]."""
        # A sliding minimum: the queue holds the levels that may yet be the least, each higher than the one before it,
        # so that each level enters and leaves it once however long the window is.
        low, lowest = np.minimum(self.before, self.after), deque[int]()
        rest = np.empty_like(low)
        for k, level in enumerate(self.levels):
            while lowest and low[lowest[-1]] >= low[k]:
                lowest.pop()
            lowest.append(k)
            # A level counts as long as its end is within the window: a base of a whole night is not old at its end.
            while level.start_us - self.levels[lowest[0]].last_us > REST_S * MICROSECONDS:
                lowest.popleft()
            rest[k] = low[lowest[0]]
        return rest

    @cached_property
    def gives(self) -> bool:
        """Whether anything flowed back at any time, beyond the noise."""
        low = np.minimum(self.before, self.after)
        return bool(np.any(low < -np.array([level.least for level in self.levels])))


class Stair(NamedTuple):
    """A level: when it began and when its last reading was [us]; how it begins and ends [unit of the signal].

    ``least`` is the smallest change that stood out from the noise there [unit]; ``spacing_s`` the time over which the
    change that led to it took place.
    """

    start_us: float
    last_us: float
    first: float
    last: float
    least: float
    spacing_s: float
    after_gap: bool


def stairs_of(levels: LevelList) -> tuple[Stair, ...]:
    """Return the levels of a log in short, those within a slow ramp each by itself."""
    signal = levels.signal
    return tuple(
        Stair(
            level.start_us,
            float(level.last_us),
            level.first[signal],
            level.last[signal],
            level.least,
            (level.reached_us - level.left_us) / 1e6,
            level.after_gap,
        )
        for level in levels.refined().levels
    )
