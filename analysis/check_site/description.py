"""What a site file says, in plain words: the answer to "have I written what I meant?"."""

from __future__ import annotations

from typing import Final

from ..bank.charger_time import charger_fits
from ..bank.peukert import cold_multiplier, peukert_Ah
from ..bank.rested_state import Freezing, freezing, lowest_pct
from ..bank.sag import Sag
from ..bank.system_word import to_add
from ..bank.wear import bank_life
from ..equipment.bank_voltage import charging_V
from ..equipment.conductor import check_conductors
from ..equipment.inverter_losses import losses_of
from ..equipment.judged import WORD, between, worded
from ..equipment.protection import MAINS_SIDE
from ..equipment.solar import array_day_Wh, performance_ratio_of
from ..equipment.water import TankPlan, tank_plan
from ..forecast.bank_check import bank_by_plates
from ..not_known import Missing
from ..site.battery_kinds import LEAD_ACID, kind_of
from ..site.site import Array, Bank, Charger, Inverter, Limits, Load, Meter, Site, Water
from ..wording import number
from .conductor_words import conductor_said
from .start_words import start_words

_SAMPLING = {
    "instant": "each reading is an instant",
    "mean": "each reading is the mean since the one before",
    "held": "each reading stands until the next",
}


def describe(site: Site) -> list[str]:
    """Say in plain sentences what a site file means, one or two for each table, in the file's order."""
    zone = f"times of day in {site.zone}" if site.zone else "no time zone given, the computer's own is assumed"
    return [
        f"Site: {site.name}, {zone}.",
        _bank(site.bank),
        *_bank_in_use(site.bank),
        *_bank_life(site.bank),
        *_bank_word(site),
        *map(_inverter, site.inverters),
        *(text for load in site.loads for text in (_load(load, site), *start_words(load, site))),
        *([_array(site.array, site.bank)] if site.array else []),
        *(_charger(charger, site) for charger in site.chargers),
        *(text for each in zip(site.conductors, check_conductors(site), strict=True) for text in conductor_said(*each)),
        *_mains_side(site),
        *([_water(site.water)] if site.water else []),
        *map(_meter, site.meters),
        *_limits(site.limits),
        # Without water or a choice of units nothing is shown in any but SI.
        *([site.shown.sentence] if site.water or site.units.model_fields_set else []),
    ]


def plates(site: Site, name: str | None) -> list[str]:
    """Say what the plates give of a load, the main pump where none is named, and of what it runs on."""
    load = site.main_pump() if name is None else site.load(name)
    feeding = [each for each in site.inverters if load is not None and each.name == load.inverter]
    # In the order in which power goes the other way: from what it does to what it comes from.
    return [
        *([_load(load, site)] if load is not None else []),
        # A tank that another pump fills says nothing of this load's runs.
        *([_water(site.water)] if site.water and load is not None and site.water.load == load.name else []),
        *map(_inverter, feeding),
        _bank(site.bank),
    ]


def _bank(bank: Bank) -> str:
    rate = f" at the {number(bank.hour_rate_h)} h rate" if bank.hour_rate_h else ""
    strings = f" in {bank.strings} string{'s' if bank.strings > 1 else ''}" if bank.strings else ""
    made_of = f", made of {bank.batteries} batteries" if bank.batteries else ""
    made_of += f" of {number(bank.battery_V)} V" if bank.battery_V and bank.batteries else ""
    kind = f"Bank: {number(bank.nominal_V)} V {kind_of(bank.chemistry).word}".rstrip()
    words = [f"{kind}, {number(bank.capacity_Ah)} Ah{rate}{strings}{made_of}"]
    if bank.usable_Ah is not None:
        energy_kWh = bank.usable_Ah * bank.nominal_V / 1000
        words.append(f"; {number(bank.usable_depth_pct)} % usable is {number(bank.usable_Ah)} Ah")
        words.append(f", about {energy_kWh:.1f} kWh at nominal voltage")
    if bank.cut_off_V:
        words.append(f"; not to go below {number(bank.cut_off_V)} V")
    return "".join(words) + "."


def _bank_in_use(bank: Bank) -> list[str]:
    """Say what is known of the bank beyond its size; nothing where nothing is."""
    parts = []
    if bank.at_degC is not None:
        parts.append(bank.shown.of_temperature(bank.at_degC))
        if bank.chemistry in LEAD_ACID and (multiplier := cold_multiplier(bank.at_degC)) > 1:
            parts[-1] += f", where lead-acid gives {100 / multiplier:.0f} % of its charge"
        # Above the freezing point of water no acid freezes, however thin.
        if bank.at_degC < 0 and isinstance(ice := freezing(bank, lowest_pct(bank)), Freezing):
            parts[-1] += f" and, {number(ice.state_pct)} % full, freezes at {bank.shown.of_temperature(ice.at_degC)}"
    if bank.peukert_exponent is not None and bank.hour_rate_h is not None and bank.chemistry in LEAD_ACID:
        # What five hours would empty shows how much the law takes away: a draw as loads on an inverter make it.
        fast_Ah = peukert_Ah(bank.capacity_Ah, bank.hour_rate_h, bank.capacity_Ah / 5, bank.peukert_exponent)
        parts.append(
            f"Peukert exponent {number(bank.peukert_exponent)}: at {number(bank.capacity_Ah / 5)} A, {fast_Ah:.0f} Ah"
        )
    for value, words in (
        (bank.charge_efficiency_pct, "{} % of the charge put in comes out again"),
        (bank.charging_V, "charged at {} V"),
        (bank.continuous_A, "lets out {} A without a break (continuous)"),
        (bank.moment_A, f"{{}} A for {number(bank.max_discharge_s)} s"),
        (bank.max_charge_A, "takes in {} A at most"),
        (bank.resistance_mohm, "{} milliohm inside"),
        (bank.start_state_pct, "{} % full when the log begins"),
        (bank.rested_V, "{} V at rest before the log begins"),
    ):
        if value is not None:
            parts.append(words.format(number(value)))
    return [f"In use: {'; '.join(parts)}."] if parts else []


def _bank_life(bank: Bank) -> list[str]:
    """Say how long the bank lasts by its maker, and what a kilowatt-hour out of it then costs; nothing without that."""
    life = bank_life(bank, ())
    if isinstance(life, Missing):
        price = f"; it costs {number(bank.price)} {bank.currency}" if bank.price else ""
        return [f"Life of the bank: not given (cycle_life or throughput_kWh){price}."] if bank.price else []
    rows = ", ".join(f"{number(cycles)} cycles of {number(pct)} %" for pct, cycles in bank.cycle_life or ())
    words = rows or f"{number(bank.throughput_kWh)} kWh"
    if bank.price is not None:
        per_kWh = bank.price / (life.full_cycles * bank.nominal_V * bank.capacity_Ah / 1000)
        words += f"; it costs {number(bank.price)} {bank.currency}, {per_kWh:.2g} {bank.currency} a kWh out of it"
        # As `bank_life` takes it where no log tells how deep it is cycled.
        words += f", cycled by {number(bank.usable_depth_pct or bank.cycle_life[0][0])} %" if bank.cycle_life else ""
    return [f"Life of the bank by its maker: {words}."]


def _bank_word(site: Site) -> list[str]:
    """Say whether the bank gives what all loads ask by their plates; nothing without loads."""
    if not site.loads:
        return []
    check = bank_by_plates(site, site.loads)
    if check.verdict is None:
        return [f"The bank was not judged: {to_add(check)}."]
    parts = [part.sentence for part in check.parts]
    # A start that the volts do not surely bear has its figure here; one that they bear is nothing to look at.
    if isinstance(check.sag, Sag) and check.sag.verdict != "holds":
        sag = check.sag
        fall = f"At a start it may fall to {between(sag.lowest_V)} V; {sag.below} below {sag.cut_off_V:g} V"
        parts.append(worded(fall, sag.verdict, sag.by_figures, sag.conditions))
    if check.volts_open:
        parts.append(
            "Its voltage at a start was not judged: a log with starts tells it; or add bank.resistance_mohm to the "
            "site file."
        )
    return [f"With all loads the bank {WORD[check.verdict]}: {' '.join(parts)}"]


def _inverter(inverter: Inverter) -> str:
    continuous = _power(inverter.continuous_VA, inverter.continuous_W)
    words = [f"Inverter '{inverter.name}': {number(inverter.output_V)} V AC, {continuous} without a break (continuous)"]
    wave = {None: "", "sine": "pure sine", "modified": "modified sine"}[inverter.waveform]
    phases = {None: "", 1: "one phase", 3: "three phases"}[inverter.phases]
    words += [text for text in (wave, phases) if text]
    if inverter.surge_VA or inverter.surge_W:
        seconds = f"for {number(inverter.surge_s)} s" if inverter.surge_s else "for a time not given"
        words.append(f"{_power(inverter.surge_VA, inverter.surge_W)} {seconds}")
    if inverter.efficiency_pct:
        words.append(f"{number(inverter.efficiency_pct)} % efficient while it works")
    if inverter.efficiency_curve:
        points = ", ".join(f"{number(percent)} % at {number(watts)} W" for watts, percent in inverter.efficiency_curve)
        words.append(f"efficiency {points}")
    if inverter.loss_model:
        # Three terms tell a reader little; what they make of a round load does.
        dc_W = losses_of(inverter).dc_W(1000)
        words.append(f"takes {dc_W:.0f} W to give 1,000 W, {100_000 / dc_W:.0f} %, by its loss model")
    if inverter.standby_W is not None:
        words.append(
            f"{number(inverter.standby_W)} W when idle{' and never switched off' if inverter.always_on else ''}"
        )
    if inverter.cut_off_V:
        words.append(f"stops below {number(inverter.cut_off_V)} V of the bank")
    return "; ".join(words) + "."


#: How a motor is brought up to speed, in words.
_STARTS: Final = {"direct": "switched straight on", "soft": "started softly", "drive": "behind a drive of any speed"}

#: What a single-phase motor has to start by, in words.
_CAPACITORS: Final = {
    "none": "no capacitor (split phase)",
    "start": "a start capacitor",
    "run": "a run capacitor",
    "both": "a start and a run capacitor",
}


def _load(load: Load, site: Site) -> str:
    fed = f"on '{load.inverter}'" if load.inverter else "on the DC side"
    plate = [
        words.format(value if isinstance(value, str) else number(value))
        for value, words in (
            (load.voltage_V, "{} V"),
            (load.current_A, "{} A"),
            (load.power_W, "{} W in"),
            (load.hp and float(f"{load.hp:.4g}"), "{} hp at the shaft"),
            (load.power_factor, "power factor {}"),
            (_CAPACITORS[load.capacitor] if load.capacitor else None, "{}"),
            (load.code_letter, "code letter {}"),
            (load.locked_rotor_A, "{} A before it turns (locked-rotor)"),
            (_STARTS[load.start] if load.start else None, "{}"),
            (load.start_s, "starts within {} s"),
        )
        if value is not None
    ]
    main = ", the main pump" if site.main_pump() is load else ""
    running = f"; runs {number(load.duty_pct)} % of the time" if load.duty_pct else ""
    phases = ", three-phase" if load.phases == 3 else ""
    figures = ", ".join(plate) if plate else "nothing given from its plate"
    return f"Load '{load.name}': {load.kind}{main}, {fed}{phases}; {figures}{running}."


def _most_A(array: Array, bank: Bank) -> str:
    """Say what its watts are in amps into the bank: what the controller must bear is on its plate, not in the file."""
    if array.controller == "pwm":
        return ""
    return (
        f", up to {array.power_W / charging_V(bank)[0]:.0f} A into the bank (hold its controller's plate against that)"
    )


def _array(array: Array, bank: Bank) -> str:
    words = f"Array: {number(array.power_W)} W"
    if array.controller:
        words += f" on {'an MPPT' if array.controller == 'mppt' else 'a PWM'} charge controller"
    if array.current_A:
        words += f", {number(array.current_A)} A at that"
    words += _most_A(array, bank)
    ratio = performance_ratio_of(array)
    if array.sun_hours_h and not isinstance(ratio, Missing):
        day_kWh = array_day_Wh(array.power_W, array.sun_hours_h, ratio.value) / 1000
        return (
            f"{words}; {number(array.sun_hours_h)} h of full sun a day at a performance ratio of "
            f"{ratio.value:.3g} give about {day_kWh:.1f} kWh a day."
        )
    return words + "; give sun_hours_h and performance_ratio for what it brings in a day."


def _charger(charger: Charger, site: Site) -> str:
    """Say what it puts in, whether that suits the bank, and which cable carries it."""
    fed = {"mains": ", on the mains", "generator": ", on a generator", "alternator": ", an engine's alternator"}
    cable = next((each.name for each in site.conductors if charger.name in each.carries), None)
    carried = f"its cable is '{cable}'" if cable else "its cable was not judged: no conductor carries it"
    by = fed.get(charger.kind or "", "")
    return f"Charger '{charger.name}'{by}: {charger_fits(site.bank, charger).sentence}; {carried}."


def _mains_side(site: Site) -> list[str]:
    """Say which cables nobody has judged, where others were: none may be taken for sound unseen."""
    behind = site.conductors and any(load.inverter for load in site.loads)
    return [MAINS_SIDE] if behind else []


def _water(water: Water) -> str:
    shown = water.shown
    words = [
        f"Water: '{water.load}' fills a tank of {shown.of_volume(water.volume_L)}",
        _switch(water),
        "pre-charge not given"
        if water.air_kPa is None
        else f"pre-charge given as {shown.of_pressure(water.air_kPa)}, not measured here",
    ]
    plan = tank_plan(water)
    if isinstance(plan, TankPlan):
        words.append(f"while it has that, it gives {shown.of_volume(plan.drawdown_L)} from cut-out to cut-in")
    if water.pump_L_per_min:
        words.append(f"the pump's flow given as {shown.of_flow(water.pump_L_per_min)}")
    if water.lift_m:
        words.append(f"head {shown.of_length(water.lift_m)}")
    if water.height_m:
        words.append(f"{shown.of_length(water.height_m)} above the sea")
    return "; ".join(words) + "."


def _switch(water: Water) -> str:
    ends = (("starts", water.start_kPa), ("stops", water.stop_kPa))
    given = [f"{when} at {water.shown.of_pressure(kPa)}" for when, kPa in ends if kPa is not None]
    return " and ".join(given) or "pressures of its switch not given"


def _meter(meter: Meter) -> str:
    behind = f", behind '{meter.inverter}'" if meter.inverter else ""
    words = [f"Meter '{meter.name}': on the {meter.side.upper()} side{behind}"]
    stated = {
        "amps": (meter.range_A, meter.reading_pct, meter.range_pct, meter.resolution_A, "A"),
        "volts": (meter.range_V, meter.voltage_reading_pct, meter.voltage_range_pct, meter.resolution_V, "V"),
        "watts": (meter.range_W, meter.power_reading_pct, meter.power_range_pct, meter.resolution_W, "W"),
    }
    words += [text for what, figures in stated.items() if (text := _accuracy(what, *figures))]
    # A class of nought, like a zero or a clock that is off by nought, is left out: it widens nothing.
    words += [f"its shunt is of class {number(meter.shunt_class_pct)} %"] if meter.shunt_class_pct else []
    words += [f"its zero is off by {number(meter.zero_A)} A at most"] if meter.zero_A else []
    words += [f"its clock by {number(meter.clock_ppm)} millionths"] if meter.clock_ppm else []
    words += [_SAMPLING[meter.sampling]] if meter.sampling else []
    return "; ".join(words) + "."


def _accuracy(
    what: str,
    full_scale: float | None,
    reading_pct: float | None,
    range_pct: float | None,
    resolution: float | None,
    unit: str,
) -> str:
    """Return what is stated of one quantity; amps are never passed over."""
    limits = [f"{number(x)} % of {of}" for x, of in ((reading_pct, "reading"), (range_pct, "range")) if x is not None]
    words = [f"range {number(full_scale)} {unit}"] if full_scale else []
    # Every log has amps or needs none of this; volts and watts of which nothing is stated may not be read at all.
    if limits or what == "amps":
        words.append(f"accuracy {' plus '.join(limits)}" if limits else "accuracy not given, the usual one is assumed")
    words += [f"steps of {number(resolution)} {unit}"] if resolution else []
    return f"{what}: {', '.join(words)}" if words else ""


def _limits(limits: Limits) -> list[str]:
    parts = [
        words.format(number(value))
        for value, words in (
            (limits.minimum_run_s, "a run of at least {} s"),
            (limits.minimum_off_s, "a rest of at least {} s"),
            (limits.starts_per_day, "at most {} starts a day"),
            (limits.starts_per_hour, "at most {} starts in the busiest hour"),
            (limits.longest_run_s, "a run of at most {} s"),
            (limits.dry_running_pct, "a running draw of at least {} % of the usual one"),
            (limits.draw_drift_pct, "a running draw that changes by less than {} %"),
            (limits.low_voltage_V, "at least {} V at the bank"),
            (limits.standing_draw_W, "at most {} W when nothing runs"),
        )
        if value is not None
    ]
    return [f"Your own limits: {', '.join(parts)}."] if parts else []


def _power(apparent_VA: float | None, power_W: float | None) -> str:
    given = ((apparent_VA, "VA"), (power_W, "W"))
    return " and ".join(f"{number(value)} {unit}" for value, unit in given if value is not None)
