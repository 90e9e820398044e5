"""What is known of one cycle, and the summary over many."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

from ..signal_levels.level_record import Stair
from ..signal_levels.rises import Rises


@dataclass(frozen=True, slots=True)
class Cycle:
    """One run of a load: start, surge, settled running, stop.

    All amps, watts, charge and energy are above the baseline before the start. What is unknown, or cut by a gap or the
    log's end, is None and ``complete`` is false. ``surge_A`` is the highest reading of the start: a lower bound where
    ``surge_resolved`` is false. ``sag_V`` is the voltage before the start minus the lowest during the run.

    ``start_within_s`` and ``stop_within_s`` say how well the edges are known: half the spacing of the readings on
    either side [s]. ``before_V`` and ``lowest_V`` are the voltage before the start and the lowest during the run;
    ``begin_V`` and ``end_V`` that of its first readings once it has settled, and of its last before the stop.
    ``so_far_Ah`` and ``so_far_Wh`` are what a run without an end took as long as it was seen, for ``so_far_s``.
    ``draws_less``: it drew less from its start on than the load's other runs, and was found to be the load's all the
    same. ``array_may_share``: the array may have given part of the draw, because the bank stood at its regulation
    voltage; draw, charge and energy are lower bounds then. ``base_A`` and ``base_W`` are the level that
    it stands on, below nought while the bank was charged; ``base_drift_A`` and ``base_drift_W`` how far that moved
    meanwhile. ``charge_u95_Ah`` and ``energy_u95_Wh`` are half of the 95 % interval; None until
    it is worked out. ``so_far_u95_Ah`` and ``so_far_u95_Wh`` are that of a run without an end. ``straight_Ah`` and
    ``straight_Wh`` are the least of its draw that came straight from the array.
    ``at_speeds`` is how long it ran at each of the load's draws, where it has several [s]; ``run_A`` and ``run_W`` are
    its mean then. ``start_s`` is how long its start took, until half of what it drew beyond its settled draw was gone
    [s]; None where the readings do not show it.
    """

    load: str | None
    start_us: int
    stop_us: int | None
    run_s: float | None
    off_before_s: float | None
    surge_A: float | None
    surge_ratio: float | None
    surge_resolved: bool
    run_A: float | None
    peak_W: float | None
    run_W: float | None
    charge_Ah: float | None
    energy_Wh: float | None
    sag_V: float | None
    complete: bool
    start_within_s: float | None = None
    stop_within_s: float | None = None
    before_V: float | None = None
    lowest_V: float | None = None
    begin_V: float | None = None
    end_V: float | None = None
    array_may_share: bool = False
    draws_less: bool = False
    so_far_Ah: float | None = None
    so_far_Wh: float | None = None
    so_far_s: float | None = None
    base_A: float | None = None
    base_W: float | None = None
    base_drift_A: float | None = None
    base_drift_W: float | None = None
    charge_u95_Ah: float | None = None
    energy_u95_Wh: float | None = None
    straight_Ah: float | None = None
    straight_Wh: float | None = None
    at_speeds: tuple[float, ...] = ()
    start_s: float | None = None
    so_far_u95_Ah: float | None = None
    so_far_u95_Wh: float | None = None

    def taken(self, unit: Literal["Ah", "Wh"]) -> float | None:
        """Return what it took, of a run without an end as long as it was seen; None where that is not known."""
        whole, so_far = (self.charge_Ah, self.so_far_Ah) if unit == "Ah" else (self.energy_Wh, self.so_far_Wh)
        return so_far if whole is None else whole

    def taken_u95(self, unit: Literal["Ah", "Wh"]) -> float | None:
        """Return half of the 95 % interval of what it took, whole or so far; None until it is worked out."""
        whole, so_far = (
            (self.charge_u95_Ah, self.so_far_u95_Ah) if unit == "Ah" else (self.energy_u95_Wh, self.so_far_u95_Wh)
        )
        return so_far if whole is None else whole


def total_taken(cycles: Sequence[Cycle], unit: Literal["Ah", "Wh"]) -> float | None:
    """Return what runs took, whole or so far; None where that of one is not known."""
    known = [cycle.taken(unit) for cycle in cycles]
    return None if not known or any(x is None for x in known) else sum(x for x in known if x is not None)


def lower_end(x: float | None, u95: float | None) -> float | None:
    """Return the lower end of an amount's interval, half of which is `u95`; None where that is nothing or unknown."""
    least = None if x is None else x - (u95 or 0.0)
    return None if least is None or least <= 0 else least


@dataclass(frozen=True)
class Attempt:
    """A start that did not become a run: the surge came, and the load was off again before it settled.

    The peaks are the highest readings above the baseline: lower bounds.
    """

    start_us: int
    lasted_s: float
    peak_A: float | None
    peak_W: float | None


@dataclass(frozen=True)
class PerhapsDry:
    """Runs that may be those of the load with less draw, a pump without water, or another load's: not counted as its.

    ``share`` is their draw over the load's, ``lasted_s`` how long they took together.
    """

    count: int
    share: float
    lasted_s: float


@dataclass(frozen=True)
class CycleSummary:
    """Cycles counted and their usual shape; None where the log cannot say.

    ``duty_cycle`` is running time over measured time. ``other_runs`` counts runs of other loads that were seen.
    ``charge_Ah`` and ``energy_Wh`` are what all its runs took that were seen, as long as they were; ``charge_u95_Ah``
    and ``energy_u95_Wh`` are half of the 95 % interval, None until it is worked out. ``too_brief`` is how many more
    starts there were at the least, of runs that nobody could measure: where it is not nought, amounts are lower bounds.
    """

    count: int
    starts_per_hour: float | None
    duty_cycle: float | None
    median_run_s: float | None
    median_off_s: float | None
    other_runs: int = 0
    charge_Ah: float | None = None
    energy_Wh: float | None = None
    charge_u95_Ah: float | None = None
    energy_u95_Wh: float | None = None
    too_brief: int = 0

    @property
    def at_least(self) -> bool:
        """Whether starts and running time, and amounts, are lower bounds."""
        return self.too_brief > 0


@dataclass(frozen=True)
class RunKind:
    """One of two kinds of runs of like draw: how many, their median length [s] and what they draw.

    ``draw`` is in watts where there are any, else in the unit of the signal; ``falls`` is the share by which it falls
    from start to stop.
    """

    count: int
    run_s: float
    draw: float
    falls: float


@dataclass(frozen=True)
class TwoKinds:
    """Two kinds of runs of like draw; ``own`` tells which is the load's: 0, 1, or None where that cannot be told."""

    kinds: tuple[RunKind, RunKind]
    own: int | None


@dataclass(frozen=True)
class Speed:
    """One of several draws at which a load runs, and how long it did in all its runs. [A], [W], [s]."""

    draw_A: float | None
    draw_W: float | None
    lasted_s: float


@dataclass(frozen=True)
class Cycles:
    """The cycles of the load that was asked for, or of the one that draws most.

    ``signal`` is the quantity they were sought in; ``load`` and ``expected`` are the load that was asked for and its
    draw by the plate, in the unit of the signal; None where none was. ``attempts`` are starts that failed. ``base_A``
    and ``base_W`` are what went on while the load rested: the usual level between its runs. ``shortest_run_s`` is the
    shortest run, and rest, that the spacing of the readings lets one see. ``two_kinds`` tells where runs of like draw
    are of two loads; where it knows which are the load's, the others are among ``other_runs``, else all are cycles.
    ``brief_runs`` are those of its cycles that only one reading or two show; ``unmeasured_runs`` as brief ones that are
    not among them. ``in_clouds``: clouds step by about its draw, so that what was seen while the bank was charged
    proves no brief run; where no run was seen, clouds may hide some.
    ``rises`` are a lower bound of the starts of whatever runs too briefly for the readings; None where these are close
    together. ``covered_s`` is the time measured; ``first_us`` and ``last_us`` are the log's ends. ``on_since_first``:
    the load was on with the first reading and has not gone off since, so that no start of it was seen. ``speeds`` are
    the draws at which a load of several runs, the lowest first, none for one that is on or off; ``fixed_speeds`` tells
    whether it goes by steps, or follows what is asked of it: then they are bands. ``drive``: its owner says that it is
    behind a drive. ``under_array``: its draws were told from what an array gave meanwhile. ``stairs`` are all levels of
    the signal, whoever stepped.
    """

    cycles: tuple[Cycle, ...]
    summary: CycleSummary
    signal: str
    load: str | None = None
    expected: float | None = None
    attempts: tuple[Attempt, ...] = ()
    base_A: float | None = None
    base_W: float | None = None
    shortest_run_s: float | None = None
    perhaps_dry: PerhapsDry | None = None
    two_kinds: TwoKinds | None = None
    rises: Rises | None = field(default=None, compare=False)
    brief_runs: int = 0
    unmeasured_runs: int = 0
    in_clouds: bool = False
    covered_s: float = 0.0
    first_us: int | None = None
    last_us: int | None = None
    on_since_first: bool = False
    speeds: tuple[Speed, ...] = ()
    fixed_speeds: bool = True
    drive: bool = False
    under_array: bool = False
    stairs: Sequence[Stair] = field(default=(), compare=False, repr=False)

    @property
    def named_load(self) -> str | None:
        """The load that was looked for, as its site file calls it; None where none was named."""
        return self.load or next((cycle.load for cycle in self.cycles if cycle.load), None)

    @property
    def varies(self) -> bool:
        """Whether it draws now more, now less: by what the log shows, or since it is behind a drive."""
        return bool(self.speeds) or self.drive

    @property
    def by_drive(self) -> bool:
        """Whether a drive brings it up: its owner says so, or its draw follows what is asked of it."""
        return self.drive or bool(self.speeds and not self.fixed_speeds)
