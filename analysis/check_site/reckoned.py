"""What a site file says that does not go together once it is worked out: loads, fuses, water, charging."""

from __future__ import annotations

from collections.abc import Iterator

from ..bank.charger_time import charger_fits
from ..bank.limits import charging_judged
from ..bank.rested_state import Freezing, freezing, lowest_pct, rested_state
from ..equipment.conductor import check_conductors
from ..equipment.demand import demand
from ..equipment.hydraulics import wire_to_water
from ..equipment.inverter_check import check_inverter
from ..equipment.judged import WORD
from ..equipment.protection import SCREENING
from ..forecast.bank_check import bank_by_plates
from ..not_known import Missing
from ..site.battery_kinds import LEAD_ACID, LITHIUM_CHARGES_FROM_DEGC
from ..site.site import Site
from ..site.tables import Bank, Conductor, Inverter
from ..wording import figure
from .remark import Oddity, given, odd

#: Well-run plants on the grid come to 0.80 to 0.85 (trade); with a bank, less. [1]
HIGHEST_RATIO = 0.9
#: Half is the usual trade-off for lead-acid (trade); beyond this its life is short. [%]
DEEP_PCT = 80.0
#: No cable that works loses more of its bank's voltage (common practice, no source). [%]
HIGHEST_DROP_PCT = 50.0


def checks(site: Site) -> list[Oddity]:
    """Return a sentence for each part that cannot do what the file asks of it; doubts belong to the report."""
    return [
        *_bank(site.bank),
        *_cold(site),
        *_bank_gives(site),
        *_charging(site),
        *_chargers(site),
        *(each for inverter in site.inverters for each in (*_idle(inverter), *_carries(inverter, site))),
        *_conductors(site),
        *_pump(site),
    ]


def _bank(bank: Bank) -> Iterator[Oddity]:
    if bank.peukert_exponent is not None and bank.hour_rate_h is None:
        yield odd(
            "The bank's peukert_exponent says nothing without hour_rate_h, the hours of its rated capacity.",
            (bank, "hour_rate_h peukert_exponent"),
        )
    if bank.peukert_exponent is not None and bank.chemistry == "lifepo4":
        yield odd(
            "The bank's peukert_exponent is not used: Peukert's law is made for lead-acid.", (bank, "peukert_exponent")
        )
    if bank.rested_V is not None and isinstance(missing := rested_state(bank, bank.rested_V), Missing):
        yield odd(f"The bank's rested_V does not tell its state. {missing.sentence}", (bank, "rested_V"))
    if bank.chemistry in LEAD_ACID and bank.usable_depth_pct is not None and bank.usable_depth_pct > DEEP_PCT:
        yield odd(
            f"Running a lead-acid bank {bank.usable_depth_pct:g} % down shortens its life; 50 % is usual (trade).",
            (bank, "usable_depth_pct"),
        )


def _cold(site: Site) -> Iterator[Oddity]:
    """Name what the cold does to a bank that cannot be undone."""
    bank = site.bank
    if bank.at_degC is None:
        return
    cold, key = bank.shown.of_temperature(bank.at_degC), (bank, given(bank, "temperature"))
    ice = freezing(bank, lowest_pct(bank))
    if isinstance(ice, Freezing) and bank.at_degC <= ice.at_degC:
        yield odd(
            f"At {cold} the bank freezes when it is {ice.state_pct:g} % full, and may burst: at that state its acid "
            f"freezes at {bank.shown.of_temperature(ice.at_degC)} ({ice.source}). Keep it fuller, or warmer.",
            key,
        )
    charged = " and ".join(["the array"] * (site.array is not None) + [f"'{each.name}'" for each in site.chargers])
    if bank.chemistry == "lifepo4" and bank.at_degC < LITHIUM_CHARGES_FROM_DEGC and charged:
        frost = bank.shown.of_temperature(LITHIUM_CHARGES_FROM_DEGC)
        yield odd(
            f"At {cold} a LiFePO4 bank must not be charged, or metal grows in its cells: below {frost} stop {charged}, "
            "or warm the bank (makers' data sheets, from memory).",
            key,
        )


def _bank_gives(site: Site) -> Iterator[Oddity]:
    charging = charging_judged(site.bank, site.array, chargers=site.chargers)
    for part in bank_by_plates(site, site.loads).parts:
        if part.verdict == "fails":
            keys = "max_charge_A" if part in charging else "max_discharge_A capacity_Ah"
            yield odd(f"The bank: {part.sentence}", (site.bank, keys))


def _charging(site: Site) -> Iterator[Oddity]:
    bank, array = site.bank, site.array
    if bank.charging_V is not None and bank.charging_V <= bank.nominal_V:
        yield odd(
            f"The bank's charging_V ({bank.charging_V:g} V) is not above its nominal_V ({bank.nominal_V:g} V).",
            (bank, "charging_V nominal_V"),
        )
    if array is None:
        return
    if array.performance_ratio is not None and array.performance_ratio > HIGHEST_RATIO:
        yield odd(
            f"A performance_ratio of {array.performance_ratio:g} is more than any array with a bank reaches; well-run "
            "plants on the grid come to 0.80 to 0.85.",
            (array, "performance_ratio"),
        )
    # A PWM controller passes current on, and panels below the bank's voltage drive none into it.
    if array.current_A is not None and array.power_W / array.current_A < bank.nominal_V:
        yield odd(
            f"The array's power_W over its current_A is {array.power_W / array.current_A:.1f} V, "
            f"too little to charge a bank of {bank.nominal_V:g} V; check both.",
            (array, "power_W current_A"),
        )


def _chargers(site: Site) -> Iterator[Oddity]:
    """Name chargers that put in more than is usual; a maker's limit that is exceeded is told with the bank."""
    for charger in site.chargers:
        fit = charger_fits(site.bank, charger)
        if fit.verdict == "doubtful" and site.bank.chemistry not in (None, "other"):
            yield odd(
                f"'{charger.name}': {fit.sentence}. Set it lower, or give what the bank's maker allows "
                "(bank.max_charge_A).",
                (charger, "rated_A"),
                (site.bank, "max_charge_A"),
            )


def _idle(inverter: Inverter) -> Iterator[Oddity]:
    """Name points of a curve that lose less than the inverter takes when it gives nothing."""
    for watts, percent in inverter.efficiency_curve or ():
        lost_W = 100 * watts / percent - watts
        # Data sheets round to whole percent.
        if inverter.idle_W is not None and lost_W < 0.9 * inverter.idle_W:
            yield odd(
                f"'{inverter.name}' loses {lost_W:.0f} W at {watts:g} W by its efficiency_curve, less than its idle_W "
                f"of {inverter.idle_W:g} W; the curve should hold the idle draw.",
                (inverter, "efficiency_curve idle_W"),
            )


def _carries(inverter: Inverter, site: Site) -> Iterator[Oddity]:
    check = check_inverter(inverter, site)
    for each, rating in ((check.running, "continuous"), (check.starting, "surge")):
        if not isinstance(each, Missing) and each.verdict == "fails":
            yield odd(f"'{inverter.name}': {each.sentence}", (inverter, given(inverter, rating)))


def _conductors(site: Site) -> Iterator[Oddity]:
    for conductor, check in zip(site.conductors, check_conductors(site), strict=True):
        if not isinstance(check.running, Missing) and check.running.drop_pct > HIGHEST_DROP_PCT:
            yield odd(
                f"'{check.conductor}' would lose {check.running.drop_V:.3g} V of {site.bank.nominal_V:g} V at "
                f"{figure(check.running.current_A, 'A')}; check its length and size{_if_on_mains(conductor, site)}.",
                (conductor, given(conductor, "length", "gauge_AWG", "area_mm2")),
            )
        if isinstance(check.resistance_mohm, Missing):
            yield odd(check.resistance_mohm.sentence, (conductor, given(conductor, "gauge_AWG", "area_mm2")))
        # A doubtful fuse is the one doubt that is told here already: wrong, it sets fire to the cable.
        unsure = () if check.protection.verdict != "doubtful" else (check.protection,)
        for each in (*check.failing, *unsure):
            yield odd(
                f"'{check.conductor}' {WORD[each.verdict]}: {each.sentence} Source: {each.source}. {SCREENING}",
                (conductor, ("fuse_A", *given(conductor, "gauge_AWG", "area_mm2"))),
            )


def _if_on_mains(conductor: Conductor, site: Site) -> str:
    """Say what to do with a cable from an inverter to a load, which is easily named by the inverter it comes from."""
    from_inverter = any(each.name in conductor.carries for each in site.inverters)
    return "; if it lies behind the inverter, take it out: the mains side is not judged here" if from_inverter else ""


def _pump(site: Site) -> Iterator[Oddity]:
    if site.water is None:
        return
    pump = site.load(site.water.load)
    inverter = site.inverter_of(pump)
    asked = None if inverter is None else demand(pump, inverter)
    watts = pump.power_W if asked is None or isinstance(asked, Missing) else asked.running_W
    lifting = None if watts is None else wire_to_water(site.water, watts)
    if lifting is not None and not isinstance(lifting, Missing) and lifting.verdict == "fails":
        yield odd(f"The water system: {lifting.sentence}", (site.water, given(site.water, "flow", "head")))
