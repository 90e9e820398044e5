"""What is kept of a run once it is over: its figures, without the readings they come from."""

from __future__ import annotations

import math
from dataclasses import dataclass

from .charge import HowRead
from .chunk import MICROSECONDS, SECONDS_PER_HOUR
from .cycle_record import Cycle
from .pairing import Run
from .steps import unknown_of

#: Spacing of readings that can show the surge of a small motor, which is over in well under a second: common
#: practice, no source (no standard gives a duration for a small single-phase pump). [s]
SURGE_SPACING_S = 0.2


@dataclass(frozen=True, slots=True)
class SeenRun:
    """A run of any load.

    Attributes
    ----------
    cycle : Cycle
        What it was like by itself: neither load nor the rest before it.
    draw : float
        Its settled draw. [unit of the signal]
    stop_us : float
        When it ended, or was last seen running. [us]
    before_A, before_W : float or None
        The level that it stands on.
    """

    cycle: Cycle
    draw: float
    stop_us: float
    before_A: float | None
    before_W: float | None

    @property
    def length_s(self) -> float:
        """How long it was seen running. [s]."""
        return (self.stop_us - self.cycle.start_us) / MICROSECONDS


def seen(run: Run, how: HowRead, signal: str) -> SeenRun:
    """Return the figures of a run."""
    names = run.first.names
    stop_us = run.last_us if run.after is None else run.after.start_us
    before = {name: _known(run.before.last(name)) for name in names}
    cycle = _cycle(run, how, signal)
    return SeenRun(cycle, run.settled(signal), stop_us, before.get("current_A"), before.get("power_W"))


def _cycle(run: Run, how: HowRead, signal: str) -> Cycle:
    """Return what a run was like, by itself."""
    first, before, after, names = run.first, run.before, run.after, run.first.names
    start_us, stop_us = round(first.start_us), None if after is None else round(after.start_us)
    has_A, has_W, has_V = "current_A" in names, "power_W" in names, "voltage_V" in names and how.side == "dc"
    run_A = _known(run.settled("current_A")) if has_A else None
    surge_A = _known(first.peak("current_A") - before.last("current_A")) if run_A is not None else None
    before_V = _known(before.last("voltage_V")) if has_V else None
    lowest_V = _known(run.lowest_V) if has_V else None
    return Cycle(
        load=None,
        start_us=start_us,
        stop_us=stop_us,
        run_s=None if stop_us is None else (stop_us - start_us) / MICROSECONDS,
        off_before_s=None,
        surge_A=surge_A,
        surge_ratio=_surge_ratio(run, signal, surge_A, run_A),
        surge_resolved=how.sampling != "held" and 0 < first.spacing_s <= SURGE_SPACING_S,
        run_A=run_A,
        peak_W=_known(run.highest_W - before.last("power_W")) if has_W else None,
        run_W=_known(run.settled("power_W")) if has_W else None,
        charge_Ah=_above_base(run, "current_A") if how.side == "dc" else None,
        energy_Wh=_above_base(run, "power_W"),
        sag_V=before_V - lowest_V if before_V is not None and lowest_V is not None else None,
        complete=stop_us is not None,
        start_within_s=first.spacing_s / 2,
        stop_within_s=None if after is None else after.spacing_s / 2,
        before_V=before_V,
        lowest_V=lowest_V,
    )


def _known(x: float) -> float | None:
    """Return a number, or None for one that was not measured throughout."""
    return None if math.isnan(x) else x


def _surge_ratio(run: Run, signal: str, surge_A: float | None, run_A: float | None) -> float | None:
    """Return the surge over the settled draw: of amps, or of watts where the log has no amps. [1]."""
    if surge_A is not None and run_A is not None:
        return surge_A / run_A if run_A > 0 else None
    settled = run.settled(signal)
    return (run.first.peak(signal) - run.before.last(signal)) / settled if settled > 0 else None


def _above_base(run: Run, name: str) -> float | None:
    """Return the integral of a quantity over a run, above what it stands on. [unit h].

    What it stands on is the level before the run, plus the steps of other loads meanwhile, plus the drift between the
    levels before and after, taken as linear. None where the run's end was not seen, or the quantity not throughout.
    """
    before, after = run.before, run.after
    if after is None or name not in before.names:
        return None
    first, last = before.parts[-1].sums, after.parts[0].sums
    if (unknown := unknown_of(name)) in last and last[unknown][0] > first[unknown][1]:
        return None
    length_us = after.first_us - before.last_us
    below = before.last(name) * length_us + run.drift(name) * length_us / 2
    below += sum(step.changes[name] * (after.first_us - step.at_us) for step in run.others)
    whole = last[name][0] - first[name][1]
    return _known((whole - below / MICROSECONDS) / SECONDS_PER_HOUR)
