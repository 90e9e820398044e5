"""Voltage lost in a pair of conductors, and a screening of conductor and fuse against published tables.

A screening, not a design: it knows nothing of the insulation, the way the cable is laid, the terminals or the fuse's
kind. Local codes and a licensed electrician decide.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from ..not_known import Missing, Refusal
from ..site.conductor_tables import AREA_OHM_PER_KM, AREA_RESISTANCE_SOURCE, GAUGES, RESISTANCE_SOURCE
from ..site.site import Site
from ..site.tables import Bank, Conductor, Inverter, Load
from ..site.units import M_PER_FT
from ..stats.interval95 import Within
from ..wording import figure
from .bank_voltage import usual_loaded_V
from .demand import demands_on
from .inverter_losses import losses_of
from .judged import Judgement, worst
from .motor_start import direct_current_start_A
from .protection import PLAIN_RULE, Screened, ampacity, protection
from .short_circuit import breaking, stated_mohm
from .solar import charging_A

#: Change of copper's resistance for each degC from 75 degC (NEC chapter 9, table 8, note 2; from memory). [1/K]
PER_K: Final = 0.00323
#: Annealed copper at 20 degC, 100 % IACS, its coefficient, and 2 % for the lay of strands (from memory). [ohm mm2/m]
COPPER_20C: Final = 0.017241
PER_K_AT_20C: Final = 0.00393
STRANDING: Final = 1.02
#: A load behind an inverter is no part of what is judged here.
_BEHIND_INVERTER: Final = (
    "it hangs on an inverter; on the mains side no cable is judged here: leave that one out, and name the inverter at "
    "the cable from the bank"
)
#: NEC 690.8(B): conductors for 125 % of the greatest current.
CONTINUOUS_FACTOR: Final = 1.25
#: NEC 210.19(A), informational note: 3 % is advice for efficiency, not a requirement. [%]
ADVISED_DROP_PCT: Final = 3.0


@dataclass(frozen=True)
class Drop:
    """Voltage lost out and back at a current: [A], [V], and that as a share of the supply's voltage [%]."""

    current_A: float
    drop_V: float
    drop_pct: float


@dataclass(frozen=True)
class ConductorCheck:
    """What a pair of conductors loses and how it stands to the tables.

    Parameters
    ----------
    resistance_mohm : float or Missing
        Out and back. [mohm]
    running, starting : Drop or Missing
        With what it carries running together, and with the hardest start on top.
    screened : tuple of Screened
        The fuse against the conductor; then the drop, both against running and greatest current, and the fuse against
        a short circuit, as far as known.
    breaking : Screened or Missing or None
        Whether the fuse can break a short circuit; None without a fuse.
    wanted_A : float or None
        125 % of the greatest lasting current: the least that fuse and conductor are to bear. [A]
    """

    conductor: str
    resistance_mohm: float | Missing
    running: Drop | Missing
    starting: Drop | Missing
    screened: tuple[Screened, ...]
    breaking: Screened | Missing | None
    wanted_A: float | None
    assumptions: tuple[str, ...]

    @property
    def verdict(self) -> Judgement:
        """The worst word on it; never better than ``doubtful`` where what flows in it is not known."""
        unknown: tuple[Judgement, ...] = ("doubtful",) if isinstance(self.running, Missing) else ()
        return worst(*unknown, *(each.verdict for each in self.screened))

    @property
    def protection(self) -> Screened:
        """Whether its fuse protects it."""
        return self.screened[0]

    @property
    def failing(self) -> tuple[Screened, ...]:
        """The comparisons that it fails."""
        return tuple(each for each in self.screened if each.verdict == "fails")

    @property
    def missing(self) -> tuple[Missing, ...]:
        """What is left out."""
        return tuple(part for part in (self.resistance_mohm, self.running) if isinstance(part, Missing))


@dataclass(frozen=True)
class Carried:
    """Currents through a conductor: running together, at the hardest start, and the greatest that lasts [A]."""

    running_A: float
    starting_A: float | Missing
    greatest_A: float
    assumptions: tuple[str, ...]


def ohm_per_m(conductor: Conductor) -> float:
    """Return the resistance of one metre of one conductor, at its temperature, else at 75 degC. [ohm/m]

    By gauge it is the table's, by area the most that a standard lets a cable of that name have, between its sizes that
    of copper's resistivity. Refusal if the table has no such gauge, or none that is solid.
    """
    warm_K = (conductor.temperature_degC if conductor.temperature_degC is not None else 75.0) - 75.0
    if conductor.gauge_AWG is None:
        area_mm2 = conductor.area_mm2 or 0.0
        if not area_mm2 > 0:
            raise Refusal(f"the conductor '{conductor.name}' has no size; give gauge_AWG or area_mm2")
        lay = STRANDING if conductor.strands == "stranded" else 1.0
        at_20C = AREA_OHM_PER_KM.get(area_mm2, 1000 * COPPER_20C * lay / area_mm2) / 1000
        # Both are of 20 degC, 55 K below the temperature that the gauges are listed at.
        return at_20C * (1 + PER_K_AT_20C * (55.0 + warm_K))
    # A table knows strands, which are not quite as good as their area; the resistivity only knows the area.
    gauge = GAUGES.get(conductor.gauge_AWG)
    if gauge is None:
        raise Refusal(f"{RESISTANCE_SOURCE} is kept here from 18 to 4/0 AWG; give area_mm2 of '{conductor.name}'")
    per_kft = gauge.stranded_ohm_per_kft if conductor.strands == "stranded" else gauge.solid_ohm_per_kft
    if per_kft is None:
        raise Refusal(f"{conductor.gauge_AWG} AWG is not in the table as solid; correct strands of '{conductor.name}'")
    return per_kft / (1000 * M_PER_FT) * (1 + PER_K * warm_K)


def drop(conductor: Conductor, current_A: float, supply_V: float) -> Drop:
    """Return the voltage lost out and back, and which share of the supply it is."""
    lost_V = 2 * conductor.one_way_m * ohm_per_m(conductor) * current_A
    return Drop(current_A, lost_V, 100 * lost_V / supply_V)


def check_conductors(site: Site, mohm: Within | None = None) -> tuple[ConductorCheck, ...]:
    """Check every conductor of a site, in the order of the file; `mohm` is the bank's resistance where measured."""
    return tuple(check_conductor(conductor, site, mohm) for conductor in site.conductors)


def check_conductor(conductor: Conductor, site: Site, mohm: Within | None = None) -> ConductorCheck:
    """Work out a conductor's losses and screen it and its fuse; what it carries is looked up in the site.

    Resistance and drops are missing where its size is in no table, or what it carries is not known; its fuse is judged
    all the same.
    """
    loop_mohm, carried = _loop_mohm(conductor), currents(conductor, site)
    running, starting = _lost(conductor, loop_mohm, carried, site.bank.nominal_V)
    # The fuse comes first and is judged whatever else is known: a wrong one ends in a fire.
    screened = [protection(conductor, site)]
    assumptions = _assumptions(conductor)
    if not isinstance(running, Missing):
        screened.append(_of_drop(running))
    if not isinstance(carried, Missing):
        screened += [*_of_fuse(conductor, carried), _of_ampacity(conductor, carried)]
        assumptions += (*carried.assumptions, *_through_the_fuse(conductor, carried))
    broken = breaking(conductor, site.bank, mohm or stated_mohm(site.bank))
    screened += [broken] if isinstance(broken, Screened) else []
    wanted_A = None if isinstance(carried, Missing) else CONTINUOUS_FACTOR * carried.greatest_A
    return ConductorCheck(conductor.name, loop_mohm, running, starting, tuple(screened), broken, wanted_A, assumptions)


def _loop_mohm(conductor: Conductor) -> float | Missing:
    try:
        return 2000 * conductor.one_way_m * ohm_per_m(conductor)
    except Refusal as why:
        return Missing(f"word on what '{conductor.name}' loses", ("conductors.area_mm2",), str(why))


def _lost(
    conductor: Conductor, loop_mohm: float | Missing, carried: Carried | Missing, supply_V: float
) -> tuple[Drop | Missing, Drop | Missing]:
    """Return what is lost running and starting, or why it is not known."""
    if isinstance(loop_mohm, Missing):
        return loop_mohm, loop_mohm
    if isinstance(carried, Missing):
        return carried, carried
    running, start_A = drop(conductor, carried.running_A, supply_V), carried.starting_A
    return running, start_A if isinstance(start_A, Missing) else drop(conductor, start_A, supply_V)


def currents(conductor: Conductor, site: Site) -> Carried | Missing:
    """Return the currents of what a conductor carries: inverters, loads on the DC side, chargers, or the array.

    Running is at the usual voltage under load; an inverter's greatest lasting current is its rated output at its lowest
    bank voltage (NEC 690.8(A), from memory).
    """
    parts = [_carried(name, site) for name in conductor.carries]
    if not parts:
        return Missing(f"word on what flows in '{conductor.name}'", ("conductors.carries",))
    missing = next((part for part in parts if isinstance(part, Missing)), None)
    if missing is not None:
        return missing
    known = [part for part in parts if isinstance(part, Carried)]
    running_A = sum(part.running_A for part in known)
    return Carried(
        running_A,
        _hardest_A(known),
        sum(part.greatest_A for part in known),
        tuple(text for part in known for text in part.assumptions),
    )


def _hardest_A(parts: Sequence[Carried]) -> float | Missing:
    """Return the amps while the one whose start adds most starts and all others run; Missing where a start is. [A]"""
    running_A = sum(part.running_A for part in parts)
    extra_A = []
    for part in parts:
        if isinstance(part.starting_A, Missing):
            return part.starting_A
        extra_A.append(part.starting_A - part.running_A)
    return running_A + max(extra_A)


def _carried(name: str, site: Site) -> Carried | Missing:
    if name == "array" and site.array is not None:
        amps = charging_A(site.array, site.bank)
        if isinstance(amps, Missing):
            return amps
        # NEC 690.8(A): source circuits are reckoned at 125 % of their short-circuit current, which is not known here.
        return Carried(amps.current_A, amps.current_A, amps.current_A, amps.assumptions)
    for inverter in site.inverters:
        if inverter.name == name:
            return _of_inverter(inverter, site)
    for charger in site.chargers:
        if charger.name == name:
            # It gives its rated amps for hours: running, at its start and at most they are the same.
            return Carried(charger.rated_A, charger.rated_A, charger.rated_A, ())
    load = site.load(name)
    if load.inverter is not None:
        return Missing(f"word on what carries '{name}'", (), _BEHIND_INVERTER)
    return _of_dc_load(load, site)


def rated_A(inverter: Inverter, bank: Bank) -> float:
    """Return what an inverter draws at its rated output and the lowest voltage it works at; VA are taken as W [A]."""
    rated = inverter.continuous_W or inverter.continuous_VA or 0.0
    return losses_of(inverter).dc_W(rated) / _lowest_V(inverter, bank)


def _lowest_V(inverter: Inverter, bank: Bank) -> float:
    return inverter.cut_off_V or bank.cut_off_V or usual_loaded_V(bank)[0]


def _of_inverter(inverter: Inverter, site: Site) -> Carried | Missing:
    losses = losses_of(inverter)
    known, left_out = demands_on(inverter, site.loads)
    if left_out:
        return left_out[0]
    loaded_V, source = usual_loaded_V(site.bank)
    # Loads that are usual are at a usual voltage; the most is at the lowest at which the inverter still works.
    lowest_V = _lowest_V(inverter, site.bank)
    watts = sum(each.running_W for each in known)
    # A screening asks for the most amps that there can be; the bank is judged by the likely watts of a start instead.
    extra_VA = max((each.extra_VA.high for each in known), default=0.0)
    rated = inverter.continuous_W or inverter.continuous_VA or 0.0
    taken = figure(rated, "W" if inverter.continuous_W else "VA, taken as W")
    return Carried(
        losses.dc_W(watts) / loaded_V,
        losses.dc_W(watts + extra_VA) / lowest_V,
        rated_A(inverter, site.bank),
        (
            f"Running current of '{inverter.name}' at {loaded_V:.4g} V: {source}.",
            f"Its greatest current is that of its rating, {taken}, at {lowest_V:g} V.",
            "At a start all volt-amperes were taken as watts, and the inverter to give them: the most it can be.",
            *losses.assumptions,
        ),
    )


def _of_dc_load(load: Load, site: Site) -> Carried | Missing:
    if load.current_A is None and load.power_W is None:
        return Missing(f"word on what '{load.name}' draws", ("loads.current_A", "loads.power_W"))
    running_A = load.current_A or (load.power_W or 0.0) / usual_loaded_V(site.bank)[0]
    start_A = direct_current_start_A(load, running_A)
    return Carried(running_A, start_A if isinstance(start_A, Missing) else start_A.high, running_A, ())


def _of_drop(running: Drop) -> Screened:
    verdict: Judgement = "holds" if running.drop_pct <= ADVISED_DROP_PCT else "doubtful"
    sentence = f"It loses {running.drop_V:.2f} V ({running.drop_pct:.1f} %) at the running {running.current_A:.0f} A."
    return Screened(verdict, sentence, "NEC 210.19(A), informational note: 3 % is advice, not a requirement")


def _of_fuse(conductor: Conductor, carried: Carried) -> list[Screened]:
    if conductor.fuse_A is None:
        return []
    fuse_A, wanted_A = conductor.fuse_A, CONTINUOUS_FACTOR * carried.greatest_A
    # Below the running current it will blow; between that and 125 % of the greatest nobody can say when.
    if fuse_A < carried.running_A:
        blows = f"The {fuse_A:g} A fuse is under the running {carried.running_A:.0f} A."
        return [Screened("fails", blows, "plain sum")]
    verdict: Judgement
    verdict, word = ("holds", "carries that") if fuse_A >= wanted_A else ("doubtful", "may blow")
    sentence = (
        f"125 % of the greatest current, {carried.greatest_A:.0f} A, is {wanted_A:.0f} A: the {fuse_A:g} A fuse {word}."
    )
    return [Screened(verdict, sentence, "NEC 690.8(B): 125 %")]


def _through_the_fuse(conductor: Conductor, carried: Carried) -> tuple[str, ...]:
    """Say that a start asks more of a fuse than it is rated for, which a slow one lets through for a moment."""
    # How long it does its maker's curve tells; NEC 430.52 lets time-delay fuses of motors be larger (from memory).
    starting_A = carried.starting_A
    if conductor.fuse_A is None or isinstance(starting_A, Missing) or starting_A <= conductor.fuse_A:
        return ()
    return (
        f"At a start up to {starting_A:.0f} A may flow for a moment, more than the {conductor.fuse_A:g} A of "
        f"the fuse of '{conductor.name}': it must be slow enough for that by its maker's curve.",
    )


def _of_ampacity(conductor: Conductor, carried: Carried) -> Screened:
    allowed, wanted_A = ampacity(conductor), CONTINUOUS_FACTOR * carried.greatest_A
    # The table is for one way of laying: only what lies on one side of both currents is sure.
    verdict: Judgement = "doubtful"
    if allowed.low_A >= wanted_A:
        verdict = "holds"
    elif allowed.high_A < carried.running_A:
        verdict = "fails"
    sentence = (
        f"The table allows {allowed.words}; it carries {carried.running_A:.0f} A running, and 125 % of the greatest "
        f"current is {wanted_A:.0f} A."
    )
    return Screened(verdict, sentence, allowed.source)


def _assumptions(conductor: Conductor) -> tuple[str, ...]:
    warm_degC = 75.0 if conductor.temperature_degC is None else conductor.temperature_degC
    by = RESISTANCE_SOURCE if conductor.gauge_AWG else "copper's resistivity (from memory)"
    by = AREA_RESISTANCE_SOURCE if conductor.area_mm2 in AREA_OHM_PER_KM else by
    return (
        f"Copper, {conductor.strands}, at {conductor.shown.of_temperature(warm_degC)}, by {by}; no terminals, no fuse.",
        PLAIN_RULE,
        "A screening against tables for one way of laying a cable. It is not a design; local codes and a licensed "
        "electrician decide, also on the fuse's kind, which must be made for direct current.",
    )
