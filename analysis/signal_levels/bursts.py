"""What stands out between two levels that hardly differ, too briefly to be a level of its own."""

from __future__ import annotations

import math
from itertools import takewhile
from typing import TYPE_CHECKING

from ..readings.chunk import MICROSECONDS
from ..stats.few import highest
from .level_record import Burst
from .plateau import Plateau

if TYPE_CHECKING:
    from .levels import Level

#: Readings between two levels are a burst and no step if the levels differ by less than this share of it.
SMALL_CHANGE = 0.1
#: What remains after a start is more than this share of its top.
START_STAYS_ABOVE = 0.1


def burst_between(before: Level, level: Level, signal: str) -> Burst | None:
    """Return what stood out between two levels that hardly differ; None if nothing did."""
    base = before.last(signal)
    top = highest([part.traces[signal].high for part in level.between]) - base
    if top < level.changed.least or abs(level.first(signal) - base) > SMALL_CHANGE * top:
        return None
    # Only what stays above half of the top is the burst: other short plateaus may lie before and after it.
    high = [part for part in level.between if part.traces[signal].usual - base > top / 2]
    if not high:
        return None
    peak = {name: highest([part.traces[name].high for part in high]) - before.last(name) for name in level.names}
    sag_V = math.nan
    if "voltage_V" in level.names:
        sag_V = before.last("voltage_V") + highest([-part.traces["voltage_V"].low for part in high])
    # A surge that one reading caught is far above what stays of it, and that far above the base.
    least = base + START_STAYS_ABOVE * top
    stays = [*high, *takewhile(lambda part: part.traces[signal].usual > least, _behind(level, high[-1])[:-1])]
    settled = {name: stays[-1].traces[name].usual - (before.last(name) + level.first(name)) / 2 for name in level.names}
    return Burst(
        start_us=_begins_us(high[0]),
        stop_us=_begins_us(_behind(level, high[-1])[0]),
        readings=sum(part.count for part in high),
        peak=peak,
        sag_V=sag_V,
        over_us=_begins_us(_behind(level, stays[-1])[0]),
        in_all=sum(part.count for part in stays),
        settled=settled,
    )


def _behind(level: Level, part: Plateau) -> list[Plateau]:
    """Return what follows one of the short plateaus before a level, up to the first of its own."""
    return [*level.between[level.between.index(part) + 1 :], level.parts[0]]


def _begins_us(part: Plateau) -> float:
    """Return the middle between the last reading before a plateau and its first. [us]."""
    return part.first_us - part.step_s * MICROSECONDS / 2
