"""The figures that stand side by side before and after a change, each with what it is held against."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import isfinite
from typing import Final

from ..bank.bank import Recharge, Runtime
from ..bank.sag import Sag
from ..equipment.conductor import ConductorCheck, Drop
from ..equipment.judged import Judged
from ..equipment.solar import array_to_load, charging_A
from ..forecast.forecast import Forecast
from ..health.limits import HealthLimits
from ..not_known import Missing
from ..site.site import Site
from ..stats.interval95 import Within
from .tank_runs import PumpRuns, TankRuns

#: Figures that differ by less than this share are the same: rounding.
_SAME: Final = 1e-9
#: What grows with what the load takes, whatever that is.
_IN_PROPORTION: Final = frozenset({"charge_Ah", "energy_Wh", "lasts_h"})


@dataclass(frozen=True)
class HeldAgainst:
    """What a figure is held against: the `value` it is to be at most, or at least, and where that is from."""

    value: float
    at_most: bool
    source: str


@dataclass(frozen=True)
class ChangedFigure:
    """One figure before and after; `difference` has the interval that a log leaves, else none."""

    code: str
    name: str
    unit: str
    before: Within | None
    after: Within | None
    difference: Within | None
    limit: HeldAgainst | None = None

    @property
    def differs(self) -> bool:
        """Whether the change changes it at all."""
        if self.before is None or self.after is None:
            return self.before is not self.after
        return abs(self.after.value - self.before.value) > _SAME * max(abs(self.before.value), abs(self.after.value))


def figures_of(
    before: tuple[Site, Forecast],
    after: tuple[Site, Forecast],
    runs: TankRuns | Missing,
    limits: HealthLimits,
    cable: str | None,
) -> tuple[ChangedFigure, ...]:
    """Return every figure that is known before or after.

    `before` and `after` are the site and its forecast; `cable` the name of the conductor that feeds the load.
    """
    rows = [*_of_runs(runs, limits)] if isinstance(runs, TankRuns) else []
    for code, name, unit, of in _FIGURES:
        was, will = of(*before), of(*after)
        if was is not None or will is not None:
            in_proportion = code in _IN_PROPORTION and before[1].taken.measured
            off = runs.less_flow if in_proportion and isinstance(runs, TankRuns) else 0.0
            difference = _difference(was, will, in_proportion=in_proportion, off=off)
            rows.append(ChangedFigure(code, name, unit, was, will, difference))
    return (*rows, *_of_cable(before[1], after[1], cable))


def _of_runs(runs: TankRuns, limits: HealthLimits) -> Iterator[ChangedFigure]:
    shortest, hour, day = limits.minimum_run_s, limits.starts_per_hour, limits.starts_per_day
    usual = "usual run" if runs.measured else "run with no water drawn"
    most = "starts in the busiest hour" if runs.measured else "starts in an hour at most"
    a_day = "starts a day" if runs.measured else "starts a day at most"
    parts: tuple[tuple[str, str, str, Callable[[PumpRuns], Within | None], HeldAgainst], ...] = (
        ("run_s", usual, "s", lambda each: each.run_s, HeldAgainst(shortest.value, False, shortest.source)),
        ("in_an_hour", most, "", lambda each: each.in_an_hour, HeldAgainst(hour.value, True, hour.source)),
        ("a_day", a_day, "", lambda each: each.a_day, HeldAgainst(day.value, True, day.source)),
    )
    for code, name, unit, of, held in parts:
        was, will = of(runs.before), of(runs.after)
        if was is not None or will is not None:
            by_share = None if was is None or will is None else _by_share(was, will)
            yield ChangedFigure(code, name, unit, was, will, by_share, held)
    # Litres are of the file and its flow; without them the runs are known all the same.
    if runs.before_L is not None and runs.after_L is not None:
        now, then = Within.exactly(runs.before_L), Within.exactly(runs.after_L)
        yield ChangedFigure("drawdown_L", "water from full to cut-in", "L", now, then, _difference(now, then))


def _by_share(was: Within, will: Within) -> Within:
    """Return the difference of two figures of one log: what was drawn is the same in both, so their share is sure."""
    ends = sorted((will.low - was.value, will.high - was.value))
    return Within(will.value - was.value, *ends)


def _difference(
    was: Within | None, will: Within | None, *, in_proportion: bool = False, off: float = 0.0
) -> Within | None:
    """Return the difference of two figures; of what one load takes chance makes both larger or smaller together.

    `off` is by which share the one after may be off in ways that the one before is not. [1]
    """
    if was is None or will is None:
        return None
    if not in_proportion or was.value <= 0 or not all(isfinite(x) for x in (was.low, was.high)):
        return Within.exactly(will.value - was.value)
    # The interval is that of what chance makes of a stretch of time; it stretches both figures alike.
    share = will.value / was.value - 1
    low, high = sorted((share * was.low, share * was.high))
    alone = abs(off) * will.value
    return Within(share * was.value, low - alone, high + alone)


def _of_cable(before: Forecast, after: Forecast, cable: str | None) -> Iterator[ChangedFigure]:
    was, will = (_check(each, cable) for each in (before, after))
    if was is None or will is None:
        return
    parts: tuple[tuple[str, str, Callable[[ConductorCheck], Drop | Missing]], ...] = (
        ("drop_pct", "lost in the cable, running", lambda check: check.running),
        ("start_drop_pct", "lost in the cable, at a start", lambda check: check.starting),
    )
    for code, name, of in parts:
        drops = [of(each) for each in (was, will)]
        pct = [Within.exactly(drop.drop_pct) for drop in drops if isinstance(drop, Drop)]
        if len(pct) == len(drops):
            yield ChangedFigure(code, name, "%", pct[0], pct[1], _difference(*pct))


def _check(forecast: Forecast, cable: str | None) -> ConductorCheck | None:
    return next((check for check in forecast.conductors if check.conductor == cable), None)


def _state(_site: Site, each: Forecast) -> Within | None:
    state = each.bank.state_after_pct
    return None if isinstance(state, Missing) else state


def _lasts(_site: Site, each: Forecast) -> Within | None:
    left = each.bank.usual_runtime
    return left.counted_h if isinstance(left, Runtime) else None


def _lowest(_site: Site, each: Forecast) -> Within | None:
    return each.bank.sag.lowest_V if isinstance(each.bank.sag, Sag) else None


def _share(of: Callable[[Forecast], Judged | Missing | None]) -> Callable[[Site, Forecast], Within | None]:
    """Return what reads how much of a rating a part is asked for. [%]"""

    def read(_site: Site, each: Forecast) -> Within | None:
        part = of(each)
        return part.asked.scaled(100 / part.rating) if isinstance(part, Judged) else None

    return read


def _at_start(each: Forecast) -> Judged | Missing | None:
    return None if each.inverter is None else each.inverter.alone.starting


def _running(each: Forecast) -> Judged | Missing | None:
    return None if each.inverter is None else each.inverter.alone.running


def _sun(_site: Site, each: Forecast) -> Within | None:
    paid = each.bank.payback
    return Within.exactly(paid.sun_h) if isinstance(paid, Recharge) else None


def _charger(_site: Site, each: Forecast) -> Within | None:
    """Return how long the quickest charger takes. [h]"""
    return min((by.hours for by in each.bank.chargers), key=lambda hours: hours.value, default=None)


def _to_load(site: Site, each: Forecast) -> Within | None:
    """Return the array's amp-hours of a day over what the load takes in one, by IEEE 1013."""
    array, day_Ah = site.array, each.taken.charge_Ah.value / each.hours * 24
    # Without a share of the day that it runs, a load that ran all the time would be no day of anybody's.
    known = each.taken.measured or site.load(each.load).duty_pct is not None
    if array is None or array.sun_hours_h is None or not known or day_Ah <= 0:
        return None
    amps = charging_A(array, site.bank)
    return (
        None if isinstance(amps, Missing) else Within.exactly(array_to_load(array.sun_hours_h, amps.current_A, day_Ah))
    )


_FIGURES: Final[tuple[tuple[str, str, str, Callable[[Site, Forecast], Within | None]], ...]] = (
    ("charge_Ah", "out of the bank", "Ah", lambda _site, each: each.taken.charge_Ah),
    ("energy_Wh", "out of the bank", "Wh", lambda _site, each: each.taken.energy_Wh),
    ("state_after_pct", "bank full after it", "%", _state),
    ("lasts_h", "the bank lasts", "h", _lasts),
    ("lowest_V", "lowest voltage at a start", "V", _lowest),
    ("running_share_pct", "share of the inverter, running", "%", _share(_running)),
    ("start_share_pct", "share of the inverter, at a start", "%", _share(_at_start)),
    ("sun_h", "sun to pay it back", "h", _sun),
    ("charger_h", "charger to pay it back", "h", _charger),
    ("array_to_load", "array to load, by day", "", _to_load),
)
