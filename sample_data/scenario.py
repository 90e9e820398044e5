"""Marrowbrook, the invented hillside market garden: an open day, and a week later a tank that lost its air.

All numbers are made up to be typical of such a place; none is a measurement.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .physics import (
    ATMOSPHERE_PSI,
    Bank,
    BoolArray,
    FloatArray,
    Inverter,
    Meter,
    Pump,
    Spell,
    Tank,
    WellRun,
    paint,
    run_well,
    since_start_s,
    spells,
)

TANK = Tank(volume_L=166.6)  # 44 US gallons
PRECHARGE_PSI = 38.0
PUMP = Pump(
    cut_in_psi=40.0, cut_out_psi=60.0, flow_L_per_min=(42.0, 34.0), run_W=(760.0, 700.0), start_W=2900.0, start_s=0.22
)
ABSOLUTE_CUT_IN_PSI = PUMP.cut_in_psi + ATMOSPHERE_PSI
WASH_SHED = Inverter(idle_W=28.0, proportional=1.05, square_per_W=2.0e-5)
SEEDLING_HOUSE = Inverter(idle_W=9.0, proportional=1.06, square_per_W=1.0e-4)
BANK = Bank(capacity_Ah=420.0, resistance_ohm=0.012, polarisation_ohm=0.008, lag_s=60.0)
METER = Meter(gain=1.004, zero_A=0.03, noise_A=0.03, resolution_A=0.01, noise_V=0.005, resolution_V=0.01)

MATS_AC_W = 90.0
FRIDGE_W = 110.0
LIGHTS_W = 52.0


@dataclass(frozen=True)
class Day:
    """What makes one log differ from another.

    Parameters
    ----------
    date : str
        Local date, year-month-day.
    start_s, span_s : float
        Local time of day of the first reading, and the time from it to the last. [s]
    every_s, step_s : float
        Time between readings, and the simulation's step, which divides it. [s]
    air_psi_L : (first, last)
        Amount of air in the tank at the beginning and the end; it goes in a straight line. [psi L]
    hose_s, rest_s : (shortest, longest)
        How long the hose runs, and how long it rests. [s]
    lights_s : list of (start, stop)
        When the lights are on, counted from the first reading. [s]
    sun_W : float
        Middle of the array's power under cloud. [W]
    seed : int
        Seed of everything left to chance.
    """

    date: str
    start_s: float
    span_s: float
    every_s: float
    step_s: float
    air_psi_L: tuple[float, float]
    hose_s: Spell
    rest_s: Spell
    lights_s: list[Spell]
    sun_W: float
    seed: int


OPEN_DAY = Day(
    date="2026-06-13",
    start_s=9.5 * 3600,
    span_s=3 * 3600,
    every_s=0.1,
    step_s=0.02,
    air_psi_L=(TANK.air_amount(PRECHARGE_PSI),) * 2,
    hose_s=(60.0, 240.0),
    rest_s=(150.0, 600.0),
    lights_s=[(0.0, 4620.0), (9300.0, 1e9)],
    sun_W=250.0,
    seed=1306,
)
# Air left in the tank at cut-in pressure, at the log's beginning and end; the healthy tank has 160 L there. [L]
AIR_LEFT_L = (21.0, 15.5)
WEEK_LATER = Day(
    date="2026-06-20",
    start_s=10 * 3600,
    span_s=2.5 * 3600,
    every_s=1.0,
    step_s=0.05,
    air_psi_L=(ABSOLUTE_CUT_IN_PSI * AIR_LEFT_L[0], ABSOLUTE_CUT_IN_PSI * AIR_LEFT_L[1]),
    hose_s=(90.0, 300.0),
    rest_s=(120.0, 420.0),
    lights_s=[(0.0, 2400.0)],
    sun_W=270.0,
    seed=2006,
)


@dataclass(frozen=True)
class Truth:
    """What really happened between the first reading and the last.

    Parameters
    ----------
    pump_starts_s, pump_stops_s : array
        Local time since midnight at which the pump was switched on, and off; a run still on at the end has no
        stop. [s]
    drawn_Ah, returned_Ah : float
        Charge out of the bank, and into it; both positive. [Ah]
    drawn_Wh, returned_Wh : float
        The same for energy. [Wh]
    pump_energy_Wh : float
        DC energy that the pump's runs took above the idle draw of its inverter. [Wh]
    """

    pump_starts_s: FloatArray
    pump_stops_s: FloatArray
    drawn_Ah: float
    returned_Ah: float
    drawn_Wh: float
    returned_Wh: float
    pump_energy_Wh: float


@dataclass(frozen=True)
class States:
    """The simulation step by step: local time since midnight [s], what the well, the pump and the bank did."""

    time_s: FloatArray
    draw_L_per_min: FloatArray
    well: WellRun
    pump_dc_W: FloatArray
    current_A: FloatArray
    voltage_V: FloatArray


@dataclass(frozen=True)
class Scene:
    """One simulated log: the readings' times, true and measured values, and the truth behind them.

    Parameters
    ----------
    date : str
        Local date, year-month-day.
    time_s : array, shape (n,)
        Local time since midnight of each reading. [s]
    current_A, voltage_V : array, shape (n,)
        True values at those times, draw positive. [A], [V]
    measured_current_A, measured_voltage_V : array, shape (n,)
        What the meter showed. [A], [V]
    truth : Truth
        Counted over the simulation's own, finer steps.
    states : States
        Those steps themselves.
    """

    date: str
    time_s: FloatArray
    current_A: FloatArray
    voltage_V: FloatArray
    measured_current_A: FloatArray
    measured_voltage_V: FloatArray
    truth: Truth
    states: States


def simulate_open_day() -> Scene:
    """Return the open day: a healthy tank, crates washed for visitors, readings each 0.1 s."""
    return simulate(OPEN_DAY)


def simulate_week_later() -> Scene:
    """Return the week after: the tank's air nearly gone, the pump short-cycling, readings each second."""
    return simulate(WEEK_LATER)


def simulate(day: Day) -> Scene:
    """Run one day's physics and read the meter.  The same day gives the same scene each time."""
    rng = np.random.default_rng(day.seed)
    states = _run(day, rng)
    # Steps are finer than readings: a start takes its true course, whatever the meter sees of it.
    pick = slice(None, None, round(day.every_s / day.step_s))
    current_A, voltage_V = states.current_A[pick], states.voltage_V[pick]
    return Scene(
        date=day.date,
        time_s=states.time_s[pick],
        current_A=current_A,
        voltage_V=voltage_V,
        measured_current_A=METER.read_current(current_A, rng),
        measured_voltage_V=METER.read_voltage(voltage_V, rng),
        truth=_truth(states),
        states=states,
    )


def _run(day: Day, rng: np.random.Generator) -> States:
    """Step everything through the day."""
    time_s = np.arange(round(day.span_s / day.step_s) + 1, dtype=np.float64) * day.step_s
    # Chance is drawn in this order: hose, other loads, array, then the meter's noise. Another order is another day.
    draw_L_per_min = _hose(day, time_s, rng)
    air_psi_L = np.linspace(*day.air_psi_L, len(time_s))
    well = run_well(TANK, PUMP, draw_L_per_min, air_psi_L, step_s=day.step_s, start_psi=53.0)
    pump_dc_W = _pump_power(well, time_s)
    others_W = _other_loads(day, time_s, rng) - _array_power(time_s, day.sun_W, rng)
    current_A, voltage_V = BANK.feed(WASH_SHED.idle_W + pump_dc_W + others_W, day.step_s, start_pct=86.0)
    return States(day.start_s + time_s, draw_L_per_min, well, pump_dc_W, current_A, voltage_V)


def _hose(day: Day, time_s: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Return the water drawn for washing crates: spells of 10 to 18 L/min, each flow wandering a little. [L/min]."""
    # The hose stops ten minutes before the log does, so that the last run of the pump is complete.
    when = spells(rng, day.span_s - 600.0, off_s=day.rest_s, on_s=day.hose_s)
    flow_L_per_min = paint(time_s, when, rng.uniform(10.0, 18.0, len(when)).tolist())
    knot_s = np.arange(0.0, day.span_s + 15.0, 15.0)
    return flow_L_per_min * np.interp(time_s, knot_s, rng.uniform(0.85, 1.15, len(knot_s)))


def _pump_power(well: WellRun, time_s: FloatArray) -> FloatArray:
    """Return the DC power the pump takes above its inverter's idle draw. [W]."""
    since_s = np.where(well.on, since_start_s(well.on, time_s), 0.0)
    ac_W = np.where(well.on, PUMP.ac_power(since_s, well.pressure_psi), 0.0)
    # The inverter idles also without the pump, so its idle draw is none of the pump's.
    return WASH_SHED.input_power(ac_W) - WASH_SHED.idle_W


def _other_loads(day: Day, time_s: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Return the DC power of seedling mats behind their inverter, fridge and lights. [W]."""
    mats = spells(rng, day.span_s, off_s=(200.0, 420.0), on_s=(180.0, 360.0))
    fridge = spells(rng, day.span_s, off_s=(700.0, 1000.0), on_s=(420.0, 560.0))
    return (
        SEEDLING_HOUSE.input_power(paint(time_s, mats, MATS_AC_W))
        + paint(time_s, fridge, FRIDGE_W)
        + paint(time_s, day.lights_s, LIGHTS_W)
    )


def _array_power(time_s: FloatArray, middle_W: float, rng: np.random.Generator) -> FloatArray:
    """Return the array's power on an overcast day: slow waves of cloud, no edge faster than minutes. [W]."""
    # The quicker a wave, the smaller: no cloud's edge may look like the step of a load.
    power_W = np.full_like(time_s, middle_W)
    for swing_W, period_s in ((45.0, 5400.0), (25.0, 2100.0), (15.0, 900.0), (8.0, 400.0)):
        power_W += swing_W * np.sin(2.0 * np.pi * (time_s / period_s + rng.uniform()))
    return power_W


def _truth(states: States) -> Truth:
    """Count what happened over the simulation's steps."""
    time_h = states.time_s / 3600.0
    power_W = states.current_A * states.voltage_V
    starts, stops = _edges(states.well.on)
    return Truth(
        pump_starts_s=states.time_s[starts],
        pump_stops_s=states.time_s[stops],
        drawn_Ah=float(np.trapezoid(np.maximum(states.current_A, 0.0), time_h)),
        returned_Ah=float(np.trapezoid(np.maximum(-states.current_A, 0.0), time_h)),
        drawn_Wh=float(np.trapezoid(np.maximum(power_W, 0.0), time_h)),
        returned_Wh=float(np.trapezoid(np.maximum(-power_W, 0.0), time_h)),
        pump_energy_Wh=float(np.trapezoid(states.pump_dc_W, time_h)),
    )


def _edges(on: BoolArray) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return the indices of the first step on, and of the first step off again, of each run."""
    # A run that is on at the first step has no start here, and one that is on at the last no stop.
    change = np.diff(on.astype(int))
    return np.flatnonzero(change == 1) + 1, np.flatnonzero(change == -1) + 1
