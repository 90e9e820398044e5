"""How many runs of a load were too brief for the readings: what the others took is then the least that it took."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ..cycles.cycle import Cycle, Cycles, CycleSummary, lower_end, total_taken
from ..cycles.failed_starts import BRIEF_SHARE, LEAST_BRIEF, LIKE_RUNS
from ..readings.chunk import MICROSECONDS, TimeArray
from ..signal_levels.rises import QUARTER_S, Rises


def too_brief(cycles: Cycles) -> int:
    """Return how many starts there were at the least beside the runs of a load that were measured; nought if few."""
    # Runs of several speeds, or of two loads, have no draw by which others would be told.
    rises = cycles.rises
    if rises is None or not cycles.cycles or cycles.varies or cycles.two_kinds is not None:
        return 0
    count = max(cycles.unmeasured_runs, _rises_beside_runs(cycles, rises))
    return count if count >= max(LEAST_BRIEF, BRIEF_SHARE * len(cycles.cycles)) else 0


def too_brief_within(cycles: Cycles, began: slice, from_us: int, to_us: int) -> int:
    """Return how many of these starts there were at the least between two instants [us], where these runs began.

    What is known of the whole log may have been at another time.
    """
    rises = cycles.rises
    if rises is None or not cycles.summary.too_brief:
        return 0
    quarter_us = int(QUARTER_S * MICROSECONDS)
    # Whole quarters of an hour; they are in order.
    inside = slice(*np.searchsorted(rises.quarter, [-(-from_us // quarter_us), to_us // quarter_us]).tolist())
    arrays = {name: getattr(rises, name)[inside] for name in ("quarter", "size", "count", "volts", "charged")}
    # The run before these may go on, and have its rise there.
    before = [
        run
        for run in cycles.cycles[max(began.start - 1, 0) : began.start]
        if run.stop_us is None or run.stop_us > from_us
    ]
    part = replace(cycles, cycles=(*before, *cycles.cycles[began]))
    return max(_rises_beside_runs(part, replace(rises, **arrays)), 0)


def _ends_us(cycles: Cycles) -> tuple[TimeArray, TimeArray]:
    """Return when runs began and ended, those without an end as late as may be; shapes (n,). [us]."""
    last_us = cycles.last_us or 0
    stops_us = [last_us if run.stop_us is None else run.stop_us for run in cycles.cycles]
    return np.array([run.start_us for run in cycles.cycles], dtype=np.int64), np.array(stops_us, dtype=np.int64)


def _rises_beside_runs(cycles: Cycles, rises: Rises) -> int:
    """Return how many more rises of the load's draw there are than runs of it. [1]."""
    draws = [getattr(run, f"run_{cycles.signal[-1]}") for run in cycles.cycles]
    known = [draw for draw in draws if draw is not None]
    if not known:
        return 0
    low, high = (share * float(np.median(known)) for share in LIKE_RUNS)
    like = (rises.size > low) & (rises.size < high)
    # Where it surely runs for one reading or two a rise is no cloud, unless they step by its draw; else those of the
    # night alone are surely none.
    if cycles.brief_runs and not cycles.in_clouds:
        return int(rises.count[like].sum()) - len(cycles.cycles)
    return int(rises.count[like & ~rises.charged].sum()) - _not_all_charged(cycles, rises)


def _not_all_charged(cycles: Cycles, rises: Rises) -> int:
    """Return how many runs may have their highest reading, by which a rise is dated, while nothing charged. [1]."""
    quarters, charged = _quarters(cycles, rises)
    return int((charged < quarters).sum())


def _quarters(cycles: Cycles, rises: Rises) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return in how many quarters of an hour each run is, and in how many of them the bank was charged. [1]."""
    first, last = (ends_us // int(QUARTER_S * MICROSECONDS) for ends_us in _ends_us(cycles))
    charged = np.unique(rises.quarter[rises.charged])
    return last - first + 1, np.searchsorted(charged, last, side="right") - np.searchsorted(charged, first)


def without_clouds(cycles: Cycles) -> Cycles:
    """Return cycles beside which others were too brief, without the amounts of those that clouds may have made."""
    if cycles.rises is None or not cycles.in_clouds:
        return cycles
    _, charged = _quarters(cycles, cycles.rises)
    each = tuple(
        _of_unknown_amount(cycle) if by_day else cycle for cycle, by_day in zip(cycles.cycles, charged > 0, strict=True)
    )
    charge_Ah, energy_Wh = total_taken(each, "Ah"), total_taken(each, "Wh")
    return replace(cycles, cycles=each, summary=replace(cycles.summary, charge_Ah=charge_Ah, energy_Wh=energy_Wh))


def _of_unknown_amount(cycle: Cycle) -> Cycle:
    whole = replace(cycle, charge_Ah=None, energy_Wh=None, straight_Ah=None, straight_Wh=None)
    return replace(whole, so_far_Ah=None, so_far_Wh=None)


def with_lower_bounds(summary: CycleSummary, count: int) -> CycleSummary:
    """Return a summary whose amounts are the least that a load took, beside so many runs that nobody measured."""
    if not count:
        return summary
    return replace(
        summary,
        too_brief=count,
        charge_Ah=lower_end(summary.charge_Ah, summary.charge_u95_Ah),
        energy_Wh=lower_end(summary.energy_Wh, summary.energy_u95_Wh),
        charge_u95_Ah=None,
        energy_u95_Wh=None,
    )
