"""What all runs of a load took together, and how many of them are in that: what is not known is never guessed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from ..readings.chunk import MICROSECONDS, SECONDS_PER_HOUR
from .cycle import Cycle, Cycles, lower_end

_UNITS: Final[tuple[Literal["Ah"], Literal["Wh"]]] = ("Ah", "Wh")


@dataclass(frozen=True)
class TakenByLoad:
    """What the runs of a load took, with half of the 95 % intervals; None where not one run tells.

    ``runs`` are all that were seen, ``runs_in_part`` those of them without an end, which count as far as they were
    seen; ``runs_with_Ah`` and ``runs_with_Wh`` are those whose amount is known and counted. ``runs_too_brief`` are how
    many more there were at the least, too brief to be measured: where there are any, amounts are lower bounds.
    """

    runs: int
    runs_in_part: int
    runs_with_Ah: int
    runs_with_Wh: int
    charge_Ah: float | None
    charge_u95_Ah: float | None
    energy_Wh: float | None
    energy_u95_Wh: float | None
    runs_too_brief: int = 0


def taken_by_load(cycles: Cycles) -> TakenByLoad:
    """Add up what the runs of a load took."""
    summary, runs = cycles.summary, cycles.cycles
    known_Ah = [cycle for cycle in runs if cycle.taken("Ah") is not None]
    known_Wh = [cycle for cycle in runs if cycle.taken("Wh") is not None]
    # Of all runs the summary knows the interval, also of those without an end.
    charge = (summary.charge_Ah, summary.charge_u95_Ah) if summary.charge_Ah is not None else _sum(known_Ah, "Ah")
    energy = (summary.energy_Wh, summary.energy_u95_Wh) if summary.energy_Wh is not None else _sum(known_Wh, "Wh")
    # What is the least already has no interval.
    if summary.too_brief:
        charge, energy = (lower_end(*charge), None), (lower_end(*energy), None)
    return TakenByLoad(
        runs=summary.count,
        runs_in_part=sum(not cycle.complete for cycle in runs),
        runs_with_Ah=summary.count if summary.charge_Ah is not None else len(known_Ah),
        runs_with_Wh=summary.count if summary.energy_Wh is not None else len(known_Wh),
        charge_Ah=charge[0],
        charge_u95_Ah=charge[1],
        energy_Wh=energy[0],
        energy_u95_Wh=energy[1],
        runs_too_brief=summary.too_brief,
    )


@dataclass(frozen=True)
class RunPieces:
    """Runs that go on across an instant, and about how much of what they took lies on one side of it; None if unknown.

    A reading is of all loads, so the load's own draw at an instant within its run is that of the settled run.
    """

    runs: int
    charge_Ah: float | None
    energy_Wh: float | None


def taken_between(cycles: Cycles, start_us: int, stop_us: int) -> tuple[TakenByLoad, RunPieces]:
    """Return what the runs of a load took that lie between two instants [us], and what those did that one cuts."""
    spans = [(cycle, seen_until(cycle)) for cycle in cycles.cycles]
    near = [(cycle, end_us) for cycle, end_us in spans if cycle.start_us < stop_us and end_us > start_us]
    runs: list[Cycle] = []
    cut: list[Cycle] = []
    for cycle, end_us in near:
        (runs if start_us <= cycle.start_us and end_us <= stop_us else cut).append(cycle)
    # All of them together have an interval of their own, which is not the sum of theirs.
    taken = taken_by_load(cycles) if len(runs) == len(cycles.cycles) else _taken(runs)
    pieces = ([_piece(cycle, unit, start_us, stop_us) for cycle in cut] for unit in _UNITS)
    return taken, RunPieces(len(cut), *(_all_or_none(each) for each in pieces))


def _piece(cycle: Cycle, unit: Literal["Ah", "Wh"], start_us: int, stop_us: int) -> float | None:
    """Return about how much of what a run took lies between two instants [us]; the pieces of a run add up to it."""
    took, draw = cycle.taken(unit), cycle.run_A if unit == "Ah" else cycle.run_W
    if took is None or draw is None:
        return None
    end_us = seen_until(cycle)
    settled = draw / SECONDS_PER_HOUR / MICROSECONDS
    inside = settled * (min(end_us, stop_us) - max(cycle.start_us, start_us))
    # What it took beyond its settled draw it took as it started.
    start = took - settled * (end_us - cycle.start_us)
    return min(max(inside + (start if start_us <= cycle.start_us else 0.0), 0.0), took)


def _all_or_none(amounts: list[float | None]) -> float | None:
    known = [x for x in amounts if x is not None]
    return sum(known) if amounts and len(known) == len(amounts) else None


def seen_until(cycle: Cycle) -> int:
    """Return when a run stopped, or up to when it was seen. [us]"""
    seen_us = cycle.start_us + round((cycle.so_far_s or 0.0) * MICROSECONDS)
    return max(seen_us, cycle.start_us + 1) if cycle.stop_us is None else cycle.stop_us


def _taken(runs: Sequence[Cycle]) -> TakenByLoad:
    known_Ah, known_Wh = ([run for run in runs if run.taken(unit) is not None] for unit in _UNITS)
    return TakenByLoad(
        len(runs),
        sum(not run.complete for run in runs),
        len(known_Ah),
        len(known_Wh),
        *_sum(known_Ah, "Ah"),
        *_sum(known_Wh, "Wh"),
    )


def _sum(cycles: list[Cycle], unit: Literal["Ah", "Wh"]) -> tuple[float | None, float | None]:
    """Return what some runs took and half of its interval; None where there are none, or one has no interval."""
    if not cycles:
        return None, None
    u95s = [cycle.taken_u95(unit) for cycle in cycles]
    # What one run is off the others may be off the same way (gain, digit), so halves add up.
    u95 = None if any(each is None for each in u95s) else sum(each for each in u95s if each is not None)
    return sum(cycle.taken(unit) or 0.0 for cycle in cycles), u95
