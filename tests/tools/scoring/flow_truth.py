"""Simulated days of water, and what the pump's runs say of its flow beside the true one.

``python tests/tools flow_truth --days 200`` prints how often the 95 % interval of the flow, and of the day's water,
holds the truth, by what the water is used for, and how wide the intervals are. Tank, gauges and switch are off from the
site file as they may be, the switch scatters, squeezed air may still be warm, and the readings are those of a meter at
the bank with other loads beside the pump. The suite does a small form of it.
"""

import argparse
from collections import defaultdict
from dataclasses import dataclass

import numpy as np
from readings import fed
from scenes import PUMP, Plan, build, plan
from scenes_parts import drawdown_L, hose, household, well_runs

from shuntbook.analysis.charge.charge import ChargeFold
from shuntbook.analysis.cycles.cycles import CycleFold
from shuntbook.analysis.health.health import health_of
from shuntbook.analysis.health.limits import limits_for
from shuntbook.analysis.health.runs import Runs
from shuntbook.analysis.one_log.watched_load import watched_load
from shuntbook.analysis.pump_pulse.pulse import PumpPulse, pump_pulse

SPAN_S = 86400.0
USES = ("household", "hoses", "leak", "drip line")


@dataclass(frozen=True)
class TrueDay:
    """A day: its plan, the pump's flow [L/min] and the water that it gave [L]."""

    made: Plan
    flow_L_per_min: float
    pumped_L: float


def draws_of(use: str, rng, flow: float, usable_L: float) -> list:
    """Water that is taken in a day."""
    if use == "household":
        return household(rng, SPAN_S, 8.0, rng.uniform(500, 2500))
    if use == "hoses":
        return hose(rng, SPAN_S, (60, 1500), (600, 5000), (0.2 * flow, 0.8 * flow))
    people = household(rng, SPAN_S, 8.0, rng.uniform(300, 1500))
    if use == "leak":
        return [*people, (0.0, 1e9, usable_L / rng.uniform(12, 90))]
    rate = rng.uniform(0.1, 0.6) * flow
    return [*people, *((21600.0 * k, 21600.0 * k + rng.uniform(1, 4) * 3600, rate) for k in (1, 2))]


def true_day(use: str, seed: int) -> TrueDay:
    """Make a day; what stands in its site file is off from what is true."""
    rng = np.random.default_rng([31, seed])
    made = plan(rng, SPAN_S, float(rng.choice([0.5, 1.0, 2.0, 4.0])), hp=float(rng.choice([0.5, 0.75, 1.0])))
    made.with_site, made.columns = True, ("current_A", "voltage_V")
    flow, tank_L = 24 * made.hp**0.4 * rng.uniform(0.85, 1.3), rng.uniform(60, 300)
    cut_in, cut_out, air = (p + rng.uniform(-1, 1) for p in (40.0, 60.0, 38.0))
    # The simulator's tank is charged to 2 psi below cut-in; another pre-charge is another amount of air in it.
    share = (air + 14.7) / (cut_in - 2.0 + 14.7)
    usable_L = drawdown_L(tank_L, share, cut_in, cut_out) * (1 - rng.uniform(0, 0.05))
    scatter = rng.normal(1, 0.01, 4096)
    draws = [each for each in draws_of(use, rng, flow, usable_L) if each[2] < 0.95 * flow]
    runs = well_runs(draws, lambda at: usable_L * scatter[int(at) % 4096], flow, SPAN_S)
    made.runs = [run for run in runs if run[1] < SPAN_S]
    stated_L = tank_L * rng.uniform(0.95, 1.05)
    made.water = {"tank_volume_L": stated_L, "cut_in_psi": 40, "cut_out_psi": 60, "precharge_psi": 38}
    # Half of the owners know the pump's flow, as a bucket and a watch tell it.
    if seed % 2:
        made.water["flow_L_per_min"] = flow * rng.normal(1, 0.04)
    return TrueDay(made, flow, sum(stop - start for start, stop in made.runs) * flow / 60)


def pulse_of(day: TrueDay, seed: int) -> PumpPulse:
    """Return what the readings of a day say."""
    scene = build("flow", seed, day.made)
    quantities, load = set(scene.chunk.quantities), scene.site.load(PUMP)
    watched = watched_load(scene.site, PUMP, scene.how, quantities)
    fold = CycleFold(scene.how, quantities, load=watched.name, expected=watched.expected)
    cycles, span = fed(fold, scene.chunk).result(), fed(ChargeFold(scene.how, quantities), scene.chunk).result().span
    checks = health_of(cycles, limits_for(scene.site, load, scene.how.side), scene.spacing_s).checks
    return pump_pulse(scene.site, load, Runs(cycles, scene.spacing_s), span, checks)


def main() -> None:
    """Print the table."""
    options = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    options.add_argument("--days", type=int, default=200)
    options.add_argument("--from-seed", type=int, default=0)
    options.add_argument("--show", action="store_true", help="Print each day whose flow lies outside.")
    asked = options.parse_args()
    rows, silent = defaultdict(list), defaultdict(int)
    for seed in range(asked.from_seed, asked.from_seed + asked.days):
        use = USES[seed // 2 % len(USES)]
        day = true_day(use, seed)
        pulse = pulse_of(day, seed)
        flow = getattr(pulse.flow, "flow_L_per_min", None)
        if flow is None or pulse.flow.air == "in doubt":
            silent[use] += 1
            continue
        true, litres = day.flow_L_per_min, pulse.pumped.pumped_L
        rows[use].append(
            (flow.holds(true), litres.holds(day.pumped_L), (flow.high - flow.low) / 2 / true, flow.value / true - 1)
        )
        if asked.show and not flow.holds(true):
            print(f"{use} {seed}: {flow.low:.4g} to {flow.high:.4g} said, {true:.4g} true")
    print("use          days  not judged  flow held  water held  half width (median, 90 %)  flow off by (median, 95 %)")
    for use, each in (*sorted(rows.items()), ("all", [row for of_use in rows.values() for row in of_use])):
        held, water, half, off = (np.array(column, dtype=float) for column in zip(*each, strict=True))
        print(
            f"{use:<11} {len(each):>5} {silent[use] if use in silent else sum(silent.values()) * (use == 'all'):>11}"
            f" {100 * held.mean():>8.1f} % {100 * water.mean():>9.1f} % {100 * np.median(half):>16.0f} %"
            f" {100 * np.quantile(half, 0.9):>4.0f} % {100 * np.median(off):>18.1f} %"
            f" {100 * np.quantile(np.abs(off), 0.95):>5.1f} %"
        )


if __name__ == "__main__":
    main()
