"""Whether each inverter carries the loads that hang on it: running together, and while the hardest one starts.

Ratings of separate inverters never add up for one load. An inverter may limit its current and still start a motor, or
not; the word given here is against the entered figures only.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import Final

from .holds import Verdict, under, worst
from .inverter_losses import losses_of
from .load_power import Demand, demand
from .missing import Missing
from .site import Site
from .site_parts import Inverter
from .within import Within

_SAID: Final = (
    "Volt-amperes of loads were added up as they are, which is the most they can come to.",
    "All loads run while the hardest one starts: the worst that can happen, not the usual.",
    "An inverter may limit its current and start a motor slowly, or not at all; only a try, watched, tells.",
)


@dataclass(frozen=True)
class Judged:
    """One comparison: what is asked, what may be given, and the word on it.

    Parameters
    ----------
    asked : Within
        What the loads ask. [VA]; watts only where the inverter has ratings in both, and that in W is the nearer.
    rating : float
        What the inverter may give, in `unit`.
    unit : str
        ``VA`` or ``W``, as the rating was entered.
    verdict : {'holds', 'doubtful', 'fails'}
        The word.
    sentence : str
        The same in plain words.
    """

    asked: Within
    rating: float
    unit: str
    verdict: Verdict
    sentence: str


@dataclass(frozen=True)
class InverterCheck:
    """What one inverter makes of the loads on it.

    Parameters
    ----------
    inverter : str
        Its name.
    loads : tuple of Demand
        What each load on it asks.
    running : Judged or Missing
        All loads running, against the continuous rating.
    starting : Judged or Missing
        The same, and the start that adds most, against the surge rating and its seconds.
    hardest : str or None
        The load whose start adds most.
    verdict : {'holds', 'doubtful', 'fails'}
        The worse of both; at best ``doubtful`` where something needed is missing.
    left_out : tuple of Missing
        Loads that could not be counted.
    assumptions : tuple of str
        What was assumed, in plain sentences.
    """

    inverter: str
    loads: tuple[Demand, ...]
    running: Judged | Missing
    starting: Judged | Missing
    hardest: str | None
    verdict: Verdict
    left_out: tuple[Missing, ...]
    assumptions: tuple[str, ...]


def check_inverters(site: Site) -> tuple[InverterCheck, ...]:
    """Judge every inverter of a site for the loads on it, in the order of the file."""
    return tuple(check_inverter(inverter, site) for inverter in site.inverters)


def check_inverter(inverter: Inverter, site: Site) -> InverterCheck:
    """Judge one inverter.

    Parameters
    ----------
    inverter : Inverter
        One of the site's.
    site : Site
        Its loads are those that name this inverter, and no others.
    """
    demands = [demand(load, inverter) for load in site.loads if load.inverter == inverter.name]
    known = tuple(each for each in demands if isinstance(each, Demand))
    left_out = tuple(each for each in demands if isinstance(each, Missing))
    hardest = max(known, key=lambda each: each.extra_VA.high, default=None)
    running = _running(inverter, known)
    starting = _starting(inverter, known, hardest)
    verdicts: list[Verdict] = [
        each.verdict if isinstance(each, Judged) else "doubtful" for each in (running, starting, *left_out)
    ]
    return InverterCheck(
        inverter.name,
        known,
        running,
        starting,
        None if hardest is None else hardest.load,
        worst(*verdicts),
        left_out,
        (*_SAID, *(said for each in known for said in each.assumptions), *_as_VA(inverter)),
    )


def start_extra_W(inverter: Inverter, check: InverterCheck) -> Within | Missing:
    """Return what the hardest start adds to the draw at the bank, by the plates: what a sag is reckoned with.

    Parameters
    ----------
    inverter : Inverter
        The inverter.
    check : InverterCheck
        What `check_inverter` said of it.

    Returns
    -------
    Within or Missing
        From volt-amperes at a motor's power factor at standstill, 0.4 to 1 and 0.7 in the middle (from memory; 1 is
        the most there can be), through the inverter's losses, and at most its surge rating. [W]
    """
    hardest = next((load for load in check.loads if load.load == check.hardest), None)
    if hardest is None:
        return Missing("extra draw at a start", ("loads.inverter",), f"no load hangs on '{inverter.name}'")
    losses = losses_of(inverter)
    before_W = sum(load.running_W for load in check.loads if load is not hardest)
    most_VA = inverter.surge_VA or inverter.surge_W or inf
    starts = ((hardest.start_VA.value, 0.7), (hardest.start_VA.low, 0.4), (hardest.start_VA.high, 1.0))
    taken = (max(min(start_VA, most_VA) * factor, hardest.running_W) for start_VA, factor in starts)
    return Within(*(losses.dc_W(before_W + watts) - losses.dc_W(before_W) for watts in taken))


def check_seen(inverter: Inverter, *, peak_W: float, sustained_W: float) -> tuple[Judged, Judged | Missing]:
    """Set measured AC power beside what an inverter may give without a break, and for its seconds.

    Parameters
    ----------
    inverter : Inverter
        The inverter.
    peak_W, sustained_W : float
        Highest seen, and running, on its AC side. [W]

    Returns
    -------
    tuple of Judged and (Judged or Missing)
        Sustained against continuous, and highest against surge. Watts are the least that the volt-amperes can be, so
        ``holds`` means no more than that the watts do.
    """
    continuous = inverter.continuous_W or inverter.continuous_VA or 0.0
    unit = "W" if inverter.continuous_W else "VA"
    running = _compared(_same(sustained_W), continuous, unit, "sustained", "W")
    surge = inverter.surge_W or inverter.surge_VA
    if surge is None:
        return running, Missing(f"word on what '{inverter.name}' gave at most", ("inverters.surge_VA",))
    return running, _compared(_same(peak_W), surge, "W" if inverter.surge_W else "VA", "at most", "W")


def _running(inverter: Inverter, loads: tuple[Demand, ...]) -> Judged | Missing:
    if not loads:
        return Missing(f"word on '{inverter.name}' running", ("loads.inverter",), "no load hangs on it")
    watts, apparent_VA = sum(load.running_W for load in loads), sum(load.running_VA for load in loads)
    checks = []
    if inverter.continuous_VA is not None:
        checks.append(_compared(_same(apparent_VA), inverter.continuous_VA, "VA", "running"))
    if inverter.continuous_W is not None:
        # Where only watts are given, volt-amperes are held against them: the inverter's amps are what heats it.
        asked = watts if inverter.continuous_VA is not None else apparent_VA
        of = "W" if inverter.continuous_VA is not None else "VA"
        checks.append(_compared(_same(asked), inverter.continuous_W, "W", "running", of))
    return max(checks, key=lambda check: check.asked.value / check.rating)


def _starting(inverter: Inverter, loads: tuple[Demand, ...], hardest: Demand | None) -> Judged | Missing:
    if hardest is None:
        return Missing(f"word on '{inverter.name}' at a start", ("loads.inverter",), "no load hangs on it")
    others_VA = sum(load.running_VA for load in loads if load is not hardest)
    start = hardest.start_VA
    asked = Within(*(others_VA + max(x, hardest.running_VA) for x in (start.value, start.low, start.high)))
    continuous = inverter.continuous_VA or inverter.continuous_W or 0.0
    what = f"with '{hardest.load}' starting"
    if asked.high <= continuous:
        return _compared(asked, continuous, "VA" if inverter.continuous_VA else "W", what)
    rating, unit = (inverter.surge_VA, "VA") if inverter.surge_VA else (inverter.surge_W, "W")
    if rating is None:
        return Missing(
            f"word on '{inverter.name}' {what}",
            ("inverters.surge_VA", "inverters.surge_W"),
            f"that may take {asked.high:,.0f} VA, more than it gives without a break",
        )
    return _within_seconds(_compared(asked, rating, unit, what), hardest, inverter.surge_s)


def _within_seconds(judged: Judged, hardest: Demand, surge_s: float | None) -> Judged:
    """Return the word on a start with the seconds taken into account."""
    if surge_s is None:
        verdict = worst(judged.verdict, "doubtful")
        more = " For how many seconds it may is not given (inverters.surge_s)."
    elif hardest.start_s > surge_s:
        verdict = "fails"
        more = f" But the start lasts {hardest.start_s:g} s, and it may give that for {surge_s:g} s only."
    else:
        verdict = judged.verdict
        more = f" The start lasts {hardest.start_s:g} s of the {surge_s:g} s it may."
    return Judged(judged.asked, judged.rating, judged.unit, verdict, judged.sentence + more)


def _compared(asked: Within, rating: float, unit: str, what: str, of: str = "VA") -> Judged:
    verdict = under(asked.low, asked.high, rating)
    between = f"{asked.high:,.0f}" if asked.low == asked.high else f"{asked.low:,.0f} to {asked.high:,.0f}"
    return Judged(asked, rating, unit, verdict, f"{between} {of} {what}, of {rating:,.0f} {unit}: {verdict}.")


def _as_VA(inverter: Inverter) -> list[str]:
    only_W = (inverter.continuous_VA is None and inverter.continuous_W) or (
        inverter.surge_VA is None and inverter.surge_W
    )
    if not only_W:
        return []
    return [f"A rating of '{inverter.name}' is given in W only; it was taken as so many VA, which it may not be."]


def _same(x: float) -> Within:
    return Within(x, x, x)
