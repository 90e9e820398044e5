"""What a log and its site file say together: bank, inverters, conductors, water and sun."""

from __future__ import annotations

from dataclasses import dataclass
from statistics import median
from typing import TYPE_CHECKING

from ..bank.limits import BankCheck
from ..charge.amounts import Charge
from ..cycles.cycle import Cycles
from ..equipment.conductor import ConductorCheck, check_conductors
from ..equipment.solar import ArrayDay, array_day
from ..forecast.bank_check import bank_by_log, bank_by_plates
from ..ledger.loads_use import LoadsUse, loads_use
from ..nameplate.estimate import estimate
from ..not_known import Missing, Refusal
from ..readings.chunk import SECONDS_PER_HOUR
from ..site.site import Load, Site
from ..stats.interval95 import Within
from ..sureness.meter_figures import MeterFigures
from .bank_report import BankReport, bank_report
from .inverter_report import InverterReport, ac_power_W, inverter_reports
from .site_folds import SiteRecord
from .water_report import WaterReport, water_report

if TYPE_CHECKING:
    from datetime import tzinfo

    from ..ledger.sources import Sources, UnnamedSource

_DAY_S = 24 * SECONDS_PER_HOUR
#: A log of one day ends some readings before midnight. [1]
_WHOLE_DAY = 0.98


@dataclass(frozen=True)
class Solar:
    """The array on a usual day by the site file, and what came back in this log.

    `returned_Wh` went into the bank: what the array brought beyond what the loads took meanwhile. `use` is what all
    loads take in a day, and what the bank gave of it; None where the log holds less than a day.
    """

    day: ArrayDay | Missing
    returned_Wh: float | None
    use: LoadsUse | None


@dataclass(frozen=True)
class SiteReport:
    """What a log and its site file say together, every part by itself.

    ``bank_check`` is the word on the bank: by the log where a meter on the bank saw a load start, else by the plates.
    ``sources`` tells what came back by where it came from, None where the site file has no charger; ``unnamed`` is a
    step of return at night, where that has none.
    """

    bank: BankReport | Missing
    bank_check: BankCheck
    inverters: tuple[InverterReport, ...]
    conductors: tuple[ConductorCheck, ...]
    water: WaterReport | Missing
    solar: Solar
    sources: Sources | None = None
    unnamed: UnnamedSource | None = None

    @property
    def missing(self) -> tuple[Missing, ...]:
        """What is left out, each sentence once."""
        parts = [self.bank] if isinstance(self.bank, Missing) else [*self.bank.missing]
        parts += self.bank_check.not_judged
        for inverter in self.inverters:
            parts += inverter.missing
        for conductor in self.conductors:
            parts += conductor.missing
        parts += [self.water] if isinstance(self.water, Missing) else [*self.water.missing]
        # What several parts lack for one and the same reason is told once, and by its sentence it is the same.
        sun = (self.solar.day, self.solar.use.day_Wh if self.solar.use is not None else None)
        parts += [each for each in sun if isinstance(each, Missing)]
        return tuple({each.sentence: each for each in parts}.values())


def site_report(
    site: Site,
    load: Load | None,
    charge: Charge,
    cycles: Cycles,
    figures: MeterFigures,
    meter: str | None,
    followed: SiteRecord,
    *,
    zone_known: bool = True,
    air_in_doubt: bool = False,
) -> SiteReport:
    """Return what a log and its site file say together.

    `load` is that whose runs were sought, `meter` the name of the log's; `followed` holds the ledger of the report.
    `zone_known` tells whether its zone was more than assumed: by its clock the night is told; `air_in_doubt` whether
    the runs put that of the pump's tank in doubt.
    """
    how, ledger = charge.how, followed.ledger
    from_bank_Wh = daily_from_bank_Wh(charge)
    # What all loads take in a day, bank and sun together, only a whole day tells.
    use = None
    if from_bank_Wh is not None:
        use = loads_use(charge, cycles, followed.hours, from_bank_Wh, sun=site.array is not None)
    bank = bank_report(
        site, load, cycles, charge, ledger, followed.running, figures, how, use=use, falls=followed.falls
    )
    check = _bank_check(site, load, charge, cycles, figures, followed)
    inverters = inverter_reports(site, load, cycles, ledger, how, _behind(site, meter))
    ohms = None if isinstance(bank, Missing) or isinstance(bank.resistance, Missing) else bank.resistance.mohm
    conductors = check_conductors(site, ohms)
    running_W = [cycle.run_W for cycle in cycles.cycles if cycle.run_W is not None]
    power_W = ac_power_W(site, load, median(running_W), how) if running_W else None
    water = _water(site, load, cycles, power_W, air_in_doubt=air_in_doubt)
    # Behind an inverter nothing comes back: that is the loads' side.
    energy = charge.energy if how.side == "dc" else None
    known = use.day_Wh.value if use is not None and isinstance(use.day_Wh, Within) else None
    solar = Solar(array_day(site.array, daily_use_Wh=known), energy.returned if energy else None, use)
    from ..ledger.sources import unnamed_source  # a report without a site file has no use for it

    zone = followed.zone if zone_known else None
    back = None if followed.returned is None else _sources(site, load, charge, cycles, followed, zone)
    # Only amps at the bank show it, and a file that names a charger has its answer already.
    at_bank = how.side == "dc" and cycles.signal == "current_A" and not site.chargers
    unnamed = unnamed_source(cycles.stairs, zone) if at_bank else None
    return SiteReport(bank, check, inverters, conductors, water, solar, back, unnamed)


def _sources(
    site: Site, load: Load | None, charge: Charge, cycles: Cycles, followed: SiteRecord, zone: tzinfo | None
) -> Sources | None:
    """Return what came back by where it came from."""
    from ..ledger.sources import sources  # a report without a site file has no use for it

    assert followed.returned is not None
    # Of the load whose runs were seen these say what it draws; of all others their plates do.
    others = [each for each in site.loads if load is None or each.name != load.name or not cycles.cycles]
    return sources(
        followed.returned,
        charge,
        cycles,
        site.chargers,
        followed.ledger,
        followed.paybacks,
        zone=zone,
        sun=site.array is not None,
        loads_A=[amps for each in others if (amps := _plate_A(site, each)) is not None],
    )


def _plate_A(site: Site, load: Load) -> float | None:
    """Return what a load draws at the bank by its plate; None where that says too little. [A]"""
    try:
        return estimate(site, load.name, hours=1.0).dc_A
    except Refusal:
        return None


def _bank_check(
    site: Site, load: Load | None, charge: Charge, cycles: Cycles, figures: MeterFigures, followed: SiteRecord
) -> BankCheck:
    # Where the bank's amps were read the log says what it gave; else there are but the plates.
    running = followed.running
    if running is None:
        return bank_by_plates(site, site.loads)
    how, returned_A = charge.how, running.returned_A
    return bank_by_log(site, load, cycles, followed.ledger, figures, how, returned_A=returned_A)


def _water(
    site: Site, load: Load | None, cycles: Cycles, power_W: float | None, *, air_in_doubt: bool
) -> WaterReport | Missing:
    what = "word on the water"
    if site.water is None:
        return Missing(what, ("water",))
    if load is None or site.water.load != load.name:
        return Missing(what, (), f"the runs of '{site.water.load}', which pumps it, were not looked for")
    return water_report(site.water, cycles, power_W=power_W, air_in_doubt=air_in_doubt)


def daily_from_bank_Wh(charge: Charge) -> float | None:
    """Return what was drawn from the bank in a day; None where less than a day was measured. [Wh]"""
    span = charge.energy_span or charge.span
    if charge.how.side != "dc" or charge.energy is None or span.covered_s < _WHOLE_DAY * _DAY_S:
        return None
    return charge.energy.drawn / span.covered_s * _DAY_S


def _behind(site: Site, meter: str | None) -> str | None:
    """Return the inverter that a meter sits behind: the one it names, else the only one of the site."""
    named = next((each.inverter for each in site.meters if each.name == meter), None)
    return named or (site.inverters[0].name if len(site.inverters) == 1 else None)
