"""What is kept of a level once it is complete, the list of all levels of a log, and what is kept of that in short."""

from __future__ import annotations

from array import array
from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence, Set
from contextlib import contextmanager
from dataclasses import dataclass, field
from functools import cached_property
from math import nan
from operator import attrgetter
from typing import Final, NamedTuple, overload

import numpy as np
from numpy.typing import NDArray

from ..readings.chunk import MICROSECONDS, BoolArray, FloatArray

#: What is drawn at rest is the least that was drawn in so long: common practice, no source. [s]
REST_S = 6 * 3600.0
#: Where anything flowed back the sun shines, and clouds may hide it for so long: common practice, no source. [s]
CLOUDS_S = 900.0


@dataclass(slots=True)
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


@dataclass(frozen=True, slots=True)
class Burst:
    """Readings that stand out above the same level before and after.

    It lasts from the middle before its first reading to the middle after its last. ``readings`` is how many there are,
    or as many as are enough; ``peak`` the highest above the level before, by quantity [unit]; ``sag_V`` by how much the
    voltage fell, NaN where unknown. With what stays behind a start's surge it lasts until ``over_us``, so many readings
    ``in_all``, and ``settled`` is what the last of these were above the levels around, by quantity [unit].
    """

    start_us: float
    stop_us: float
    readings: int
    peak: dict[str, float]
    sag_V: float
    over_us: float = nan
    in_all: int = 0
    settled: dict[str, float] = field(default_factory=dict)


#: What is kept of each level by itself, as `LevelRecord` calls it: instants of readings are whole, all else is not.
_INSTANTS: Final = ("first_us", "last_us")
_FIGURES: Final = (
    *("start_us", "spacing_s", "left_us", "left_s", "reached_us", "reached_s"),
    *("after_gap", "least", "lowest_V", "highest_W", "start_s"),
)
_COLUMNS: Final = (*_INSTANTS, *_FIGURES)
#: And by quantity.
_BY_NAME: Final = ("first", "last", "usual", "peak", "sums_first", "sums_last")


class LevelList:
    """All levels of a log, in order, and their steps: a column for each figure of a `LevelRecord`, by its name.

    ``signal`` is the quantity in which they were found. ``bursts`` and ``inner`` are by level: few have any.
    """

    # A column takes eight bytes a level, an object with its numbers two thousand for all: logs have 100,000 levels.
    first_us: array[int]
    last_us: array[int]
    start_us: array[float]
    spacing_s: array[float]
    left_us: array[float]
    left_s: array[float]
    reached_us: array[float]
    reached_s: array[float]
    after_gap: array[float]
    least: array[float]
    lowest_V: array[float]
    highest_W: array[float]
    start_s: array[float]
    first: dict[str, array[float]]
    last: dict[str, array[float]]
    usual: dict[str, array[float]]
    peak: dict[str, array[float]]
    sums_first: dict[str, array[float]]
    sums_last: dict[str, array[float]]

    def __init__(self, signal: str, levels: Iterable[LevelRecord] = ()) -> None:
        self.signal = signal
        self.bursts: dict[int, Burst] = {}
        self.inner: dict[int, tuple[LevelRecord, ...]] = {}
        vars(self).update({name: array("q") for name in _INSTANTS})
        vars(self).update({name: array("d") for name in _FIGURES})
        vars(self).update({name: dict[str, "array[float]"]() for name in _BY_NAME})
        self.extend(list(levels))

    def __len__(self) -> int:
        return len(self.first_us)

    def extend(self, levels: Sequence[LevelRecord]) -> None:
        """Add levels of the same quantities, in one order."""
        count, columns = len(self), vars(self)
        self.bursts |= {count + k: level.burst for k, level in enumerate(levels) if level.burst is not None}
        self.inner |= {count + k: level.inner for k, level in enumerate(levels) if level.inner}
        # Column by column: level by level it would be thirty calls for each.
        for name, column in zip(_COLUMNS, zip(*map(attrgetter(*_COLUMNS), levels), strict=True), strict=False):
            columns[name].extend(column)
        for name in _BY_NAME if levels else ():
            rows = [getattr(level, name) for level in levels]
            for quantity, column in zip(rows[0], zip(*[row.values() for row in rows], strict=True), strict=True):
                columns[name].setdefault(quantity, array("d")).extend(column)

    @contextmanager
    def lent(self) -> Iterator[LevelList]:
        """Give a list of the same levels to add more to; they are gone again at the end."""
        twin, count = LevelList(self.signal), len(self)
        twin.bursts, twin.inner = dict(self.bursts), dict(self.inner)
        # Not a copy: of a long log that would be the largest thing there is.
        for name in _COLUMNS:
            setattr(twin, name, getattr(self, name))
        for name in _BY_NAME:
            setattr(twin, name, dict(getattr(self, name)))
        try:
            yield twin
        finally:
            by_name = (x for name in _BY_NAME for x in getattr(self, name).values())
            for column in (*(getattr(self, name) for name in _COLUMNS), *by_name):
                del column[count:]

    def part(self, start: int, stop: int) -> LevelList:
        """Return some of the levels, as a list of their own."""
        part = LevelList(self.signal)
        part._join(self, start, stop)
        part.inner = {k - start: inner for k, inner in self.inner.items() if start <= k < stop}
        return part

    def _join(self, more: LevelList, start: int, stop: int) -> None:
        """Add some of another list's levels, of the same quantities, without those within them."""
        self.bursts |= {len(self) + k - start: burst for k, burst in more.bursts.items() if start <= k < stop}
        for name in _BY_NAME:
            for quantity, x in getattr(more, name).items():
                getattr(self, name).setdefault(quantity, array("d")).extend(x[start:stop])
        for name in _COLUMNS:
            getattr(self, name).extend(getattr(more, name)[start:stop])

    @property
    def names(self) -> Set[str]:
        """The quantities that were read."""
        return self.first.keys()

    @cached_property
    def refined(self) -> LevelList:
        """The list with the levels within each in place of those that went through some."""
        if not self.inner:
            return self
        refined, begun = LevelList(self.signal), 0
        for k, inner in self.inner.items():
            refined._join(self, begun, k)
            refined.extend(inner)
            begun = k + 1
        refined._join(self, begun, len(self))
        return refined._with_ways(self.inner)

    def _with_ways(self, inner: Mapping[int, Sequence[LevelRecord]]) -> LevelList:
        """Let the way to the next level begin where the last of some within a level left."""
        more = 0
        for k, levels in inner.items():
            more += len(levels) - 1
            after, leaves = k + more + 1, levels[-1].leaves
            if leaves is not None and after < len(self) and not self.after_gap[after]:
                self.left_us[after], self.left_s[after] = leaves
        return self

    def length_s(self, k: int) -> float:
        """Return how long a level was, from its first to its last reading. [s]."""
        return (self.last_us[k] - self.first_us[k]) / MICROSECONDS

    @cached_property
    def lengths_s(self) -> FloatArray:
        """How long each was, from its first to its last reading; shape (n,). [s]."""
        lengths: FloatArray = (np.array(self.last_us) - np.array(self.first_us)) / MICROSECONDS
        return lengths

    @cached_property
    def behind_gap(self) -> BoolArray:
        """Before which nothing was measured; shape (n,)."""
        return np.array(self.after_gap) > 0

    def next_gap(self, k: int) -> int:
        """Return the first level behind a gap from one on, or how many there are."""
        behind = int(np.searchsorted(self._gaps, k))
        return int(self._gaps[behind]) if behind < len(self._gaps) else len(self)

    @cached_property
    def _gaps(self) -> NDArray[np.int64]:
        return np.flatnonzero(self.behind_gap)

    def change(self, k: int, name: str) -> float:
        """Return the step at the beginning of a level. [unit]."""
        return self.first[name][k] - self.last[name][k - 1]

    def changes(self, name: str) -> FloatArray:
        """Return the step at the beginning of each level, nought for the first; shape (n,), in the quantity's unit."""
        first, last = np.array(self.first[name]), np.array(self.last[name])
        return np.concatenate([[0.0], first[1:] - last[:-1]])

    @cached_property
    def before(self) -> FloatArray:
        """Where the signal was right before each level; shape (n,). [unit of the signal]."""
        return np.concatenate([self.first[self.signal][:1], self.last[self.signal][:-1]])

    @cached_property
    def after(self) -> FloatArray:
        """The lower of where each level begins and where it stays as a rule; shape (n,). [unit of the signal]."""
        return _lower(np.array(self.first[self.signal]), np.array(self.usual[self.signal]))

    @cached_property
    def rest(self) -> FloatArray:
        """The least that was drawn in the last `REST_S` up to each level; shape (n,). [unit of the signal]."""
        # A sliding minimum: the queue holds the levels that may yet be the least, each higher than the one before it,
        # so that each level enters and leaves it once however long the window is.
        low, lowest, rest = np.minimum(self.before, self.after).tolist(), deque[int](), list[float]()
        for k, (height, start_us) in enumerate(zip(low, self.start_us, strict=True)):
            while lowest and low[lowest[-1]] >= height:
                lowest.pop()
            lowest.append(k)
            # A level counts as long as its end is within the window: a base of a whole night is not old at its end.
            while start_us - self.last_us[lowest[0]] > REST_S * MICROSECONDS:
                lowest.popleft()
            rest.append(low[lowest[0]])
        return np.array(rest)

    @cached_property
    def gives(self) -> bool:
        """Whether anything flowed back at any time, beyond the noise."""
        return bool(np.any(self._back))

    @cached_property
    def charged(self) -> BoolArray:
        """Whether anything flowed back within `CLOUDS_S` of each level's beginning; shape (n,)."""
        begun_us, reach_us = np.array(self.start_us), CLOUDS_S * MICROSECONDS
        back_us = begun_us[self._back]
        return np.searchsorted(back_us, begun_us + reach_us, "right") > np.searchsorted(back_us, begun_us - reach_us)

    @cached_property
    def _back(self) -> BoolArray:
        """Whether anything flowed back right before each level or in it, beyond the noise; shape (n,)."""
        return np.minimum(self.before, self.after) < -np.array(self.least)


def _lower(a: FloatArray, b: FloatArray) -> FloatArray:
    """Return the lower of two; the first where one is not known."""
    return np.where(b < a, b, a)


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


class Stairs(Sequence[Stair]):
    """Levels in short, in order; each is made of a row of numbers when it is asked for."""

    def __init__(self, rows: FloatArray) -> None:
        self._rows = rows

    def __len__(self) -> int:
        return len(self._rows)

    @overload
    def __getitem__(self, k: int) -> Stair: ...
    @overload
    def __getitem__(self, k: slice) -> Stairs: ...
    def __getitem__(self, k: int | slice) -> Stair | Stairs:
        if isinstance(k, slice):
            return Stairs(self._rows[k])
        *figures, after_gap = self._rows[k].tolist()
        return Stair._make((*figures, bool(after_gap)))


def stairs_of(levels: LevelList) -> Stairs:
    """Return the levels of a log in short, those within a slow ramp each by itself."""
    each = levels.refined
    if not len(each):
        return Stairs(np.empty((0, len(Stair._fields))))
    spacing_s = (np.array(each.reached_us) - np.array(each.left_us)) / 1e6
    ends = each.first[each.signal], each.last[each.signal]
    columns = (each.start_us, each.last_us, *ends, each.least, spacing_s, each.after_gap)
    return Stairs(np.stack([np.array(x, dtype=np.float64) for x in columns], axis=1))
