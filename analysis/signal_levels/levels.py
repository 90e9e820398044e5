"""Levels: plateaus put together where they differ only by a start's moment, a slow fall or noise."""

from __future__ import annotations

import copy
import math
from collections.abc import Iterable, Sequence, Set
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import chain, islice

from ..readings.chunk import MICROSECONDS
from ..stats.few import highest, median, weighted_median
from .bursts import START_STAYS_ABOVE, burst_between
from .level_record import Burst, LevelRecord
from .plateau import EDGE, Plateau

#: A level holds for at least this many readings and this long; what is shorter belongs to a start or a stop. [s]
LEVEL_READINGS, LEVEL_S = 3, 1.0
#: A start is over within this time: trade guides give 0.1 to 5 s for a motor's surge (no standard does). [s]
START_S = 5.0
#: A level's beginning is judged by the readings of so long. [s]
EDGE_S = 3.0
#: And by so many that the median's error is 1 % of the step: 1.25 x (least step / 6) / sqrt(n) = 0.01 x step.
NOISE_AT_EDGE = 1.25 / 6.0 / 0.01
#: What remains after a start is less than this share of its top.
START_FALLS_TO = 0.65
#: Neighbouring plateaus differ by no more than this share of the step before, if the second is short, or if it holds.
SLOPE_SHORT, SLOPE_LONG = 0.1, 0.03
#: Readings between two levels are a burst and no step if the levels differ by less than this share of it.
SMALL_CHANGE = 0.1
#: A step belongs to the stair up to a larger one if it has this share of it.
OF_STAIR = 0.3
#: A level has no more plateaus; what goes on is another level, with no step between them.
MOST_PARTS = 256
#: A change has begun, and is over, where the signal is off the level before, or after, by more than this share of it:
#: common practice, no source.
OF_CHANGE = 0.05
#: Medians of several readings differ by less than this share of the least step where only noise lies between them.
LIKE_NOISE = 0.7


@dataclass
class Level:
    """Plateaus that together hold long enough, and the short ones between them and the level before."""

    parts: list[Plateau]
    between: list[Plateau]
    after_gap: bool

    @property
    def names(self) -> Set[str]:
        """The quantities that were read."""
        return self.parts[0].traces.keys()

    @property
    def first_us(self) -> int:
        """Its first reading. [us]."""
        return self.parts[0].first_us

    @property
    def last_us(self) -> int:
        """Its last reading. [us]."""
        return self.parts[-1].last_us

    @property
    def length_s(self) -> float:
        """From its first to its last reading. [s]."""
        return (self.last_us - self.first_us) / MICROSECONDS

    @property
    def holds(self) -> bool:
        """Whether it is more than a moment of a start or a stop."""
        return self.count >= LEVEL_READINGS and self.length_s >= LEVEL_S

    @property
    def count(self) -> int:
        """Number of its readings. [1]."""
        return sum([part.count for part in self.parts])

    @property
    def start_us(self) -> float:
        """The middle between the last reading before the change and the first after it. [us]."""
        return self.changed.first_us - self.spacing_s * MICROSECONDS / 2

    @property
    def spacing_s(self) -> float:
        """Time between those two readings. [s]."""
        return self.changed.step_s

    @cached_property
    def changed(self) -> Plateau:
        """The plateau with which the change began: that of the largest step, or the first of a stair up to it."""
        if not self.between:
            return self.parts[0]
        change = [*self.between, self.parts[0]]
        direction = 1.0 if sum(plateau.step for plateau in change) > 0 else -1.0
        steps = [direction * plateau.step for plateau in change]
        first = steps.index(max(steps))
        largest = steps[first]
        # Back down the stair: a reading in the middle of the step divides it. What lies before is another load's doing.
        while first and steps[first - 1] > OF_STAIR * largest:
            first -= 1
        return change[first]

    def first(self, name: str, readings: int = EDGE) -> float:
        """Return how it begins: the median of its first readings. [unit]."""
        part = self.parts[0]
        # A plateau keeps as many readings and their median; where it has fewer, those of the next ones count as well.
        if len(self.parts) > 1 and part.count < readings:
            return median(_gathered((each.traces[name].head for each in self.parts), readings))
        trace = part.traces[name]
        return trace.first if readings >= len(trace.head) else median(trace.head[:readings])

    def last(self, name: str, readings: int = EDGE) -> float:
        """Return how it ends: the median of its last readings. [unit]."""
        part = self.parts[-1]
        if len(self.parts) > 1 and part.count < readings:
            return median(_gathered((each.traces[name].tail[::-1] for each in reversed(self.parts)), readings))
        trace = part.traces[name]
        return trace.last if readings >= len(trace.tail) else median(trace.tail[-readings:])

    def usual(self, name: str) -> float:
        """Return its usual reading: the median of its plateaus' medians, each counted by its readings. [unit]."""
        if len(self.parts) == 1:
            return self.parts[0].traces[name].usual
        # Not one of all readings: these are not kept, however long a level holds.
        return weighted_median([(part.traces[name].usual, part.count) for part in self.parts])

    @property
    def start(self) -> list[Plateau]:
        """The change, and the plateaus that begin within a start's time."""
        until_us = self.changed.first_us + START_S * MICROSECONDS
        return [*self.between, self.parts[0], *[part for part in self.parts[1:] if part.first_us <= until_us]]

    def peak(self, name: str) -> float:
        """Return the highest reading of the change and of the plateaus that begin within a start's time. [unit]."""
        return highest([part.traces[name].high for part in self.start])

    def high(self, name: str) -> float:
        """Return the highest reading of the change and of the whole level; NaN where some are unknown. [unit]."""
        return highest([part.traces[name].high for part in (*self.between, *self.parts) if name in part.traces])

    def low(self, name: str) -> float:
        """Return the lowest reading of the change and of the whole level; NaN where some are unknown. [unit]."""
        return -highest([-part.traces[name].low for part in (*self.between, *self.parts) if name in part.traces])


def _gathered(rows: Iterable[Sequence[float]], most: int) -> list[float]:
    """Return so many of the first of some numbers, or all."""
    return list(islice(chain.from_iterable(rows), most))


def edge_readings(before: Level, level: Level, signal: str) -> int:
    """Return of how many readings next to a step the median is taken on either side. [1]."""
    # As few as the noise allows, since a cloud may move the level meanwhile; but no fewer than lie within `EDGE_S`, in
    # which a start's surge dies away.
    step, length_s = abs(level.first(signal) - before.last(signal)), level.length_s
    by_noise = (NOISE_AT_EDGE * level.changed.least / step) ** 2 if step > 0 else EDGE
    by_time = EDGE_S * (level.count - 1) / length_s if length_s > 0 else LEVEL_READINGS
    return math.ceil(min(max(by_noise, by_time, LEVEL_READINGS), EDGE))


def _burst(before: Level, level: Level, signal: str) -> Burst | None:
    """Return what stood out between two levels that hardly differ; None if nothing did."""
    base = before.last(signal)
    top = highest([part.traces[signal].high for part in level.between]) - base
    if top < level.changed.least or abs(level.first(signal) - base) > SMALL_CHANGE * top:
        return None
    ends = {name: (before.last(name), level.first(name)) for name in level.names}
    return burst_between(ends, level.between, level.parts[0], signal)


def _ends_of_change(before: Level, level: Level, signal: str) -> tuple[Plateau, Plateau]:
    """Return the plateaus with which the change to a level began and was over."""
    left = reached = level.parts[0]
    below, change = before.last(signal), level.first(signal) - before.last(signal)
    for part in reversed(level.between):
        through = (part.traces[signal].usual - below) / change if change else 0.0
        if through <= OF_CHANGE:
            break
        # Once off the new level, going back in time, it is not part of it any more.
        left, reached = part, part if reached is left and abs(through - 1) <= OF_CHANGE else reached
    return left, reached


def record(
    level: Level, before: Level | None, signal: str, *, at_start: int, at_end: int, start_s: float = math.nan
) -> LevelRecord:
    """Return what is kept of a level that is complete; so many readings stand for its beginning and for its end."""
    names, changed, start = level.names, level.changed, level.start
    left, reached, burst = level.parts[0], level.parts[0], None
    if before is not None and level.between and not level.after_gap:
        left, reached = _ends_of_change(before, level, signal)
        burst = _burst(before, level, signal)
    return LevelRecord(
        start_us=level.start_us,
        spacing_s=changed.step_s,
        left_us=left.first_us - left.step_s * MICROSECONDS / 2,
        left_s=left.step_s,
        reached_us=reached.first_us - reached.step_s * MICROSECONDS / 2,
        reached_s=reached.step_s,
        first_us=level.first_us,
        last_us=level.last_us,
        after_gap=level.after_gap,
        least=changed.least,
        first={name: level.first(name, at_start) for name in names},
        last={name: level.last(name, at_end) for name in names},
        usual={name: level.usual(name) for name in names},
        peak={name: highest([part.traces[name].high for part in start]) for name in names if name != "voltage_V"},
        lowest_V=level.low("voltage_V"),
        highest_W=level.high("power_W"),
        sums_first={name: sums[0] for name, sums in level.parts[0].sums.items()},
        sums_last={name: sums[1] for name, sums in level.parts[-1].sums.items()},
        burst=burst,
        start_s=start_s,
    )


class LevelMaker:
    """Puts plateaus together to levels, one after the other.

    What lies between two levels goes with the one that follows. A level is given out as soon as nothing that comes can
    change it: when the one after it is complete.
    """

    def __init__(self, signal: str) -> None:
        self._signal = signal
        self._base: Level | None = None  # the last level that is complete
        self._forming: Level | None = None
        self._is_level = False  # whether the one that is forming holds long enough already
        self._between: list[Plateau] = []  # of the level that is forming
        self._waiting: Level | None = None  # complete, but may prove the start of the next
        self._before_it: Level | None = None

    def add(self, plateau: Plateau) -> list[Level]:
        """Take the next plateau in and return the levels that are complete now: none, one or two."""
        done: list[Level] = []
        # Nothing goes on across a gap, and what was too short before it belongs to no change after it.
        if plateau.after_gap:
            done += self._closed()
            self._forming, self._between = None, []
        if self._forming is not None and self._continues(self._forming, plateau):
            self._forming.parts.append(plateau)
        else:
            done += self._closed()
            self._forming, self._is_level = Level([plateau], self._between, plateau.after_gap), False
        # The first after a gap is a level however short it is: there is none before it whose change it could be.
        if not self._is_level and (self._forming.holds or self._forming.after_gap):
            self._is_level, self._between = True, []
        return done

    def twin(self) -> LevelMaker:
        """Return one that can go on without changing this one."""
        twin = copy.copy(self)
        if self._forming is not None:
            twin._forming = replace(self._forming, parts=[*self._forming.parts])
        return twin

    def rest(self) -> list[Level]:
        """Return the levels that are not complete yet, as they stand."""
        twin = self.twin()
        done = twin._closed()
        return done if twin._waiting is None else [*done, twin._waiting]

    def _closed(self) -> list[Level]:
        """Complete what is forming; return the levels that cannot change any more."""
        forming, waiting = self._forming, self._waiting
        if forming is None:
            return []
        if not self._is_level:
            self._between = [*self._between, *forming.parts]
            return []
        if self._base is not None and not forming.after_gap:
            forming = _after_its_start(self._base, forming, self._signal)
        self._base = self._waiting = forming
        if waiting is None:
            return []
        # Only now that the next level is known can the one before it prove to be its start, held at a surge's limit.
        if self._before_it is not None and _is_start(self._before_it, waiting, forming, self._signal):
            between = [*waiting.between, *waiting.parts, *forming.between]
            self._base = self._waiting = Level(forming.parts, between, forming.after_gap)
            return []
        self._before_it = waiting
        return [waiting]

    def _continues(self, level: Level, plateau: Plateau) -> bool:
        """Tell whether a plateau goes on with a level: it differs as noise does, or little beside the step before."""
        if len(level.parts) >= MOST_PARTS:
            return False
        last, is_short = level.parts[-1], plateau.count < LEVEL_READINGS
        jump = plateau.traces[self._signal].first - last.traces[self._signal].last
        is_noise = abs(jump) <= LIKE_NOISE * plateau.least
        # Between medians only: of one or two readings the noise is as large as what `least` was made to exceed.
        if is_noise and not is_short and last.count >= LEVEL_READINGS:
            return True
        if level.after_gap or self._base is None:
            return False
        step = level.first(self._signal) - self._base.last(self._signal)
        # A pump's draw falls slowly while the pressure rises. A long plateau, steady at another level, is rather
        # another load's step: it is held to less.
        if abs(jump) > (SLOPE_SHORT if is_short else SLOPE_LONG) * abs(step):
            return False
        # What climbs on within a start's time is not a level yet: a motor that is brought up softly.
        is_early = not self._is_level and plateau.first_us - level.changed.first_us <= START_S * MICROSECONDS
        return is_noise or jump * step <= 0 or not is_early


def _after_its_start(base: Level, level: Level, signal: str) -> Level:
    """Return a level without the start that it may begin with: a surge held at a limit for seconds, and its decay."""
    if len(level.parts) < 2:
        return level
    below = base.last(signal)
    rise = level.peak(signal) - below
    until_us = level.changed.first_us + START_S * MICROSECONDS
    for k, part in enumerate(level.parts):
        remains = _remains(part.traces[signal].first - below, rise)
        if remains and not k:
            return level
        # The first plateau of some length is what remains after such a start; what lies before belongs to the change.
        if remains and part.count >= LEVEL_READINGS:
            settled = Level(level.parts[k:], [*level.between, *level.parts[:k]], level.after_gap)
            return settled if settled.holds else level
        if not remains and part.last_us > until_us:
            break
    return level


def _is_start(base: Level, level: Level, following: Level, signal: str) -> bool:
    """Tell whether a short level right after a step up, with a lower one above its base behind it, is one's start."""
    if level.after_gap or following.after_gap or level.length_s > START_S:
        return False
    below = base.last(signal)
    return _remains(following.first(signal) - below, level.first(signal) - below)


def _remains(stays: float, rise: float) -> bool:
    """Tell whether what stays of a rise is what remains after a start. [unit of the signal]."""
    return START_STAYS_ABOVE * rise < stays < START_FALLS_TO * rise
