"""Limits: published ones with their check values, and the owner's own before them."""

import numpy as np
import pytest
from health_cycles import cycles, found, judged, site

from shuntbook.analysis.health.limits import limits_for


def limits(**given):
    """The limits of a place's pump."""
    place = site(**given)
    return limits_for(place, place.load("well pump"))


# A submersible-motor manual's table of starts; Water Well Journal, 'Tank Selection by the Numbers': 300 a day below
# 1 hp, 100 from 1 to 5.5 hp, 50 from 7.5 to 30 hp, single-phase; between two rows the stricter one.
@pytest.mark.parametrize(("hp", "a_day"), [(0.33, 300), (0.75, 300), (0.8, 100), (1.0, 100), (5.5, 100), (7.5, 50)])
def test_starts_a_day_are_those_published_for_the_motor_s_size(hp, a_day):
    """The table's rows, and the stricter one between them."""
    bound = limits(load={"hp": hp}).starts_per_day
    assert bound.value == a_day
    assert "manual" in bound.source


def test_the_shortest_run_is_that_of_boyle_s_drawdown():
    """44 gallons at 38/40/60 psi and 10 gal/min: 0.2579 of the tank (pre-charge 2 psi below cut-in), 68.1 s."""
    # Drawdown factor 0.2579: Boyle's law as printed by National Driller, worked out for 40/60 psi.
    bound = limits().tank_run_s
    assert bound.value == pytest.approx(0.2579 * 44 / 10 * 60, rel=2e-3)
    assert "Boyle" in bound.source


def test_without_a_pre_charge_two_psi_below_cut_in_are_taken_and_said():
    """Water Systems Council, wellcare 'Pressure Tanks' (2007)."""
    given = limits()
    place = site()
    tank = place.water.model_copy(update={"precharge_psi": None})
    assumed = limits_for(place.model_copy(update={"water": tank}), place.load("well pump"))
    assert assumed.tank_run_s.value == pytest.approx(given.tank_run_s.value)
    assert "assumed" in assumed.tank_run_s.source


def test_without_a_flow_a_switch_or_a_tank_there_is_no_shortest_run():
    """What is not in the site file is not made up."""
    place = site()
    for key in ("flow_gal_per_min", "cut_in_psi", "cut_out_psi"):
        tank = place.water.model_copy(update={key: None})
        assert limits_for(place.model_copy(update={"water": tank}), place.load("well pump")).tank_run_s is None, key
    assert limits(water=False).tank_run_s is None
    assert limits_for(None, None).tank_run_s is None


def test_the_owner_s_own_limits_go_first():
    """Every limit of the site file's table replaces the published one, and says so."""
    own = {
        "minimum_run_s": 30.0,
        "starts_per_day": 150.0,
        "starts_per_hour": 9.0,
        "longest_run_s": 900.0,
        "dry_running_pct": 60.0,
        "draw_drift_pct": 5.0,
        "low_voltage_V": 23.0,
        "standing_draw_W": 25.0,
    }
    given = limits(limits=own)
    bounds = (
        *(given.minimum_run_s, given.starts_per_day, given.starts_per_hour, given.longest_run_s),
        *(given.dry_share, given.drift_share, given.lowest_V, given.standing_W),
    )
    assert [bound.value for bound in bounds] == [30.0, 150.0, 9.0, 900.0, 0.6, 0.05, 23.0, 25.0]
    assert all(bound.source.startswith("the site file") for bound in bounds)
    assert not given.published_for_pumps


def test_voltage_limits_come_from_inverter_bank_and_chemistry():
    """The inverter's cut-off before 1.75 V a cell (common practice); the bank's own for what it rests at."""
    assert limits(inverter={"cut_off_V": 21.5}).lowest_V.value == 21.5
    assert limits(bank={"chemistry": "agm"}).resting_V.value == 21.0  # 12 cells of 1.75 V
    assert limits(bank={"chemistry": "lifepo4"}).resting_V is None
    assert limits().lowest_V is None
    assert limits(bank={"cut_off_V": 22.0}).resting_V.value == 22.0


def test_ratings_are_held_at_the_meter():
    """1,740 W are 3,000 VA at 0.58, over 88 % at the bank; a curve, a loss model and no figure by the same losses."""
    factor = {"power_factor": 0.58}
    assert limits(load=factor).continuous_W.value == pytest.approx(1740 / 0.88)
    curve = {"efficiency_pct": None, "idle_W": None, "efficiency_curve": [[100, 70], [1740, 90]]}
    assert limits(load=factor, inverter=curve).continuous_W.value == pytest.approx(1740 / 0.9)
    unknown = limits(load=factor, inverter={"efficiency_pct": None})
    assert unknown.continuous_W.value == pytest.approx(1740 / 0.85)  # Sandia/NMSU's long-used design value
    assert "85 %" in unknown.continuous_W.source
    model = {"loss_model": {"idle_W": 20.0, "proportional": 1.05, "square_per_W": 2e-5}}
    by_model = limits(load=factor, inverter={"efficiency_pct": None, "idle_W": None, **model})
    assert by_model.continuous_W.value == pytest.approx(1.05 * 1740 + 2e-5 * 1740**2)  # above what it idles at
    place = site(load=factor)
    assert limits_for(place, place.load("well pump"), "ac").continuous_W.value == pytest.approx(1740)
    assert limits().surge_W is None


def test_the_highest_power_factor_bounds_what_is_not_known():
    """No power factor given: 0.73 at most for such pumps, 0.85 standing still (from memory), so nothing is called over
    a rating that may not be; a rating in W is in W."""
    unknown = {"power_factor": None}
    ratings = limits(load=unknown, inverter={"efficiency_pct": 100, "surge_VA": 6000, "surge_s": 5})
    assert ratings.continuous_W.value == pytest.approx(0.73 * 3000)
    assert ratings.surge_W.value == pytest.approx(0.85 * 6000)
    in_W = limits(load=unknown, inverter={"efficiency_pct": 100, "continuous_VA": None, "continuous_W": 3000})
    assert in_W.continuous_W.value == pytest.approx(3000)


def test_a_limit_for_another_kind_of_motor_is_a_note_that_names_it():
    """The starts of submersible motors do not judge a compressor, unless its owner has set a limit."""
    made = cycles(9.0, np.full(60, 21.0))
    assert found(made, site(kind="compressor", water=False)) == {"short_cycling": "note"}
    assert "this is a compressor" in judged(made, site(kind="compressor", water=False))["short_cycling"].remark
    own = {"minimum_run_s": 30.0, "starts_per_day": 100.0}
    assert found(made, site(kind="compressor", water=False, limits=own)) == {"short_cycling": "act"}


def test_short_runs_and_many_starts_ask_for_action():
    """Runs of 9 s every 30 s: both limits are crossed. Without a site file nobody says that it is a motor."""
    made = cycles(9.0, np.full(60, 21.0))
    assert found(made, site(water=False)) == {"short_cycling": "act", "air_charge_lost": "watch"}
    assert found(made)["short_cycling"] == "watch"
    assert "60 starts in the busiest hour" in judged(made, site())["short_cycling"].remark


def test_short_runs_now_and_then_want_watching():
    """Runs of 40 s every half an hour are too brief, though they are few."""
    assert found(cycles(40.0, np.random.default_rng(1).uniform(300, 4000, 30)), site(water=False)) == {
        "short_cycling": "watch"
    }


def test_too_many_starts_a_day_are_an_average_of_a_long_log():
    """Every 4 min for a day is more than 300; for three hours, the same rate says nothing of a day."""
    rests = np.random.default_rng(3).uniform(100, 200, 400)
    long, short = cycles(70.0, rests), cycles(70.0, rests[:45])
    assert judged(long, site())["short_cycling"].outcome == "found"
    assert "starts in 24 h on average" in judged(long, site())["short_cycling"].remark
    assert judged(short, site())["short_cycling"].outcome == "passed"


def test_the_tap_a_quarter_open_is_no_fault():
    """The fastest cycle of a sound tank, 4 D / Q (from memory): 60 s drawdown, 2 min on, 2 min off, for three hours."""
    assert found(cycles(136.0, np.full(40, 136.0)), site()) == {}


def test_a_bad_day_is_not_hidden_by_good_weeks():
    """The newest third of the runs is judged by itself too."""
    run_s = np.concatenate([np.random.default_rng(4).uniform(68, 150, 100), np.full(60, 12.0)])
    rest_s = np.concatenate([np.random.default_rng(5).exponential(3000, 100) + 60, np.full(60, 25.0)])
    assert found(cycles(run_s, rest_s), site())["short_cycling"] == "act"
