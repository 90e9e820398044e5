"""The physics of a small off-grid water supply: tank, pump, inverter, battery bank and meter.

Every part is a small frozen description with one or two methods; `scenario` puts them together.  Nothing here reads
a file or a clock, and chance enters only through the generator handed in.

Not modelled: mains ripple on the DC side (the meter is taken to average over it), the slow rise of a lead-acid
battery's voltage near full charge, warming of windings and cells, and friction in pipes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
Spell = tuple[float, float]

ATMOSPHERE_PSI = 14.7  # the round figure used with published tank drawdown tables (National Driller, 2004-2008)

# Rested voltage of a 12 V flooded lead-acid battery by state of charge, a published table; makers' tables differ by
# up to 0.06 V.
SOC_PCT = (0.0, 25.0, 50.0, 75.0, 100.0)
RESTED_V = (11.89, 12.06, 12.24, 12.45, 12.65)


def spells(rng: np.random.Generator, span_s: float, off_s: Spell, on_s: Spell) -> list[Spell]:
    """Return the (start, stop) of something that is off and on in turn, off first.

    Parameters
    ----------
    rng : numpy Generator
        Where chance comes from.
    span_s : float
        No spell starts later than this; the last one may end later. [s]
    off_s, on_s : (shortest, longest)
        Each rest and each spell is drawn evenly from these. [s]
    """
    drawn: list[Spell] = []
    start = rng.uniform(*off_s)
    while start < span_s:
        stop = start + rng.uniform(*on_s)
        drawn.append((start, stop))
        start = stop + rng.uniform(*off_s)
    return drawn


def paint(time_s: FloatArray, when: list[Spell], values: list[float] | float) -> FloatArray:
    """Return a series that has each spell's value (or the one value) during that spell and is 0 otherwise."""
    series = np.zeros_like(time_s)
    each = [values] * len(when) if isinstance(values, float) else values
    for (start, stop), value in zip(when, each, strict=True):
        series[(time_s >= start) & (time_s < stop)] = value
    return series


@dataclass(frozen=True)
class Tank:
    """A pressure tank: air above water, the air obeying Boyle's law at constant temperature.

    Parameters
    ----------
    volume_L : float
        Air and water together. [L]
    """

    volume_L: float

    def air_amount(self, precharge_psi: float) -> float:
        """Return the amount of air, as absolute pressure times volume, that an empty tank holds. [psi L]."""
        return (precharge_psi + ATMOSPHERE_PSI) * self.volume_L

    def water_at(self, air_psi_L: float, pressure_psi: float) -> float:
        """Return the water in the tank at a gauge pressure. [L]."""
        return self.volume_L - air_psi_L / (pressure_psi + ATMOSPHERE_PSI)

    def pressure_with(self, air_psi_L: float, water_L: float) -> float:
        """Return the gauge pressure with so much air and water in the tank. [psi]."""
        return air_psi_L / (self.volume_L - water_L) - ATMOSPHERE_PSI


@dataclass(frozen=True)
class Pump:
    """A submersible pump on a pressure switch; flow and running power fall in a straight line with pressure.

    A centrifugal pump moves less water against more pressure, and then takes less power.

    Parameters
    ----------
    cut_in_psi, cut_out_psi : float
        Gauge pressures at which the switch starts and stops the pump. [psi]
    flow_L_per_min, run_W : (at cut-in, at cut-out)
        Delivered water [L/min] and AC power taken [W].
    start_W : float
        AC power of the first instant, rotor at rest. [W]
    start_s : float
        How long the start lasts: the extra power has fallen to 37 % of its first value by then. [s]
    """

    cut_in_psi: float
    cut_out_psi: float
    flow_L_per_min: tuple[float, float]
    run_W: tuple[float, float]
    start_W: float
    start_s: float

    def flow_at(self, pressure_psi: float) -> float:
        """Return the delivered flow at a gauge pressure. [L/min]."""
        low, high = self.flow_L_per_min
        return low + (high - low) * (pressure_psi - self.cut_in_psi) / (self.cut_out_psi - self.cut_in_psi)

    def ac_power(self, since_start_s: FloatArray, pressure_psi: FloatArray) -> FloatArray:
        """Return the AC power of a pump that is on, by the time since its start and the pressure. [W].

        Close to the standstill power until the rotor nears full speed, then falling away fast.
        """
        low, high = self.run_W
        run_W = low + (high - low) * (pressure_psi - self.cut_in_psi) / (self.cut_out_psi - self.cut_in_psi)
        # The cube keeps it near the standstill power and then lets it fall at once: a motor that starts across the
        # line draws nearly its full amps until it is close to speed (the shape is made up, no source).
        return run_W + (self.start_W - run_W) * np.exp(-((since_start_s / self.start_s) ** 3))


@dataclass(frozen=True)
class WellRun:
    """What tank and pump did, step by step: pressure [psi], water in the tank [L], delivered flow [L/min], pump on."""

    pressure_psi: FloatArray
    water_L: FloatArray
    flow_L_per_min: FloatArray
    on: BoolArray


def run_well(
    tank: Tank, pump: Pump, draw_L_per_min: FloatArray, air_psi_L: FloatArray, *, step_s: float, start_psi: float
) -> WellRun:
    """Step the tank through a draw of water, the switch starting and stopping the pump.

    Parameters
    ----------
    draw_L_per_min : array, shape (n,)
        Water taken at the tap in each step. [L/min]
    air_psi_L : array, shape (n,)
        Amount of air in the tank in each step (see `Tank.air_amount`). [psi L]
    step_s : float
        Length of a step. [s]
    start_psi : float
        Gauge pressure at the beginning; the pump is off then. [psi]
    """
    minutes = step_s / 60.0
    water_L, on = tank.water_at(float(air_psi_L[0]), start_psi), False
    rows: list[tuple[float, float, float, bool]] = []
    for draw, air in zip(draw_L_per_min.tolist(), air_psi_L.tolist(), strict=True):
        pressure = tank.pressure_with(air, water_L)
        # Between cut-in and cut-out the switch leaves things as they are: only so has a pump runs and rests.
        on = pressure < pump.cut_out_psi if on else pressure <= pump.cut_in_psi
        flow = pump.flow_at(pressure) if on else 0.0
        rows.append((pressure, water_L, flow, on))
        # A step is so short that the flow can be that of its beginning: the pressure moves by a thousandth meanwhile.
        water_L += (flow - draw) * minutes
    pressure_psi, held_L, flow_L_per_min, running = np.array(rows).T
    return WellRun(pressure_psi, held_L, flow_L_per_min, running.astype(bool))


def since_start_s(on: BoolArray, time_s: FloatArray) -> FloatArray:
    """Return the time since the latest switching-on, infinite before the first; true only where `on`. [s]."""
    starting = on & ~np.concatenate(([False], on[:-1]))
    # Instants only grow, so the greatest start so far is the latest.
    return time_s - np.maximum.accumulate(np.where(starting, time_s, -np.inf))


@dataclass(frozen=True)
class Inverter:
    """An inverter that is on: DC power = idle + a x AC power + b x (AC power)^2, the usual three-part loss model."""

    idle_W: float
    proportional: float
    square_per_W: float

    def input_power(self, ac_W: FloatArray) -> FloatArray:
        """Return the DC power taken for an AC power. [W]."""
        return self.idle_W + self.proportional * ac_W + self.square_per_W * ac_W**2


@dataclass(frozen=True)
class Bank:
    """A 24 V flooded lead-acid bank: rested voltage, resistance, and one slow polarisation that lags the current.

    Parameters
    ----------
    capacity_Ah : float
        Charge between empty and full. [Ah]
    resistance_ohm, polarisation_ohm : float
        Prompt, and lagging. [ohm]
    lag_s : float
        Time constant of the polarisation. [s]
    """

    capacity_Ah: float
    resistance_ohm: float
    polarisation_ohm: float
    lag_s: float

    def feed(self, power_W: FloatArray, step_s: float, start_pct: float) -> tuple[FloatArray, FloatArray]:
        """Return current [A] (draw positive) and terminal voltage [V] while the bank delivers a power [W].

        `start_pct` is the state of charge before the first step; the bank is rested then. [%]
        """
        # The exact answer of a lag to a step, so that finer steps give the same curve.
        fade = 1.0 - np.exp(-step_s / self.lag_s).item()
        per_A_pct = 100.0 * step_s / 3600.0 / self.capacity_Ah
        soc_pct, lagging_V = start_pct, 0.0
        table_V, unit_pct = [2.0 * v for v in RESTED_V], SOC_PCT[1]
        current_A, voltage_V = [], []
        # Each step needs the one before, so there is no array to work on; plain floats are quickest then.
        for power in power_W.tolist():
            # Beyond empty and full the table's outermost stretch goes on, which no day here comes to.
            cell = min(int(soc_pct / unit_pct), len(table_V) - 2)
            rested_V = table_V[cell] + (table_V[cell + 1] - table_V[cell]) * (soc_pct / unit_pct - cell)
            behind_V = rested_V - lagging_V
            # Constant power through a resistance: V^2 - V x behind + R x P = 0, the larger root.
            volts = (behind_V + (behind_V**2 - 4.0 * self.resistance_ohm * power) ** 0.5) / 2.0
            amps = power / volts
            current_A.append(amps)
            voltage_V.append(volts)
            lagging_V += fade * (self.polarisation_ohm * amps - lagging_V)
            soc_pct -= per_A_pct * amps
        return np.array(current_A), np.array(voltage_V)


@dataclass(frozen=True)
class Meter:
    """A shunt meter: gain and zero error, noise of one standard deviation, then rounding to the resolution."""

    gain: float
    zero_A: float
    noise_A: float
    resolution_A: float
    noise_V: float
    resolution_V: float

    def read_current(self, current_A: FloatArray, rng: np.random.Generator) -> FloatArray:
        """Return what the meter shows for a true current. [A]."""
        # In the order in which they arise: the shunt's gain and zero, the amplifier's noise, the display's last digit.
        shown = self.gain * current_A + self.zero_A + rng.normal(0.0, self.noise_A, current_A.shape)
        return round_to(shown, self.resolution_A)

    def read_voltage(self, voltage_V: FloatArray, rng: np.random.Generator) -> FloatArray:
        """Return what the meter shows for a true voltage. [V]."""
        return round_to(voltage_V + rng.normal(0.0, self.noise_V, voltage_V.shape), self.resolution_V)


def round_to(values: FloatArray, resolution: float) -> FloatArray:
    """Return values rounded to a resolution; adding 0 turns a negative zero into a plain one."""
    rounded: FloatArray = np.round(values / resolution) * resolution + 0.0
    return rounded
