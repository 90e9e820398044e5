"""How many runs of a load were too brief for the readings: what the others took is then the least that it took."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..cycles.cycle import Cycles, CycleSummary, lower_end
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
    # Where it surely runs for one reading or two a rise is no cloud; else those of the night alone are surely none.
    if cycles.brief_runs:
        return int(rises.count[like].sum()) - len(cycles.cycles)
    return int(rises.count[like & ~rises.charged].sum()) - _not_all_charged(cycles, rises)


def _not_all_charged(cycles: Cycles, rises: Rises) -> int:
    """Return how many runs may have their highest reading, by which a rise is dated, while nothing charged. [1]."""
    first, last = (ends_us // int(QUARTER_S * MICROSECONDS) for ends_us in _ends_us(cycles))
    charged = np.unique(rises.quarter[rises.charged])
    within = np.searchsorted(charged, last, side="right") - np.searchsorted(charged, first)
    return int((within <= last - first).sum())


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
