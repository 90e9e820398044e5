"""Simulated months of a pump that wears, and of healthy ones: how many of the first are found, and of the last silent.

``python tests/tools wear_months --months 50`` prints a table by what wears; ``--from-seed`` takes other months. A month
is 30 logs of one system, one a day, each read as any log is, then all together as ``report`` does. Where starts are
looked at, a log is an hour at a reading every 0.05 or 0.1 s, and a start takes 0.35 s at first and 4 s at the end;
where the flow is, a day at 1 or 2 s, and the flow falls to 35 %. By chance are the system, use, and how the wear goes
on: at an even pace, late or early; healthy pumps vary from day to day as well. The suite does a small form of it.
"""

import argparse
from collections import defaultdict
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from datetime import UTC

import numpy as np
from readings import US, Chunk, fed
from scenes import PUMP, Plan, Scene, build, fridge, lights, plan
from scenes_parts import drawdown_L, hose, household, well_runs

from shuntbook.analysis.one_log.log_analysis import LogAnalysis
from shuntbook.analysis.one_log.log_report import LogReport
from shuntbook.analysis.one_log.site_folds import SiteFolds
from shuntbook.analysis.readings.log_facts import LogFacts
from shuntbook.analysis.several_logs.over_logs import OverLogs, over_logs
from shuntbook.sample_data.physics import Inverter

DAYS, DAY_S = 30, 86400.0
#: What wears: which finding must tell it. Of healthy months neither may.
CODES = {"start": "start_lengthens", "flow": "flow_falls"}
KINDS = ("start", "flow", "healthy start", "healthy flow")
FIRST_START_S, LAST_START_S, LAST_FLOW = 0.35, 4.0, 0.35


@dataclass(frozen=True)
class Month:
    """A system over a month: what a day's log is made of, by chance once, the same all month.

    ``pace`` bends the way from healthy (0) to worn (1): 1 is even, more is late.
    """

    seed: int
    kind: str
    hp: float
    bank_V: float
    every_s: float
    flow_L_per_min: float
    tank_L: float
    pace: float
    start_s: float
    lightens: float
    parts: dict

    @property
    def worn(self) -> bool:
        """Whether anything wears."""
        return self.kind in CODES

    @property
    def of_starts(self) -> bool:
        """Whether its logs are made to show starts."""
        return "start" in self.kind

    def wear(self, day: int) -> float:
        """How far it has worn by a day: 0 to 1."""
        return (day / (DAYS - 1)) ** self.pace if self.worn else 0.0


def month_of(kind: str, seed: int) -> Month:
    """Return a month's system."""
    rng = np.random.default_rng([207, KINDS.index(kind), seed])
    hp = float(rng.choice([0.5, 0.75, 1.0]))
    made = plan(rng, 3600.0, 1.0, hp=hp)
    volts, strength = made.bank_V / 12, made.pump["run_W"] / 1000
    parts = {
        "pump": made.pump,
        "meter": made.meter | {"window_s": 0.0},
        "columns": ("current_A", "voltage_V"),
        "plate_off": made.plate_off,
        "inverter": Inverter(rng.uniform(8, 35), rng.uniform(1.04, 1.12), rng.uniform(0.5, 3) * 1e-5 / strength),
        "bank": {
            "capacity_Ah": 400.0, "ohm": 0.0045 * volts**2 / strength, "lag_ohm": 0.003 * volts**2 / strength,
            "lag_s": 90.0,
        },
        "place": {"base_W": rng.uniform(5, 40), "hum_W": rng.uniform(0, 1.5)},
    }  # fmt: skip
    of_starts = "start" in kind
    every_s = float(rng.choice([0.05, 0.1] if of_starts else [1.0, 2.0]))
    return Month(
        seed, kind, hp, made.bank_V, every_s,
        flow_L_per_min=float(24 * hp**0.4 * rng.uniform(0.85, 1.3)),
        tank_L=float(rng.uniform(80, 250)),
        pace=float(np.exp(rng.uniform(np.log(0.5), np.log(3.0)))),
        start_s=FIRST_START_S * rng.uniform(0.85, 1.15),
        lightens=float(rng.uniform(0.0, 0.25)),
        parts=parts,
    )  # fmt: skip


def day_plan(month: Month, day: int) -> Plan:
    """Return what a day's log is to be made of: another use each day, and a pump that is as worn as by then."""
    rng = np.random.default_rng([208, KINDS.index(month.kind), month.seed, day])
    span_s = 3600.0 if month.of_starts else DAY_S
    made = Plan(rng, span_s, month.every_s, month.hp, month.bank_V, **month.parts)
    made.bank = made.bank | {"soc_pct": rng.uniform(60, 95)}
    made.first_hour = 0.0 if not month.of_starts else 10.0
    wear = month.wear(day)
    flow = month.flow_L_per_min * rng.normal(1.0, 0.02)
    # A healthy start varies by some percent from day to day, with cold and the bank's voltage.
    start_s = month.start_s * np.exp(rng.normal(0.0, 0.06))
    made.pump = dict(made.pump)
    if month.kind == "start":
        start_s *= (LAST_START_S / month.start_s) ** wear
    elif month.kind == "flow":
        flow *= LAST_FLOW**wear
        made.pump["run_W"] *= 1 - month.lightens * wear
    # Half of what a start draws beyond running is gone after 0.885 of this: exp(-0.885^3) = 0.5.
    made.pump["surge_s"] = start_s / 0.885
    made.others = [fridge(made), *lights(made, 2, 40.0)]
    usable_L = drawdown_L(month.tank_L, 1.0, 40.0, 60.0)
    if month.of_starts:
        draws = hose(rng, span_s, (60, 400), (60, 500), (0.3 * flow, 0.7 * flow))
    else:
        draws = [draw for draw in household(rng, span_s, 0.0, rng.uniform(500, 1500)) if draw[2] < 0.9 * flow]
    made.runs = [run for run in well_runs(draws, usable_L, flow, span_s) if run[1] < span_s]
    made.water = {
        "tank_volume_L": month.tank_L, "cut_in_psi": 40, "cut_out_psi": 60, "precharge_psi": 38,
        "flow_L_per_min": month.flow_L_per_min,
    }  # fmt: skip
    return made


def read(month: Month, day: int) -> LogReport:
    """Return the report of a day's log."""
    scene: Scene = build(month.kind, month.seed, day_plan(month, day))
    chunk = Chunk(scene.chunk.time_us + round(day * DAY_S * US), scene.chunk.quantities)
    rows, spacing_s = len(chunk), scene.how.usual_interval_s
    facts = LogFacts(
        *(f"day {day}", None, scene.how.side, scene.how.sampling, scene.how.gap_limit_s, spacing_s),
        *("UTC", False, False, "simulated", rows, rows, 0, 0),
    )
    quantities = set(chunk.quantities)
    folds = SiteFolds(scene.how, quantities, (), site=scene.site, zone=UTC)
    analysis = LogAnalysis(facts, scene.how, quantities, site=scene.site, load=PUMP, site_folds=folds)
    return replace(fed(analysis, chunk).result().in_short())


def month_report(kind: str, seed: int, days=range(DAYS)) -> OverLogs:
    """Return what the logs of a month show together; fewer days are a faster month of the same wear."""
    month = month_of(kind, seed)
    return over_logs([read(month, day) for day in days], lambda facts: UTC)


def outcome(kind: str, seed: int) -> tuple[dict[str, str], dict[str, str]]:
    """Return what came of each check of a month, and what was seen."""
    checks = month_report(kind, seed).checks
    return {check.code: check.outcome for check in checks}, {check.code: check.remark for check in checks}


def is_right(kind: str, outcomes: dict[str, str]) -> bool:
    """Tell whether a worn month is found, or a healthy one silent."""
    if kind in CODES:
        return outcomes.get(CODES[kind]) == "found"
    return "found" not in outcomes.values()


def main() -> None:
    """Print the table."""
    options = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    options.add_argument("--months", type=int, default=50, help="Months of each kind.")
    options.add_argument("--from-seed", type=int, default=0)
    options.add_argument("--kinds", default=",".join(KINDS))
    options.add_argument("--jobs", type=int, default=1)
    options.add_argument("--show", action="store_true", help="Print each month as soon as it is read.")
    asked = options.parse_args()
    seeds = range(asked.from_seed, asked.from_seed + asked.months)
    pairs = [(kind, seed) for seed in seeds for kind in asked.kinds.split(",")]
    right, judged = defaultdict(list), defaultdict(list)
    with ProcessPoolExecutor(asked.jobs) as pool:
        for (kind, seed), (came, seen) in zip(pairs, pool.map(outcome, *zip(*pairs, strict=True)), strict=True):
            right[kind].append(is_right(kind, came))
            judged[kind].append(came.get(CODES[kind.split()[-1]], "not judged") != "not judged")
            if asked.show:
                print(f"{kind} {seed}: {'right' if right[kind][-1] else 'WRONG'}, {came} {seen}", flush=True)
    print("what wears      months   judged   found (worn) or silent (healthy)")
    for kind, each in right.items():
        print(f"{kind:<15} {len(each):>6} {100 * np.mean(judged[kind]):>6.0f} % {100 * np.mean(each):>10.1f} %")


if __name__ == "__main__":
    main()
