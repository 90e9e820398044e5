"""Reports of the invented market garden, built by hand, to render and look at."""

from dataclasses import replace

import numpy as np

from shuntbook.analysis.cautions import CAUTIONS
from shuntbook.analysis.charge.amounts import Amounts, Charge, Sureness
from shuntbook.analysis.charge.between_notes import MarkedStretch
from shuntbook.analysis.cycles.cycle import Cycle, Cycles, CycleSummary
from shuntbook.analysis.health.finding import Finding
from shuntbook.analysis.nameplate.plate_check import check_plate
from shuntbook.analysis.one_log.log_report import CloseUp, LogReport
from shuntbook.analysis.readings.chunk import Chunk
from shuntbook.analysis.readings.envelope import EnvelopeFold
from shuntbook.analysis.readings.log_facts import LogFacts
from shuntbook.analysis.readings.measured_span import Gap, HowRead, Span
from shuntbook.analysis.several_logs.report import Report
from shuntbook.analysis.site.site import Site
from shuntbook.analysis.stats.interval95 import Component, judged

SECOND_US = 1_000_000
START_US = 1_781_000_000 * SECOND_US  # 9 June 2026, 10:13:20 UTC


def make_site():
    """Marrowbrook, as far as the page needs it."""
    return Site.model_validate(
        {
            "name": "Marrowbrook",
            "bank": {"nominal_V": 24, "capacity_Ah": 420, "hour_rate_h": 20},
            "inverters": [{"name": "wash shed inverter", "continuous_VA": 3000, "efficiency_pct": 88, "idle_W": 28}],
            "loads": [
                {
                    "name": "well pump",
                    "kind": "pump",
                    "inverter": "wash shed inverter",
                    "voltage_V": 230,
                    "current_A": 5.0,
                    "hp": 0.5,
                    "power_factor": 0.58,
                }
            ],
        }
    )


def make_readings(cycles, length_s=3600):
    """Readings once a second: a fridge that comes and goes, and the pump on top while it runs."""
    second = np.arange(length_s)
    current_A = 3.0 + 2.0 * (second % 900 < 300) + 0.2 * np.sin(second / 7.0)
    for cycle in cycles:
        since_s = second - (cycle.start_us - START_US) / SECOND_US
        running = (since_s >= 0) & (since_s < (cycle.run_s or 0))
        current_A = current_A + running * (cycle.run_A or 0) + (since_s == 0) * 20.0
    voltage_V = 25.4 - 0.012 * current_A - second * 1e-4
    return Chunk(START_US + second * SECOND_US, {"current_A": current_A, "voltage_V": voltage_V})


def make_cycle(start_s, run_s=72.0, off_s=148.0, **changes):
    """One run of the pump, `start_s` after the log's start."""
    cycle = Cycle(
        load="well pump",
        start_us=START_US + round(start_s * SECOND_US),
        stop_us=START_US + round((start_s + run_s) * SECOND_US),
        run_s=run_s,
        off_before_s=off_s,
        surge_A=51.0,
        surge_ratio=1.65,
        surge_resolved=False,
        run_A=31.0,
        peak_W=1290.0,
        run_W=765.0,
        charge_Ah=0.625,
        energy_Wh=15.4,
        sag_V=0.63,
        complete=True,
    )
    return replace(cycle, **changes)


def make_log(name="open_day", **changes):
    """An hour of the open day, or of the week after with ``run_s`` and ``off_s`` to shorten its runs."""
    run_s, off_s = changes.pop("run_s", 72.0), changes.pop("off_s", 148.0)
    cycles = tuple(make_cycle(t, run_s, off_s) for t in np.arange(100.0, 3400.0, run_s + off_s))
    readings = make_readings(cycles)
    gap = Gap(START_US + 1500 * SECOND_US, START_US + 1740 * SECOND_US)
    seconds = (readings.time_us - START_US) / SECOND_US
    kept = (seconds <= 1500) | (seconds >= 1740)
    kept_readings = Chunk(readings.time_us[kept], {n: x[kept] for n, x in readings.quantities.items()})
    log = LogReport(
        facts=LogFacts(
            name=name,
            meter="bank shunt",
            side="dc",
            sampling="instant",
            gap_limit_s=10.0,
            usual_interval_s=1.0,
            zone="Europe/London",
            zone_assumed=True,
            undated=False,
            source=f"{name}.csv",
            rows_read=3371,
            rows_kept=3362,
            rows_rejected=7,
            rows_merged=2,
            remarks=("Decimal comma taken from the rows.",),
            markers=((START_US + 200 * SECOND_US, "first crates"), (START_US + 2400 * SECOND_US, "visitors arrive")),
        ),
        charge=Charge(
            HowRead("dc", "instant", 10.0, 1.0),
            Span(START_US, START_US + 3599 * SECOND_US, int(kept.sum()), 3359.0, (gap,)),
            Amounts(13.254, 0.0),
            Amounts(331.7, 0.0),
            "volts x amps",
            None,
        ),
        cycles=Cycles(cycles, CycleSummary(len(cycles), 16.1, 0.322, run_s, off_s), "current_A"),
        findings=(
            Finding("sampling_too_slow", "note", "Starts are not resolved", "All starts.", "0.2 s", "common practice"),
        ),
        envelopes={q: folded(kept_readings, q) for q in ("current_A", "voltage_V")},
        close_up=CloseUp(cycles[0], readings.part(90, 190)),
        plate=make_plate(),
    )
    return replace(log, **changes)


def make_plate(**changes):
    """The pump's plate beside an hour's measurement: 16 runs like those of the log."""
    taken = {"energy_Wh": 246 / 16, "charge_Ah": 9.9 / 16} | changes
    cycles = tuple(make_cycle(0.0, 72.45, **taken) for _ in range(16))
    summary = CycleSummary(16, 16.0, 0.322, 72.45, 148.0)
    return check_plate(make_site(), "well pump", Cycles(cycles, summary, "current_A"), covered_s=3600.0)


def folded(readings, quantity):
    """The envelope of a quantity."""
    fold = EnvelopeFold(quantity)
    fold.add(readings)
    return fold.result()


def make_later():
    """The week after: the tank has lost its air."""
    short = Finding(
        "short_cycling",
        "act",
        "The pump short-cycles",
        "Runs 1 to 117 lasted 9 s in the median.",
        "A run of at least 60 s",
        "a submersible-motor manual's table of starts",
        "The tank has lost its air.",
        "Let the pressure down and measure the air.",
    )
    watch = Finding("standing_draw", "watch", "Something draws all the time", "3.0 A.", "25 W", "common practice")
    return make_log("week_later", run_s=9.0, off_s=19.0, findings=(watch, short))


def make_report(*logs, **changes):
    """A report of one log or several."""
    return replace(Report(make_site(), logs or (make_log(),), CAUTIONS, "0.0.test"), **changes)


def with_parts(log, *ends_s, texts=("first crate", "second crate", "third crate")):
    """The log with notes at these seconds, and what went out between them: 1 Ah and 25 Wh in the first, and so on."""
    ends_us = [START_US + round(s * SECOND_US) for s in ends_s]
    parts = [
        MarkedStretch(
            at_us,
            text,
            at_us,
            stop_us,
            replace(log.charge, charge=_known(k), energy=_known(25.0 * k)),
        )
        for k, (at_us, stop_us, text) in enumerate(zip(ends_us, ends_us[1:], texts, strict=False), start=1)
    ]
    noted = with_facts(log, markers=tuple((part.at_us, part.text) for part in parts))
    return replace(noted, marked=tuple(parts))


def _known(drawn):
    sure = Sureness(*(judged(x, [Component("gain", 0.01 * x, even=1)]) for x in (drawn, 0.0, drawn)))
    return Amounts(drawn, 0.0, sure)


def with_facts(log, **changes):
    """The log with other facts."""
    return replace(log, facts=replace(log.facts, **changes))
