"""What stands out between two levels that hardly differ, too briefly to be a level of its own."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import takewhile

from ..readings.chunk import MICROSECONDS
from ..stats.few import highest
from .level_record import Burst
from .plateau import Plateau

#: What remains after a start is more than this share of its top.
START_STAYS_ABOVE = 0.1


def burst_between(
    ends: Mapping[str, tuple[float, float]], between: Sequence[Plateau], following: Plateau, signal: str
) -> Burst | None:
    """Return what stands out of short plateaus between two levels; None if nothing does.

    `ends` are how the level before ends and the one behind begins, by quantity [unit]; `following` is its first.
    """
    base, parts = ends[signal][0], [*between, following]
    top = highest([part.traces[signal].high for part in between]) - base
    # Only what stays above half of the top is the burst: other short plateaus may lie before and after it.
    at = [k for k, part in enumerate(between) if part.traces[signal].usual - base > top / 2]
    if not at:
        return None
    high, behind = [between[k] for k in at], at[-1] + 1
    peak = {name: highest([part.traces[name].high for part in high]) - last for name, (last, _) in ends.items()}
    sag_V = math.nan
    if "voltage_V" in ends:
        sag_V = ends["voltage_V"][0] + highest([-part.traces["voltage_V"].low for part in high])
    # A surge that one reading caught is far above what stays of it, and that far above the base.
    least = base + START_STAYS_ABOVE * top
    stays = list(takewhile(lambda part: part.traces[signal].usual > least, between[behind:]))
    settled = [*high, *stays][-1].traces
    return Burst(
        start_us=_begins_us(high[0]),
        stop_us=_begins_us(parts[behind]),
        readings=sum(part.count for part in high),
        peak=peak,
        sag_V=sag_V,
        over_us=_begins_us(parts[behind + len(stays)]),
        in_all=sum(part.count for part in (*high, *stays)),
        settled={name: settled[name].usual - (last + first) / 2 for name, (last, first) in ends.items()},
    )


def _begins_us(part: Plateau) -> float:
    """Return the middle between the last reading before a plateau and its first. [us]."""
    return part.first_us - part.step_s * MICROSECONDS / 2
