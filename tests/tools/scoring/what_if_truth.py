"""Simulated systems that are changed: what the change was said to do, beside what it does.

``python tests/tools what_if_truth --systems 200`` prints the share of figures that lie within their interval, or
within 5 % (of volts within the interval), by kind of change. A system's log is read as any log is; then tank, air,
pressures, use or bank are changed in the simulation, the same people draw the same water (with another use, for
longer), and what happens is counted. The site file's flow is off as a bucket and a watch are. The suite does a small
form of it.
"""

import argparse
from collections import defaultdict
from dataclasses import dataclass

import numpy as np
from readings import fed
from scenes import PUMP, Plan, Scene, TrueRun, _place, _true_runs, build, plan
from scenes_parts import Place, drawdown_L, hose, household, well_runs

from shuntbook.analysis.cycles.cycles import CycleFold
from shuntbook.analysis.forecast.load_from_log import measured_load
from shuntbook.analysis.forecast.measured_load import MeasuredLoad
from shuntbook.analysis.health.runs import busiest_hour
from shuntbook.analysis.not_known import Refusal
from shuntbook.analysis.one_log.watched_load import watched_load
from shuntbook.analysis.site.motor_kinds import usual_start_s
from shuntbook.analysis.site.units import L_PER_GAL
from shuntbook.analysis.sureness.meter_figures import NOTHING_STATED
from shuntbook.analysis.what_if.what_if import WhatIf, what_if
from shuntbook.cli.assembling.changes_asked import changes_of

KINDS = ("tank", "air", "pressures", "use", "bank")
SPAN_S, DAY_S = 24 * 3600.0, 86400.0
#: Figures are right within their interval or this share.
SHARE = 0.05


@dataclass(frozen=True)
class System:
    """What a simulated system is made of; the rest is by chance, and the same for one seed."""

    tank_L: float
    air_share: float
    cut_in_psi: float
    cut_out_psi: float
    use: float = 1.0
    bank: float = 1.0


def drawn(system: System, rng, flow: float) -> list:
    """Water that is taken: a household's, or hoses; with another use each for longer."""
    if rng.random() < 0.5:
        draws = household(rng, SPAN_S, 8.0, rng.uniform(500, 2500))
    else:
        draws = hose(rng, SPAN_S, (120, 1500), (600, 5000), (0.2 * flow, 0.8 * flow))
    return [(start, start + system.use * (stop - start), rate) for start, stop, rate in draws if rate < 0.95 * flow]


def made_of(system: System, seed: int) -> tuple[Plan, list, float]:
    """Return the plan of a system, its draws and its pump's flow."""
    rng = np.random.default_rng([20, seed])
    made = plan(rng, SPAN_S, float(rng.choice([0.5, 1.0, 2.0])), hp=float(rng.choice([0.5, 0.75, 1.0])))
    made.with_site, made.columns = True, ("current_A", "voltage_V")
    flow = float(24 * made.hp**0.4 * rng.uniform(0.85, 1.3))
    draws = drawn(system, rng, flow)
    usable_L = drawdown_L(system.tank_L, system.air_share, system.cut_in_psi, system.cut_out_psi)
    made.runs = [run for run in well_runs(draws, usable_L, flow, SPAN_S) if run[1] < SPAN_S]
    made.water = {
        "tank_volume_L": system.tank_L, "cut_in_psi": system.cut_in_psi, "cut_out_psi": system.cut_out_psi,
        "precharge_psi": system.cut_in_psi - 2.0, "flow_L_per_min": flow * rng.normal(1.0, 0.04),
    }  # fmt: skip
    made.rating = {"cut_off_V": 0.8 * made.bank_V}
    # What a bank is made of is drawn by chance when its place is made; here it is set, so that it can be changed.
    volts, strength = made.bank_V / 12, made.pump["run_W"] / 1000
    made.bank = {
        "capacity_Ah": 400.0 * system.bank, "soc_pct": 80.0,
        "ohm": 0.0045 * volts**2 / strength / system.bank, "lag_ohm": 0.003 * volts**2 / strength / system.bank,
    }  # fmt: skip
    return made, draws, flow


def changed(kind: str, before: System, seed: int) -> tuple[System, list[str]]:
    """Return a change: the system that it makes, and how a person asks for it; %s stands for the water of a day."""
    rng = np.random.default_rng([21, seed])
    if kind == "tank":
        tank_L = before.tank_L * float(np.exp(rng.uniform(np.log(0.4), np.log(4.0))))
        return System(tank_L, 1.0, before.cut_in_psi, before.cut_out_psi), [f"tank {tank_L / L_PER_GAL:.4f} gal"]
    if kind == "air":
        return System(before.tank_L, 1.0, before.cut_in_psi, before.cut_out_psi), ["pre-charge 38 psi"]
    if kind == "pressures":
        low = float(rng.choice([30, 50]))
        asked = [f"pressures {low:g}..{low + 20:g} psi", f"pre-charge {low - 2:g} psi"]
        return System(before.tank_L, 1.0, low, low + 20), asked
    if kind == "use":
        use = float(rng.uniform(0.4, 1.8))
        return System(before.tank_L, 1.0, before.cut_in_psi, before.cut_out_psi, use=use), ["use %s L a day"]
    size = float(rng.uniform(0.5, 3.0))
    asked = [f"bank {400 * size:.3f} Ah"]
    return System(before.tank_L, 1.0, before.cut_in_psi, before.cut_out_psi, bank=size), asked


def read(system: System, seed: int) -> tuple[Scene, MeasuredLoad]:
    """Return a system's log, and how its pump behaves by it."""
    scene = build("what if", seed, made_of(system, seed)[0])
    watched = watched_load(scene.site, PUMP, scene.how, set(scene.chunk.quantities))
    fold = CycleFold(scene.how, set(scene.chunk.quantities), load=watched.name, expected=watched.expected)
    start_s = usual_start_s(scene.site.load(PUMP), [])
    cycles = fed(fold, scene.chunk).result()
    return scene, measured_load(cycles, log="log", how=scene.how, figures=NOTHING_STATED, start_s=start_s)


def answered(kind: str, seed: int) -> tuple[WhatIf, System]:
    """Return what a change is said to do by the log of a system, and the changed system; Refusal if nothing is."""
    rng = np.random.default_rng([22, seed])
    air = float(rng.uniform(0.1, 0.35)) if kind == "air" else 1.0
    before = System(float(rng.uniform(60, 300)), air, 40.0, 60.0)
    after, asked = changed(kind, before, seed)
    scene, seen = read(before, seed)
    water_L = after.use * sum((stop - start) * rate / 60 for start, stop, rate in made_of(before, seed)[1])
    changes = changes_of(tuple(text.replace("%s", f"{water_L:.1f}") for text in asked))
    return what_if(scene.site, PUMP, changes, hours=SPAN_S / 3600, measured=seen), after


def truth(kind: str, system: System, seed: int) -> dict[str, float]:
    """Return what happens in a system; the lowest volts of a start are true ones, which a log shows in part."""
    made, _, _ = made_of(system, seed)
    place = _place(made)
    runs = [run for run in _true_runs(made, place) if np.isfinite(run.stop_s)]
    starts_s = np.array([run.start_s for run in runs])
    dips = {"lowest_V": float(np.median([_lowest_V(place, run) for run in runs]))} if kind == "bank" else {}
    return {
        "run_s": float(np.median([run.stop_s - run.start_s for run in runs])),
        "a_day": len(runs) * DAY_S / SPAN_S,
        "in_an_hour": float(busiest_hour((starts_s * 1e6).astype(np.int64))),
        "energy_Wh": sum(run.energy_Wh for run in runs),
    } | dips


def _lowest_V(place: Place, run: TrueRun) -> float:
    """Return how far the bank's voltage falls while a run begins. [V]"""
    return float(place.at_bank(np.linspace(run.start_s, min(run.start_s + 3, run.stop_s - 1e-3), 600))[1].min())


def held(result: WhatIf, happens: dict[str, float]) -> dict[str, tuple[float, float, bool]]:
    """Return of each figure what was said, what happens, and whether that lies within the interval or 5 %."""
    pairs = {}
    for code, true in happens.items():
        row = result.figure(code)
        if row is None or row.after is None:
            continue
        # Five percent of a voltage are more than most starts take of it.
        close = code != "lowest_V" and abs(row.after.value - true) <= SHARE * abs(true)
        pairs[code] = (row.after.value, true, bool(close or row.after.low <= true <= row.after.high))
    return pairs


def main() -> None:
    """Print the table."""
    options = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    options.add_argument("--systems", type=int, default=200)
    options.add_argument("--from-seed", type=int, default=0)
    options.add_argument("--show", action="store_true", help="Print each figure that lies outside.")
    asked = options.parse_args()
    right, close = defaultdict(list), defaultdict(list)
    for seed in range(asked.from_seed, asked.from_seed + asked.systems):
        kind = KINDS[seed % len(KINDS)]
        try:
            result, after = answered(kind, seed)
        except Refusal as why:
            print(f"{kind} {seed}: {why}")
            continue
        for code, (value, true, is_right) in held(result, truth(kind, after, seed)).items():
            right[kind, code].append(is_right)
            close[kind, code].append(value / true - 1)
            if asked.show and not is_right:
                print(f"{kind} {seed} {code}: {value:.4g} said, {true:.4g} happens")
    print("\nkind        figure       systems   within   median off   95 % off by")
    for (kind, code), each in sorted(right.items()):
        off = np.abs(close[kind, code])
        print(
            f"{kind:<11} {code:<12} {len(each):>7} {100 * np.mean(each):>7.0f} %"
            f" {100 * np.median(off):>10.1f} % {100 * np.quantile(off, 0.95):>11.1f} %"
        )
    everything = [x for each in right.values() for x in each]
    print(f"all of them: {100 * np.mean(everything):.1f} % of {len(everything)} figures")


if __name__ == "__main__":
    main()
