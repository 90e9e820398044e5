"""Whether each inverter carries the loads that hang on it: running together, and while the hardest one starts.

Ratings of separate inverters never add up for one load. An inverter may limit its current and still start a motor, or
not; the word given here is against the entered figures only.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from ..not_known import Missing
from ..site.site import Site
from ..site.tables import Inverter
from ..stats.interval95 import Within
from .demand import Demand, Power, demands_on
from .judged import Condition, Judged, Judgement, worst

_ASSUMPTIONS: Final = (
    "Volt-amperes of loads were added up as they are, which is the most they can come to.",
    "All loads run while the hardest one starts: the worst that can happen, not the usual.",
    "An inverter may limit its current and start a motor slowly, or not at all; only a try, watched, tells.",
)


@dataclass(frozen=True)
class InverterCheck:
    """What one inverter makes of the loads on it.

    `running` is all of them against the continuous rating, `starting` the same and the start that adds most, that of
    the `hardest`, against the surge rating and its seconds. `verdict` is the worse of both; None, not judged, where
    nothing wrong was found and something needed is missing, or no load hangs on it. Loads `left_out` could not be
    counted.
    """

    inverter: str
    loads: tuple[Demand, ...]
    running: Judged | Missing
    starting: Judged | Missing
    hardest: str | None
    verdict: Judgement | None
    left_out: tuple[Missing, ...]
    assumptions: tuple[str, ...]

    @property
    def unknown(self) -> tuple[Missing, ...]:
        """What keeps it from being judged; nothing where no load hangs on it."""
        if not self.loads and not self.left_out:
            return ()
        return tuple(each for each in (self.running, self.starting, *self.left_out) if isinstance(each, Missing))

    @property
    def to_add(self) -> str:
        """What to add for it to be judged; empty where nothing is missing."""
        keys = dict.fromkeys(key for each in self.unknown for key in each.add)
        if not keys:
            return next((each.because for each in self.unknown), "")
        return f"add {' or '.join(keys)} to the site file"


def check_inverter(inverter: Inverter, site: Site) -> InverterCheck:
    """Judge one inverter of a site for the loads that name it, and no others."""
    known, left_out = demands_on(inverter, site.loads)
    hardest = max(known, key=lambda each: each.extra_VA.high, default=None)
    running = _running(inverter, known)
    starting = _starting(inverter, known, hardest)
    judged = [each for each in (running, starting) if isinstance(each, Judged)]
    return InverterCheck(
        inverter.name,
        known,
        running,
        starting,
        None if hardest is None else hardest.load,
        word_on(judged, missing=len(judged) < 2 or bool(left_out)),
        left_out,
        (*_ASSUMPTIONS, *(text for each in known for text in each.assumptions), *_as_VA(inverter)),
    )


def word_on(judged: Iterable[Judged], *, missing: bool) -> Judgement | None:
    """Return the worst word of some comparisons; None where all hold and something needed is `missing`."""
    word = worst(*(each.verdict for each in judged))
    return None if missing and word == "holds" else word


def check_seen(
    inverter: Inverter, *, sustained: Power, peak: Power, resolved: bool = True
) -> tuple[Judged, Judged | Missing]:
    """Set measured power beside what an inverter may give without a break, and for its seconds.

    Sustained against continuous, and highest against surge: volt-amperes, as with the plates. Highest readings that may
    not be the highest there was, since they are too far apart (not `resolved`), can only fail.
    """
    running = _running_judged(inverter, sustained, f"sustained, {sustained.W:,.0f} W seen")
    rating, unit = _surge(inverter)
    if rating is None:
        return running, Missing(f"word on what '{inverter.name}' gave at most", ("inverters.surge_VA",))
    highest = Judged(f"at most, {peak.W:,.0f} W seen", peak.VA, "VA", rating, unit)
    # The true top is as high as what was read or higher: what fails, fails all the more.
    if not resolved and highest.verdict != "fails":
        return running, Missing(
            f"word on the starts on '{inverter.name}'", (), "the readings are too far apart for them"
        )
    return running, highest


def _running(inverter: Inverter, loads: tuple[Demand, ...]) -> Judged | Missing:
    if not loads:
        return Missing(f"word on '{inverter.name}' running", ("loads.inverter",), "no load hangs on it")
    asked = Power(sum(load.running_W for load in loads), _together(loads))
    return _running_judged(inverter, asked, "running (continuous)", _phases(inverter, loads))


def _together(loads: Iterable[Demand]) -> Within:
    """Return what loads ask running together [VA]."""
    running = [load.running for load in loads]
    return Within(sum(x.value for x in running), sum(x.low for x in running), sum(x.high for x in running))


def _phases(inverter: Inverter, loads: Iterable[Demand]) -> tuple[Condition, ...]:
    """Return what the phases of an inverter make of the loads that need three."""
    names = [f"'{load.load}'" for load in loads if load.phases == 3]
    if not names or inverter.phases == 3:
        return ()
    needs = f"{' and '.join(names)} need{'s' if len(names) == 1 else ''} three"
    if inverter.phases == 1:
        return (Condition("fails", f"it gives one phase and {needs}, which only a drive makes of one"),)
    return (Condition("doubtful", f"{needs} phases, or a drive, and how many it gives is not said (inverters.phases)"),)


def _running_judged(inverter: Inverter, asked: Power, what: str, conditions: tuple[Condition, ...] = ()) -> Judged:
    """Judge what is asked without a break: against both continuous ratings where both are given, the nearer decides."""
    # Volt-amperes heat the inverter, watts empty the bank: each rating is held against its own kind.
    checks = []
    if inverter.continuous_VA is not None:
        checks.append(Judged(what, asked.VA, "VA", inverter.continuous_VA, "VA", conditions))
    if inverter.continuous_W is not None:
        # Where only watts are given, volt-amperes are held against them: the inverter's amps are what heats it.
        both = inverter.continuous_VA is not None
        of = "W" if both else "VA"
        asked_of = Within.exactly(asked.W) if both else asked.VA
        checks.append(Judged(what, asked_of, of, inverter.continuous_W, "W", conditions))
    return max(checks, key=lambda check: check.share)


def _surge(inverter: Inverter) -> tuple[float | None, str]:
    """Return the surge rating and its unit."""
    return (inverter.surge_VA, "VA") if inverter.surge_VA else (inverter.surge_W, "W")


def _starting(inverter: Inverter, loads: tuple[Demand, ...], hardest: Demand | None) -> Judged | Missing:
    if hardest is None:
        return Missing(f"word on '{inverter.name}' at a start", ("loads.inverter",), "no load hangs on it")
    others, start, running = _together(load for load in loads if load is not hardest), hardest.start_VA, hardest.running
    # A start is never less than running, whatever the plate makes of it.
    asked = Within(
        others.value + max(start.value, running.value),
        others.low + max(start.low, running.low),
        others.high + max(start.high, running.high),
    )
    continuous = inverter.continuous_VA or inverter.continuous_W or 0.0
    what = hardest.at_start
    # A start that stays within what it gives for good needs neither a surge rating nor its seconds.
    if asked.high <= continuous:
        return Judged(what, asked, "VA", continuous, "VA" if inverter.continuous_VA else "W")
    rating, unit = _surge(inverter)
    if rating is None:
        return Missing(
            f"word on '{inverter.name}' {what}",
            ("inverters.surge_VA", "inverters.surge_W"),
            f"that may take {asked.high:,.0f} VA, more than it gives without a break (continuous)",
        )
    return Judged(what, asked, "VA", rating, unit, (_seconds(hardest, inverter.surge_s),))


def _seconds(hardest: Demand, surge_s: float | None) -> Condition:
    """Return what the seconds of a start make of it."""
    if surge_s is None:
        return Condition("doubtful", "for how many seconds it may is not given (inverters.surge_s)")
    lasts = f"the start lasts {hardest.start_s:g} s"
    if hardest.start_s > surge_s:
        return Condition("fails", f"{lasts} and it may give that for {surge_s:g} s only")
    return Condition("holds", f"{lasts} of the {surge_s:g} s it may")


def _as_VA(inverter: Inverter) -> list[str]:
    only_W = (inverter.continuous_VA is None and inverter.continuous_W) or (
        inverter.surge_VA is None and inverter.surge_W
    )
    if not only_W:
        return []
    return [f"A rating of '{inverter.name}' is given in W only; it was taken as so many VA, which it may not be."]
