"""The cycles of one load: which runs are its own, and what each of them was like."""

from __future__ import annotations

import copy
import math
from collections.abc import Iterable, Iterator, Sequence, Set
from contextlib import contextmanager
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from ..readings.chunk import MICROSECONDS, SECONDS_PER_HOUR, Chunk, FloatArray
from ..readings.measured_span import HowRead
from ..signal_levels.cloud_steps import StepsBySize
from ..signal_levels.inner_levels import with_inner
from ..signal_levels.level_record import LevelList, LevelRecord, stairs_of
from ..signal_levels.levels import Level, LevelMaker, edge_readings, record
from ..signal_levels.plateau import EDGE, Plateau
from ..signal_levels.start_length import start_length_s
from ..signal_levels.steps import Plateaus, StepFold
from ..signal_levels.still_sky import sky_drift, still_sky
from .choose_load import LoadSteps, loads_of, the_load
from .cycle import Cycle, Cycles, CycleSummary, PerhapsDry, TwoKinds, total_taken
from .cycle_figures import at_regulation, brief_cycle, cycle_of, may_share, prompt_ohm, regulation_V, with_brief
from .dry_runs import MOST_FALL, at_one_draw, dry_runs, fell, held_run, with_late_fall
from .failed_starts import attempts_of, brief_runs, in_clouds, is_brief, without_failed
from .never_back import on_since_first
from .on_off_path import Heights, RunLevels
from .rest_to_rest import Track, runs_at_speeds
from .run_figures import NOTHING, SeenRun, coincidences, is_apart, seen
from .several_speeds import NO_SPEEDS, is_of_speeds, told_speeds
from .two_kinds import of_kind, tell_apart, with_overlapped

#: A run, or a rest, of fewer usual intervals may be missed.
SHORTEST_INTERVALS = 3
#: The usual start must take so many usual intervals for the lengths of starts to be told: common practice, no source.
START_READINGS = 2


class CycleFold:
    """Find the cycles of a load, as a fold.

    `load` is what to call it, `expected` its draw by the nameplate, in the unit of the signal: the runs nearest to it
    are taken, within a factor of `choose_load.NEAR_PLATE`; without it, those of the largest draw among the loads that
    matter. `drive` says that it runs at any speed; of others the log must show that they run at several.

    Plateaus become levels as they come; what is carried is what `StepFold` carries and the list of levels. Which steps
    between levels are the load's own is decided in `result`, from that list. The last cycle may still be open:
    ``complete`` is false then.
    """

    def __init__(
        self,
        how: HowRead,
        quantities: Set[str],
        *,
        load: str | None = None,
        expected: float | None = None,
        drive: bool = False,
    ) -> None:
        self._steps = StepFold(how, quantities)
        self._levels = _Levels(self._steps.signal)
        self._how = how
        self._load = load
        self._expected = expected
        self._drive = drive

    @property
    def signal(self) -> str:
        """The quantity in which steps are sought."""
        return self._steps.signal

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        self._steps.add(chunk)
        self._levels.add(self._steps.handed_over())

    def result(self) -> Cycles:
        """Return the cycles so far."""
        plateaus = self._steps.result()
        with self._levels.with_rest(plateaus.plateaus) as levels:
            return self._result(plateaus, levels)

    def _result(self, plateaus: Plateaus, levels: _Levels) -> Cycles:
        """Return the cycles among these levels."""
        own, others, two_kinds, perhaps_dry, of_speeds = self._chosen(levels.list)
        cycles = self._cycles_of(own, [None] * len(own) if of_speeds else _start_lengths(own, self._how))
        draws, cycles = told_speeds(own, cycles) if of_speeds else (NO_SPEEDS, cycles)
        usual_s, cloudy = self._how.usual_interval_s, in_clouds(levels.list, own)
        brief, unmeasured = list[Cycle](), 0
        # What is brief where readings are close together is no run.
        if usual_s is not None and plateaus.rises is not None and not two_kinds and not of_speeds:
            brief, unmeasured = self._brief(levels.list, own, usual_s, cloudy)
        running_s = sum(run.length_s for run in own) + sum(cycle.run_s or 0.0 for cycle in brief)
        cycles = with_brief(cycles, brief, levels.list) if brief else cycles
        return Cycles(
            tuple(cycles),
            _summary(cycles, others, running_s, plateaus.covered_s),
            plateaus.signal,
            self._load,
            self._expected,
            attempts=() if of_speeds else attempts_of(levels.list, own, self._expected),
            base_A=_usual_base(own, "current_A"),
            base_W=_usual_base(own, "power_W"),
            shortest_run_s=None if usual_s is None else SHORTEST_INTERVALS * usual_s,
            two_kinds=two_kinds,
            perhaps_dry=perhaps_dry,
            rises=plateaus.rises,
            brief_runs=len(brief),
            unmeasured_runs=unmeasured,
            in_clouds=cloudy,
            covered_s=plateaus.covered_s,
            first_us=levels.first_us,
            last_us=levels.last_us,
            on_since_first=not own and on_since_first(levels.list, self._expected),
            speeds=draws.speeds,
            fixed_speeds=draws.fixed,
            drive=self._drive,
            under_array=of_speeds and levels.list.gives,
            stairs=stairs_of(levels.list),
        )

    def _brief(self, levels: LevelList, own: list[SeenRun], usual_s: float, cloudy: bool) -> tuple[list[Cycle], int]:
        """Return the load's runs of a reading or two, and how many more there are of which nobody knows the draw."""
        bursts = brief_runs(levels, own, usual_s, cloudy=cloudy)
        # Of means nobody knows what it drew.
        if self._how.sampling != "instant" or not is_brief(own, usual_s):
            return [], len(bursts)
        return [brief_cycle(burst, self._how, self._load) for burst in bursts], 0

    def _chosen(self, levels: LevelList) -> _Chosen:
        """Return the load's runs: from rest to rest of one of several speeds, else by its steps."""
        if len(levels) < 2:
            return _Chosen([], 0)
        changes, heights, per_unit = _sizes(levels)
        plate = None if self._expected is None else self._expected * per_unit
        loads = loads_of(changes, heights, plate)
        # What a person noted down now and then shows no speeds.
        at_speeds = None
        if self._drive or self._how.sampling != "held":
            at_speeds = self._at_speeds(levels, loads, changes)
        return at_speeds or _by_steps(levels, loads, changes, heights, plate)

    def _at_speeds(self, levels: LevelList, loads: Sequence[LoadSteps], changes: FloatArray) -> _Chosen | None:
        """Return the load's runs from rest to rest; None where it is not one of several speeds."""
        refined, usual_s = levels.refined, self._how.usual_interval_s or 0.0
        # What an array gives meanwhile is no load's.
        track = Track(refined, usual_s)
        if levels.gives:
            track = Track(still_sky(refined, usual_s), usual_s, sky_drift(refined))
        if not is_of_speeds(track, levels, loads, changes, drive=self._drive, expected=self._expected):
            return None
        return _Chosen(runs_at_speeds(track, refined), 0, of_speeds=True)

    def _cycles_of(self, own: Sequence[SeenRun], starts_s: Sequence[float | None]) -> list[Cycle]:
        """Return the cycles, each with the rest before it, and how long its start took. [s]."""
        shortest_s = min((run.length_s for run in own if run.stop is not None), default=0.0)
        return [
            cycle_of(run, self._how, self._load, _rest_before(run.levels, run, previous, shortest_s), start_s)
            for run, previous, start_s in zip(own, [None, *own], starts_s, strict=False)
        ]


class _Levels:
    """From plateaus to levels, as they come."""

    def __init__(self, signal: str) -> None:
        self._maker = LevelMaker(signal)
        self._last: Level | None = None
        self._before_last: Level | None = None
        self._at_start = EDGE  # readings that stand for the beginning of the last one
        self.list = LevelList(signal)
        self.first_us: int | None = None
        self.last_us: int | None = None

    def add(self, plateaus: Sequence[Plateau]) -> None:
        """Take plateaus in that will not change any more."""
        if plateaus:
            self.first_us = plateaus[0].first_us if self.first_us is None else self.first_us
            self.last_us = plateaus[-1].last_us
            self._keep([level for plateau in plateaus for level in self._maker.add(plateau)])

    @contextmanager
    def with_rest(self, plateaus: Sequence[Plateau]) -> Iterator[_Levels]:
        """Give all levels as if the log ended with these plateaus."""
        twin = copy.copy(self)
        with self.list.lent() as twin.list:
            twin._maker = self._maker.twin()
            twin.add(plateaus)
            twin._keep(twin._maker.rest())
            if twin._last is not None:
                twin.list.extend([twin._recorded(twin._last, EDGE)])
            yield twin

    def _keep(self, levels: Iterable[Level]) -> None:
        """Record levels; each waits for the next, which decides how its end is judged."""
        records = list[LevelRecord]()
        for level in levels:
            readings = EDGE
            if self._last is not None:
                readings = EDGE if level.after_gap else edge_readings(self._last, level, self.list.signal)
                # The end of the one and the beginning of the next are judged alike: their difference is the step.
                records.append(self._recorded(self._last, readings))
            self._at_start = readings
            self._before_last, self._last = self._last, level
        self.list.extend(records)

    def _recorded(self, level: Level, at_end: int) -> LevelRecord:
        """Return what is kept of the last level; so many readings stand for its end."""
        pair = level, self._before_last, self.list.signal
        whole = record(*pair, at_start=self._at_start, at_end=at_end, start_s=start_length_s(*pair))
        return with_inner(whole, *pair)


class _Chosen(NamedTuple):
    """The runs of the load that is asked for, in order, how many others were seen, and what is in doubt."""

    own: list[SeenRun]
    others: int
    two_kinds: TwoKinds | None = None
    perhaps_dry: PerhapsDry | None = None
    of_speeds: bool = False


def _by_steps(
    levels: LevelList, loads: Sequence[LoadSteps], changes: FloatArray, heights: Heights, plate: float | None
) -> _Chosen:
    """Return the load's runs, by one question after the other; each module that answers one says so at its top.

    Of the loads in the log: which one is asked for? Failed starts of a load look like a load of their own.
    """
    at_us = np.array([*levels.start_us, levels.last_us[-1]])
    load = the_load(without_failed(loads, at_us), changes, plate, at_regulation(levels), heights)
    if load is None:
        return _Chosen([], sum(len(other.runs) for other in loads))
    # Is it on to the log's end with less draw? Then what else was taken for its runs meanwhile is not.
    held, maybe = held_run(load, levels)
    load = load if held is None else held.among(load)
    others = sum(len(other.runs) for other in loads if other.up != load.up)
    # Are its runs those of two loads of like draw? Then what ran together with the other is looked for once more.
    own, two_kinds = _seen(levels, load.runs), None
    if not in_clouds(levels, own):  # else some are of a kind that clouds have made
        own, two_kinds = tell_apart(own)
    if two_kinds is not None and two_kinds.own is not None:
        own = with_overlapped(own, _seen(levels, of_kind(two_kinds, changes, heights).runs), two_kinds)
        others += two_kinds.kinds[1 - two_kinds.own].count
    # Among what is left: did it draw less from the start on in some? These were counted among the others so far.
    less, perhaps = dry_runs(load, levels, changes, heights)
    # Clouds step by any share of its draw.
    if StepsBySize.of(load.share(changes)[heights.charged]).doubtful:
        less = [run for run in less if not heights.charged[run.start]]
    if held is not None and held.run.fall is None:
        less = [*(run for run in less if run.start < held.run.start), held.run]
    # Its own runs may have been followed on through a late fall meanwhile: what they cover now is no run beside them.
    dry = [replace(run, less=True) for run in _seen(levels, less) if is_apart(run, own)]
    dry = at_one_draw(dry, own)
    own = sorted([*own, *dry], key=lambda run: run.start_us)
    return _Chosen(own, max(others - len(dry), 0), two_kinds, perhaps or maybe)


def _start_lengths(own: Sequence[SeenRun], how: HowRead) -> list[float | None]:
    """Return how long runs took to start, where the readings show it. [s]."""
    lengths_s = [run.levels.start_s[run.start] for run in own]
    usual_s = _usual(lengths_s)
    # A start that one reading or two meet seems as long as their spacing, and averages smear every start: by one rule
    # for the whole log, since leaving out the shortest alone would make all others seem long.
    if how.sampling != "instant" or usual_s is None or usual_s < START_READINGS * (how.usual_interval_s or math.inf):
        return [None] * len(own)
    return [None if math.isnan(length_s) else length_s for length_s in lengths_s]


def _seen(levels: LevelList, runs: Sequence[RunLevels]) -> list[SeenRun]:
    """Return what was seen of a load's runs."""
    runs = [with_late_fall(bounds, runs, levels) for bounds in runs]
    strange = coincidences(levels, runs)
    own = [seen(levels, bounds, strange.get(bounds, NOTHING)) for bounds in runs]
    falls = [fell(run, bounds) for run, bounds in zip(own, runs, strict=True)]
    # A load of which most runs fall is no pump without water: that is how it runs.
    if sum(falls) < MOST_FALL * len(own):
        own = [
            replace(run, less=True, fall=bounds.fall) if less else run
            for run, bounds, less in zip(own, runs, falls, strict=True)
        ]
    # Only now: how far the volts fall for each amp must be known from all runs.
    top_V, ohm = regulation_V(levels), prompt_ohm(own)
    return [replace(run, shared=True) if may_share(run, top_V, ohm) else run for run in own]


def _sizes(levels: LevelList) -> tuple[FloatArray, Heights, float]:
    """Return the steps by which loads are told apart, where they lead, and how much of that is one unit of the signal.

    NaN stands for a gap; a step within the noise is nought.
    """
    steps = levels.changes(levels.signal)
    small = np.abs(steps) < np.array(levels.least) / 2
    per_unit = 1.0
    # Watts where there are any, since an inverter takes more amps for the same watts while the bank sags; where those
    # of a step are not known, its amps are turned into watts as in the other steps.
    if levels.signal != "power_W" and "power_W" in levels.names:
        watts = levels.changes("power_W")
        known = ~np.isnan(watts) & ~small & (np.abs(steps) > 0)
        if known.any():
            per_unit = float(np.median(watts[known] / steps[known]))
            steps = np.where(np.isnan(watts), steps * per_unit, watts)
    steps = np.where(small, 0.0, steps)
    steps[levels.behind_gap] = np.nan
    before, after, rest = (per_unit * x for x in (levels.before, levels.after, levels.rest))
    heights = Heights(before, after, rest, levels.charged)
    return steps, heights, per_unit


def _rest_before(levels: LevelList, run: SeenRun, previous: SeenRun | None, shortest_s: float) -> float | None:
    """Return the time since the load's last stop [s]; None for the first run, and where a gap may hide another."""
    # One step cannot end a run and begin the next: that one had ended unseen before, as the signal slid to its rest.
    if previous is None or previous.stop in (None, run.start):
        return None
    between = [k for k in range(previous.stop + 1, run.start + 1) if levels.after_gap[k]]
    # A gap hides no run of the load if it is shorter than its shortest one.
    gaps_us = [levels.first_us[k] - levels.last_us[k - 1] for k in between]
    may_hide = any(gap_us >= shortest_s * MICROSECONDS for gap_us in gaps_us)
    return None if may_hide else (round(run.start_us) - round(previous.stop_us)) / MICROSECONDS


def _usual(values: Sequence[float]) -> float | None:
    """Return the median of what is known. [unit]."""
    known = [value for value in values if not math.isnan(value)]
    return float(np.median(known)) if known else None


def _usual_base(own: Sequence[SeenRun], name: str) -> float | None:
    """Return the level that runs usually stand on. [unit]."""
    return _usual([run.before(name) for run in own if name in run.levels.names])


def _summary(cycles: Sequence[Cycle], others: int, running_s: float, covered_s: float) -> CycleSummary:
    runs = [cycle.run_s for cycle in cycles if cycle.run_s is not None]
    rests = [cycle.off_before_s for cycle in cycles if cycle.off_before_s is not None]
    return CycleSummary(
        count=len(cycles),
        starts_per_hour=len(cycles) / covered_s * SECONDS_PER_HOUR if covered_s > 0 else None,
        duty_cycle=running_s / covered_s if covered_s > 0 else None,
        median_run_s=_usual(runs),
        median_off_s=_usual(rests),
        other_runs=others,
        charge_Ah=total_taken(cycles, "Ah"),
        energy_Wh=total_taken(cycles, "Wh"),
    )
