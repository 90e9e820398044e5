"""The tables of a site file: bank, inverter, load, array, charger, conductor, water, meter, limits.

Every key ends in its unit; where people know a figure in US units there is a second key,
and the properties give it in the units used inside.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from math import sqrt
from typing import Annotated, ClassVar, Literal

from pydantic import AfterValidator, BeforeValidator, Field, StringConstraints

from ..readings.chunk import Sampling, Side
from .fields import (
    CurvePoint,
    Fraction,
    LifePoint,
    Name,
    NotNegative,
    Origin,
    Percent,
    Positive,
    Seconds,
    Share,
    continuous_first,
    ever_fewer,
    known_code_letter,
    known_gauge,
    known_phases,
    needed_SI,
    one_or_two,
    rising,
)
from .strict_table import Fault, Several, StrictTable
from .unit_tables import ShownTable
from .units import M_PER_FT

Chemistry = Literal["flooded_lead_acid", "agm", "gel", "lifepo4", "other"]

LoadKind = Literal["pump", "motor", "compressor", "heater", "electronics", "lights", "other"]

#: How a motor is brought up to speed; behind a drive it also runs at one draw after another.
StartKind = Literal["direct", "soft", "drive"]

#: Which capacitor a single-phase motor has: one that helps it start, one that stays on, both, or none (split phase).
Capacitor = Literal["none", "start", "run", "both"]

#: What an inverter gives: a sine, or steps that stand in for one.
Waveform = Literal["sine", "modified"]

#: What feeds a charger: the mains, a generator (through a charger, or by itself), or an engine's alternator.
ChargerKind = Literal["mains", "generator", "alternator"]


DischargeAmps = Annotated[Several[Positive], BeforeValidator(one_or_two), AfterValidator(continuous_first)]


class Bank(ShownTable):
    """The battery bank as a whole. Needs ``nominal_V`` and ``capacity_Ah``."""

    same_thing = (
        ("temperature_degC", "temperature_degF"),
        ("start_state_pct", "rested_V"),
        ("cycle_life", "throughput_kWh"),
    )
    also_called: ClassVar[Mapping[str, str]] = {
        "voltage": "nominal_V", "voltage_v": "nominal_V", "nominal_voltage": "nominal_V",
        "system_v": "nominal_V", "size_ah": "capacity_Ah", "ah": "capacity_Ah", "rated_ah": "capacity_Ah",
        "dod": "usable_depth_pct", "dod_pct": "usable_depth_pct", "depth_of_discharge": "usable_depth_pct",
        "depth_of_discharge_pct": "usable_depth_pct", "state_of_charge_pct": "start_state_pct",
        "soc_pct": "start_state_pct", "soc": "start_state_pct", "efficiency_pct": "charge_efficiency_pct",
        "type": "chemistry", "kind": "chemistry", "peukert": "peukert_exponent",
        "lithium": "lifepo4", "lfp": "lifepo4", "lead_acid": "flooded_lead_acid", "lead": "flooded_lead_acid",
        "wet": "flooded_lead_acid", "flooded": "flooded_lead_acid",
    }  # fmt: skip

    chemistry: Chemistry | None = None
    nominal_V: Positive
    capacity_Ah: Positive  # of the whole bank
    hour_rate_h: Positive | None = None
    strings: Annotated[int, Field(ge=1)] | None = None
    batteries: Annotated[int, Field(ge=1)] | None = None  # in the whole bank
    battery_V: Positive | None = None  # of one of them
    usable_depth_pct: Percent | None = None
    cut_off_V: Positive | None = None
    peukert_exponent: Annotated[float, Field(ge=1, le=2)] | None = None
    charge_efficiency_pct: Percent | None = None
    temperature_degC: Annotated[float, Field(ge=-60, le=80)] | None = None
    temperature_degF: Annotated[float, Field(ge=-76, le=176)] | None = None
    start_state_pct: Annotated[float, Field(ge=0, le=100)] | None = None  # when the log begins
    rested_V: Positive | None = None  # before the log, after hours without charge or load
    resistance_mohm: Positive | None = None  # of the whole bank, if it is known
    charging_V: Positive | None = None  # at which the array charges it
    # What its protection lets through: without a break; or, with max_discharge_s, [without a break, for a moment] or
    # that for a moment alone.
    max_discharge_A: DischargeAmps | None = None
    max_discharge_s: Seconds | None = None
    max_charge_A: Positive | None = None
    # What its maker says it gives in its life: [depth %, cycles]; or all the energy.
    cycle_life: Annotated[Several[LifePoint], AfterValidator(ever_fewer)] | None = None
    throughput_kWh: Positive | None = None
    price: Positive | None = None  # of the whole bank, in currency
    currency: Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=12)] | None = None

    @classmethod
    def faults(cls, data: Mapping[str, object]) -> Iterator[Fault]:
        """Yield also amps for a moment without its seconds, and seconds without amps."""
        yield from super().faults(data)
        amps = data.get("max_discharge_A")
        if isinstance(amps, list | tuple) and len(amps) == 2 and "max_discharge_s" not in data:
            yield Fault(("max_discharge_A",), "needs max_discharge_s: for how many seconds the second figure may flow")
        if amps is None and "max_discharge_s" in data:
            yield Fault(("max_discharge_s",), "says nothing without max_discharge_A, the amps that may flow so long")
        if ("price" in data) != ("currency" in data):
            one, other = ("price", "currency, such as EUR") if "price" in data else ("currency", "price")
            yield Fault((one,), f"says nothing without {other}")

    @property
    def continuous_A(self) -> float | None:
        """What its protection lets out without a break [A]; None where that is not given."""
        # One figure with seconds is for a moment alone; one without them, or the first of two, for good.
        amps = self.max_discharge_A
        return None if amps is None or (len(amps) == 1 and self.max_discharge_s is not None) else amps[0]

    @property
    def moment_A(self) -> float | None:
        """What its protection lets out for ``max_discharge_s`` [A]; None where that is not given."""
        return None if self.max_discharge_A is None or self.max_discharge_s is None else self.max_discharge_A[-1]

    @property
    def at_degC(self) -> float | None:
        """Temperature of the cells [degC]."""
        return self.temperature_degC if self.temperature_degF is None else (self.temperature_degF - 32) / 1.8

    @property
    def usable_Ah(self) -> float | None:
        """Charge down to the depth the owner allows [Ah]; None where no depth is given."""
        return None if self.usable_depth_pct is None else self.capacity_Ah * self.usable_depth_pct / 100


class LossModel(StrictTable):
    """Losses of an inverter: DC W = ``idle_W`` + ``proportional`` x AC W + ``square_per_W`` x AC W squared."""

    idle_W: NotNegative
    proportional: Annotated[float, Field(ge=1)]
    square_per_W: NotNegative = 0.0


class Inverter(StrictTable):
    """An inverter; its surge rating is held as given, in VA or W, with its seconds."""

    same_thing = (("efficiency_pct", "efficiency_curve", "loss_model"), ("idle_W", "loss_model"))
    needed = (("continuous_VA", "continuous_W"),)
    also_called: ClassVar[Mapping[str, str]] = {
        "power_w": "continuous_W", "power_va": "continuous_VA", "rated_w": "continuous_W", "rated_va": "continuous_VA",
        "rating_w": "continuous_W", "rating_va": "continuous_VA", "peak_w": "surge_W", "peak_va": "surge_VA",
        "voltage_v": "output_V", "voltage": "output_V", "standby_w": "idle_W", "no_load_w": "idle_W",
        "wave": "waveform", "output_wave": "waveform", "pure": "sine", "pure_sine": "sine", "true_sine": "sine",
        "sinewave": "sine", "modified_sine": "modified", "square": "modified", "quasi_sine": "modified",
    }  # fmt: skip

    name: Name
    continuous_VA: Positive | None = None
    continuous_W: Positive | None = None
    surge_VA: Positive | None = None
    surge_W: Positive | None = None
    surge_s: Seconds | None = None
    output_V: Positive = 230.0
    phases: Annotated[int, AfterValidator(known_phases)] | None = None
    waveform: Waveform | None = None
    efficiency_pct: Percent | None = None  # without its idle draw
    # [AC W, %], with its idle draw
    efficiency_curve: Annotated[Several[CurvePoint], AfterValidator(rising)] | None = None
    loss_model: LossModel | None = None  # with its idle draw
    idle_W: NotNegative | None = None
    always_on: bool = False  # then its idle draw belongs to no load
    cut_off_V: Positive | None = None

    @property
    def standby_W(self) -> float | None:
        """What it takes while on with nothing running, from either key [W]."""
        return self.loss_model.idle_W if self.loss_model is not None else self.idle_W


class Load(StrictTable):
    """A load; without an inverter it is on the DC side. ``power_W`` is what goes in, ``hp`` what the shaft gives."""

    same_thing = (("code_letter", "locked_rotor_A"),)
    also_called: ClassVar[Mapping[str, str]] = {
        "volts": "voltage_V", "amps": "current_A", "watts": "power_W", "pf": "power_factor", "type": "kind",
        "lra": "locked_rotor_A", "stall_a": "locked_rotor_A", "psc": "run", "split_phase": "none",
        "soft_start": "soft", "soft_starter": "soft", "vfd": "drive", "inverter_drive": "drive",
    }  # fmt: skip

    name: Name
    kind: LoadKind = "other"
    inverter: Name | None = None
    voltage_V: Positive | None = None
    current_A: Positive | None = None
    power_W: Positive | None = None
    hp: Positive | None = None
    phases: Annotated[int, AfterValidator(known_phases)] = 1
    power_factor: Fraction | None = None
    capacitor: Capacitor | None = None
    code_letter: Annotated[str, AfterValidator(known_code_letter)] | None = None
    locked_rotor_A: Positive | None = None  # before it turns; of a motor for direct current: stalled
    start: StartKind | None = None
    start_s: Seconds | None = None
    duty_pct: Percent | None = None

    @property
    def plate_VA(self) -> float | None:
        """What volts and amps of its plate make; None where it lacks either."""
        if self.voltage_V is None or self.current_A is None:
            return None
        return self.voltage_V * self.current_A * (sqrt(3) if self.phases == 3 else 1)


class Array(StrictTable):
    """The solar array: its peak power, and the sun it gets."""

    same_thing = (("performance_ratio", "losses_pct"),)
    also_called: ClassVar[Mapping[str, str]] = {"peak_w": "power_W", "watts": "power_W", "peak_power_w": "power_W"}

    power_W: Positive
    sun_hours_h: Annotated[float, Field(gt=0, le=24)] | None = None  # a day, at full sun
    performance_ratio: Fraction | None = None
    losses_pct: Annotated[Several[Share], Field(min_length=1)] | None = None  # one after another; they compound
    current_A: Positive | None = None  # at peak power: what a PWM controller passes on
    controller: Literal["pwm", "mppt"] | None = None


class Charger(StrictTable):
    """A charger, of which the bank knows the amps that it puts in."""

    also_called: ClassVar[Mapping[str, str]] = {
        "output_a": "rated_A", "current_a": "rated_A", "amps": "rated_A", "charge_a": "rated_A", "type": "kind",
        "genset": "generator", "grid": "mains", "shore": "mains",
    }  # fmt: skip

    name: Name
    kind: ChargerKind | None = None
    rated_A: Positive  # into the bank, as long as it takes all that is offered


class Conductor(ShownTable):
    """A pair of conductors, out and back; its length is one way."""

    same_thing = (("gauge_AWG", "area_mm2"), ("length_m", "length_ft"))
    needed = same_thing
    also_called: ClassVar[Mapping[str, str]] = {
        "size_mm2": "area_mm2", "awg": "gauge_AWG", "wire_size": "gauge_AWG", "size": "gauge_AWG",
    }  # fmt: skip

    name: Name
    gauge_AWG: Annotated[str, AfterValidator(known_gauge)] | None = None
    area_mm2: Positive | None = None
    length_m: Positive | None = None
    length_ft: Positive | None = None
    fuse_A: Positive | None = None
    fuse_kA: Positive | None = None  # the most that it can break, with direct current at this voltage
    strands: Literal["stranded", "solid"] = "stranded"
    temperature_degC: Annotated[float, Field(ge=-60, le=120)] | None = None  # of the copper
    carries: Several[Name] = ()

    @property
    def one_way_m(self) -> float:
        """Length from one end to the other [m]."""
        return needed_SI(self.length_m, self.length_ft, M_PER_FT)


class Meter(StrictTable):
    """A meter: where it sits, how to read it, and how far to trust it."""

    name: Name
    side: Side
    inverter: Name | None = None  # the one it sits behind, on side "ac"
    range_A: Positive | None = None
    reading_pct: NotNegative | None = None  # of its amps: limits of error as the data sheet gives them
    range_pct: NotNegative | None = None
    shunt_class_pct: NotNegative | None = None
    zero_A: NotNegative | None = None
    resolution_A: NotNegative | None = None
    range_V: Positive | None = None
    voltage_reading_pct: NotNegative | None = None
    voltage_range_pct: NotNegative | None = None
    resolution_V: NotNegative | None = None
    range_W: Positive | None = None
    power_reading_pct: NotNegative | None = None
    power_range_pct: NotNegative | None = None
    resolution_W: NotNegative | None = None
    clock_ppm: NotNegative | None = None
    sampling: Sampling | None = None
    source: Origin | None = None
    profile: Origin | None = None
    every_s: Seconds | None = None
    gap_s: Seconds | None = None


class Limits(StrictTable):
    """The owner's own limits for findings; they go before published ones."""

    minimum_run_s: Seconds | None = None
    minimum_off_s: Seconds | None = None
    starts_per_day: Positive | None = None
    starts_per_hour: Positive | None = None  # in the busiest hour
    longest_run_s: Seconds | None = None
    dry_running_pct: Percent | None = None  # of the pump's own usual draw: less is dry running
    draw_drift_pct: Positive | None = None  # change of the running draw over a log
    low_voltage_V: Positive | None = None
    standing_draw_W: Positive | None = None

    @classmethod
    def faults(cls, data: Mapping[str, object]) -> Iterator[Fault]:
        """Yield also a longest run that is no longer than the shortest."""
        yield from super().faults(data)
        least_s, most_s = data.get("minimum_run_s"), data.get("longest_run_s")
        if isinstance(least_s, int | float) and isinstance(most_s, int | float) and most_s <= least_s:
            yield Fault(("longest_run_s",), "must be longer than minimum_run_s")
