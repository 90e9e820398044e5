"""What the starts of a load may have drawn between two readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import inf
from typing import Final

from ..cycles.cycle import Cycle
from ..equipment.demand import demand
from ..equipment.inverter_losses import efficiency, losses_of
from ..equipment.motor_start import direct_current_start_A
from ..equipment.plate_power import paper_W, supply_V
from ..not_known import Missing, Refusal
from ..readings.measured_span import HowRead
from ..site.motor_kinds import MOST_STALLED, turns, usual_start_s
from ..site.site import Load, Site
from ..sureness.signal_errors import UnseenStarts

#: A start was caught where it shows so many times the settled draw; noise and draw that settles slowly stay below:
#: common practice, no source. [1]
_CAUGHT: Final = 1.5
#: Where so many times more starts seem caught than chance lets one expect, other loads were seen, no surges: common
#: practice, no source. [1]
_TOO_OFTEN: Final = 4.0


def caught_starts(each: UnseenStarts | None, cycles: Sequence[Cycle], interval_s: float | None) -> UnseenStarts | None:
    """Return the starts that a plate lets one expect with what those drew that a reading caught; None where none was.

    A plate tells what a start asks at most, and a guess makes nothing less sure: only what was caught counts.
    """
    caught = [cycle for cycle in cycles if (cycle.surge_ratio or 0.0) >= _CAUGHT]
    # A start that lasts d is caught with the chance d / spacing. Where not even one is to be expected, a reading above
    # the settled draw is rather another load's; nor are there surges where far more seem caught than chance allows.
    expected = len(cycles) * each.lasts_s / interval_s if each is not None and interval_s else 0.0
    if each is None or not caught or not expected >= 1 or len(caught) > 1 + _TOO_OFTEN * expected:
        return None
    above_A = max((cycle.surge_A or 0.0) - (cycle.run_A or 0.0) for cycle in caught)
    above_W = max((cycle.peak_W or 0.0) - (cycle.run_W or 0.0) for cycle in caught)
    return replace(each, extra_A=above_A, extra_W=above_W, caught_us=tuple(cycle.start_us for cycle in caught))


def unseen_starts(site: Site, load: Load, count: int, how: HowRead) -> UnseenStarts | None:
    """Return the starts of a load whose surge the readings may have missed; None where nothing can be missed.

    Volt-amperes before the motor turns are taken for watts, which is on the safe side; an inverter gives no more than
    its surge rating.
    """
    # A mean holds every start of its stretch, and only what turns draws more at a start than running.
    if not count or how.sampling != "instant" or not turns(load):
        return None
    try:
        extra_W = _extra_W(site, load)
    except Refusal:
        return None
    lasts_s = usual_start_s(load, [])
    if how.side == "ac":
        return UnseenStarts(count, 0.0, extra_W, lasts_s)
    inverter = site.inverter_of(load)
    share = 1.0 if inverter is None else efficiency(losses_of(inverter), extra_W) or 1.0
    extra_W /= share
    # Nominal voltage stands for that at the start, which no reading shows either.
    return UnseenStarts(count, extra_W / site.bank.nominal_V, extra_W, lasts_s)


def _extra_W(site: Site, load: Load) -> float:
    """Return what a start draws above running, at most, where the load takes it. [W]"""
    inverter = site.inverter_of(load)
    if inverter is None:
        running_W, volts = paper_W(load, site)[0], supply_V(load, site)
        amps = direct_current_start_A(load, running_W / volts)
        # What its data sheet alone tells is taken as the most that it may be.
        return (MOST_STALLED - 1) * running_W if isinstance(amps, Missing) else amps.high * volts - running_W
    asked = demand(load, inverter)
    if isinstance(asked, Missing):
        return 0.0
    return min(asked.extra_VA.value, inverter.surge_VA or inverter.surge_W or inf)
