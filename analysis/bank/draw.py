"""What loads ask of the bank by their plates: running together, and while the hardest of them starts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

from ..equipment.bank_voltage import usual_loaded_V
from ..equipment.demand import Demand, demands_on
from ..equipment.inverter_losses import losses_of
from ..equipment.motor_start import direct_current_start_A
from ..equipment.plate_power import supply_V
from ..not_known import Missing
from ..site.motor_kinds import MOST_STALLED, MOST_STALLED_SOURCE, usual_start_s
from ..site.site import Inverter, Load, Site
from ..stats.interval95 import Within
from .resistance import Resistance
from .sag import loaded_V, most_W


@dataclass(frozen=True)
class BankDraw:
    """What loads ask of the bank by their plates.

    `running_W` is all of them running, with what their inverters lose; `starting_W` the same while the `hardest` of
    them starts, for `start_s`, and None where no start asks more than running. The plates of those `left_out` say too
    little: then these are lower bounds. `unknown_start` is that of a load that may ask more than any of these, and
    whose plate does not tell.
    """

    running_W: float
    starting_W: Within | None
    start_s: float
    hardest: str | None
    left_out: tuple[Missing, ...]
    assumptions: tuple[str, ...]
    unknown_start: Missing | None = None


@dataclass(frozen=True)
class _DrawPart:
    """What an inverter's loads, or one load on the bank, ask of it: running, and what each start adds. [W]"""

    running_W: float
    starts: tuple[_Start, ...]
    assumptions: tuple[str, ...]


@dataclass(frozen=True)
class _Start:
    """What a load's start adds to the draw at the bank [W], and for how long."""

    load: str
    extra_W: Within
    start_s: float
    unknown: Missing | None = None


def bank_draw(site: Site, loads: Sequence[Load]) -> BankDraw:
    """Return what loads that run together, all of the site's or one, ask of the bank by their plates."""
    left_out: list[Missing] = []
    parts = [_of_inverter(inverter, loads, left_out) for inverter in site.inverters]
    parts += [_on_the_bank(site, load, left_out) for load in loads if load.inverter is None]
    running_W = sum(part.running_W for part in parts)
    assumptions = tuple(dict.fromkeys(text for part in parts for text in part.assumptions))
    starts = [start for part in parts for start in part.starts if start.extra_W.high > 0]
    # Two loads hardly start in the same second, so only the start that adds most counts; the others run.
    hardest = max((each for each in starts if each.unknown is None), key=lambda each: each.extra_W.high, default=None)
    unknown = next((each.unknown for each in starts if each.unknown and _may_be_hardest(each, hardest)), None)
    if hardest is None:
        return BankDraw(running_W, None, 0.0, None, tuple(left_out), assumptions, unknown)
    starting_W = hardest.extra_W.map(lambda watts: running_W + watts)
    return BankDraw(running_W, starting_W, hardest.start_s, hardest.load, tuple(left_out), assumptions, unknown)


def _may_be_hardest(start: _Start, hardest: _Start | None) -> bool:
    """Tell whether a start that no plate tells may ask more than the hardest of those that are known."""
    return hardest is None or start.extra_W.high > hardest.extra_W.low


def _of_inverter(inverter: Inverter, loads: Sequence[Load], left_out: list[Missing]) -> _DrawPart:
    """Return what the loads on an inverter ask of the bank through it: nothing where there are none."""
    known, missing = demands_on(inverter, loads)
    left_out += missing
    if not known:
        return _DrawPart(0.0, (), ())
    losses, ac_W = losses_of(inverter), sum(each.running_W for each in known)
    # No inverter gives more than its surge rating, whatever a motor would take.
    running_W, most_VA = losses.dc_W(ac_W), inverter.surge_VA or inverter.surge_W or inf

    def start(of: Demand) -> _Start:
        beside_W = ac_W - of.running_W
        extra_W = of.start_W(most_VA).map(lambda watts: losses.dc_W(beside_W + watts) - running_W)
        return _Start(of.load, extra_W, of.start_s)

    assumptions = [*losses.assumptions, *(text for each in known for text in (*each.assumptions, each.watts_of_start))]
    return _DrawPart(running_W, tuple(start(each) for each in known), tuple(text for text in assumptions if text))


def _on_the_bank(site: Site, load: Load, left_out: list[Missing]) -> _DrawPart:
    running_W, assumptions = _dc_W(site, load), list[str]()
    if running_W is None:
        left_out.append(Missing(f"word on what '{load.name}' draws", ("loads.power_W", "loads.current_A")))
        return _DrawPart(0.0, (), ())
    start = _dc_start(site, load, running_W, assumptions)
    return _DrawPart(running_W, (start,), tuple(assumptions))


def _dc_W(site: Site, load: Load) -> float | None:
    """Return the running watts of a load on the bank; None where its plate gives neither watts nor amps."""
    if load.power_W is not None:
        return load.power_W
    return None if load.current_A is None else load.current_A * supply_V(load, site)


def _dc_start(site: Site, load: Load, running_W: float, assumptions: list[str]) -> _Start:
    """Return what the start of a load on the bank adds: direct current has no power factor."""
    volts = supply_V(load, site)
    amps = direct_current_start_A(load, running_W / volts)
    if isinstance(amps, Missing):
        assumptions.append(
            f"What '{load.name}' draws before it turns is not known, but no more than {MOST_STALLED:g} times what it "
            f"draws running ({MOST_STALLED_SOURCE})."
        )
        most_W = (MOST_STALLED - 1) * running_W
        return _Start(load.name, Within(most_W, 0.0, most_W), usual_start_s(load, assumptions), amps)
    extra_W = amps.map(lambda each: max(each * volts - running_W, 0.0))
    return _Start(load.name, extra_W, usual_start_s(load, assumptions) if extra_W.high > 0 else 0.0)


def loaded_bank_V(site: Site) -> float:
    """Return the bank's voltage under load where nothing tells it [V]."""
    return usual_loaded_V(site.bank)[0]


def amps(site: Site, watts: Within, before_V: float, ohms: Resistance | Missing) -> Within | Missing:
    """Return the current that a power takes from the bank, at the voltage that its resistance leaves.

    `before_V` is its voltage with nothing drawn. Where the resistance is not known, it stands at what is usual under
    load; Missing where the resistance does not let the power through.
    """
    if isinstance(ohms, Missing):
        return watts.scaled(1 / loaded_bank_V(site))
    # Watts and not amps stay the same as the voltage falls, so each end has a voltage of its own.
    volts = [loaded_V(before_V, ohms.mohm.value / 1000, x) for x in (watts.value, watts.low, watts.high)]
    known = [each for each in volts if each is not None]
    if len(known) < len(volts):
        gives_W = most_W(before_V, ohms.mohm.value / 1000)
        because = f"it may ask {watts.high:,.0f} W, and the bank's resistance lets {gives_W:,.0f} W through at most"
        return Missing("word on the amps of a start", (), because)
    return Within(watts.value / known[0], watts.low / known[1], watts.high / known[2])


def voltage_said(site: Site) -> str:
    """Say at which voltage amps are reckoned where nothing tells it."""
    volts, source = usual_loaded_V(site.bank)
    return f"Amps are at {volts:.4g} V: {source}."
