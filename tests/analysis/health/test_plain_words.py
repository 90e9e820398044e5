"""What a finding says to whoever sees nothing else: two short sentences, with the figure seen and the limit."""

import re
from dataclasses import replace

import numpy as np
import pytest
from health_cycles import attempt, cycles, healthy, judged, site, still_running

from shuntbook.analysis.health.finding import Check, is_judged
from shuntbook.analysis.health.health import health_of, sign_check
from shuntbook.analysis.health.limits import limits_for
from shuntbook.analysis.quality.sign_check import SignCheck

PUMP = site()
OFTEN = cycles(13.0, np.full(60, 74.0))


def low(voltage_V):
    """A change of each run's lowest voltage."""
    return lambda k, cycle: replace(cycle, lowest_V=voltage_V)


def dry():
    """Twelve usual runs, then six at a dry pump's draw."""
    draw_W = np.where(np.arange(24) < 18, 780.0, 420.0)
    return cycles(90.0, np.linspace(900, 1500, 24), draw_W=draw_W)


def long_last():
    """Usual runs, the last of which goes on for three hours and is still running."""
    return still_running(cycles(np.append(np.full(20, 90.0), 10.0), 1200.0, tail_s=3 * 3600 - 10.0))


CASES = [
    (OFTEN, PUMP, "short_cycling", "The well pump starts 24 times an hour. It should be at most 12 on average."),
    (
        OFTEN,
        None,
        "short_cycling",
        "The well pump starts 24 times an hour. For a motor it should be at most 12 on average.",
    ),
    (
        cycles(13.0, np.append(np.full(25, 60.0), np.full(3, 20000.0))),
        PUMP,
        "short_cycling",
        "The well pump started 25 times in one hour. It should be at most 20.",
    ),
    (
        cycles(13.0, np.full(24, 60.0), tail_s=60.0),
        PUMP,
        "short_cycling",
        "The well pump started 24 times in 28 min. It should be at most 20 in an hour.",
    ),
    (
        cycles(13.0, np.full(40, 60.0), tail_s=60.0),
        PUMP,
        "short_cycling",
        "The well pump started 40 times in 47.5 min. It should be at most 20 in an hour.",
    ),
    (
        cycles(13.0, np.full(40, 2000.0)),
        PUMP,
        "short_cycling",
        "The well pump runs for 13 s at a time. It should be at least 60 s.",
    ),
    (OFTEN, PUMP, "air_charge_lost", "Runs last 13 s. With air in its tank none would be shorter than 68 s."),
    (
        OFTEN,
        site(water=False),
        "air_charge_lost",
        "Runs last 13 s, rests 74 s. A run should last at least 60 s, a rest 3 min.",
    ),
    (
        cycles(90.0, np.full(12, 1700.0)),
        PUMP,
        "leak_down",
        "11 starts came evenly, every 29.8 min. 6 in a row or more may be a leak.",
    ),
    (dry(), PUMP, "prime_lost", "The well pump drew 420 W in 6 runs. It should be at least 546 W."),
    (long_last(), PUMP, "never_cuts_out", "The well pump ran for 3 h in one go. It should be 60 min at most."),
    (
        cycles(90.0, np.full(20, 1200.0), cycle=low(21.2)),
        site(inverter={"cut_off_V": 21.5}),
        "low_voltage",
        "The bank fell to 21.20 V during a run. It should be at least 21.5 V.",
    ),
    (
        cycles(90.0, np.full(20, 1200.0)),
        site(inverter={"continuous_VA": None, "continuous_W": 650}),
        "overload",
        "The well pump draws 780 W. Its inverter can give 739 W.",
    ),
    (
        cycles(90.0, np.full(20, 1200.0), base_W=72.0),
        site(limits={"standing_draw_W": 40}),
        "standing_draw",
        "72 W are drawn while the well pump rests. It should be at most 40 W.",
    ),
    (
        cycles(90.0, np.full(20, 1200.0), attempts=[attempt(k * 60.0, 1.0) for k in range(5)]),
        PUMP,
        "start_trip",
        "5 starts of the well pump were cut off after 1 s. It should be one at most.",
    ),
    (
        cycles(90.0, np.full(20, 1200.0), attempts=[attempt(k * 60.0, 8.0) for k in range(5)]),
        PUMP,
        "stalled_start",
        "5 starts of the well pump stayed at their surge for 8 s. It should be 2 s at most.",
    ),
    (
        cycles(90.0, np.full(20, 1200.0)),
        site(inverter={"surge_W": 1700}),
        "surge_over_rating",
        "A start of the well pump takes 3,000 W. Its inverter can give 1,932 W.",
    ),
]


@pytest.mark.parametrize(
    ("made", "place", "code", "plain"), CASES, ids=[f"{k}-{case[2]}" for k, case in enumerate(CASES)]
)
def test_a_finding_says_in_two_short_sentences_what_was_seen_and_how_it_should_be(made, place, code, plain):
    """Both figures stand in it, and what to do first beside it."""
    finding = judged(made, place, every_s=0.5)[code].finding
    assert finding.plain == plain
    assert len(re.findall(r"\. |\.$", plain)) == 2
    assert len(plain) <= 90
    assert finding.first_step.endswith(".")
    assert len(finding.first_step) <= 100


def test_readings_too_far_apart_say_how_often_one_should_come():
    """What can be told of runs of a minute and more from readings every 30 s."""
    finding = judged(healthy(), PUMP, every_s=30.0)["sampling_too_slow"].finding
    assert finding.plain == "Only runs of 90 s or more can be seen. A reading should come every 2 s." or (
        finding.plain.endswith("Only what lasts 90 s can be judged.")
    )
    assert finding.first_step == "Take a log with a reading every 2 s or faster."


def test_a_swapped_sign_says_so_and_why():
    """The steps against it and all of them are told."""
    finding = sign_check(
        SignCheck(plausible=False, against=60, steps=70, resistance_ohm=-0.012, correlation=0.9)
    ).finding
    assert finding.plain == "Draw and return seem swapped: the volts rise with the draw, 60 times of 70."


def test_a_few_runs_of_a_day_are_told_by_the_day():
    """Where fewer than one start an hour is allowed, the day tells how many."""
    made = cycles(90.0, np.full(40, 2400.0))
    plain = judged(made, site(limits={"starts_per_day": 20}))["short_cycling"].finding.plain
    assert plain == "The well pump starts 33 times a day. It should be at most 20."


def test_a_motor_is_judged_by_the_length_of_its_runs_and_another_load_by_anything():
    """A load is called healthy only where what decides was judged."""
    few = health_of(cycles(90.0, np.full(3, 900.0)), limits_for(PUMP, PUMP.load("well pump")), 1.0).checks
    many = health_of(healthy(), limits_for(PUMP, PUMP.load("well pump")), 1.0).checks
    heater = site(kind="heater", water=False)
    warm = health_of(healthy(), limits_for(heater, heater.load("well pump")), 1.0).checks
    assert (is_judged(few), is_judged(many), is_judged(warm)) == (False, True, True)
    assert not is_judged(
        [Check("charge_wrong_sign", "passed", "", "", ""), Check("overload", "not judged", "", "", "")]
    )
