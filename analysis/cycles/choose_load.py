"""Which load to follow: its draw, learned from the steps of a log or looked for near its nameplate's.

The first question of all: which loads are in the log, and which of them is the one that is asked for? Before it stands
only how one load of known draw is followed (`on_off_path`). Sizes that steps up often have are tried one after the
other, and what a load explains is taken out before the next is sought; what looks like a load and is two that stepped
at once is dropped. All that comes after asks about this one load and its runs: whether it is on to the end with less
draw (`never_back`), whether they are two loads' (`two_kinds`), and where it drew less from the start on (`dry_runs`).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations

import numpy as np

from ..readings.chunk import BoolArray, FloatArray
from ..signal_levels.cloud_steps import NEAR, StepsBySize
from .on_off_path import STAYS, TOLERANCE, WORST, Heights, RunLevels, fit, follow, overlap, steps_of

#: Steps of one load are alike to within this share.
ALIKE = 0.08
#: A step down over the step up, before it is known: most loads draw less when they stop than right after their start;
#: where the array holds the bank at its regulation voltage, the bank takes back after a run what the run took.
AT_STOP = (0.92, 1.3, 1.7)
#: Of a load's starts so many at least have a stop, or else another step down is tried, and taken if it gives so many
#: times as many whole runs. [1]
MOSTLY, MANY_MORE = 0.8, 1.5
#: So many draws at most are looked at.
MOST_DRAWS = 8
#: The load that matters has at least this share of all that was switched on.
WORTH_LOOKING = 0.1
#: A load known by its nameplate may draw this many times more or less than its plate says; the farther away, the less
#: likely: by this much as a standard deviation. [log]
NEAR_PLATE, PLATE_SPREAD = 2.5, 0.45
#: No more than so many times more or less fits a plate (how a motor is loaded, what an inverter loses; common practice,
#: no source): a load that does so in this many runs goes before all that do not, however often they ran. [1], [1]
FITS_PLATE, LEAST_FITTING = 1.35, 3
#: Where nothing runs that fits the plate, the load may be one of so many runs at least that draws this share of its
#: plate: a pump without water, which trade sources say draws 0.4 to 0.75, and some room. [1], [1]
LEAST_DRY = 4
DRY_OF_PLATE = (0.33, 0.78)
#: What fits the plate twice is no chance: common practice, no source. [1]
TWICE = 2
#: If the array may have given part of at least so many of its starts, it may be seen to draw so many times less still.
HELPED, HELPED_BY = 0.5, 2.0
#: A load cannot run twice at once: where more than this share of like steps are left over, there are two loads.
OVERLAPPING = 0.1
#: A step that fits better than this is one of the load's size.
WELL = 0.5
#: Two loads that step at once explain a step less well than one, by so much.
TOGETHER_COST = 0.5
#: Where two loads stepped at once in opposite directions, at least this share of the load's draw is left.
LEAST_LEFT = 0.3
#: Two loads that step at once by chance do so less often than each by itself, by this much at least.
MORE_OFTEN = 3


@dataclass(frozen=True)
class LoadSteps:
    """A load: its step up and its step down [unit], by which share they may differ, and its runs among some steps."""

    up: float
    down: float
    tolerance: float
    runs: tuple[RunLevels, ...] = ()
    among: FloatArray | None = field(default=None, compare=False, repr=False)

    def share(self, changes: FloatArray) -> FloatArray:
        """Return steps over what is expected of this load. [1]."""
        return np.where(changes > 0, changes / self.up, changes / self.down)

    def stops(self, changes: FloatArray, runs: Iterable[RunLevels]) -> list[int]:
        """Return the steps with which runs end that may be its own: one after which nothing is drawn need not be."""
        stops = np.array([run.stop for run in runs if run.stop is not None], dtype=np.int64)
        down = -changes[stops]
        stops = stops[(down > 0) & (fit(down / self.down, self.tolerance) > WORST)]
        return list(stops.tolist())

    def whole_runs(self) -> int:
        """Return how many of its runs have a stop. [1]."""
        return sum(run.stop is not None for run in self.runs)

    def again(
        self, changes: FloatArray, heights: Heights, looked_at: tuple[FloatArray, FloatArray] | None = None
    ) -> LoadSteps:
        """Return the load with the runs that explain the steps best; `looked_at` are their shares and how they fit."""
        share = self.share(changes)
        share, good = looked_at or (share, fit(share, self.tolerance))
        runs = tuple(follow(steps_of(share, good, heights, self.up), self.up / self.down))
        return replace(self, runs=runs, among=changes)

    def learned(self, changes: FloatArray) -> LoadSteps:
        """Return the load with the steps that its runs have shown."""
        whole = [run for run in self.runs if run.fall is None]
        ups = changes[[run.start for run in whole]]
        downs = -changes[self.stops(changes, whole)]
        return replace(
            self,
            up=float(np.median(ups)) if len(ups) else self.up,
            down=float(np.median(downs)) if len(downs) else self.down,
        )


def loads_of(changes: FloatArray, heights: Heights | None = None, expected: float | None = None) -> list[LoadSteps]:
    """Return the loads that can be told apart in the steps of a log, those with most steps first.

    `changes` holds the step that led to each level: NaN where nothing was measured before it, nought where it is no
    load's. By default the signal is level between its steps. Sizes that fit the draw `expected` by a nameplate are
    looked at however rare.
    """
    loads: list[LoadSteps] = []
    left, heights = changes, heights or Heights.of(changes)
    for draw in _usual_draws(changes, expected):
        for load in _tell_apart(left, heights, draw):
            if load.runs:
                loads.append(load)
                left = without(left, load)
    return _without_pairs(loads, changes)


def _without_pairs(loads: Sequence[LoadSteps], changes: FloatArray) -> list[LoadSteps]:
    """Return loads but for what looks like one and is two that stepped at once: the sum or difference of two frequent.

    One load by itself cannot start twice at once: a load of twice another's draw is a load.
    """
    # Two that have started at once seldom stop at once too: what hardly has stops of its own is no load for its starts.
    times = [len(load.stops(changes, load.runs)) for load in loads]

    def is_pair(load: LoadSteps, count: int) -> bool:
        frequent = [other.up for other, n in zip(loads, times, strict=True) if n > MORE_OFTEN * max(count, 1)]
        pairs = (abs(a + sign * b) for a, b in combinations(frequent, 2) for sign in (1, -1))
        return any(abs(pair / load.up - 1) < ALIKE for pair in pairs)

    return [load for load, count in zip(loads, times, strict=True) if not is_pair(load, count)]


def the_load(
    loads: Sequence[LoadSteps],
    changes: FloatArray,
    expected: float | None,
    in_part: Sequence[bool],
    heights: Heights | None = None,
) -> LoadSteps | None:
    """Return the load that is asked for, or that of the largest draw among those that matter; else as `loads_of`.

    `in_part` says of each step whether the array may have given part of it, since it held the bank at its regulation
    voltage.
    """
    load = _largest(loads) if expected is None else _nearest(loads, expected, in_part)
    if load is None:
        return None
    # Now that all loads are known, once more: a step of two at once is neither's size, and was left over before.
    others = [other for other in loads if other is not load]
    if not others and load.among is changes:
        return load
    less = [other for other in others if _is_what_is_left(other, load, changes)]
    heights = heights or Heights.of(changes)
    at_once = _where_two_stepped(load, [other for other in others if other not in less], changes, heights.charged)
    load = load.again(changes, heights, at_once)
    load = replace(load, runs=in_turn(load.runs, [run for other in less for run in other.runs]))
    load = _apart_from_clouds(load, changes, heights, at_once)
    return load if load.runs else None


def in_turn(runs: Sequence[RunLevels], more: Sequence[RunLevels]) -> tuple[RunLevels, ...]:
    """Return a load's runs with more of its own, in order, but for those that begin while it runs: it cannot twice."""
    merged = list(runs)
    for run in more:
        if not any(overlap(run, other) for other in merged):
            merged.append(run)
    return tuple(sorted(merged, key=lambda run: run.start))


def _apart_from_clouds(
    load: LoadSteps, changes: FloatArray, heights: Heights, at_once: tuple[FloatArray, FloatArray]
) -> LoadSteps:
    """Return a load without the runs that clouds may as well have made, where they step by about its draw.

    `at_once` are the steps' shares and how they fit where another load may have stepped at once.
    """
    share, charged = load.share(changes), heights.charged
    by_day, away = StepsBySize.of(share[charged]), np.abs(np.abs(share) - 1.0)
    if not by_day.doubtful:
        return load
    if by_day.stand_out:
        share, good = at_once
        good = np.where(charged, np.minimum(fit(share, 2 * NEAR), good), good)
        load = load.again(changes, heights, (share, good))

    def is_its(run: RunLevels) -> bool:
        # A draw may fall by any share, as clouds step by any.
        near = min(away[k] for k in (run.start, run.stop) if k is not None) < NEAR
        return by_day.stand_out and run.fall is None and bool(near)

    return replace(load, runs=tuple(run for run in load.runs if not charged[run.start] or is_its(run)))


def _is_what_is_left(other: LoadSteps, load: LoadSteps, changes: FloatArray) -> bool:
    """Tell whether another load's runs are a load's own with less draw: a pump that has lost its water.

    So it is if the draw fell to that much within a run, and all the other's runs come between that run and the next.
    """
    first, last = other.runs[0].start, other.runs[-1].start
    before = [run for run in load.runs if run.start < first]
    if not before or before[-1].fall is None or any(first < run.start < last for run in load.runs):
        return False
    left = load.up + changes[before[-1].fall]
    return bool(abs(other.up / left - 1) <= TOLERANCE)


def _where_two_stepped(
    load: LoadSteps, others: Sequence[LoadSteps], changes: FloatArray, charged: BoolArray
) -> tuple[FloatArray, FloatArray]:
    """Return steps over what is expected of a load, and how well they fit, where another may have stepped at once."""
    share = load.share(changes)
    good = fit(share, load.tolerance)
    # A step that one load explains by itself is not looked at so, nor one in which too little is left of the load's:
    # among sums and differences of all loads anything can be found.
    alone = np.max([good, *(fit(other.share(changes), other.tolerance) for other in others)], axis=0)
    is_open = (alone < WELL) & (np.abs(changes) > LEAST_LEFT * load.down)
    # The steps of clouds as well, but for those that fit well.
    tolerance = np.where(charged, NEAR, load.tolerance)
    for other in others:
        for change in (other.up, -other.down):
            own = load.share(changes - change)
            together = fit(own, tolerance) - TOGETHER_COST
            better = is_open & (together > good)
            share, good = np.where(better, own, share), np.where(better, together, good)
    return share, good


def _largest(loads: Sequence[LoadSteps]) -> LoadSteps | None:
    """Return the load of the largest draw among those that switch a good part of all that is switched."""
    # The largest of all would often be a kettle that was on twice, the most frequent a fridge.
    switched = [load.up * len(load.runs) for load in loads]
    enough = min(WORTH_LOOKING * sum(switched), max(switched, default=0.0))
    much = [load for load, watts in zip(loads, switched, strict=True) if watts >= enough]
    return max(much, key=lambda load: load.up, default=None)


def _nearest(loads: Sequence[LoadSteps], expected: float, in_part: Sequence[bool]) -> LoadSteps | None:
    """Return the load near the plate's draw that has most runs, those nearest counting most.

    One that fits the plate is preferred to all that do not: a hob's pulses are many.
    """

    # Where the array held the bank, it gave part of what the load drew, and a meter at the bank saw the rest.
    def is_near(load: LoadSteps) -> bool:
        helped = np.mean([in_part[run.start] for run in load.runs]) >= HELPED
        return bool(expected / (HELPED_BY if helped else 1.0) <= load.up * NEAR_PLATE <= expected * NEAR_PLATE**2)

    near = [load for load in loads if is_near(load)]
    fitting = [load for load in near if _fits_plate(load.up, expected) and load.whole_runs() >= LEAST_FITTING]
    best = max(
        fitting or near,
        key=lambda load: len(load.runs) * np.exp(-((np.log(load.up / expected) / PLATE_SPREAD) ** 2)),
        default=None,
    )
    enough = TWICE if best is not None and _fits_plate(best.up, expected) else LEAST_FITTING
    # No pump as its plate says: it may be without water throughout, and then draws less whenever it is on.
    if best is None or best.whole_runs() < enough:
        dry = [load for load in loads if DRY_OF_PLATE[0] <= load.up / expected <= DRY_OF_PLATE[1]]
        dry = [load for load in dry if load.whole_runs() >= LEAST_DRY]
        best = max(dry, key=lambda load: load.up * len(load.runs), default=best)
    return best


def _fits_plate(draw: float, expected: float | None) -> bool:
    """Tell whether a draw is about what is expected; never where nothing is."""
    return expected is not None and 1 / FITS_PLATE <= draw / expected <= FITS_PLATE


def _usual_draws(changes: FloatArray, expected: float | None) -> list[float]:
    """Return the sizes that steps up often have, those that matter most first; and those that fit a plate."""
    up, down = np.sort(changes[changes > 0]), np.sort(-changes[changes < 0])
    if not len(up):
        return []
    alike = np.searchsorted(up, up * (1 + ALIKE), side="right") - np.searchsorted(up, up * (1 - ALIKE))
    back = np.searchsorted(down, up * (1 + ALIKE), side="right") - np.searchsorted(down, up * (1 - 2 * ALIKE))
    # Steps up that have as many like them down again weigh twice: a load that starts must stop, and a cloud need not.
    weight = up * (alike + np.minimum(back, alike))
    draws: list[float] = []
    for k in np.argsort(-weight, kind="stable").tolist():
        is_asked = len(draws) < MOST_DRAWS or _fits_plate(up[k], expected)
        if is_asked and all(abs(np.log(up[k] / draw)) > ALIKE for draw in draws):
            near = up[(up >= up[k] * (1 - ALIKE)) & (up <= up[k] * (1 + ALIKE))]
            draws.append(float(np.median(near)))
    return draws


def _tell_apart(changes: FloatArray, heights: Heights, draw: float) -> list[LoadSteps]:
    """Follow a load of about this draw; where steps of its size are left over, follow two that differ."""
    load = _followed(changes, heights, draw, AT_STOP[0])
    # Many starts without a stop: the load's stops may be of another size than most loads'.
    if load.whole_runs() < MOSTLY * int(np.sum(fit(changes[changes > 0] / load.up) > WELL)):
        other = max((_followed(changes, heights, draw, ratio) for ratio in AT_STOP[1:]), key=LoadSteps.whole_runs)
        load = other if other.whole_runs() > MANY_MORE * load.whole_runs() else load
    share = load.share(changes)
    # Where nothing is drawn after it, a step starts no load.
    stays = heights.after - heights.rest >= STAYS * load.up
    alike = share[(share > 0) & (fit(share) > WELL) & stays]
    if len(alike) - len(load.runs) <= OVERLAPPING * len(load.runs) or len(alike) < 2:
        return [load]
    # More steps of its size than runs, and a load cannot run twice at once: there are two. They part where sizes differ
    # most, and each is then held to half of what lies between them.
    sizes = np.sort(alike) * load.up
    at = int(np.argmax(np.diff(np.log(sizes)))) + 1
    lower, upper = float(np.median(sizes[:at])), float(np.median(sizes[at:]))
    if upper / lower - 1 < ALIKE / 2:
        return [load]
    tolerance = min(TOLERANCE, max(upper / lower - 1, ALIKE) / 2)
    larger = _best_followed(changes, heights, upper, tolerance)
    return [larger, _best_followed(without(changes, larger), heights, lower, tolerance)]


def _best_followed(changes: FloatArray, heights: Heights, draw: float, tolerance: float) -> LoadSteps:
    """Follow a load that draws as much at its stop as at its start, or less as most do: what gives more whole runs."""
    ways = (_followed(changes, heights, draw, ratio, tolerance) for ratio in (1.0, AT_STOP[0]))
    return max(ways, key=LoadSteps.whole_runs)


def _followed(
    changes: FloatArray, heights: Heights, draw: float, at_stop: float, tolerance: float = TOLERANCE
) -> LoadSteps:
    """Follow a load of a given draw, and again by what its steps have shown."""
    first = LoadSteps(draw, at_stop * draw, tolerance).again(changes, heights)
    return first.learned(changes).again(changes, heights)


def without(changes: FloatArray, load: LoadSteps) -> FloatArray:
    """Return the steps that are left when those of a load are taken out. [unit]."""
    left = changes.copy()
    left[[*(run.start for run in load.runs), *load.stops(changes, load.runs)]] = 0.0
    return left
