"""What only the logs of many days show together: starts that take longer from day to day."""

from dataclasses import replace

import pytest
from logs_of_days import day_log, days_from, zone_of

from shuntbook.analysis.health.finding import Check
from shuntbook.analysis.health.runs import Runs
from shuntbook.analysis.pump_pulse.starts import load_starts
from shuntbook.analysis.several_logs.newest_state import judged_days, newest_state
from shuntbook.analysis.several_logs.over_logs import over_logs
from shuntbook.cli.render.wording.verdict import verdict_over

HOURS = tuple(range(6, 22, 2))
JUDGED = Check("short_cycling", "passed", "", "", "")


def with_starts(log, length_s, height=4.2):
    """A day's log whose starts took so long and went so high; None where its readings did not show them."""
    made = tuple(replace(cycle, start_s=length_s, surge_ratio=height) for cycle in log.cycles.cycles)
    cycles = replace(log.cycles, cycles=made)
    return replace(log, cycles=cycles, checks=(JUDGED,), load_starts=load_starts(Runs(cycles, 0.1), log.charge.how))


def month(lengths_s):
    """A log a day with starts of these lengths, all of a day alike."""
    days = days_from("2026-06-01", len(lengths_s))
    logs = [with_starts(day_log(day, HOURS), length_s) for day, length_s in zip(days, lengths_s, strict=True)]
    return over_logs(logs, zone_of)


GROWING = [0.35 * (4.0 / 0.35) ** (k / 29) for k in range(30)]


def test_starts_that_grow_over_a_month_of_logs_are_found():
    """No log by itself shows it; it is a finding of the logs of the newest three days."""
    over = month(GROWING)
    (check,) = over.checks
    assert check.code == "start_lengthens"
    assert check.outcome == "found"
    (often,) = over.findings
    assert often.finding.code == "start_lengthens"
    assert [log.facts.name for log in often.logs] == ["2026-06-28", "2026-06-29", "2026-06-30"]


def test_it_is_the_state_of_the_newest_days():
    """The verdict on all logs tells it, since when, and that it was well before."""
    over = month(GROWING)
    state = newest_state(judged_days(over))
    assert state.finding.code == "start_lengthens"
    assert (state.days, state.before) == (3, 27)
    verdict = verdict_over(over)
    assert verdict.state == "watch"
    assert "takes 3.7 s now" in verdict.sentence
    assert "capacitor" in verdict.first_step


def test_length_and_height_are_followed_from_day_to_day():
    """Among the other figures, each with the interval of its change."""
    over = month(GROWING)
    trends = {trend.code: trend for trend in over.trends}
    assert trends["start_s"].verdict == "rising"
    assert trends["start_s"].per_day.low > 0.05
    assert trends["start_height"].verdict == "no change to be told"
    assert over.days[0].figures.start_s == pytest.approx(0.35)


def test_starts_that_stay_as_they_are_pass():
    """And leave the days healthy."""
    over = month([0.35 * (1 + 0.1 * (k % 3)) for k in range(30)])
    assert [check.outcome for check in over.checks] == ["passed"]
    assert over.findings == ()
    assert newest_state(judged_days(over)).finding is None


def test_logs_too_slow_for_a_start_are_not_judged():
    """Days of slow readings have neither figure nor verdict."""
    over = month([None] * 30)
    (check,) = over.checks
    assert check.outcome == "not judged"
    assert "too slow for it" in check.remark
    assert "start_s" not in {trend.code for trend in over.trends}


def test_days_that_show_no_start_are_passed_over():
    """Every other day read too slowly: the others tell it all the same."""
    over = month([length_s if k % 2 else None for k, length_s in enumerate(GROWING)])
    assert [check.outcome for check in over.checks] == ["found"]
