"""What a site file says that can hardly be so: warnings, where the figures are possible but do not go together."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain

from ..equipment.water import PRECHARGE_BELOW_KPA, PRECHARGE_SOURCE, below_cut_in
from ..site.site import Bank, Inverter, Load, Site, Water
from ..site.units import KPA_PER_PSI, W_PER_HP
from ..wording import figure
from .feeding import feeding
from .reckoned import checks
from .remark import Oddity, SiteRemark, given, odd, placed
from .slips import slips

#: Tyre gauges and pressure switches are read to about 1 psi. [kPa]
_READ_TO_KPA = KPA_PER_PSI


def contradictions(site: Site) -> list[str]:
    """Return a sentence, with its keys and what to look at, for each pair of figures that do not go together."""
    return [remark.sentence for remark in contradicting(site)]


def contradicting(site: Site) -> list[SiteRemark]:
    """Return the same sentences, each with the paths of the keys that it is about."""
    return placed(_oddities(site), site)


def _oddities(site: Site) -> list[Oddity]:
    return [
        *_fractions(site),
        *_bank(site.bank),
        *chain.from_iterable(_inverter(inverter, site.bank) for inverter in site.inverters),
        *chain.from_iterable(_load(load, site) for load in site.loads),
        *(_water(site.water, site) if site.water else ()),
        *_meters(site),
        *slips(site),
        *checks(site),
    ]


def _fractions(site: Site) -> Iterator[Oddity]:
    """Name shares of one or less where percent are wanted: 0.9 was probably meant as 90 %."""
    parts = [("bank", site.bank), *((f"inverter '{i.name}'", i) for i in site.inverters)]
    parts += [(f"load '{load.name}'", load) for load in site.loads]
    for name, part in parts:
        for key in ("usable_depth_pct", "charge_efficiency_pct", "start_state_pct", "efficiency_pct", "duty_pct"):
            value = getattr(part, key, None)
            if value is not None and 0 < value <= 1:
                yield odd(
                    f"The {key} of the {name} is {value:g} %; if {100 * value:g} % is meant, write {100 * value:g}.",
                    (part, key),
                )
    for inverter in site.inverters:
        if inverter.efficiency_curve and all(percent <= 1 for _, percent in inverter.efficiency_curve):
            yield odd(
                f"The efficiency_curve of '{inverter.name}' gives 1 % and less; write percent: 88, not 0.88.",
                (inverter, "efficiency_curve"),
            )
    # One loss of under 1 % may be meant; several that come to no more than 1 % together are shares.
    losses_pct = site.array.losses_pct if site.array is not None and site.array.losses_pct else ()
    if len(losses_pct) > 1 and sum(losses_pct) <= 1:
        percent = ", ".join(f"{100 * share:g}" for share in losses_pct)
        yield odd(
            f"The array's losses_pct come to {sum(losses_pct):g} % together; if shares are meant, write [{percent}].",
            (site.array, "losses_pct"),
        )


def _bank(bank: Bank) -> Iterator[Oddity]:
    if bank.cut_off_V is not None and bank.cut_off_V >= bank.nominal_V:
        yield odd(
            f"The bank's cut_off_V ({bank.cut_off_V:g} V) is not below its nominal_V ({bank.nominal_V:g} V): "
            "it would count as empty at once.",
            (bank, "cut_off_V nominal_V"),
        )
    if bank.batteries and bank.strings and bank.batteries % bank.strings:
        yield odd(
            f"{bank.batteries} batteries cannot be shared evenly among {bank.strings} strings; check both.",
            (bank, "batteries strings"),
        )
    elif bank.batteries and bank.strings and bank.battery_V:
        string_V = bank.batteries / bank.strings * bank.battery_V
        # Nominal voltages are round figures: a string of eight 3.2 V cells is called 25.6 V, or 24 V.
        if abs(string_V - bank.nominal_V) > 0.1 * bank.nominal_V:
            yield odd(
                f"{bank.batteries} batteries of {bank.battery_V:g} V in {bank.strings} strings make {string_V:g} V, "
                f"but the bank's nominal_V is {bank.nominal_V:g} V.",
                (bank, "batteries strings battery_V nominal_V"),
            )


def _inverter(inverter: Inverter, bank: Bank) -> Iterator[Oddity]:
    for unit in ("VA", "W"):
        continuous, surge = getattr(inverter, f"continuous_{unit}"), getattr(inverter, f"surge_{unit}")
        if continuous is not None and surge is not None and surge < continuous:
            yield odd(
                f"The surge rating of '{inverter.name}' ({figure(surge, unit)}) is under its continuous rating "
                f"({figure(continuous, unit)}); perhaps the two are swapped.",
                (inverter, (f"surge_{unit}", f"continuous_{unit}")),
            )
    if inverter.continuous_VA and inverter.continuous_W and inverter.continuous_W > inverter.continuous_VA:
        watts, volt_amperes = figure(inverter.continuous_W, "W"), figure(inverter.continuous_VA, "VA")
        yield odd(
            f"'{inverter.name}' cannot give more watts ({watts}) than volt-amperes ({volt_amperes}).",
            (inverter, "continuous_W continuous_VA"),
        )
    if (inverter.surge_VA or inverter.surge_W) and inverter.surge_s is None:
        yield odd(
            f"The surge rating of '{inverter.name}' has no surge_s; without its seconds it cannot be judged.",
            (inverter, "surge_s"),
        )
    # Loaded, a bank stands below its nominal voltage: an inverter that stops there never runs.
    if inverter.cut_off_V is not None and inverter.cut_off_V >= bank.nominal_V:
        yield odd(
            f"'{inverter.name}' stops below {inverter.cut_off_V:g} V, "
            f"which is not below the bank's nominal {bank.nominal_V:g} V.",
            (inverter, "cut_off_V"),
            (bank, "nominal_V"),
        )


def _load(load: Load, site: Site) -> Iterator[Oddity]:
    yield from _load_voltage(load, site)
    yield from _load_power(load)
    yield from _shaft_power(load)
    if load.locked_rotor_A and load.current_A and load.locked_rotor_A < load.current_A:
        yield odd(
            f"'{load.name}' draws less before it turns (locked-rotor, {load.locked_rotor_A:g} A) than when running "
            f"({load.current_A:g} A); perhaps the two are swapped.",
            (load, "locked_rotor_A current_A"),
        )
    if load.code_letter and load.hp is None:
        yield odd(
            f"The code letter of '{load.name}' says nothing without hp: it stands for kVA per horsepower.",
            (load, "hp code_letter"),
        )
    yield from feeding(load, site)


def _load_voltage(load: Load, site: Site) -> Iterator[Oddity]:
    inverter = site.inverter_of(load)
    # On the DC side a load is fed by the bank itself.
    supply_V = inverter.output_V if inverter else site.bank.nominal_V
    # 10 % covers the usual steps of rated voltage: 220, 230, 240 V.
    if load.voltage_V is not None and abs(load.voltage_V - supply_V) > 0.1 * supply_V:
        supply = f"'{inverter.name}'" if inverter else "the bank"
        yield odd(
            f"'{load.name}' is made for {load.voltage_V:g} V, but {supply} gives {supply_V:g} V.",
            (load, "voltage_V"),
            (inverter, "output_V"),
            (None if inverter else site.bank, "nominal_V"),
        )


def _load_power(load: Load) -> Iterator[Oddity]:
    apparent_VA = load.plate_VA
    if load.power_W is None or apparent_VA is None:
        return
    # Plates are rounded, hence 5 %.
    if load.power_W > 1.05 * apparent_VA:
        yield odd(
            f"'{load.name}' cannot take {load.power_W:g} W at {load.voltage_V:g} V and {load.current_A:g} A: "
            f"that is {apparent_VA:.0f} VA, and watts are never more than volt-amperes.",
            (load, "power_W voltage_V current_A"),
        )
    # Where there are watts the power factor is theirs over VA; 0.1 is what plates round it to (common practice, no
    # source).
    elif load.power_factor is not None and abs(load.power_W / apparent_VA - load.power_factor) > 0.1:
        yield odd(
            f"The plate of '{load.name}' gives {load.power_W:g} W and {apparent_VA:.0f} VA, a power factor of "
            f"{load.power_W / apparent_VA:.2f}, but power_factor is {load.power_factor:g}.",
            (load, "power_factor power_W"),
        )


def _shaft_power(load: Load) -> Iterator[Oddity]:
    # 2 % covers hp rounded to two digits; no motor gives out what it takes in.
    if load.hp is not None and load.power_W is not None and load.power_W < 1.02 * load.hp * W_PER_HP:
        yield odd(
            f"power_W of '{load.name}' ({load.power_W:g} W) is no more than {load.hp:g} hp at the shaft "
            f"({load.hp * W_PER_HP:.0f} W); it should be the power taken in, which is well above that.",
            (load, "power_W hp"),
        )


def _water(water: Water, site: Site) -> Iterator[Oddity]:
    pump = site.load(water.load)
    if pump.kind != "pump":
        yield odd(
            f"The water system's load '{pump.name}' is a {pump.kind}, not a pump; check kind.",
            (pump, "kind"),
            (water, "load"),
        )
    # Of a tank that is known by its volume alone there is nothing to say.
    if water.air_kPa is None or water.start_kPa is None:
        return
    below_kPa, shown = water.start_kPa - water.air_kPa, water.shown.of_pressure
    if abs(below_kPa - PRECHARGE_BELOW_KPA) > _READ_TO_KPA:
        where = f"{shown(abs(below_kPa))} {'below' if below_kPa > 0 else 'above'} cut-in"
        yield odd(
            f"The pre-charge ({shown(water.air_kPa)}) is {where}; it should be about "
            f"{below_cut_in(water.shown)}, set with the tank empty of water ({PRECHARGE_SOURCE}).",
            (water, given(water, "precharge", "cut_in")),
        )


def _meters(site: Site) -> Iterator[Oddity]:
    for meter in site.meters:
        if meter.side == "dc" and meter.inverter is not None:
            yield odd(
                f"Meter '{meter.name}' is on the DC side but behind '{meter.inverter}'; "
                "what an inverter gives out is the AC side.",
                (meter, "side inverter"),
            )
