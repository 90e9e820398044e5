"""The pressure tank: lost air, leaks, and a pump that never reaches cut-out."""

from dataclasses import replace

import numpy as np
import pytest
from health_cycles import DAY_S, US, cycles, found, healthy, judged, site, still_running


def use(rng, count):
    """Rests as people use water."""
    return rng.exponential(2400, count) + 60


def test_runs_far_shorter_than_the_tank_allows_say_that_its_air_is_gone():
    """13 s where 44 gallons at 10 gal/min take 68 s (Boyle)."""
    made = cycles(13.0, np.random.default_rng(1).exponential(1500, 40) + 20)
    check = judged(made, site())["air_charge_lost"]
    assert check.finding.severity == "act"
    assert "none below 68 s at the site file's flow" in check.remark
    assert "Boyle" in check.source
    assert check.finding.cycles == tuple(cycle.start_us for cycle in made.cycles)


@pytest.mark.parametrize("share", [0.6, 1.0, 3.0])
def test_runs_that_the_tank_allows_say_nothing_of_its_air(share):
    """From 0.6 of the reckoned shortest run on the flow on the plate may be wrong by as much; longer runs are use."""
    made = cycles(68.0 * share, use(np.random.default_rng(2), 40))
    assert "air_charge_lost" not in found(made, site())


@pytest.mark.parametrize(
    ("least_s", "water", "run_s", "outcome", "words"),
    [
        (80, True, 50.0, "not judged", "the tank of the site file is too small for more (68 s), so they do not tell"),
        (
            80,
            True,
            100.0,
            "passed",
            "holds the water it was built for, but that is too little (68 s at the pump's flow",
        ),
        (60, True, 45.0, "not judged", "but not less than half of what the tank takes (68 s)"),
        (60, False, 45.0, "not judged", "a tank without its air and one that is too small look the same"),
        (60, True, 100.0, "passed", "usual run 100 s"),
    ],
)
def test_a_tank_whose_runs_are_too_brief_is_not_passed(least_s, water, run_s, outcome, words):
    """Nor one that is too small without saying so: what is passed here must not contradict what was found there."""
    made = cycles(run_s, use(np.random.default_rng(3), 40))
    checks = judged(made, site(water=water, limits={"minimum_run_s": least_s}))
    assert (checks["short_cycling"].outcome == "found") == (run_s < least_s)
    assert checks["air_charge_lost"].outcome == outcome
    assert words in checks["air_charge_lost"].remark


def fading(days=5, last=0.12, seed=1):
    """A tank of 90 s that keeps `last` of its water by the end; each use of 40 L starts as many cycles as it takes."""
    rng = np.random.default_rng(seed)
    run_s, rest_s = [], []
    for at in np.sort(rng.uniform(0, 1, 12 * days)):
        tank_s = 90.0 * (1 - (1 - last) * at)
        for k in range(max(1, int(120 / tank_s))):
            run_s.append(tank_s * rng.uniform(1.0, 1.6))
            rest_s.append(tank_s * rng.uniform(1.5, 3.0) if k else rng.exponential(days * DAY_S / (12 * days)) + 100)
    return cycles(run_s, rest_s)


@pytest.mark.parametrize("seed", range(10))
def test_runs_and_rests_that_both_shrink_say_that_air_is_being_lost(seed):
    """Against the log's own beginning, without knowing the tank."""
    check = judged(fading(seed=seed), site(water=False))["air_charge_lost"]
    assert check.outcome == "found"
    assert check.finding.severity == "watch"


@pytest.mark.parametrize("seed", range(10))
def test_a_tank_that_keeps_its_air_does_not_lose_it(seed):
    """The same use of a sound tank."""
    assert "air_charge_lost" not in found(fading(last=1.0, seed=seed), site(water=False))


@pytest.mark.parametrize("turned", [False, True])
def test_another_use_is_not_lost_air(turned):
    """From a hose (runs of 4 tanks, short rests) to a dripping tap (runs of one, long rests), and back again."""
    rng = np.random.default_rng(6)
    hose = (rng.uniform(250, 300, 40), rng.uniform(85, 95, 40))
    drip = (rng.uniform(68, 75, 40), rng.uniform(900, 1400, 40))
    parts = (drip, hose) if turned else (hose, drip)
    run_s, rest_s = (np.concatenate([part[k] for part in parts]) for k in (0, 1))
    assert found(cycles(run_s, rest_s), site(water=False)) == {}


def leaking(seed=1, count=30, every_s=1500.0, scatter=0.03):
    """A night and more: the pump comes on by itself at like intervals."""
    rng = np.random.default_rng(seed)
    return cycles(70.0 * rng.normal(1, 0.02, count), every_s * rng.normal(1, scatter, count))


@pytest.mark.parametrize("seed", range(10))
def test_like_rests_for_hours_say_that_water_leaks_away(seed):
    """Thirty starts, one every 25 min; before the first no rest is known."""
    check = judged(leaking(seed), site())["leak_down"]
    assert check.finding.severity == "watch"
    assert "29 runs of 70 s" in check.remark


def test_without_a_site_file_like_rests_are_a_note():
    """A thermostat runs a small freezer as regularly: that it is a pump must be said, or it wakes nobody."""
    assert found(leaking()) == {"leak_down": "note"}


def test_a_leak_is_found_below_a_day_s_use():
    """By day use comes between, by night the rests are alike."""
    rng = np.random.default_rng(3)
    night, day = leaking().cycles, rng.uniform(60, 1500, 20)
    rests = np.concatenate([day, [cycle.off_before_s or 1500.0 for cycle in night], day])
    runs = np.concatenate([rng.uniform(70, 200, 20), [cycle.run_s for cycle in night], rng.uniform(70, 200, 20)])
    check = judged(cycles(runs, rests), site())["leak_down"]
    assert check.outcome == "found"
    assert 28 <= len(check.finding.cycles) <= 33


def test_what_stops_again_was_no_leak():
    """Four hours of watering by drip, then a rest of seven hours: nothing leaks."""
    made = leaking(count=12)
    rests = [cycle.off_before_s or 1500.0 for cycle in made.cycles] + [7 * 3600.0, 3000.0, 9000.0]
    check = judged(cycles([cycle.run_s for cycle in made.cycles] + [70.0] * 3, rests), site())["leak_down"]
    assert check.outcome == "passed"
    assert "ended" in check.remark


def test_a_fridge_that_nobody_calls_one_is_no_leaking_pump():
    """Runs of 12 min every 40 min all night: without a site file they are not taken for a pump's."""
    rng = np.random.default_rng(4)
    made = cycles(720.0 * rng.normal(1, 0.04, 40), 1700.0 * rng.normal(1, 0.04, 40))
    checks = judged(made)
    assert found(made) == {}
    for code in ("leak_down", "air_charge_lost", "prime_lost", "never_cuts_out"):
        assert checks[code].outcome == "not judged"
        assert "site file" in checks[code].remark


@pytest.mark.parametrize("place", [site(), None])
def test_a_run_of_hours_that_ended_is_noted_as_what_it_was(place):
    """Three hours of watering where 2 min are usual: it did cut out, so no eye need be kept on it."""
    run_s = np.random.default_rng(5).uniform(68, 200, 30)
    run_s[20] = 3 * 3600.0
    finding = judged(cycles(run_s, use(np.random.default_rng(5), 30)), place)["never_cuts_out"].finding
    assert finding.severity == "note"
    assert finding.title == "The well pump ran for 3 h in one go, and stopped"
    assert "1 of 30 runs went on for up to 3 h, and ended" in finding.evidence


def test_a_run_beyond_the_owner_s_own_limit_is_to_be_watched():
    """The owner has said how long a run may be; it still did not fail to cut out."""
    run_s = np.random.default_rng(5).uniform(68, 200, 30)
    run_s[20] = 3 * 3600.0
    made = cycles(run_s, use(np.random.default_rng(5), 30))
    finding = judged(made, site(limits={"longest_run_s": 3600}))["never_cuts_out"].finding
    assert finding.severity == "watch"
    assert "does not cut out" not in finding.title


def test_a_long_run_that_ended_does_not_hide_one_that_goes_on():
    """Both in one log: the one that still runs when the log ends is what matters."""
    made = still_running(healthy(30))
    ended = replace(made.cycles[10], run_s=3 * 3600.0)
    made = replace(made, cycles=(*made.cycles[:10], ended, *made.cycles[11:]))
    made = replace(made, last_us=made.cycles[-1].start_us + 40 * 3600 * US)
    finding = judged(made, site())["never_cuts_out"].finding
    assert finding.severity == "watch"
    assert "does not cut out" in finding.title


def test_a_run_that_goes_on_at_the_log_s_end_has_not_cut_out():
    """Ten hours and still running; a gap within would leave open whether it ran on."""
    made = still_running(healthy(30))
    made = replace(made, last_us=made.cycles[-1].start_us + 10 * 3600 * US)
    check = judged(made, site())["never_cuts_out"]
    assert check.outcome == "found"
    assert "still when the log ended" in check.remark
    assert check.finding.cycles == (made.cycles[-1].start_us,)
    assert judged(made, site(), last_gap_us=made.cycles[-1].start_us + 1)["never_cuts_out"].outcome == "passed"
    assert judged(made, site(), last_gap_us=made.cycles[-1].start_us - 1)["never_cuts_out"].outcome == "found"


def test_a_run_at_the_log_s_end_is_judged_earlier():
    """80 min and still running, where 200 s was the longest: not cut out. 50 min may be a hose."""
    made = still_running(healthy(30))
    for minutes, outcome in ((80, "found"), (50, "passed")):
        last_us = made.cycles[-1].start_us + minutes * 60 * US
        assert judged(replace(made, last_us=last_us), site())["never_cuts_out"].outcome == outcome


@pytest.mark.parametrize("length_s", [2700.0, 6900.0])
def test_a_garden_hose_is_no_fault(length_s):
    """The pump runs for most of two hours while the garden is watered."""
    run_s = np.random.default_rng(5).uniform(68, 200, 30)
    run_s[[5, 20]] = length_s
    assert found(cycles(run_s, use(np.random.default_rng(5), 30)), site()) == {}


def test_a_long_run_of_another_draw_may_be_another_load_s():
    """A heater of half the draw that is on for four hours is no pump that does not cut out."""
    run_s = np.random.default_rng(5).uniform(68, 200, 30)
    run_s[20] = 4 * 3600.0
    draw_W = np.full(30, 780.0)
    draw_W[20] = 400.0
    made = cycles(run_s, use(np.random.default_rng(5), 30), draw_W=draw_W)
    assert judged(made, site())["never_cuts_out"].outcome == "passed"


def test_a_long_run_with_others_inside_was_mispaired():
    """A load cannot run twice at once."""
    rest_s = use(np.random.default_rng(5), 30)
    run_s = np.random.default_rng(5).uniform(68, 200, 30)
    run_s[20], rest_s[21] = 4 * 3600.0, -3 * 3600.0
    assert judged(cycles(run_s, rest_s), site())["never_cuts_out"].outcome == "passed"
