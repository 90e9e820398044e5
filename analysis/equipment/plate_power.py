"""From a load's plate to the watts it takes: volts, amps, power factor, or horsepower through a published table."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import sqrt
from typing import Final, Literal

from ..not_known import Refusal
from ..site.motor_kinds import (
    DRIVE_EFFICIENCY,
    DRIVE_POWER_FACTOR,
    TURNING,
    UsualRange,
    feeds_drive,
    motor_of,
    turns,
)
from ..site.motor_tables import full_load_A, full_load_source
from ..site.site import Inverter, Load, Site
from ..site.units import W_PER_HP
from ..stats.interval95 import Within
from .modified_wave import SOURCE, more_watts

PaperOf = Literal["W", "VA", "hp"]


@dataclass(frozen=True)
class ChainStep:
    """One step of a chain: its name, its value in `unit`, and where the value is from."""

    step: str
    value: float
    unit: str
    origin: str


@dataclass
class Chain:
    """The steps and the assumptions collected while a figure is worked out."""

    steps: list[ChainStep] = field(default_factory=list)
    assumptions: list[str] = field(default_factory=list)

    def add(self, step: str, value: float, unit: str, origin: str) -> float:
        """Add a step and return its value."""
        self.steps.append(ChainStep(step, value, unit, origin))
        return value

    def assume(self, step: str, value: float, unit: str, *, source: str, because: str) -> float:
        """Add a step that rests on an assumption: `because` says what is not known, `source` where it is from."""
        self.assumptions.append(f"{because}; {step} taken as {value:.4g} {unit}".rstrip() + f": {source}.")
        return self.add(step, value, unit, f"assumed: {source}")


# 0.58 to 0.73: computed from typical figures of 1/2 to 1-1/2 hp single-phase 4-inch submersible motors, which are
# themselves from memory; 0.65 is about the middle.
_PUMP = UsualRange(0.65, 0.58, 0.73, "computed from typical 4-inch single-phase submersibles, from memory")
_MOTOR = UsualRange(0.8, 0.6, 0.9, "common practice, no source")
_OTHER = UsualRange(0.9, 0.5, 1.0, "common practice, no source")
USUAL_POWER_FACTORS: Final = {
    "pump": _PUMP,
    "motor": _MOTOR,
    "compressor": _MOTOR,
    "heater": UsualRange(1.0, 1.0, 1.0, "a heating wire is a plain resistance"),
    "electronics": _OTHER,
    "lights": _OTHER,
    "other": _OTHER,
}


def usual_power_factor(load: Load) -> UsualRange:
    """Return the power factor that is usual of what a load's plate speaks of: its motor, or the drive before it."""
    if load.kind not in TURNING:
        return USUAL_POWER_FACTORS[load.kind]
    if load.start == "drive" and not feeds_drive(load):
        return DRIVE_POWER_FACTOR
    # A kind that nobody named says no more than what it drives.
    return motor_of(load).running or USUAL_POWER_FACTORS[load.kind]


def paper_W(load: Load, site: Site) -> tuple[float, str]:
    """Return what people take for the watts of a load, and in words how they get there.

    They are plate watts, else volts times amps as if they were watts, else 746 W for each horsepower [W]. Refusal if
    the plate gives none of them.
    """
    if load.power_W is not None:
        return load.power_W, f"{load.power_W:g} W from the plate"
    if load.current_A is not None:
        voltage_V = supply_V(load, site)
        taken = "" if site.inverter_of(load) is None else ", taken for watts"  # direct current: they are watts
        return voltage_V * load.current_A, f"{voltage_V:g} V x {load.current_A:g} A{taken}"
    # Horsepower are what the shaft gives, and less than what the motor takes: as people reckon, not as it is.
    if load.hp is not None:
        return load.hp * W_PER_HP, f"{load.hp:g} hp x {W_PER_HP:.0f} W"
    raise _too_little(load)


def paper_of(load: Load) -> PaperOf:
    """Return what `paper_W` makes its watts of: plate watts, volts times amps, or horsepower."""
    return "W" if load.power_W is not None else "VA" if load.current_A is not None else "hp"


def supply_V(load: Load, site: Site) -> float:
    """Return the voltage a load is made for: its own, else what its inverter gives, else the bank's nominal [V]."""
    if load.voltage_V is not None:
        return load.voltage_V
    inverter = site.inverter_of(load)
    # A load without an inverter hangs on the bank itself.
    return site.bank.nominal_V if inverter is None else inverter.output_V


def ac_power_W(chain: Chain, load: Load, inverter: Inverter) -> float:
    """Add the steps to a load's AC watts while it runs, and return these. [W]

    They are those of the plate where it gives watts, else volt-amperes times power factor. Volts times amps are
    volt-amperes and never called watts. Refusal if neither watts nor amps can be had.
    """
    beyond = beyond_the_plate(load, inverter)
    of_plate = "AC power by the plate" if beyond else "AC power"
    if load.power_W is not None:
        watts = chain.add(of_plate, load.power_W, "W", "power_W, from the plate")
    else:
        apparent_VA = _apparent_VA(chain, load, inverter)
        watts = chain.add(of_plate, apparent_VA * _power_factor(chain, load), "W", "apparent power x power factor")
    for extra in beyond:
        because = f"{extra.because}; it may be {extra.factor.low:.3g} to {extra.factor.high:.3g}"
        watts *= chain.assume(extra.name, extra.factor.value, "", source=extra.source, because=because)
    return chain.add("AC power", watts, "W", "what the inverter gives for it") if beyond else watts


@dataclass(frozen=True)
class BeyondPlate:
    """What makes an inverter give more watts than a plate says: over the plate's, with the reason. [1]"""

    name: str
    factor: Within
    because: str
    source: str


def beyond_the_plate(load: Load, inverter: Inverter) -> tuple[BeyondPlate, ...]:
    """Return what stands between a motor's plate and the watts that its inverter gives for it."""
    if feeds_drive(load):
        worst, best = 1 / DRIVE_EFFICIENCY.low, 1 / DRIVE_EFFICIENCY.high
        lost = Within(1 / DRIVE_EFFICIENCY.value, best, worst)
        because = f"The plate of '{load.name}' is its motor's, and its drive loses a share"
        return (BeyondPlate("into the drive over out of it", lost, because, DRIVE_EFFICIENCY.source),)
    if inverter.waveform == "modified" and turns(load):
        because = f"'{inverter.name}' gives a modified sine, on which a motor takes more watts than its plate says"
        return (
            BeyondPlate("for the modified sine", more_watts(motor_of(load).start.within, load.phases), because, SOURCE),
        )
    return ()


def dc_power_W(chain: Chain, load: Load, site: Site) -> float:
    """Add the steps to the watts of a load on the DC side while it runs; Refusal if the plate gives neither W nor A."""
    if load.power_W is not None:
        power_W = chain.add("DC power", load.power_W, "W", "power_W, from the plate")
    elif load.current_A is not None:
        voltage_V = chain.add("voltage", supply_V(load, site), "V", "plate, else the bank's nominal voltage")
        current_A = chain.add("current", load.current_A, "A", "current_A, from the plate")
        power_W = chain.add("DC power", voltage_V * current_A, "W", "voltage x current: on the DC side these are watts")
    else:
        raise Refusal(f"the load '{load.name}' on the DC side needs power_W or current_A in the site file; add one")
    chain.assumptions.append("On the DC side the load is taken to draw the same watts at any bank voltage.")
    return power_W


def _too_little(load: Load) -> Refusal:
    return Refusal(f"the load '{load.name}' has no power_W, current_A or hp in the site file; add one from its plate")


def _apparent_VA(chain: Chain, load: Load, inverter: Inverter) -> float:
    origin = "voltage_V, from the plate" if load.voltage_V is not None else "what the inverter gives"
    voltage_V = chain.add("voltage", load.voltage_V or inverter.output_V, "V", origin)
    current_A = _current_A(chain, load, voltage_V)
    if load.phases == 3:
        apparent_VA = sqrt(3) * voltage_V * current_A
        return chain.add("apparent power", apparent_VA, "VA", "square root of 3 x voltage x current")
    return chain.add("apparent power", voltage_V * current_A, "VA", "voltage x current: volt-amperes, not watts")


def _current_A(chain: Chain, load: Load, voltage_V: float) -> float:
    if load.current_A is not None:
        return chain.add("current", load.current_A, "A", "current_A, from the plate")
    if load.hp is None:
        raise _too_little(load)
    table = full_load_source(load.phases)
    return chain.assume(
        "current",
        full_load_A(load.hp, voltage_V, load.phases),
        "A",
        source=f"{table} for {load.hp:g} hp at {voltage_V:g} V, a sizing value on the safe side",
        because="The plate's amps are not given",
    )


def _power_factor(chain: Chain, load: Load) -> float:
    if load.power_factor is not None:
        return chain.add("power factor", load.power_factor, "", "power_factor, from the plate")
    usual = usual_power_factor(load)
    between = f"it may lie between {usual.low:g} and {usual.high:g}; " if usual.low < usual.high else ""
    return chain.assume(
        "power factor",
        usual.value,
        "",
        source=f"{between}{usual.source}",
        because=f"The power factor of '{load.name}' is not given",
    )
