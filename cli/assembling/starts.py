"""The readings around a log's starts, for the picture of all of them together: one pass more, of one quantity."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ...analysis.one_log.log_report import CloseUp
from ...analysis.one_log.starts_together import AFTER_S, BEFORE_S, LEAST, chosen_starts
from ...analysis.readings.chunk import MICROSECONDS, Chunk, join

if TYPE_CHECKING:
    from ...analysis.cycles.cycle import Cycles
    from ..opening.prepared_log import Prepared


def starts_of(log: Prepared, cycles: Cycles) -> tuple[CloseUp, ...]:
    """Return the readings around a log's starts, of at most as many as can be drawn.

    None of them where the readings are too far apart to show the top of a start.
    """
    chosen = chosen_starts(cycles)
    names = [name for name in ("current_A", "power_W") if name in log.quantities]
    if log.how.side != "dc":
        names.reverse()  # amps behind an inverter have no sign
    if len(chosen) < LEAST or not names:
        return ()
    parts: list[list[Chunk]] = [[] for _ in chosen]
    ends_us = [
        (c.start_us - round(BEFORE_S * MICROSECONDS), c.start_us + round(AFTER_S * MICROSECONDS)) for c in chosen
    ]
    for readings in log.chunks(from_us=ends_us[0][0], to_us=ends_us[-1][1], only=names[:1]):
        for part, (low_us, high_us) in zip(parts, ends_us, strict=True):
            first, last = np.searchsorted(readings.time_us, [low_us, high_us]).tolist()
            if first < last:
                # Copies, so that the other readings need not stay in memory.
                cut = {name: x[first:last].copy() for name, x in readings.quantities.items()}
                part.append(Chunk(readings.time_us[first:last].copy(), cut))
    return tuple(CloseUp(cycle, join(part)) for cycle, part in zip(chosen, parts, strict=True) if part)
