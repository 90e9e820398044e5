"""What a site file says that is almost surely a slip of the pen: a figure written in another unit, or of another part.

Limits of this module are far outside what is built: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain
from math import inf
from typing import Final

from ..equipment.conductor import rated_A
from ..equipment.demand import demand
from ..health.limits import limits_for
from ..not_known import Missing
from ..site.site import Bank, Inverter, Load, Meter, Site, Water
from ..site.strict_table import StrictTable
from ..site.units import KPA_PER_BAR, W_PER_HP
from ..wording import figure
from .remark import Oddity, given, odd


@dataclass(frozen=True)
class Usual:
    """Between which figures a key lies wherever anything is built, and in which unit it may have been written instead.

    ``under`` is the unit of figures that are too small, ``over`` of those too large; a factor leads to the key's unit.
    """

    key: str
    least: float = 0.0
    most: float = inf
    under: tuple[str, float] | None = None
    over: tuple[str, float] | None = None


_KILO: Final = 1e3
_MILLI: Final = 1e-3
_USUAL: Final[dict[str, tuple[Usual, ...]]] = {
    "bank": (
        Usual("nominal_V", 1, 1500, over=("mV", _MILLI)),
        Usual("capacity_Ah", 1, 20_000, over=("mAh", _MILLI)),
        Usual("resistance_mohm", 0.05, 2000, under=("ohms", _KILO), over=("microohms", _MILLI)),
        Usual("temperature_degC", -inf, 50),
        Usual("max_charge_A", 0.5, 10_000, over=("mA", _MILLI)),
        Usual("max_discharge_s", 0, 600, over=("ms", _MILLI)),
    ),
    "inverters": (
        *(
            Usual(f"{rating}_{unit}", 20, 1e6, under=(f"k{unit}", _KILO))
            for rating in ("continuous", "surge")
            for unit in ("VA", "W")
        ),
        Usual("output_V", 90, 500),
        Usual("surge_s", 0, 3600, over=("ms", _MILLI)),
        Usual("idle_W", 0.1, under=("kW", _KILO)),
    ),
    "loads": (
        Usual("current_A", 0, 1000, over=("mA", _MILLI)),
        Usual("locked_rotor_A", 0, 10_000, over=("mA", _MILLI)),
        Usual("start_s", 0, 60, over=("ms", _MILLI)),
        Usual("hp", 0.005, 200, over=("watts", 1 / W_PER_HP)),
    ),
    "array": (Usual("power_W", 2, 1e6, under=("kW", _KILO)), Usual("sun_hours_h", 0, 9)),
    "chargers": (Usual("rated_A", 0.2, 2000, over=("mA", _MILLI)),),
    "conductors": (
        Usual("length_m", 0, 1000, over=("mm", _MILLI)),
        Usual("area_mm2", 0.05, 1000),
        Usual("fuse_A", 0.05, 10_000, over=("mA", _MILLI)),
        Usual("fuse_kA", 0.05, 1000, over=("A", _MILLI)),
    ),
    "meters": (
        Usual("range_A", 0.2, 10_000, over=("mA", _MILLI)),
        Usual("range_V", 0.5, 2000, over=("mV", _MILLI)),
        Usual("resolution_V", 0, 1, over=("mV", _MILLI)),
        *(Usual(key, 0, 10) for key in ("reading_pct", "range_pct", "voltage_reading_pct", "power_reading_pct")),
        Usual("every_s", 0, 3600, over=("ms", _MILLI)),
    ),
}
#: A motor, a compressor or a heater takes more than this. [W]
_LEAST_W: Final = 5.0
#: What one thing asks of another is never so many times what the other is made for: both are of one size. [1]
_OTHER_SIZE: Final = 100.0
#: A bank that the array fills in so many days was sized in another unit: banks are made for a few days. [d]
_MOST_DAYS: Final = 40.0
#: Hours of full sun and performance ratio where the site file gives none. [h], [1]
_SUN_H, _RATIO = 4.0, 0.6
#: An inverter's rating that empties its bank in a twentieth of an hour belongs to another bank. [1/h]
_HIGHEST_RATE: Final = 20.0
#: No battery is put in place that holds more. [Wh]
_MOST_BATTERY_WH: Final = 30_000.0
#: A pump whose amps at standstill are hardly above those of running hangs on a drive: starts do it no harm. [1]
_SOFT_START: Final = 1.5


def slips(site: Site) -> list[Oddity]:
    """Return a sentence for each figure that is almost surely a slip, with what to write where that can be told."""
    return [
        *chain.from_iterable(_unusual(*part) for part in _tables(site)),
        *chain.from_iterable(map(_load, site.loads)),
        *chain.from_iterable(_inverter(inverter, site) for inverter in site.inverters),
        *_bank_size(site),
        *_voltages(site),
        *chain.from_iterable(_meter(meter, site) for meter in site.meters),
        *(_water(site.water, site) if site.water is not None else ()),
    ]


def _tables(site: Site) -> Iterator[tuple[str, StrictTable, tuple[Usual, ...]]]:
    for key, usual in _USUAL.items():
        part = getattr(site, key)
        if isinstance(part, tuple):
            yield from ((f"'{each.name}'", each, usual) for each in part)
        elif part is not None:
            yield f"the {key}", part, usual


def _unusual(name: str, table: StrictTable, usual: tuple[Usual, ...]) -> Iterator[Oddity]:
    for each in usual:
        value = getattr(table, each.key)
        # Nought is no figure in another unit: it is meant, or refused elsewhere.
        if value is None or value == 0 or each.least <= value <= each.most:
            continue
        many, unit = ("less", each.under) if value < each.least else ("more", each.over)
        yield odd(
            f"{each.key} of {name} is {_n(value)}, {many} than is ever built or met; {_meant(each.key, value, unit)}.",
            (table, each.key),
        )


def _meant(key: str, value: float, unit: tuple[str, float] | None) -> str:
    if key == "temperature_degC":
        return f"if degrees Fahrenheit are meant, write temperature_degF = {_n(value)}"
    if key == "sun_hours_h":
        return "it is hours of full sun that the day's light amounts to, not hours of daylight"
    if unit is None:
        return "check its unit"
    name, factor = unit
    return f"if {name} are meant, write {key} = {_n(value * factor)}"


def _load(load: Load) -> Iterator[Oddity]:
    if load.power_W is not None and load.power_W < _LEAST_W and load.kind in ("pump", "motor", "compressor", "heater"):
        yield odd(
            f"power_W of '{load.name}' is {_n(load.power_W)}, less than any {load.kind} takes; if kW are meant, write "
            f"power_W = {_n(1000 * load.power_W)}.",
            (load, "power_W"),
        )
    # 5 %, since plates are rounded; no motor gives at the shaft what it takes.
    if load.hp is not None and load.plate_VA is not None and load.hp * W_PER_HP > 1.05 * load.plate_VA:
        yield odd(
            f"'{load.name}' cannot give {_n(load.hp)} hp ({figure(load.hp * W_PER_HP, 'W')}) at the shaft: it takes "
            f"{figure(load.plate_VA, 'VA')} at {load.voltage_V:g} V and {load.current_A:g} A; check hp and current_A.",
            (load, "hp current_A"),
        )


def _inverter(inverter: Inverter, site: Site) -> Iterator[Oddity]:
    rated_VA = _rated_VA(inverter)
    for load in site.loads:
        asked = demand(load, inverter) if load.inverter == inverter.name else None
        if asked is not None and not isinstance(asked, Missing) and asked.running_VA > _OTHER_SIZE * rated_VA:
            yield odd(
                f"'{load.name}' asks {figure(asked.running_VA, 'VA')} of '{inverter.name}', which is made for "
                f"{figure(rated_VA, 'VA')}: one of the two is in another unit (kW for W, mA for A).",
                (load, "current_A power_W"),
                (inverter, "continuous_W continuous_VA"),
            )
    if inverter.standby_W is not None and inverter.standby_W > rated_VA / 2:
        yield odd(
            f"'{inverter.name}' takes {figure(inverter.standby_W, 'W')} idle, more than half of what it is made for "
            f"({figure(rated_VA, 'VA')}); check both.",
            (inverter, "idle_W"),
        )


def _rated_VA(inverter: Inverter) -> float:
    return inverter.continuous_VA or inverter.continuous_W or 0.0


def _bank_size(site: Site) -> Iterator[Oddity]:
    bank = site.bank
    held_Wh = bank.capacity_Ah * bank.nominal_V
    yield from _against_array(site, held_Wh)
    hardest_A = max((rated_A(each, bank) for each in site.inverters), default=0.0)
    if hardest_A > _HIGHEST_RATE * bank.capacity_Ah:
        yield odd(
            f"The bank's capacity_Ah of {_n(bank.capacity_Ah)} is {60 * bank.capacity_Ah / hardest_A:.2g} min of what "
            f"its inverter draws at its rating ({figure(hardest_A, 'A')}); check both.",
            (bank, "capacity_Ah"),
        )
    if bank.batteries is not None and held_Wh / bank.batteries > _MOST_BATTERY_WH:
        yield odd(
            f"Each of the {bank.batteries} batteries would hold {figure(held_Wh / bank.batteries, 'Wh')}, more than "
            f"any does; {_as_Wh(bank)}.",
            (bank, "batteries capacity_Ah"),
        )


def _against_array(site: Site, held_Wh: float) -> Iterator[Oddity]:
    array, bank = site.array, site.bank
    if array is None:
        return
    day_Wh = array.power_W * (array.sun_hours_h or _SUN_H) * (array.performance_ratio or _RATIO)
    if held_Wh <= _MOST_DAYS * day_Wh:
        return
    # Fewer watts than the bank has volts is under one amp: then it is the array that is in kW, not the bank in Wh.
    meant = _as_Wh(bank)
    if array.power_W < bank.nominal_V:
        meant = f"if kW are meant, write power_W = {_n(1000 * array.power_W)} in [array]"
    yield odd(
        f"The bank holds {figure(held_Wh, 'Wh')}, which the array brings in {held_Wh / day_Wh:,.0f} days "
        f"(capacity_Ah {_n(bank.capacity_Ah)}, power_W {_n(array.power_W)}); {meant}.",
        (bank, "capacity_Ah"),
        (array, "power_W"),
    )


def _as_Wh(bank: Bank) -> str:
    return f"if Wh are meant, write capacity_Ah = {_n(round(bank.capacity_Ah / bank.nominal_V, 1))}"


def _voltages(site: Site) -> Iterator[Oddity]:
    bank = site.bank
    # Empty cells stand at 0.78 (lithium) to 0.87 (lead) of their nominal voltage, and nothing charges at 1.4 of it.
    least_V, most_V = 0.7 * bank.nominal_V, 1.4 * bank.nominal_V
    volts_of: list[tuple[str, StrictTable, str, float, float]] = [
        ("The bank's cut_off_V", bank, "cut_off_V", least_V, inf),
        ("low_voltage_V of [limits]", site.limits, "low_voltage_V", least_V, inf),
        *((f"cut_off_V of '{each.name}'", each, "cut_off_V", least_V, inf) for each in site.inverters),
        ("The bank's charging_V", bank, "charging_V", 0.0, most_V),
        ("The bank's rested_V", bank, "rested_V", 0.0, most_V),
    ]
    for what, table, key, low, high in volts_of:
        volts = getattr(table, key)
        if volts is not None and not low <= volts <= high:
            yield odd(
                f"{what} is {volts:g} V, that of another bank than one of {bank.nominal_V:g} V; check both.",
                (table, (key,)),
                (bank, "nominal_V"),
            )


def _meter(meter: Meter, site: Site) -> Iterator[Oddity]:
    if meter.range_A is not None and meter.resolution_A is not None and meter.resolution_A > meter.range_A / 50:
        yield odd(
            f"'{meter.name}' shows steps of {meter.resolution_A:g} A in a range of {meter.range_A:g} A; if mA are "
            f"meant, write resolution_A = {_n(meter.resolution_A / 1000)}.",
            (meter, "resolution_A range_A"),
        )
    if meter.side == "dc" and meter.range_V is not None and meter.range_V < site.bank.nominal_V:
        yield odd(
            f"range_V of '{meter.name}' is {meter.range_V:g} V, less than the bank's {site.bank.nominal_V:g} V.",
            (meter, "range_V"),
        )
    if meter.every_s is not None and meter.gap_s is not None and meter.gap_s <= meter.every_s:
        yield odd(
            f"gap_s of '{meter.name}' ({meter.gap_s:g} s) is not above its every_s: all would be gaps.",
            (meter, "gap_s every_s"),
        )
    if meter.range_A is not None:
        yield from _range(meter, meter.range_A, site)


def _range(meter: Meter, range_A: float, site: Site) -> Iterator[Oddity]:
    """Name a meter that cannot show what the largest inverter that it can see draws at its rating."""
    # At the bank a meter has all inverters before it, behind one that alone; each counts by itself, since all at their
    # ratings at once is no slip of the pen but a plan.
    seen = [each for each in site.inverters if meter.side == "dc" or meter.inverter == each.name]
    drawn = [
        (rated_A(each, site.bank) if meter.side == "dc" else _rated_VA(each) / each.output_V, each.name)
        for each in seen
    ]
    most_A, name = max(drawn, default=(0.0, ""))
    if most_A > range_A:
        side = "draw from the bank" if meter.side == "dc" else "give"
        yield odd(
            f"range_A of '{meter.name}' is {range_A:g} A, and '{name}' can {side} {figure(most_A, 'A')} at its rating: "
            "what is above the range is not measured; check it, or measure with a larger shunt.",
            (meter, "range_A"),
        )


def _water(water: Water, site: Site) -> Iterator[Oddity]:
    for key in ("cut_in", "cut_out", "precharge"):
        yield from _pressure(water, key)
    yield from _tank_run(site.load(water.load), water, site)


def _pressure(water: Water, key: str) -> Iterator[Oddity]:
    """Name a pressure that is one of a household's in another unit: 140 to 700 kPa, 20 to 100 psi, 1.4 to 7 bar."""
    value_kPa, value_psi = getattr(water, f"{key}_kPa"), getattr(water, f"{key}_psi")
    value, unit = (value_psi, "psi") if value_psi is not None else (value_kPa, "kPa")
    if not value:
        return
    # So low is bar under either key, unless it is none in bar either; above, a figure is tried as the other key's unit.
    if value < 0.9:
        what = "check its figure and its unit"
    elif value <= 10:
        what = f"if bar is meant, write {key}_kPa = {_n(value * KPA_PER_BAR)}"
    elif unit == "kPa" and value < 90:
        what = f"if psi is meant, write {key}_psi = {_n(value)}"
    elif unit == "psi" and value > 150:
        what = f"if kPa is meant, write {key}_kPa = {_n(value)}"
    else:
        return
    yield odd(f"{key}_{unit} is {_n(value)}, hardly a pressure system's; {what}.", (water, f"{key}_{unit}"))


def _tank_run(pump: Load, water: Water, site: Site) -> Iterator[Oddity]:
    """Name a tank that is full, or empty, sooner than the pump may stop."""
    limits = limits_for(site, pump)
    tank_s, least_s = limits.tank_run_s, limits.minimum_run_s
    # On a drive a pump may run as short as it likes.
    if pump.start == "drive":
        return
    softly = pump.locked_rotor_A is not None and pump.current_A is not None
    if tank_s is None or (softly and pump.locked_rotor_A <= _SOFT_START * pump.current_A):  # type: ignore[operator]
        return
    # A figure that is rounded in the file is not a slip.
    if tank_s.value < 0.95 * least_s.value:
        yield odd(
            f"'{pump.name}' fills the tank in {tank_s.value:.0f} s by volume, pressures and flow, less than a run "
            f"should last ({least_s.value:g} s: {least_s.source}); check these; if they are right, it is too small.",
            (water, given(water, "tank_volume", "cut_in", "cut_out", "precharge", "flow")),
        )
    elif tank_s.value > 3600:
        yield odd(
            f"'{pump.name}' takes {tank_s.value / 3600:.1f} h to fill the tank by its flow; check the flow's unit.",
            (water, given(water, "flow")),
        )


def _n(value: float) -> str:
    """Return a number as it may stand in the file."""
    return f"{value:.6g}" if 1e-3 <= abs(value) < 1e6 else f"{value:.0f}" if abs(value) >= 1e6 else f"{value:g}"
