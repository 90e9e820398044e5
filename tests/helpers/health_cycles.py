"""Cycles made by hand, for the rules of health."""

from dataclasses import replace

import numpy as np

from shuntbook.analysis.cycles.cycle import Attempt, Cycle, Cycles, CycleSummary
from shuntbook.analysis.health.health import health_of
from shuntbook.analysis.health.limits import limits_for
from shuntbook.analysis.site.site import Site

US = 1_000_000
T0_US = 1_781_000_000 * US  # 9 June 2026
DAY_S = 86400.0


def site(*, kind="pump", limits=None, water=True, inverter=None, load=None, bank=None):
    """A garden with one load on one inverter, and a 44-gallon tank on a 40/60 psi switch."""
    made = {"name": "wash shed inverter", "continuous_VA": 3000, "efficiency_pct": 88, **(inverter or {})}
    tables = {
        "name": "Marrowbrook",
        "bank": {"nominal_V": 24, "capacity_Ah": 420, **(bank or {})},
        "inverters": [{key: value for key, value in made.items() if value is not None}],
        "loads": [{"name": "well pump", "kind": kind, "inverter": "wash shed inverter", "hp": 0.5, **(load or {})}],
        "limits": limits or {},
    }
    if water:
        tables["water"] = {
            "load": "well pump",
            "tank_volume_gal": 44,
            "precharge_psi": 38,
            "cut_in_psi": 40,
            "cut_out_psi": 60,
            "flow_gal_per_min": 10,
        }
    return Site.model_validate(tables)


def cycles(run_s, rest_s, *, draw_W=780.0, tail_s=3600.0, attempts=(), **changes):
    """Runs one after another, each after its rest; all arguments but the last may be one figure or one for each run.

    `changes` are fields of `Cycles`; ``cycle`` is a function that changes the k-th cycle.
    """
    count = np.broadcast(run_s, rest_s, draw_W).size
    run_s, rest_s, draw_W = (np.broadcast_to(x, count).astype(float) for x in (run_s, rest_s, draw_W))
    change = changes.pop("cycle", lambda k, cycle: cycle)
    start_s = np.cumsum(rest_s) + np.cumsum(run_s) - run_s
    made = tuple(change(k, _cycle(start_s[k], run_s[k], rest_s[k] if k else None, draw_W[k])) for k in range(count))
    end_s = float(start_s[-1] + run_s[-1] + tail_s) if count else tail_s
    summary = CycleSummary(count, None, None, None, None)
    known = {"covered_s": end_s, "first_us": T0_US, "last_us": T0_US + round(end_s * US), "attempts": tuple(attempts)}
    return Cycles(made, summary, "current_A", load="well pump", **(known | changes))


def _cycle(start_s, run_s, rest_s, draw_W):
    return Cycle(
        load="well pump",
        start_us=T0_US + round(start_s * US),
        stop_us=T0_US + round((start_s + run_s) * US),
        run_s=run_s,
        off_before_s=rest_s,
        surge_A=4.4 * draw_W / 24,
        surge_ratio=4.4,
        surge_resolved=True,
        run_A=draw_W / 24,
        peak_W=3000.0,
        run_W=draw_W,
        charge_Ah=draw_W / 24 * run_s / 3600,
        energy_Wh=draw_W * run_s / 3600,
        sag_V=0.9,
        complete=True,
        before_V=25.1,
        lowest_V=23.4,
    )


def still_running(made):
    """The same cycles, the last of them without an end."""
    last = replace(made.cycles[-1], stop_us=None, run_s=None, complete=False)
    return replace(made, cycles=(*made.cycles[:-1], last))


def attempt(start_s, lasted_s):
    """A start that failed."""
    return Attempt(T0_US + round(start_s * US), lasted_s, 137.0, 3300.0)


def healthy(count=60, seed=1):
    """A household with a sound tank: runs of 68 s and more, rests as people use water."""
    rng = np.random.default_rng(seed)
    return cycles(rng.uniform(68, 200, count), rng.exponential(2400, count) + 60, draw_W=rng.normal(780, 8, count))


def judged(made, place=None, *, every_s=1.0, last_gap_us=None):
    """What was checked, by code."""
    load = place.load("well pump") if place is not None else None
    health = health_of(made, limits_for(place, load), every_s, last_gap_us)
    return {check.code: check for check in health.checks}


def found(made, place=None, **how):
    """The codes that were found, with their severities."""
    return {
        code: check.finding.severity for code, check in judged(made, place, **how).items() if check.finding is not None
    }
