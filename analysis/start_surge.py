"""What the starts of a load may have drawn between two readings."""

from __future__ import annotations

from .amounts import HowRead
from .inverter_losses import efficiency, losses_of
from .load_power import TURNING, USUAL_START, USUAL_START_S, demand
from .missing import Missing
from .plate_power import paper_W
from .refusal import Refusal
from .signal_errors import UnseenStarts
from .site import Inverter, Load, Site


def unseen_starts(site: Site, load: Load, count: int, how: HowRead) -> UnseenStarts | None:
    """Return the starts of a load whose surge the readings may have missed.

    Parameters
    ----------
    site, load : Site, Load
        The load, and where it hangs.
    count : int
        How often it started. [1]
    how : HowRead
        Where the meter sits; means miss nothing.

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
