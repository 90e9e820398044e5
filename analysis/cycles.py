"""The cycles of one load: which runs are its own, and what each of them was like."""

from __future__ import annotations

import math
from collections.abc import Set
from dataclasses import replace

import numpy as np

from .amounts import HowRead
from .chunk import MICROSECONDS, SECONDS_PER_HOUR, Chunk
from .cycle_record import Cycle, Cycles, CycleSummary
from .one_load import runs_of_one_load
from .pairing import Levels, Run
from .steps import StepFold, unknown_of

#: Spacing of readings that can show the surge of a small motor, which is over in well under a second: common
#: practice, no source (no standard gives a duration for a small single-phase pump). [s]
SURGE_SPACING_S = 0.2


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
    All pairing happens in `result`, from the list of plateaus; what is carried is what `StepFold` carries. The last
    cycle may still be open: ``complete`` is false then.
    """

    def __init__(
        self, how: HowRead, quantities: Set[str], *, load: str | None = None, expected: float | None = None
    ) -> None:
        self._steps = StepFold(how, quantities)
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

    def result(self) -> Cycles:
        """Return the cycles so far."""
        plateaus = self._steps.result()
        levels = Levels(plateaus)
        own = runs_of_one_load(levels, self._expected)
        shortest_s = min((levels.length_s(run) for run in own if run.after is not None), default=0.0)
        cycles = [
            replace(
                _cycle(levels, run, self._how),
                load=self._load,
                off_before_s=_rest_before(levels, run, previous, shortest_s),
            )
            for run, previous in zip(own, [None, *own], strict=False)
        ]
        summary = _summary(levels, own, cycles, plateaus.covered_s)
        return Cycles(tuple(cycles), summary, plateaus.signal, self._load, self._expected)


def _cycle(levels: Levels, run: Run, how: HowRead) -> Cycle:
    """Return what a run was like, by itself."""
    first, before = levels.levels[run.inside], levels.before(run)
    start_us, stop_us = round(levels.start_us(run)), levels.stop_us(run)
    names = before.parts[0].traces.keys()
    run_A = _known(levels.settled(run, "current_A")) if "current_A" in names else None
    surge_A = _known(first.peak("current_A") - before.last("current_A")) if run_A is not None else None
    return Cycle(
        load=None,
        start_us=start_us,
        stop_us=None if stop_us is None else round(stop_us),
        run_s=None if stop_us is None else (round(stop_us) - start_us) / MICROSECONDS,
        off_before_s=None,
        surge_A=surge_A,
        surge_ratio=_surge_ratio(levels, run, surge_A, run_A),
        surge_resolved=how.sampling != "held" and 0 < first.spacing_s <= SURGE_SPACING_S,
        run_A=run_A,
        peak_W=_known(_peak_W(levels, run)) if "power_W" in names else None,
        run_W=_known(levels.settled(run, "power_W")) if "power_W" in names else None,
        charge_Ah=_above_base(levels, run, "current_A") if how.side == "dc" else None,
        energy_Wh=_above_base(levels, run, "power_W"),
        sag_V=_known(_sag_V(levels, run)) if "voltage_V" in names and how.side == "dc" else None,
        complete=stop_us is not None,
    )


def _known(x: float) -> float | None:
    """Return a number, or None for one that was not measured throughout."""
    return None if math.isnan(x) else x


def _surge_ratio(levels: Levels, run: Run, surge_A: float | None, run_A: float | None) -> float | None:
    """Return the surge over the settled draw: of amps, or of watts where the log has no amps. [1]."""
    if surge_A is not None and run_A is not None:
        return surge_A / run_A if run_A > 0 else None
    before = levels.before(run).last(levels.signal)
    settled = levels.settled(run, levels.signal)
    return (levels.levels[run.inside].peak(levels.signal) - before) / settled if settled > 0 else None


def _peak_W(levels: Levels, run: Run) -> float:
    before = levels.before(run).last("power_W")
    return float(np.max([levels.levels[k].high("power_W") for k in range(run.inside, run.last + 1)])) - before


def _sag_V(levels: Levels, run: Run) -> float:
    before = levels.before(run).last("voltage_V")
    return before - float(np.min([levels.levels[k].low("voltage_V") for k in range(run.inside, run.last + 1)]))


def _rest_before(levels: Levels, run: Run, previous: Run | None, shortest_s: float) -> float | None:
    """Return the time since the load's last stop. [s].

    None for the first run, and where a gap lies between that is long enough to hide a run of the load: as long as its
    shortest one.
    """
    if previous is None or previous.after is None:
        return None
    if any(gap_s >= shortest_s for gap_s in levels.gaps_s(previous.after + 1, run.inside)):
        return None
    stop_us = levels.stop_us(previous)
    assert stop_us is not None
    return (levels.start_us(run) - stop_us) / MICROSECONDS


def _above_base(levels: Levels, run: Run, name: str) -> float | None:
    """Return the integral of a quantity over a run, above what it stands on. [unit h].

    What it stands on is the level before the run, plus the steps of other loads meanwhile, plus the drift between the
    levels before and after, taken as linear. None where the run's end was not seen, or the quantity not throughout.
    """
    before = levels.before(run)
    if run.after is None or name not in before.parts[0].traces:
        return None
    after = levels.levels[run.after]
    first, last = before.parts[-1].sums, after.parts[0].sums
    if (unknown := unknown_of(name)) in last and last[unknown][0] > first[unknown][1]:
        return None
    length_us = after.first_us - before.last_us
    base = before.last(name)
    others = [(levels.change(k, name), after.first_us - levels.levels[k].start_us) for k in run.others]
    drift = levels.drift(run, name)
    below = base * length_us + sum(change * rest_us for change, rest_us in others) + drift * length_us / 2
    whole = last[name][0] - first[name][1]
    return _known((whole - below / MICROSECONDS) / SECONDS_PER_HOUR)


def _summary(levels: Levels, own: list[Run], cycles: list[Cycle], covered_s: float) -> CycleSummary:
    runs = [cycle.run_s for cycle in cycles if cycle.run_s is not None]
    rests = [cycle.off_before_s for cycle in cycles if cycle.off_before_s is not None]
    running_s = sum(levels.length_s(run) for run in own)
    return CycleSummary(
        count=len(cycles),
        starts_per_hour=len(cycles) / covered_s * SECONDS_PER_HOUR if covered_s > 0 else None,
        duty_cycle=running_s / covered_s if covered_s > 0 else None,
        median_run_s=float(np.median(runs)) if runs else None,
        median_off_s=float(np.median(rests)) if rests else None,
        other_runs=len(levels.runs) - len(own),
    )
