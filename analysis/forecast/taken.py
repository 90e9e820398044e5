"""What a load takes out of the bank in some hours: by its plate, or by how it behaved in a log."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from ..equipment.bank_voltage import usual_loaded_V
from ..equipment.inverter_losses import beyond_idle_W, losses_of
from ..equipment.plate_power import Chain, ChainStep
from ..nameplate.decomposition import Basis
from ..nameplate.estimate import Estimate, PaperSum, estimate, paper_sum
from ..nameplate.measured_chain import DrawnSum, drawn_by_plate
from ..not_known import Refusal
from ..site.site import Inverter, Load, Site
from ..stats.interval95 import Within
from .measured_load import MeasuredLoad

#: Loads within this factor of each other are not told apart by their draw: common practice, no source. [1]
ALIKE: Final = 1.3
_MEASURED: Final[Basis] = "measured"
_ASSUMED: Final[Basis] = "assumed"


def plate_for(site: Site, load: Load, hours: float, *, needed: bool) -> Estimate | None:
    """Return the estimate by the plate; None where it says too little and is not `needed`."""
    try:
        return estimate(site, load.name, hours=hours)
    except Refusal:
        if needed:
            raise
        return None


@dataclass(frozen=True)
class Taken:
    """What a load takes out of the bank in the time asked for.

    The first step of the `chain` is ``paper``, the sum as people do it. Low and high of an amount are the value itself
    where nothing is known of how far off it may be, as with a plate. `running_A` and `running_W` are at the bank, while
    it runs; `unbroken_Ah` and `unbroken_Wh` what it takes where it runs all the time; `duty` is the share of the time
    that it runs [1]; `voltage_V` the bank voltage reckoned with. `measured` tells whether it is from a log. `paper` is
    the sum on paper, and `parts` are what makes up the amounts.
    """

    chain: tuple[ChainStep, ...]
    paper: PaperSum
    parts: DrawnSum
    charge_Ah: Within
    energy_Wh: Within
    running_A: float
    running_W: float
    unbroken_Ah: float
    unbroken_Wh: float
    duty: float
    voltage_V: float
    measured: bool
    assumptions: tuple[str, ...]


def by_plate(site: Site, plate: Estimate | None) -> Taken:
    """Return what the load takes by its plate."""
    assert plate is not None
    unbroken_Wh = plate.dc_W * plate.hours
    assumptions = list(plate.assumptions)
    inverter = site.inverter_of(site.load(plate.load))
    if inverter is not None:
        assumptions += [*_switched(inverter), "What a start takes beyond running is left out: no plate tells it."]
    return Taken(
        chain=plate.steps,
        paper=plate.paper,
        parts=drawn_by_plate(plate),
        charge_Ah=Within.exactly(plate.charge_Ah),
        energy_Wh=Within.exactly(plate.energy_Wh),
        running_A=plate.dc_A,
        running_W=plate.dc_W,
        unbroken_Ah=unbroken_Wh / plate.dc_voltage_V,
        unbroken_Wh=unbroken_Wh,
        duty=plate.run_h / plate.hours,
        voltage_V=plate.dc_voltage_V,
        measured=False,
        assumptions=tuple(assumptions),
    )


def _switched(inverter: Inverter) -> list[str]:
    if inverter.always_on:
        return []
    return [
        f"'{inverter.name}' is not always on: it is taken to be switched on for this time, and its idle draw counts; "
        "if it is never off, say always_on = true."
    ]


@dataclass(frozen=True)
class _AtMeter:
    """What the load is to take at the meter in the hours asked for."""

    hours: float
    run_h: float
    running_Wh: float
    start_Wh: float


@dataclass(frozen=True)
class _AtBank:
    """What was measured of a load, as it arrives at the bank; `assumptions` are those of the way there."""

    energy_Wh: Within
    charge_Ah: Within
    running_A: float
    unbroken_Wh: float
    voltage_V: float
    parts: DrawnSum
    assumptions: tuple[str, ...]


def by_log(site: Site, load: Load, hours: float, seen: MeasuredLoad) -> Taken:
    """Return what the load takes by its behaviour in a log, with the steps."""
    chain = Chain()
    paper = _paper(chain, site, load, hours, seen)
    of = f"measured in {seen.log}: "
    runs = seen.runs
    per_h, duty = seen.starts_per_h.value, seen.duty.value
    where = "bank" if seen.side == "dc" else "inverter's output"
    chain.add("settled draw", runs.run_W, "W", f"{of}mean of {runs.runs} runs by their length, at the {where}")
    starts = chain.add("starts", per_h * hours, "", f"{of}{per_h:.3g} an hour x {hours:.4g} h")
    chain.add("duty cycle", duty, "", f"{of}starts an hour x mean run of {3600 * runs.run_h / runs.runs:.3g} s")
    run_h = chain.add("running time", duty * hours, "h", f"duty cycle x {hours:.4g} h")
    running_Wh = chain.add("energy of running", runs.run_W * run_h, "Wh", "settled draw x running time")
    extra_Wh = seen.start_Wh.value
    start_Wh = chain.add("energy of starts", extra_Wh * starts, "Wh", f"{of}{extra_Wh:.3g} Wh beyond running x starts")
    at_meter = _AtMeter(hours, run_h, running_Wh, start_Wh)
    carried = _behind_inverter if seen.side == "ac" else _at_bank
    at_bank = carried(chain, site, load, seen, at_meter)
    return Taken(
        chain=tuple(chain.steps),
        paper=paper,
        parts=at_bank.parts,
        charge_Ah=at_bank.charge_Ah,
        energy_Wh=at_bank.energy_Wh,
        running_A=at_bank.running_A,
        running_W=at_bank.parts.running_W,
        unbroken_Ah=at_bank.unbroken_Wh / at_bank.voltage_V,
        unbroken_Wh=at_bank.unbroken_Wh,
        duty=duty,
        voltage_V=at_bank.voltage_V,
        measured=True,
        assumptions=(*seen.remarks, *_alike(site, load, seen), *at_bank.assumptions),
    )


def _at_bank(chain: Chain, site: Site, load: Load, seen: MeasuredLoad, at_meter: _AtMeter) -> _AtBank:
    """Add the steps of a log at the bank: charge as measured, else by a voltage."""
    hours = at_meter.hours
    energy_Wh, charge_Ah = seen.amount(hours, "Wh"), seen.amount(hours, "Ah")
    assert energy_Wh is not None
    chain.add("energy", energy_Wh.value, "Wh", "energy of running + energy of starts")
    voltage_V, assumed = _bank_V(site, seen)
    origin, volts = f"measured in {seen.log}: energy of its runs / their charge", _MEASURED
    # Watts that were themselves made with an assumed voltage give that same voltage back: no measurement.
    if seen.volts_assumed or assumed:
        origin, volts = f"assumed: {usual_loaded_V(site.bank)[1]}", _ASSUMED
    watts = _ASSUMED if seen.volts_assumed else _MEASURED
    chain.add("bank voltage", voltage_V, "V", origin)
    counted = _ASSUMED if charge_Ah is None else _MEASURED
    charge_Ah = charge_Ah or energy_Wh.scaled(1 / voltage_V)
    chain.add("charge", charge_Ah.value, "Ah", "energy / bank voltage")
    inverter = site.inverter_of(load)
    # The baseline before a run holds the idle draw whether or not the inverter is on for this load alone.
    if inverter is not None and not inverter.always_on and inverter.standby_W:
        assumed.append(
            f"What '{inverter.name}' draws while idle lies under the runs and is not counted; if it is switched on "
            f"only for this load, that is up to {inverter.standby_W * hours:.3g} Wh more."
        )
    run_W = seen.runs.run_W
    running_A = seen.run_A.value if seen.run_A is not None else run_W / voltage_V
    unbroken_Wh = seen.without_a_break(hours, "Wh") or 0.0
    parts = DrawnSum(
        at_meter.run_h,
        run_W if inverter is None else None,  # at the bank one meter sees load and inverter as one
        run_W,
        run_W,
        at_meter.start_Wh,
        0.0,
        voltage_V,
        measured=True,
        load_basis=watts,
        power_basis=watts,
        volts_basis=volts,
        charge_basis=counted,
        start_A=None if seen.start_A is None else seen.start_A.high,
        start_resolved=seen.start_resolved,
    )
    return _AtBank(energy_Wh, charge_Ah, running_A, unbroken_Wh, voltage_V, parts, tuple(assumed))


def _paper(chain: Chain, site: Site, load: Load, hours: float, seen: MeasuredLoad) -> PaperSum:
    """Add the sum as people do it: by the plate, else with the watts that were seen, as from a display."""
    try:
        return paper_sum(chain, load, site, hours)
    except Refusal:
        return paper_sum(chain, load, site, hours, displayed_W=round(seen.runs.run_W, 1))


def _alike(site: Site, load: Load, seen: MeasuredLoad) -> list[str]:
    """Name the site's other loads whose runs a log could not tell from these: they draw about as much."""
    names = []
    for other in site.loads:
        plate = None if other.name == load.name else plate_for(site, other, 1.0, needed=False)
        watts = None if plate is None else plate.dc_W if seen.side == "dc" else plate.ac_W
        if watts and seen.runs.run_W / ALIKE <= watts <= seen.runs.run_W * ALIKE:
            names.append(other.name)
    return [f"'{name}' draws about as much by its plate: runs of it may be among those counted." for name in names]


def _bank_V(site: Site, seen: MeasuredLoad) -> tuple[float, list[str]]:
    # Only runs with both charge and energy tell the voltage they had.
    if seen.runs.bank_V:
        return seen.runs.bank_V, []
    volts, source = usual_loaded_V(site.bank)
    return volts, [f"The bank's voltage was not measured; {volts:.4g} V was taken: {source}."]


def _behind_inverter(chain: Chain, site: Site, load: Load, seen: MeasuredLoad, at_meter: _AtMeter) -> _AtBank:
    """Carry what was measured behind the inverter to the bank, through the losses of the site file."""
    inverter = site.inverter_of(load)
    if inverter is None:
        raise Refusal(
            f"{seen.log} is from behind an inverter, and '{load.name}' hangs on none in the site file; "
            "say which (loads.inverter)"
        )
    losses = losses_of(inverter)
    ac_W = seen.runs.run_W
    through = beyond_idle_W(losses, ac_W) / ac_W  # DC watts for an AC watt
    chain.add("AC energy", at_meter.running_Wh + at_meter.start_Wh, "Wh", "energy of running + energy of starts")
    chain.add("inverter efficiency", 1 / through, "", f"site file, at {ac_W:.0f} W, without its idle draw")
    # Behind the inverter its idle draw is never seen, so it is added here for all the time, running or not.
    idle_W = 0.0 if inverter.always_on else losses.idle_W
    origin = "not counted: always on" if inverter.always_on else "all the time"
    hours = at_meter.hours
    idle_Wh = chain.add("idle draw", idle_W * hours, "Wh", origin)
    taken_Wh = seen.amount(hours, "Wh")
    assert taken_Wh is not None
    energy_Wh = Within(*(x * through + idle_Wh for x in (taken_Wh.value, taken_Wh.low, taken_Wh.high)))
    chain.add("energy", energy_Wh.value, "Wh", "AC energy / efficiency + idle draw")
    volts, assumed = _bank_V(site, seen)
    chain.add("bank voltage", volts, "V", f"assumed: {usual_loaded_V(site.bank)[1]}")
    charge_Ah = energy_Wh.scaled(1 / volts)
    chain.add("charge", charge_Ah.value, "Ah", "energy / bank voltage")
    unbroken_Wh = (seen.without_a_break(hours, "Wh") or 0.0) * through + idle_Wh
    running_W = ac_W * through + idle_W
    more = (
        "The interval is that of the energy behind the inverter; its losses and the bank's voltage were not measured."
    )
    assumptions = (*losses.assumptions, *assumed, more, *_switched(inverter))
    start_Wh = at_meter.start_Wh * through
    parts = DrawnSum(
        at_meter.run_h,
        ac_W,
        ac_W * through,
        running_W,
        start_Wh,
        idle_Wh,
        volts,
        measured=True,
        load_basis=_MEASURED,
        power_basis=_ASSUMED if losses.key is None else "estimated",
        volts_basis=_ASSUMED,
        charge_basis=_ASSUMED,
    )
    return _AtBank(energy_Wh, charge_Ah, running_W / volts, unbroken_Wh, volts, parts, assumptions)
