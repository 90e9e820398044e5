"""Starts that fail, and surges beyond the inverter's rating; trends and the slope beneath them."""

from dataclasses import replace

import numpy as np
import pytest
from health_cycles import DAY_S, attempt, cycles, found, healthy, judged, site
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import theilslopes

from shuntbook.analysis.health.runs import Runs
from shuntbook.analysis.health.trends import trends_of
from shuntbook.analysis.stats.ranks import theil_sen


def tried(count, lasted_s):
    """Healthy cycles, and starts that failed between them."""
    return replace(healthy(), attempts=tuple(attempt(300.0 + 20 * k, lasted_s) for k in range(count)))


@pytest.mark.parametrize(
    ("count", "lasted_s", "codes"),
    [
        (0, 1.0, {}),
        (1, 1.0, {}),
        (2, 1.0, {"start_trip": "watch"}),
        (6, 0.6, {"start_trip": "act"}),
        (2, 4.0, {"stalled_start": "watch"}),
        (6, 8.0, {"stalled_start": "act"}),
    ],
)
def test_failed_starts_are_trips_or_stalls_by_how_long_they_last(count, lasted_s, codes):
    """Cut off within 2 s it was a trip, later the motor did not turn; one may be chance."""
    assert found(tried(count, lasted_s), site(), every_s=0.2) == codes


def test_failed_starts_name_their_instants():
    """The finding rests on the attempts, not on the cycles."""
    made = tried(3, 1.0)
    check = judged(made, site(), every_s=0.2)["start_trip"]
    assert check.finding.cycles == tuple(a.start_us for a in made.attempts)
    assert "3 starts failed" in check.remark
    assert "137 A" in check.remark


def test_slow_readings_show_no_failed_start():
    """A reading every 5 s: that none was seen says nothing."""
    for made in (healthy(), tried(6, 10.0)):
        checks = judged(made, site(), every_s=5.0)
        assert checks["start_trip"].outcome == checks["stalled_start"].outcome == "not judged"


def test_a_surge_beyond_the_rating_wants_watching():
    """3,000 W at the bank where 2,000 VA for 5 s are rated (2,273 W at 88 %); 6,000 VA are enough."""
    assert found(healthy(), site(inverter={"surge_VA": 2000})) == {"surge_over_rating": "watch"}
    assert found(healthy(), site(inverter={"surge_VA": 6000})) == {}
    assert judged(healthy(), site())["surge_over_rating"].outcome == "not judged"


def test_a_surge_that_was_not_resolved_is_said_to_be_a_lower_bound():
    """Whatever the rating, the true surge may have been higher."""
    made = healthy()
    unseen = replace(made, cycles=tuple(replace(c, surge_resolved=False) for c in made.cycles))
    check = judged(unseen, site(inverter={"surge_VA": 6000}))["surge_over_rating"]
    assert check.outcome == "not judged"
    assert "may be higher" in check.remark


@given(
    st.lists(
        st.tuples(st.integers(0, 1000), st.integers(-1000, 1000)), min_size=8, max_size=40, unique_by=lambda p: p[0]
    )
)
def test_the_slope_is_that_of_scipy(points):
    """Median slope and 95 % interval agree with an independent implementation (scipy.stats.theilslopes)."""
    x, y = np.array(points, dtype=float).T
    slope, low, high = theil_sen(x, y)
    theirs = theilslopes(y, x, 0.95)
    assert slope == pytest.approx(theirs.slope)
    # Scipy takes away the ties of y in the variance; ours keeps the wider interval.
    assert low <= theirs.low_slope + 1e-9
    assert high >= theirs.high_slope - 1e-9
    if len(set(y)) == len(y):
        assert (low, high) == (pytest.approx(theirs.low_slope), pytest.approx(theirs.high_slope))


def test_trends_give_change_a_day_and_over_the_log():
    """Runs that grow by 2 s a day, of 80 s, over ten days: seen within the interval; the draw stays."""
    rng = np.random.default_rng(1)
    rest_s = rng.uniform(0.5, 1.5, 200) * 10 * DAY_S / 200
    at_d = np.cumsum(rest_s) / DAY_S
    made = cycles(80 + 2 * at_d + rng.normal(0, 3, 200), rest_s, draw_W=rng.normal(780, 8, 200))
    trends = {trend.name: trend for trend in trends_of(Runs(made, 1.0))}
    assert set(trends) == {"run_W", "run_s", "off_before_s"}
    assert trends["run_s"].low <= 2 <= trends["run_s"].high
    assert trends["run_s"].sure
    assert trends["run_s"].change == pytest.approx(2 * 10 / 90, rel=0.15)
    assert trends["run_s"].count == 200
    assert not trends["run_W"].sure


def test_short_or_few_cycles_have_no_trend():
    """An afternoon, or ten cycles in a week."""
    assert trends_of(Runs(cycles(80.0, np.full(60, 100.0)), 1.0)) == ()
    assert trends_of(Runs(cycles(80.0, np.full(10, 60000.0)), 1.0)) == ()
