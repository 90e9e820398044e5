"""How long starts take and how high they go, and when they have grown too long."""

from dataclasses import replace
from math import inf

import numpy as np
import pytest
from health_cycles import T0_US, US, cycles
from readings import how

from shuntbook.analysis.health.runs import Runs
from shuntbook.analysis.not_known import Missing
from shuntbook.analysis.pump_pulse.starts import LONGER, load_starts, start_lengthens
from shuntbook.cli.render.wording.checks import of_starts, of_trend

FAST = how(usual_interval_s=0.1)
DAY_US = 86400 * US


def runs(lengths_s, **changes):
    """Runs with starts that took so long; None where that was not seen."""
    made = cycles(70.0, np.full(len(lengths_s), 900.0), cycle=lambda k, c: replace(c, start_s=lengths_s[k], **changes))
    return Runs(made, 0.1)


def a_month(first_s, last_s, days=30, a_day=6, seed=1, spread=0.1):
    """Starts of days in a row that grow evenly from one length to another, and scatter."""
    rng = np.random.default_rng(seed)
    day = np.repeat(np.arange(days), a_day)
    start_us = T0_US + day * DAY_US + np.tile(np.arange(a_day), days) * 3600 * US
    lengths_s = (first_s + (last_s - first_s) * day / (days - 1)) * np.exp(rng.normal(0, spread, len(day)))
    return start_us, lengths_s


def test_the_usual_start_is_the_median_with_its_interval():
    """Of six starts ranks give the lowest and the highest."""
    told = load_starts(runs([0.3, 0.31, 0.32, 0.33, 0.34, 0.35]), FAST)
    assert (told.length_s.value, told.length_s.low, told.length_s.high) == pytest.approx((0.325, 0.3, 0.35))
    assert told.height.value == pytest.approx(4.4)
    assert told.count == 6


def test_few_starts_have_no_interval():
    """Two starts show a length, and not how sure it is."""
    told = load_starts(runs([0.3, None, 0.34]), FAST)
    assert told.length_s.value == pytest.approx(0.32)
    assert (told.length_s.low, told.length_s.high) == (-inf, inf)
    assert told.count == 2


def test_the_array_hides_how_high_a_start_goes_but_not_how_long_it_takes():
    """Where it may have given a part, the top at the meter says nothing."""
    told = load_starts(runs([0.3] * 8, array_may_share=True), FAST)
    assert told.length_s.value == pytest.approx(0.3)
    assert isinstance(told.height, Missing)


@pytest.mark.parametrize(
    ("made", "reading", "why"),
    [
        (runs([None] * 8), how(sampling="mean", usual_interval_s=1.0), "the meter gives averages"),
        (runs([None] * 8), how(sampling="held"), "by eye"),
        (runs([None] * 8), how(usual_interval_s=2.0), "readings 2 s apart are too slow"),
        (runs([None] * 8, surge_ratio=1.1), FAST, "do not reach 1.5 times"),
        (runs([]), FAST, "no start was seen"),
    ],
)
def test_why_it_is_not_told_is_said(made, reading, why):
    """By figure and check alike."""
    told = load_starts(made, reading)
    assert why in told.length_s.because
    assert told.check.outcome == "not judged"
    assert why in told.check.remark


def test_starts_that_grow_from_a_third_of_a_second_to_four_are_found():
    """With both figures, the limit, and what to do first."""
    check = start_lengthens("The well pump", *a_month(0.35, 4.0))
    assert check.outcome == "found"
    assert check.finding.severity == "watch"
    # On the middle of the first three days 0.35 + 1/29 of the way, of the newest as much before its end.
    assert "took 0.49 s on the first days and takes 3.9 s now" in check.finding.plain
    assert f"at most {LONGER:g} times" in check.finding.plain
    assert "capacitor" in check.finding.causes
    assert len(check.finding.cycles) == 18  # those of the newest three days


def test_the_first_days_are_the_measure_not_the_first_start():
    """One wild start on the first day and one on the last are no trend."""
    start_us, lengths_s = a_month(0.35, 0.35)
    lengths_s[0], lengths_s[-1] = 0.05, 5.0
    assert start_lengthens("The pump", start_us, lengths_s).outcome == "passed"


@pytest.mark.parametrize("seed", range(30))
def test_healthy_starts_that_scatter_are_silent(seed):
    """Also where they drift by half, as from summer to winter."""
    assert start_lengthens("The pump", *a_month(0.35, 0.5, seed=seed, spread=0.25)).outcome == "passed"


def test_a_start_twice_as_long_must_be_sure():
    """The interval's lower end decides: of few starts that scatter widely it stays below twice."""
    assert start_lengthens("The pump", *a_month(0.35, 0.9, a_day=2, spread=0.4)).outcome == "passed"
    assert start_lengthens("The pump", *a_month(0.35, 0.9, a_day=40, spread=0.1)).outcome == "found"


def test_a_week_is_too_short_to_judge():
    """It says of how many days starts are known, and how many there must be."""
    check = start_lengthens("The pump", *a_month(0.35, 4.0, days=7))
    assert check.outcome == "not judged"
    assert "known of 7 days; at least 8 are needed" in check.remark


def test_one_start_a_day_is_too_few():
    """Three and three starts bear no interval of 95 %."""
    check = start_lengthens("The pump", *a_month(0.35, 4.0, a_day=1))
    assert check.outcome == "not judged"
    assert "too few starts" in check.remark


def test_one_log_of_many_days_tells_it_by_itself():
    """Its starts have a trend within the log, and the finding rests on the newest days' runs."""
    grown_s = np.linspace(0.35, 4.0, 60)
    made = cycles(70.0, np.full(60, 6 * 3600.0), cycle=lambda k, c: replace(c, start_s=grown_s[k]))
    told = load_starts(Runs(made, 0.1), FAST)
    assert told.check.outcome == "found"
    trends = {trend.name: trend for trend in told.trends}
    # 59 steps of 3.65 / 59 s, one each 6 h and 70 s.
    assert trends["start_s"].per_day == pytest.approx(3.65 / 59 * 86400 / 21670, rel=1e-6)
    assert trends["start_s"].sure
    assert not trends["surge_ratio"].sure
    assert of_trend(trends["start_s"]).startswith("length of a start 0.247 s a day (95 %: ")
    assert "top of a start over running 0 a day" in of_trend(trends["surge_ratio"])


def test_words_tell_what_is_known_of_length_and_height():
    """Each without the other where only one is known."""
    both = load_starts(runs([0.3, 0.31, 0.32, 0.33, 0.34, 0.35]), FAST)
    assert of_starts(both) == (
        "A start takes 0.325 s (0.300 to 0.350) until half of its surge is gone, and rises to 4.40 (4.40 to 4.40) "
        "times the running draw; seen of 6 starts."
    )
    high = of_starts(load_starts(runs([None] * 8), FAST))
    assert "not judged: readings 0.1 s apart are too slow for it. It rises to 4.40" in high
    assert "rises" not in of_starts(load_starts(runs([0.3] * 8, array_may_share=True), FAST))
