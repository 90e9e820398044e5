"""Runs too brief for the readings: what rises is a lower bound of starts, and over the limit is over the limit."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from examples import examples
from health_cycles import site
from hypothesis import given
from hypothesis import strategies as st
from load_scenes import cycles_of
from readings import T0_US, US, chunk_of

from shuntbook.analysis.health.health import health_of
from shuntbook.analysis.health.limits import limits_for
from shuntbook.analysis.health.voltage import ABOVE_CUT_OFF
from shuntbook.analysis.signal_levels.rises import RiseCounter

HOUR_S = 3600.0
SPACINGS = [5.0, 10.0, 15.0, 20.0, 30.0]


def on_share(starts_s, stops_s, time_s, *, means):
    """Whether something is on at these times, or which share of the time since the one before."""
    ran_s = np.concatenate([[0.0], np.cumsum(stops_s - starts_s)])

    def until(t):
        k = np.searchsorted(starts_s, t, side="right")
        last = np.maximum(k - 1, 0)
        return ran_s[last] + np.where(k > 0, np.minimum(t, stops_s[last]) - starts_s[last], 0.0)

    if means:
        return np.diff(until(time_s), prepend=0.0) / np.diff(time_s, prepend=0.0)
    k = np.maximum(np.searchsorted(starts_s, time_s, side="right") - 1, 0)
    return ((time_s >= starts_s[k]) & (time_s < stops_s[k])).astype(float)


def cycling(run_s=6.0, rest_s=11.0, *, span_s=6 * HOUR_S, spells=((0.2, 0.5), (0.7, 0.8)), seed=1):
    """Starts and stops of a pump on a tank without air, in the spells in which water is drawn."""
    rng = np.random.default_rng(seed)
    starts, stops = [], []
    for begin, end in spells:
        now = begin * span_s
        while now < end * span_s:
            starts.append(now)
            stops.append(now + run_s * rng.uniform(0.9, 1.1))
            now = stops[-1] + rest_s * rng.uniform(0.8, 1.3)
    return np.array(starts), np.array(stops)


def log_of(every_s, starts_s, stops_s, *, means=False, watts=780.0, rest_V=25.2, sun_W=0.0, span_s=6 * HOUR_S):
    """Amps and volts of a pump at a bank that gives 30 W beside it; a fridge of 100 W goes by its thermostat."""
    time_s = np.arange(every_s, span_s, every_s)
    drawn_W = 30.0 + watts * on_share(starts_s, stops_s, time_s, means=means) - sun_W
    drawn_W += 100.0 * (time_s % 2000.0 < 600.0)
    amps = np.round(drawn_W / 25.0 + np.random.default_rng(9).normal(0, 0.03, len(time_s)), 2)
    return chunk_of(time_s, current_A=amps, voltage_V=np.round(rest_V - 0.02 * amps, 2))


def check_of(chunk, every_s, place, *, means=False, expected_W=700.0):
    """What is said of short cycles."""
    load = place.load("well pump") if place is not None else None
    named = {"load": "well pump", "expected": expected_W / 25.0} if place is not None else {}
    cycles = cycles_of(chunk, every_s, sampling="mean" if means else "instant", **named)
    checks = health_of(cycles, limits_for(place, load), every_s).checks
    return next(check for check in checks if check.code == "short_cycling")


@pytest.mark.parametrize("every_s", SPACINGS)
@pytest.mark.parametrize("means", [False, True])
@pytest.mark.parametrize("place", [site(), None])
def test_rises_over_the_limit_are_starts_over_the_limit(every_s, means, place):
    """Runs of 6 s and rests of some 11 s, 200 starts an hour; means of 20 s and more even that out, not 50 s cycles."""
    made = cycling(15.0, 35.0) if means and every_s > 15 else cycling()
    check = check_of(log_of(every_s, *made, means=means), every_s, place, means=means)
    assert check.outcome == "found"
    assert check.finding.severity in (("watch", "act") if place is not None else ("watch",))
    assert "starts too often" in check.finding.title
    assert check.remark.startswith("at least ")
    assert 20 < int(check.remark.split()[2]) <= 220  # no more than there were


def test_what_rises_prove_holds_from_the_first_bad_hour_to_the_last():
    """Runs of 6 s in spells on three days: each day is bad, whichever has the busiest hour."""
    day_s = 24 * HOUR_S
    made = cycling(rest_s=60.0, span_s=3 * day_s, spells=((0.1, 0.13), (0.5, 0.51), (0.9, 0.92)))
    finding = check_of(log_of(10.0, *made, span_s=3 * day_s), 10.0, site()).finding
    first_s, last_s = ((us - T0_US) / US for us in finding.span_us)
    # An hour is told by its quarters, and begins up to three before the first start that makes it one too many.
    assert made[0][0] - HOUR_S < first_s < made[0][0] + HOUR_S
    assert made[0][-1] - 2 * HOUR_S < last_s <= made[0][-1]
    (busiest_us,) = finding.cycles
    assert finding.span_us[0] <= busiest_us <= finding.span_us[1]


def test_what_means_even_out_is_not_said_to_have_passed():
    """Means of 30 s over 17 s cycles hardly move: nothing is proved, and nothing is passed either."""
    check = check_of(log_of(30.0, *cycling(), means=True), 30.0, site(), means=True)
    assert check.outcome == "not judged"


@pytest.mark.parametrize("every_s", SPACINGS)
@pytest.mark.parametrize("means", [False, True])
@pytest.mark.parametrize("place", [site(), None])
def test_a_sound_pump_seldom_read_is_no_short_cycling(every_s, means, place):
    """Runs of 80 s, a rest of 2 to 5 min while water is drawn, beside a fridge."""
    check = check_of(log_of(every_s, *cycling(80.0, 200.0), means=means), every_s, place, means=means)
    assert check.outcome != "found"


def test_rises_at_the_inverters_cut_off_are_the_voltage_s():
    """The bank stands at 21.6 V while they run, and the inverter switches off at 21.5 V."""
    low = site(inverter={"cut_off_V": 21.5})
    check = check_of(log_of(10.0, *cycling(), rest_V=22.2), 10.0, low)
    assert check.outcome == "not judged"
    assert "the inverter may end the runs" in check.remark
    assert check_of(log_of(10.0, *cycling(), rest_V=21.5 * ABOVE_CUT_OFF + 1.5), 10.0, low).outcome == "found"


def test_clouds_and_smaller_loads_are_not_the_pump_s():
    """A drum of 150 W turns for hours, where the plate says 700 W; or the sun, while the bank is charged, in means."""
    assert check_of(log_of(10.0, *cycling(), watts=150.0), 10.0, site()).outcome != "found"
    sunny = log_of(10.0, *cycling(), watts=600.0, sun_W=900.0, means=True)
    assert check_of(sunny, 10.0, site(), means=True).outcome != "found"
    assert check_of(log_of(10.0, *cycling(), watts=600.0, sun_W=900.0), 10.0, site()).outcome == "found"


def test_small_rises_beside_few_runs_of_a_load_nobody_named_are_not_its_starts():
    """A lamp of 50 W by the second minute, beside five runs of 20 min of what draws 780 W: too few to judge."""
    every_s, time_s = 5.0, np.arange(5.0, 6 * HOUR_S, 5.0)
    runs = np.array([0.1, 0.25, 0.45, 0.6, 0.85]) * 6 * HOUR_S
    drawn_W = 30.0 + 780.0 * on_share(runs, runs + 1200.0, time_s, means=False)
    drawn_W += 50.0 * on_share(*cycling(), time_s, means=False)
    amps = np.round(drawn_W / 25.0 + np.random.default_rng(4).normal(0, 0.03, len(time_s)), 2)
    chunk = chunk_of(time_s, current_A=amps, voltage_V=np.round(25.2 - 0.02 * amps, 2))
    assert len(cycles_of(chunk, every_s).cycles) == 5
    assert check_of(chunk, every_s, None).outcome == "not judged"


@pytest.mark.parametrize("ratio", [0.6, 1.0, 1.55])
def test_rises_of_another_size_than_a_pumps_own_runs_are_not_its_starts(ratio):
    """Twelve runs of 3 min at 780 W, and 6 s pulses of a hob; where these draw as much they may be its own."""
    time_s = np.arange(10.0, 6 * HOUR_S, 10.0)
    runs = np.linspace(0.02, 0.95, 12) * 6 * HOUR_S
    pulses = on_share(*cycling(spells=((0.2, 0.25), (0.6, 0.65))), time_s, means=False)
    pump = on_share(runs, runs + 180.0, time_s, means=False)
    noise_A = np.random.default_rng(3).normal(0, 0.03, len(time_s))
    amps = np.round((30.0 + 780.0 * (pump + ratio * pulses)) / 25.0 + noise_A, 2)
    chunk = chunk_of(time_s, current_A=amps, voltage_V=np.round(25.2 - 0.02 * amps, 2))
    assert (check_of(chunk, 10.0, site()).outcome == "found") is (ratio == 1.0)


def test_a_few_rises_in_a_long_log_are_within_the_limit():
    """Ten starts an hour, hardly seen."""
    assert check_of(log_of(10.0, *cycling(6.0, 350.0)), 10.0, site()).outcome != "found"


@given(
    lengths_s=st.lists(st.tuples(st.floats(0.5, 40.0), st.floats(0.5, 40.0)), min_size=3, max_size=60),
    every_s=st.sampled_from(SPACINGS),
    means=st.booleans(),
    cuts=st.lists(st.integers(1, 400), max_size=4),
)
def test_rises_are_never_more_than_starts(lengths_s, every_s, means, cuts):
    """Whatever runs and rests there are, and wherever the readings are cut: a lower bound."""
    edges_s = 40.0 + np.cumsum([x for pair in lengths_s for x in pair])
    starts_s, stops_s = edges_s[::2], edges_s[1::2]
    time_s = np.arange(every_s, edges_s[-1] + 100.0, every_s)
    x = 30.0 * on_share(starts_s, stops_s, time_s, means=means)
    whole, parts = RiseCounter(means=means), RiseCounter(means=means)
    whole.take(*readings(time_s, x))
    bounds = [0, *sorted({cut for cut in cuts if cut < len(x)}), len(x)]
    for a, b in pairwise(bounds):
        parts.take(*(column[max(a - 1, 0) : b] for column in readings(time_s, x)))
        before = parts.result().count.sum()
        assert parts.result().count.sum() == before  # asking changes nothing
    assert whole.result().count.sum() <= len(starts_s)
    assert parts.result().count.sum() <= len(starts_s)


def readings(time_s, x):
    """Times, levels, volts and gaps as the counter takes them."""
    return T0_US + (time_s * US).astype(np.int64), x, np.full(len(x), 24.0), np.zeros(len(x), dtype=bool)


@examples(8, 100)
@given(cuts=st.lists(st.integers(1, 2000), max_size=6))
def test_where_a_log_is_cut_makes_no_difference(cuts):
    """The counts of the fold, and what is asked in the middle changes nothing."""
    chunk = log_of(10.0, *cycling())
    whole, cut = (cycles_of(chunk, 10.0, cuts=sorted(set(c))).rises for c in ([], [c for c in cuts if c < len(chunk)]))
    for name in ("quarter", "size", "count", "volts", "charged"):
        np.testing.assert_array_equal(getattr(whole, name), getattr(cut, name))


def test_fast_readings_show_runs_themselves():
    """A reading a second: no rises are counted beside the runs."""
    chunk = log_of(1.0, *cycling(), span_s=HOUR_S)
    assert cycles_of(chunk, 1.0).rises is None
    assert replace(cycles_of(chunk, 1.0), rises=None) == cycles_of(chunk, 1.0)
