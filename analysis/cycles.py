"""The cycles of one load: which runs are its own, and what each of them was like."""

from __future__ import annotations

import copy
from bisect import bisect_left
from collections.abc import Iterable, Sequence, Set
from dataclasses import replace

import numpy as np

from .charge import HowRead
from .chunk import MICROSECONDS, SECONDS_PER_HOUR, Chunk
from .cycle_record import Cycle, Cycles, CycleSummary
from .levels import Level, LevelMaker
from .one_load import runs_of_one_load
from .pairing import Pairing
from .plateau import Plateau
from .run_seen import SeenRun, seen
from .steps import StepFold

#: A run, or a rest, of fewer usual intervals may be missed.
SHORTEST_INTERVALS = 3


class CycleFold:
    """Find the cycles of a load, as a fold.

    Parameters
    ----------
    how : HowRead
        What a reading stands for, and the gap limit.
    quantities : set of str
        The quantities the log has.
    load : str, optional
        What to call the load.
    expected : float, optional
        Its draw by the nameplate, in the unit of the signal: the runs nearest to it are taken, within a factor of
        `one_load.NEAR_PLATE`. Without it, those of the largest draw among the loads that matter.

    Notes
    -----
    Plateaus become levels, and levels runs, as they come; what is carried is what `StepFold` carries, the levels that
    runs still going stand on, and a record of each run that is over. Which runs are the load's own is decided in
    `result`, from these records. The last cycle may still be open: ``complete`` is false then.
    """

    def __init__(
        self, how: HowRead, quantities: Set[str], *, load: str | None = None, expected: float | None = None
    ) -> None:
        self._steps = StepFold(how, quantities)
        self._runs = _Runs(how, self._steps.signal)
        self._how = how
        self._load = load
        self._expected = expected

    @property
    def signal(self) -> str:
        """The quantity in which steps are sought."""
        return self._steps.signal

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        self._steps.add(chunk)
        self._runs.add(self._steps.handed_over())

    def result(self) -> Cycles:
        """Return the cycles so far."""
        plateaus = self._steps.result()
        runs = self._runs.with_rest(plateaus.plateaus)
        own = runs_of_one_load(runs.over, self._expected)
        cycles = runs.cycles_of(own, self._load)
        usual_s = self._how.usual_interval_s
        return Cycles(
            tuple(cycles),
            _summary(own, cycles, len(runs.over), plateaus.covered_s),
            plateaus.signal,
            self._load,
            self._expected,
            base_A=_usual([run.before_A for run in own]),
            base_W=_usual([run.before_W for run in own]),
            shortest_run_s=None if usual_s is None else SHORTEST_INTERVALS * usual_s,
            covered_s=plateaus.covered_s,
            first_us=runs.first_us,
            last_us=runs.last_us,
        )


class _Runs:
    """From plateaus to runs, as they come."""

    def __init__(self, how: HowRead, signal: str) -> None:
        self._how, self._signal = how, signal
        self._levels = LevelMaker(signal)
        self._pairing = Pairing(signal)
        self._gaps: list[tuple[int, int]] = []  # from the last reading before to the first after. [us]
        self.over: list[SeenRun] = []
        self.first_us: int | None = None
        self.last_us: int | None = None

    def add(self, plateaus: Iterable[Plateau]) -> None:
        """Take plateaus in that will not change any more."""
        for plateau in plateaus:
            if self.last_us is None:
                self.first_us = plateau.first_us
            elif plateau.after_gap:
                self._gaps.append((self.last_us, plateau.first_us))
            self.last_us = plateau.last_us
            self._pair(self._levels.add(plateau))

    def with_rest(self, plateaus: Iterable[Plateau]) -> _Runs:
        """Return all runs, in order of their starts, as if the log ended with these plateaus."""
        twin = copy.copy(self)
        twin._levels, twin._pairing = copy.copy(self._levels), self._pairing.twin()
        twin._gaps, twin.over = list(self._gaps), list(self.over)
        twin.add(plateaus)
        twin._pair(twin._levels.rest())
        twin.over += [seen(run, self._how, self._signal) for run in twin._pairing.going]
        twin.over.sort(key=lambda run: run.cycle.start_us)
        return twin

    def _pair(self, levels: Iterable[Level]) -> None:
        for level in levels:
            self.over += [seen(run, self._how, self._signal) for run in self._pairing.add(level)]

    def cycles_of(self, own: Sequence[SeenRun], load: str | None) -> list[Cycle]:
        """Return the cycles of one load, each with the rest before it."""
        shortest_s = min((run.length_s for run in own if run.cycle.complete), default=0.0)
        pairs = zip(own, [None, *own], strict=False)
        return [
            replace(run.cycle, load=load, off_before_s=self._rest_before(run, previous, shortest_s))
            for run, previous in pairs
        ]

    def _rest_before(self, run: SeenRun, previous: SeenRun | None, shortest_s: float) -> float | None:
        """Return the time since the load's last stop. [s].

        None for the first run, and where a gap lies between that is long enough to hide a run of the load: as long as
        its shortest one.
        """
        if previous is None or not previous.cycle.complete:
            return None
        first = bisect_left(self._gaps, (previous.cycle.stop_us or 0, 0))
        last = bisect_left(self._gaps, (run.cycle.start_us, 0))
        if any(stop - start >= shortest_s * MICROSECONDS for start, stop in self._gaps[first:last]):
            return None
        return (run.cycle.start_us - (previous.cycle.stop_us or 0)) / MICROSECONDS


def _usual(values: Sequence[float | None]) -> float | None:
    """Return the median of what is known. [unit]."""
    known = [value for value in values if value is not None]
    return float(np.median(known)) if known else None


def _summary(own: Sequence[SeenRun], cycles: Sequence[Cycle], runs_count: int, covered_s: float) -> CycleSummary:
    runs = [cycle.run_s for cycle in cycles if cycle.run_s is not None]
    rests = [cycle.off_before_s for cycle in cycles if cycle.off_before_s is not None]
    running_s = sum(run.length_s for run in own)
    return CycleSummary(
        count=len(cycles),
        starts_per_hour=len(cycles) / covered_s * SECONDS_PER_HOUR if covered_s > 0 else None,
        duty_cycle=running_s / covered_s if covered_s > 0 else None,
        median_run_s=_usual(runs),
        median_off_s=_usual(rests),
        other_runs=runs_count - len(own),
    )
