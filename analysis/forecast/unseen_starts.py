"""What the starts of a load may have drawn between two readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from shuntbook.analysis.cycles.cycle import Cycle
from shuntbook.analysis.equipment.demand import TURNING, USUAL_START, demand
from shuntbook.analysis.equipment.inverter_losses import efficiency, losses_of
from shuntbook.analysis.equipment.plate_power import paper_W
from shuntbook.analysis.not_known import Missing, Refusal
from shuntbook.analysis.readings.measured_span import HowRead
from shuntbook.analysis.site.motor_tables import USUAL_START_S
from shuntbook.analysis.site.site import Inverter, Load, Site
from shuntbook.analysis.sureness.signal_errors import UnseenStarts

#: A start was caught where it shows so many times the settled draw; noise and draw that settles slowly stay below:
#: common practice, no source. [1]
_CAUGHT: Final = 1.5
#: Where so many times more starts seem caught than chance lets one expect, other loads were seen, no surges: common
#: practice, no source. [1]
_TOO_OFTEN: Final = 4.0


def caught_starts(each: UnseenStarts | None, cycles: Sequence[Cycle], interval_s: float | None) -> UnseenStarts | None:
    """Return starts with what those drew that a reading caught.

    A start that lasts d is caught with the chance d / spacing. Where not even one is to be expected, a reading above
    the settled draw is rather another load's.

    Parameters
    ----------
    each : UnseenStarts or None
        Starts as a plate lets one expect them.
    cycles : sequence of Cycle
        The runs.
    interval_s : float or None
        The usual spacing of the readings. [s]

    Returns
    -------
    UnseenStarts or None
        None where no start was caught: a plate tells what a start asks at most, and a guess makes nothing less sure.
    """
    caught = [cycle for cycle in cycles if (cycle.surge_ratio or 0.0) >= _CAUGHT]
    expected = len(cycles) * each.lasts_s / interval_s if each is not None and interval_s else 0.0
    if each is None or not caught or not expected >= 1 or len(caught) > 1 + _TOO_OFTEN * expected:
        return None
    above_A = max((cycle.surge_A or 0.0) - (cycle.run_A or 0.0) for cycle in caught)
    above_W = max((cycle.peak_W or 0.0) - (cycle.run_W or 0.0) for cycle in caught)
    return replace(each, extra_A=above_A, extra_W=above_W, caught_us=tuple(cycle.start_us for cycle in caught))


def unseen_starts(site: Site, load: Load, count: int, how: HowRead) -> UnseenStarts | None:
    """Return the starts of a load whose surge the readings may have missed.

    Parameters
    ----------
    site, load : Site, Load
        The load, and where it hangs.
    count : int
        How often it started. [1]
    how : HowRead
        Where the meter sits; means miss nothing of the net.

    Returns
    -------
    UnseenStarts or None
        None where nothing can be missed: no starts, means, or a load that does not turn.

    Notes
    -----
    Volt-amperes before the motor turns are taken for watts, which is on the safe side; an inverter gives no more than
    its surge rating.
    """
    if not count or how.sampling != "instant" or load.kind not in TURNING:
        return None
    try:
        extra_W = _extra_W(site, load)
    except Refusal:
        return None
    if how.side == "ac":
        return UnseenStarts(count, 0.0, extra_W, load.start_s or USUAL_START_S)
    inverter = site.inverter_of(load)
    share = 1.0 if inverter is None else efficiency(losses_of(inverter), extra_W) or 1.0
    extra_W /= share
    return UnseenStarts(count, extra_W / site.bank.nominal_V, extra_W, load.start_s or USUAL_START_S)


def _extra_W(site: Site, load: Load) -> float:
    """Return what a start draws above running, at most, where the load takes it. [W]"""
    inverter = site.inverter_of(load)
    if inverter is None:
        return paper_W(load, site)[0] * (USUAL_START.value - 1)
    asked = demand(load, inverter)
    if isinstance(asked, Missing):
        return 0.0
    return min(asked.extra_VA.value, _most(inverter))


def _most(inverter: Inverter) -> float:
    """Return the most an inverter gives for seconds, VA taken for W."""
    return inverter.surge_VA or inverter.surge_W or float("inf")
