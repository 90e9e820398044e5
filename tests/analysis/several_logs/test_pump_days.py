"""A pump's flow and water over the logs of many days: as one, as a trend, and as a finding."""

from dataclasses import replace

import numpy as np
import pytest
from health_cycles import cycles, site
from logs_of_days import DAY_US, day_log, days_from, zone_of

from shuntbook.analysis.health.runs import Runs
from shuntbook.analysis.not_known import Missing
from shuntbook.analysis.pump_pulse.pulse import pump_pulse, with_days
from shuntbook.analysis.several_logs.newest_state import judged_days
from shuntbook.analysis.several_logs.over_logs import over_logs
from shuntbook.cli.render.documents.report import over_document
from shuntbook.cli.render.page.several_view import trends
from shuntbook.cli.render.wording.several_sentences import over_lines

DRAWDOWN_L = 42.97  # Boyle's law: 44 gal, 38/40/60 psi


def pumped_log(day, flow_L_per_min, name=None, *, runs=30):
    """A day's log of a pump that gives so much into the 44-gallon tank, water being drawn in most runs."""
    place, log = site(), day_log(day, name=name)
    run_s = 60 * DRAWDOWN_L / flow_L_per_min * np.random.default_rng(day.day).uniform(1.0, 1.9, runs)
    made = cycles(run_s, 20 * 3600 / runs - run_s)
    # Each day's runs begin at its own midnight.
    shift_us = log.charge.span.start_us - made.first_us
    own = tuple(replace(c, start_us=c.start_us + shift_us, stop_us=c.stop_us + shift_us) for c in made.cycles)
    made = replace(made, cycles=own, summary=log.cycles.summary)
    seen = Runs(made, 1.0)
    pulse = pump_pulse(place, place.load("well pump"), seen, log.charge.span, ())
    return replace(log, cycles=made, pulse=with_days(pulse, seen, log.ledger.days))


def over(flows):
    """All logs together, a day for each flow."""
    logs = [pumped_log(day, flow) for day, flow in zip(days_from("2026-06-01", len(flows)), flows, strict=True)]
    return over_logs(logs, zone_of, site=site())


def test_a_pump_that_gives_half_after_two_weeks_is_found_over_the_logs_though_in_none():
    """Each log is of one day; the finding is that of all, stands in page and terminal, and holds on the newest day."""
    worn = over(np.linspace(38, 19, 14))
    assert all(not one.log.findings for one in worn.logs)
    assert [each.finding.code for each in worn.findings] == ["flow_falls"]
    assert worn.pump.trend.change.holds(-0.5)
    lines = over_lines(worn)
    # The charts of the other figures may not contradict it: what moves comes first.
    falls = next(k for k, text in enumerate(lines) if "flow falls, by" in text)
    assert not any(text.startswith("From day to day: no change") for text in lines[:falls])
    assert "flow_falls" in {finding.code for day in judged_days(worn)[-1:] for finding in day.findings}
    row = next(row for row in trends(worn).rows if row[0].startswith("Flow of the pump"))
    assert row[-1] == "falling"
    document = over_document(worn)["pump_pulse"]
    assert document["trend"]["verdict"] == "falling"
    assert document["falls"]["outcome"] == "found"


def test_a_pump_that_goes_on_as_ever_is_not():
    """A fortnight of the same flow: no finding, and water a day with an interval that holds it."""
    sound = over(np.full(14, 38.0))
    assert not sound.findings
    running_s = [day.running_s for day in sound.pump.days]
    assert sound.pump.per_day_L.holds(38.0 * np.mean(running_s) / 60)
    assert any(text.startswith("The pump gave") for text in over_lines(sound))


def test_two_logs_of_one_day_are_one_day():
    """Morning and afternoon add up; a day of which one log is without a pump's runs is known by the other."""
    day = days_from("2026-06-01", 1)[0]
    morning = pumped_log(day, 38.0, "morning", runs=20)
    half_us = DAY_US // 2
    start_us = morning.charge.span.start_us
    span = replace(morning.charge.span, stop_us=start_us + half_us, covered_s=43200.0)
    lines = (replace(morning.ledger.days[0], whole=replace(morning.charge, span=span)),)
    morning = replace(morning, charge=replace(morning.charge, span=span), ledger=replace(morning.ledger, days=lines))
    later = replace(span, start_us=start_us + half_us, stop_us=start_us + DAY_US)
    lines = (replace(lines[0], whole=replace(morning.charge, span=later)),)
    facts = replace(morning.facts, name="afternoon")
    afternoon = replace(
        morning, facts=facts, charge=replace(morning.charge, span=later), ledger=replace(morning.ledger, days=lines)
    )
    (both,) = over_logs([morning, afternoon], zone_of, site=site()).pump.days
    (one,) = morning.pulse.days
    assert both.starts == 2 * one.starts
    assert both.pumped_L.value == pytest.approx(2 * one.pumped_L.value)
    assert both.flow_L_per_min == one.flow_L_per_min


def test_without_a_tank_nothing_is_said_of_water():
    """Logs read without a site file."""
    logs = [day_log(day) for day in days_from("2026-06-01", 3)]
    assert over_logs(logs, zone_of).pump is None
    few = over(np.full(3, 38.0))
    assert isinstance(few.pump.trend, Missing)
    assert few.pump.falls.outcome == "not judged"
