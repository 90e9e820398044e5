"""A load's plate beside what a log measured for it: estimate, measurement, and the reasons for the difference."""

from __future__ import annotations

from dataclasses import dataclass

from ..cycles.cycle import Cycles
from ..readings.chunk import SECONDS_PER_HOUR
from ..site.site import Site
from .estimate import Estimate, PlateComparison, compare, estimate
from .lesson import Lesson, lesson
from .measured_chain import (
    RunTotals,
    drawn_by_runs,
    habit_against_measured,
    measured_against_estimate,
    paper_against_estimate,
    run_totals,
)
from .reasons import Explained


@dataclass(frozen=True)
class PlateCheck:
    """The nameplate's estimate for a load beside what the log measured for it, over the same running time.

    `left_out_on_paper` is the way from the sum on paper to the estimate, `why` that from the estimate to the
    measurement. `habit` is the estimate for all the time measured, with the duty cycle of the site file (else none),
    and `by_habit` why the runs took another energy than that: None where not every run was seen whole. `lesson` sets
    the sum on paper beside the measurement step by step, for the time that it ran. `remarks` say what limits it all.
    """

    estimate: Estimate
    comparison: PlateComparison
    runs: RunTotals
    left_out_on_paper: Explained
    why: Explained
    lesson: Lesson
    habit: Estimate | None = None
    by_habit: Explained | None = None
    remarks: tuple[str, ...] = ()


def check_plate(
    site: Site, load: str, cycles: Cycles, *, covered_s: float, load_ac_W: float | None = None
) -> PlateCheck:
    """Set the plate of a load beside its runs in a log at the bank.

    Parameters
    ----------
    covered_s : float
        The time that was measured. [s]
    load_ac_W : float, optional
        Its settled draw behind the inverter, from a log there of the same runs. [W]

    Raises
    ------
    Refusal
        If the plate says too little, or the runs have no energy to compare.
    """
    plate = estimate(site, load, hours=1.0)  # a plate that says too little is told before anything about runs
    runs = run_totals(cycles)
    plate = estimate(site, load, hours=runs.run_h, running=True)
    # How often a load runs can be held against its duty cycle only where none of its runs is left out.
    habit = None
    if not runs.left_out and covered_s > 0:
        habit = estimate(site, load, hours=covered_s / SECONDS_PER_HOUR)
    of_load = site.load(load)
    drawn = drawn_by_runs(runs, through_inverter=site.inverter_of(of_load) is not None, load_ac_W=load_ac_W)
    return PlateCheck(
        estimate=plate,
        comparison=compare(plate, measured_energy_Wh=runs.energy_Wh, measured_charge_Ah=runs.charge_Ah),
        runs=runs,
        left_out_on_paper=paper_against_estimate(plate),
        why=measured_against_estimate(plate, runs, load_ac_W=load_ac_W),
        lesson=lesson(site, of_load, plate.paper, drawn, plate=plate, running_only=True),
        habit=habit,
        by_habit=None if habit is None else habit_against_measured(habit, runs, load_ac_W=load_ac_W),
        remarks=tuple(_remarks(plate, runs, load_ac_W)),
    )


def _remarks(plate: Estimate, runs: RunTotals, load_ac_W: float | None) -> list[str]:
    remarks = []
    if runs.left_out:
        remarks.append(
            f"{runs.left_out} of {runs.runs + runs.left_out} runs are left out: not seen whole, or the array may have "
            "given part of their draw."
        )
    if runs.lower_bound:
        remarks.append(
            "In all of the runs the array may have given part of the draw, so what was measured is a lower bound."
        )
    if plate.ac_W is not None and load_ac_W is None:
        remarks.append(
            "A meter at the bank sees the load and its inverter's loss as one; a log behind the inverter in the same "
            "time tells them apart."
        )
    if plate.idle_W:
        remarks.append(
            "The estimate counts the inverter's idle draw. If the inverter was on before the runs began, that draw "
            "lies in what was drawn before them and not in the runs; if it is never off, say always_on = true in the "
            "site file."
        )
    return remarks
