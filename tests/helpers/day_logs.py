"""Logs of a month at the invented market garden, one a day, and reports of days made by hand.

``python tests/tools day_logs FOLDER [DAYS]`` writes the logs.
"""

import argparse
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
from load_scenes import Load
from readings import US, how
from report_scenes import make_cycle, make_log

from shuntbook.analysis.charge.amounts import Amounts, Charge, Sureness
from shuntbook.analysis.cycles.cycle import Cycles, CycleSummary
from shuntbook.analysis.ledger.ledger import Ledger, LedgerLine
from shuntbook.analysis.ledger.local_days import days_in
from shuntbook.analysis.ledger.sustained import NOTHING_SEEN
from shuntbook.analysis.readings.measured_span import Gap, Span
from shuntbook.analysis.stats.interval95 import Component, judged
from shuntbook.ingest.log.log import Readings, new_log, to_batch
from shuntbook.ingest.log.meta import LogMeta

LONDON = ZoneInfo("Europe/London")
EVERY_S = 4.0
RECHARGED = "tank recharged"


def us(text, zone=UTC):
    """An instant by its date and clock. [us]"""
    return round(datetime.fromisoformat(text).replace(tzinfo=zone).timestamp()) * US


# -- by hand -----------------------------------------------------------------------------------------------------------


def made_log(name, start_us, stop_us, starts_us, *, gaps=(), amps=4.0, zone="Europe/London", **changes):
    """A report of a log with these starts (runs of 60 s) that drew so many amps at 25 V all the time it was measured.

    Other changes are those of its facts, or of its runs: ``run_s``, ``run_W``.
    """
    run_s, run_W = changes.pop("run_s", 60.0), changes.pop("run_W", 765.0)
    findings = changes.pop("findings", ())
    holes = tuple(Gap(a, b) for a, b in gaps)
    cycles = tuple(
        replace(make_cycle(0, run_s, None), start_us=at, stop_us=at + round(run_s * US), run_W=run_W)
        for at in sorted(starts_us)
    )
    whole = _charge(start_us, stop_us, holes, amps)
    edges = [start_us, *(x for gap in holes for x in (gap.start_us, gap.stop_us)), stop_us]
    days = days_in(np.array(edges[::2]), np.array(edges[1::2]), ZoneInfo(zone))
    lines = tuple(_line(day, start_us, stop_us, holes, amps) for day in days)
    covered_h = whole.span.covered_s / 3600
    summary = CycleSummary(len(cycles), len(cycles) / covered_h, len(cycles) * run_s / 3600 / covered_h, run_s, None)
    log = make_log(name, charge=whole, cycles=Cycles(cycles, summary, "current_A", "well pump"), findings=findings)
    facts = replace(log.facts, zone=zone, markers=(), remarks=(), **changes)
    return replace(log, facts=facts, ledger=Ledger(lines), close_up=None, plate=None, checks=())


def _line(day, start_us, stop_us, holes, amps):
    low, high = max(day.start_us, start_us), min(day.stop_us, stop_us)
    cut = tuple(Gap(max(g.start_us, low), min(g.stop_us, high)) for g in holes if g.start_us < high and g.stop_us > low)
    whole = _charge(low, high, cut, amps)
    return LedgerLine(day.date.isoformat(), day.start_us, day.stop_us, whole, NOTHING_SEEN, NOTHING_SEEN, None)


def _charge(start_us, stop_us, gaps, amps):
    span = Span(start_us, stop_us, 100, (stop_us - start_us) / US - sum(gap.length_s for gap in gaps), gaps)
    charge, energy = (_amounts(span.covered_s / 3600 * amps * volts) for volts in (1.0, 25.0))
    return Charge(how(), span, charge, energy, "volts x amps", None, span, "volts x amps")


def _amounts(drawn):
    sure = Sureness(*(judged(x, [Component("gain", 0.005 * x, even=1)]) for x in (drawn, 0.0, drawn)))
    return Amounts(drawn, 0.0, sure)


# -- by simulation -----------------------------------------------------------------------------------------------------


def readings_of(day, rng, *, run_s=75.0, rest_s=900.0, every_s=EVERY_S):
    """A local day's readings: a pump in the waking hours, a fridge day and night, the sun at noon."""
    start = datetime(day.year, day.month, day.day, tzinfo=LONDON)
    stop = datetime.combine(day + timedelta(days=1), datetime.min.time(), tzinfo=LONDON)
    start_us, stop_us = (round(at.timestamp()) * US for at in (start, stop))
    time_s = np.arange(0.0, (stop_us - start_us) / US, every_s)
    pump = Load(31.0 * rng.normal(1, 0.005), _waking(rng, run_s, rest_s))
    fridge = Load(4.0, [(x, x + 600.0) for x in np.arange(rng.uniform(0, 1800), 86400.0, 2100.0)])
    sun_A = 24.0 * np.clip(np.sin((time_s / 3600 - 6) / 13 * np.pi), 0, None) * rng.uniform(0.3, 1.0)
    current_A = 1.5 + pump.current_A(time_s) + fridge.current_A(time_s) - sun_A + rng.normal(0, 0.05, len(time_s))
    voltage_V = 25.4 - 0.012 * current_A + rng.normal(0, 0.004, len(time_s))
    time_us = start_us + np.rint(time_s * US).astype(np.int64)
    return Readings(time_us, {"current_A": np.round(current_A, 2), "voltage_V": np.round(voltage_V, 2)})


def _waking(rng, run_s, rest_s):
    runs, at_s = [], 6.5 * 3600 + rng.uniform(0, rest_s)
    while at_s < 21.5 * 3600:
        length_s = run_s * rng.uniform(0.85, 1.15)
        runs.append((at_s, at_s + length_s))
        at_s += length_s + rest_s * rng.gamma(3, 1 / 3)
    return runs


def write_day(folder, day, rng, *, markers=(), hole=None, every_s=EVERY_S, **pump):
    """Write a day's log, and return where; `hole` are two hours of the day between which nothing was read."""
    readings = readings_of(day, rng, every_s=every_s, **pump)
    if hole is not None:
        at_h = (readings.time_us - readings.time_us[0]) / (3600 * US)
        kept = (at_h < hole[0]) | (at_h > hole[1])
        readings = Readings(readings.time_us[kept], {name: x[kept] for name, x in readings.quantities.items()})
    path = Path(folder) / f"{day.isoformat()}.parquet"
    with new_log(path, list(readings.quantities)) as writer:
        writer.write(to_batch(readings))
        about = {
            "meter": "bank shunt",
            "zone": "Europe/London",
            "usual_interval_s": every_s,
            "gap_limit_s": 5 * every_s,
        }
        writer.finish(LogMeta(**about, markers=list(markers), source=[{"name": f"{day.isoformat()}.csv"}]))
    return path


def write_month(folder, days=30, first=date(2026, 10, 10), seed=1, every_s=EVERY_S, worn=9):
    """Write a month's logs: after the days `worn` the tank loses air, and is recharged on the twenty-second.

    One day has no log, and one has a hole; the clocks go back on 25 October.
    """
    rng = np.random.default_rng(seed)
    paths = []
    for k in range(days):
        day = first + timedelta(days=k)
        if k == 13:
            continue
        lost = 1.0 if k < worn or k >= 22 else max(0.12, 1.0 - 0.08 * (k - worn + 1))
        markers = [(us(f"{day}T10:40", LONDON), RECHARGED)] if k == 21 else []
        pump = {"run_s": 75.0 * lost, "rest_s": 900.0 * lost, "hole": (11.3, 14.6) if k == 5 else None}
        paths.append(write_day(folder, day, rng, markers=markers, every_s=every_s, **pump))
    return paths


def main():
    """Write the logs into a folder."""
    asked = argparse.ArgumentParser(description=main.__doc__)
    asked.add_argument("folder", type=Path)
    asked.add_argument("days", type=int, nargs="?", default=30)
    given = asked.parse_args()
    given.folder.mkdir(parents=True, exist_ok=True)
    write_month(given.folder, given.days)
