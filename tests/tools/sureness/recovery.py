"""Simulated banks and inverters with known truths: how often the stated 95 % intervals hold them.

``python tests/tools recovery [RUNS]`` prints the table. The suite does a small form of it.
"""

from __future__ import annotations

import argparse

import numpy as np
from readings import chunk_of, fed, how

from shuntbook.analysis.bank.resistance import Resistance, resistance
from shuntbook.analysis.bank.rested_state import RestedState, rested_state
from shuntbook.analysis.bank.state_of_charge import StateOfCharge, start_of, state_of_charge
from shuntbook.analysis.inverter_sides.loss_fit import LossFit, fit_losses
from shuntbook.analysis.ledger.running_charge import RunningChargeFold
from shuntbook.analysis.site.battery_kinds import KINDS, LEAD_ACID, LEAD_CELL_V_PER_K
from shuntbook.analysis.site.tables import Bank
from shuntbook.analysis.sureness.meter_figures import Accuracy, MeterFigures


def simulated_resistance(rng: np.random.Generator) -> dict[str, bool]:
    """A pump's starts: volts and amps with noise, a last digit, a wrong factor, and other loads now and then."""
    ohm, count = rng.uniform(0.003, 0.03), int(rng.integers(6, 80))
    true_A = rng.uniform(20, 120) * rng.uniform(0.9, 1.1, count)
    fall_V = ohm * true_A + rng.normal(0, rng.uniform(0.003, 0.02), count)
    fall_V += np.where(rng.random(count) < 0.05, rng.normal(0, 0.5, count), 0)  # another load switches meanwhile
    current, voltage = Accuracy(0.5, 0.0), Accuracy(0.3, 0.0)
    dI = true_A * (1 + rng.uniform(-0.005, 0.005)) + rng.normal(0, 0.05, count)
    dV = np.round(fall_V * (1 + rng.uniform(-0.003, 0.003)), 2)
    estimate = resistance(dI, dV, current=current, voltage=voltage)
    assert isinstance(estimate, Resistance), estimate
    return {"internal resistance": estimate.mohm.holds(1000 * ohm)}


def simulated_losses(rng: np.random.Generator) -> dict[str, bool]:
    """An inverter under a few loads that come and go; noise has wild readings, and neighbours may err alike."""
    idle_W, a, b = rng.uniform(5, 40), rng.uniform(1.03, 1.12), rng.uniform(1e-5, 1e-4)
    levels = np.sort(rng.choice(np.linspace(0, rng.uniform(600, 2500), 12), rng.integers(4, 8), replace=False))
    ac = rng.choice(levels, rng.integers(60, 400)).repeat(3) * rng.uniform(0.98, 1.02)
    ac = ac + rng.normal(0, 4.0, len(ac))  # the load itself wavers; both meters see it
    ac = np.maximum(ac, 0)
    noise = rng.standard_t(4, len(ac)) * rng.uniform(1, 6)
    if rng.random() < 0.5:
        noise = np.convolve(noise, [0.6, 0.4], "same")
    fit = fit_losses(ac, idle_W + a * ac + b * ac**2 + noise)
    assert isinstance(fit, LossFit), fit
    at_W = rng.uniform(0.1, 1.0) * ac.max()
    return {
        "inverter: idle draw": fit.idle_W.holds(idle_W),
        "inverter: proportional term": fit.proportional.holds(a),
        "inverter: square term": fit.square_per_W.holds(b),
        "inverter: efficiency at a load": fit.efficiency(at_W).holds(at_W / (idle_W + a * at_W + b * at_W**2)),
    }


def simulated_state(rng: np.random.Generator) -> dict[str, bool]:
    """A day of loads and sun, the start stated; meter, start and charge efficiency are off within their limits."""
    bank = Bank(nominal_V=24.0, capacity_Ah=420.0, chemistry="flooded_lead_acid", charge_efficiency_pct=88.0)
    stated_pct = rng.uniform(45, 80)
    start_pct, efficiency = stated_pct + rng.uniform(-5, 5), 0.88 + rng.uniform(-0.05, 0.05)
    time_s = np.arange(0, 24 * 3600, 120.0)
    sun_A = np.maximum(0, 35 * np.sin((time_s / 3600 - 6) / 12 * np.pi)) * rng.uniform(0.2, 1)
    true_A = rng.choice([2.0, 6.0, 40.0], len(time_s), p=[0.6, 0.3, 0.1]) - sun_A
    figures = MeterFigures(current=Accuracy(1.0, 0.1, full_scale=500.0))
    shown_A = true_A * (1 + rng.uniform(-0.01, 0.01)) + rng.uniform(-0.5, 0.5)
    mean = (true_A[1:] + true_A[:-1]) / 2
    # What lies between two readings is a straight line, for the truth as for the count.
    crossing = (true_A[1:] < 0) != (true_A[:-1] < 0)
    share = np.where(crossing, true_A[:-1] / np.where(crossing, true_A[:-1] - true_A[1:], 1), 1.0)
    near, far = np.where(crossing, true_A[:-1] * share / 2, mean), np.where(crossing, true_A[1:] * (1 - share) / 2, 0.0)
    hours = 120.0 / 3600
    drawn_Ah = (np.maximum(near, 0) + np.maximum(far, 0)).sum() * hours
    returned_Ah = (np.maximum(-near, 0) + np.maximum(-far, 0)).sum() * hours
    true_pct = start_pct - 100 * (drawn_Ah - efficiency * returned_Ah) / bank.capacity_Ah
    fold = fed(RunningChargeFold(how(gap_limit_s=300.0), {"current_A"}, most=3), chunk_of(time_s, current_A=shown_A))
    state = state_of_charge(fold.result(), bank, start_of(bank, stated_pct=stated_pct), figures)
    assert isinstance(state, StateOfCharge), state
    return {"state of charge by counting": state.end_pct.holds(float(np.clip(true_pct, 0, 100)))}


def simulated_rest(rng: np.random.Generator) -> dict[str, bool]:
    """A rested bank whose maker's table differs from ours, read by a voltmeter that is off, at some temperature."""
    kind, state_pct, celsius = rng.choice(LEAD_ACID), rng.uniform(0, 100), rng.uniform(-10, 35)
    table, V_per_K = KINDS[kind].rest, LEAD_CELL_V_PER_K.value + rng.uniform(-1, 1) * LEAD_CELL_V_PER_K.off
    in_table_V = np.interp(state_pct, table.state_pct, table.volts) + rng.uniform(-table.differ_V, table.differ_V)
    true_V = 2 * (in_table_V + 6 * V_per_K * (celsius - table.at_degC))
    bank = Bank(nominal_V=24.0, capacity_Ah=420.0, chemistry=kind, temperature_degC=float(celsius))
    state = rested_state(bank, float(true_V * (1 + rng.uniform(-0.005, 0.005))))
    if not isinstance(state, RestedState):  # far above full: taken for a bank that was not at rest
        return {}
    return {"state of charge from a rested voltage": state.state_pct.holds(state_pct)}


SIMULATIONS = (simulated_resistance, simulated_losses, simulated_state, simulated_rest)


def coverage(runs: int, seed: int = 20260613) -> dict[str, float]:
    """Return for each figure the share of runs in which its interval held the truth."""
    rng = np.random.default_rng(seed)
    held: dict[str, list[bool]] = {}
    for _ in range(runs):
        for simulation in SIMULATIONS:
            for name, inside in simulation(rng).items():
                held.setdefault(name, []).append(inside)
    return {name: float(np.mean(each)) for name, each in held.items()}


def main() -> int:
    """Print the table; 1 where a figure is recovered in fewer than 93 % of the runs."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n", 1)[0])
    parser.add_argument("runs", nargs="?", type=int, default=1000, help="of each simulation (default 1000)")
    runs = parser.parse_args().runs
    shares = coverage(runs)
    for name, share in shares.items():
        print(f"{name:40} {100 * share:5.1f} % of {runs} runs")
    return 0 if min(shares.values()) >= 0.93 else 1
