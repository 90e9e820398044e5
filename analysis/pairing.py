"""Pair steps up with steps down of like size: the runs of all loads that a signal shows."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from .chunk import MICROSECONDS
from .plateau import EDGE, Plateau
from .steps import Plateaus

#: A level holds for at least this many readings and this long; what is shorter belongs to a start or a stop. [s]
LEVEL_READINGS, LEVEL_S = 3, 1.0
#: A step down ends a run whose draw it equals to within this share.
LIKE_SIZE = 0.35
#: A run is over when the level is back within this share of its size above where it began.
BACK_AT_BASE = 0.3


#: A start is over within this time: trade guides give 0.1 to 5 s for a motor's surge (no standard does). [s]
START_S = 5.0
#: Neighbouring plateaus differ by no more than this share of the step before, if the second is short, or if it holds.
SLOPE_SHORT, SLOPE_LONG = 0.1, 0.03


@dataclass
class Level:
    """Plateaus that together hold long enough, and the short ones between them and the level before.

    Neighbouring plateaus are one level where they differ little beside the step that led there: a pump's draw falls
    slowly while the pressure rises.
    """

    parts: list[Plateau]
    between: list[Plateau]
    after_gap: bool

    @property
    def first_us(self) -> int:
        """Its first reading. [us]"""
        return self.parts[0].first_us

    @property
    def last_us(self) -> int:
        """Its last reading. [us]"""
        return self.parts[-1].last_us

    @property
    def holds(self) -> bool:
        """Whether it is more than a moment of a start or a stop."""
        length_s = (self.last_us - self.first_us) / MICROSECONDS
        return sum(part.count for part in self.parts) >= LEVEL_READINGS and length_s >= LEVEL_S

    @property
    def start_us(self) -> float:
        """The middle between the last reading before the change and the first after it. [us]"""
        return self._changed.first_us - self.spacing_s * MICROSECONDS / 2

    @property
    def spacing_s(self) -> float:
        """Time between those two readings. [s]"""
        return self._changed.step_s

    @property
    def _changed(self) -> Plateau:
        return self.between[0] if self.between else self.parts[0]

    def first(self, name: str) -> float:
        """How it begins: median of its first readings. [unit]"""
        return float(np.median(np.concatenate([p.traces[name].head for p in self.parts[:EDGE]])[:EDGE]))

    def last(self, name: str) -> float:
        """How it ends: median of its last readings. [unit]"""
        return float(np.median(np.concatenate([p.traces[name].tail for p in self.parts[-EDGE:]])[-EDGE:]))

    def usual(self, name: str) -> float:
        """Its usual reading: the median of its plateaus' medians, each counted as often as it has readings. [unit]"""
        medians = np.array([part.traces[name].usual for part in self.parts])
        counts = np.array([part.count for part in self.parts])
        order = np.argsort(medians)
        reached = np.cumsum(counts[order])
        return float(medians[order][np.searchsorted(reached, reached[-1] / 2)])

    def peak(self, name: str) -> float:
        """The highest reading of the change and of the level's beginning. [unit]"""
        return max(part.traces[name].high for part in (*self.between, *self.parts[:1]))

    def high(self, name: str) -> float:
        """The highest reading of the change and of the whole level. [unit]"""
        return max(part.traces[name].high for part in (*self.between, *self.parts))

    def low(self, name: str) -> float:
        """The lowest reading of the change and of the whole level. [unit]"""
        return min(part.traces[name].low for part in (*self.between, *self.parts))


@dataclass
class Run:
    """A load's run among the levels.

    Attributes
    ----------
    inside : int
        Index of its first level; the one before is what it stands on.
    size : float
        The step up, in the unit of the signal.
    after : int or None
        Index of the level that follows its end; None where the end was not seen.
    last : int
        Index of its last level.
    others : list of int
        Indices of levels within it at which another load stepped.
    """

    inside: int
    size: float
    after: int | None = None
    last: int = -1
    others: list[int] = field(default_factory=list)


class Levels:
    """The levels of a signal, and the runs of loads among them."""

    def __init__(self, plateaus: Plateaus) -> None:
        self.signal = plateaus.signal
        self.levels = _without_starts(_levels(plateaus.plateaus, plateaus.signal), plateaus.signal)
        self.runs: list[Run] = []
        self._pair()

    def before(self, run: Run) -> Level:
        """Return the level that a run stands on."""
        return self.levels[run.inside - 1]

    def change(self, k: int, name: str) -> float:
        """Return the step at the beginning of a level. [unit]"""
        return self.levels[k].first(name) - self.levels[k - 1].last(name)

    def start_us(self, run: Run) -> float:
        """Return when a run began. [us]"""
        return self.levels[run.inside].start_us

    def stop_us(self, run: Run) -> float | None:
        """Return when a run ended; None where that was not seen. [us]"""
        return None if run.after is None else self.levels[run.after].start_us

    def length_s(self, run: Run) -> float:
        """Return how long a run was seen running. [s]"""
        stop = self.stop_us(run)
        return ((self.levels[run.last].last_us if stop is None else stop) - self.start_us(run)) / MICROSECONDS

    def gaps_s(self, first: int, last: int) -> list[float]:
        """Return how long nothing was measured right before each of the levels from `first` to `last`. [s]"""
        inside = range(first, last + 1)
        return [(self.levels[k].first_us - self.levels[k - 1].last_us) / MICROSECONDS for k in inside if self.levels[k].after_gap]

    def settled(self, run: Run, name: str) -> float:
        """Return a run's settled draw: the usual reading of its longest level, less what others draw meanwhile. [unit]"""
        inside = range(run.inside, run.last + 1)
        longest = max(inside, key=lambda k: self.levels[k].last_us - self.levels[k].first_us)
        others = sum(self.change(k, name) for k in run.others if k <= longest)
        return self.levels[longest].usual(name) - self.before(run).last(name) - others

    def _pair(self) -> None:
        going: list[Run] = []
        for k in range(1, len(self.levels)):
            if self.levels[k].after_gap:
                going = []
                continue
            change = self.change(k, self.signal)
            ended = self._ended(going, k, -change) if change < 0 else []
            for run in ended:
                run.after = k
                going.remove(run)
            for run in going:
                run.last = k
                run.others.append(k)
            if change > 0:
                going.append(Run(k, change, last=k))
                self.runs.append(going[-1])

    def _ended(self, going: list[Run], k: int, size: float) -> list[Run]:
        """Return the runs that a step down ends.

        That is the one whose draw it equals, or all those above whose beginning the level has fallen back.
        """
        if not going:
            return []
        level = self.levels[k].first(self.signal)
        draws = [self._draw(run, k) if len(going) == 1 else run.size for run in going]
        misfit = [abs(size - draw) / max(draw, 1e-12) for draw in draws]
        best = int(np.argmin(misfit))
        back = [run for run in going if level <= self._base(run) + BACK_AT_BASE * run.size]
        return [going[best]] if misfit[best] <= LIKE_SIZE and len(back) <= 1 else back

    def _base(self, run: Run) -> float:
        return self.before(run).last(self.signal)

    def _draw(self, run: Run, k: int) -> float:
        """Return what a run draws right before level `k`, when it is the only one going."""
        others = sum(self.change(j, self.signal) for j in run.others)
        return self.levels[k - 1].last(self.signal) - self._base(run) - others


def _levels(plateaus: tuple[Plateau, ...], signal: str) -> list[Level]:
    """Put plateaus together to levels, and what lies between levels with the one that follows."""
    levels: list[Level] = []
    between: list[Plateau] = []  # of the level that is forming
    forming: Level | None = None
    for plateau in plateaus:
        if plateau.after_gap:
            forming, between = None, []
        if forming is not None and _continues(forming, plateau, levels, signal):
            forming.parts.append(plateau)
        else:
            if forming is not None and not _kept(forming, levels):
                between += forming.parts
            forming = Level([plateau], between, plateau.after_gap)
        if _kept(forming, levels):
            between = []
        elif forming.holds or forming.after_gap:
            levels.append(forming)
            between = []
    return levels


def _without_starts(levels: list[Level], signal: str) -> list[Level]:
    """Count a short level right after a step up, with a lower one above its base behind it, to that one's start."""
    kept = levels[:1]
    for k in range(1, len(levels)):
        level = levels[k]
        if k + 1 < len(levels) and not level.after_gap and not levels[k + 1].after_gap and _is_start(kept[-1], level, levels[k + 1], signal):
            levels[k + 1].between = [*level.between, *level.parts, *levels[k + 1].between]
        else:
            kept.append(level)
    return kept


def _is_start(base: Level, level: Level, following: Level, signal: str) -> bool:
    rise = level.first(signal) - base.last(signal)
    stays = following.first(signal) - base.last(signal)
    is_short = (level.last_us - level.first_us) / MICROSECONDS <= START_S
    return is_short and 0.1 * rise < stays < rise * (1 - LIKE_SIZE)


def _kept(level: Level, levels: list[Level]) -> bool:
    return bool(levels) and levels[-1] is level


def _continues(level: Level, plateau: Plateau, levels: list[Level], signal: str) -> bool:
    """Tell whether a plateau goes on with a level: it differs little beside the step that led to it."""
    held = len(levels) - (2 if _kept(level, levels) else 1)
    if level.after_gap or held < 0:
        return False
    step = abs(level.first(signal) - levels[held].last(signal))
    jump = abs(plateau.traces[signal].first - level.parts[-1].traces[signal].last)
    is_short = plateau.count < LEVEL_READINGS
    return jump <= (SLOPE_SHORT if is_short else SLOPE_LONG) * step
