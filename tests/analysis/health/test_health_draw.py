"""The running draw: dry running, drift, overload; standing draw; voltage."""

from dataclasses import replace

import numpy as np
import pytest
from health_cycles import DAY_S, cycles, found, healthy, judged, site

from shuntbook.analysis.health.limits import limits_for
from shuntbook.analysis.signal_levels.rises import Rises


def days(count, length_d, draw_W, seed=1, **changes):
    """So many runs spread over so many days."""
    rng = np.random.default_rng(seed)
    rest_s = rng.uniform(0.5, 1.5, count) * length_d * DAY_S / count
    return cycles(rng.uniform(68, 150, count), rest_s, draw_W=draw_W, **changes)


def test_a_draw_that_falls_to_half_says_that_the_prime_is_lost():
    """Four runs at 55 % of the pump's own usual draw (trade sources: 40 to 75 %)."""
    draw_W = np.concatenate([np.random.default_rng(1).normal(780, 8, 30), [425, 430, 428, 431]])
    made = days(34, 2, draw_W)
    check = judged(made, site())["prime_lost"]
    assert check.finding.severity == "act"
    assert "4 runs" in check.remark
    assert "55 % of the usual 780 W" in check.remark
    assert check.finding.cycles == tuple(cycle.start_us for cycle in made.cycles[-4:])
    assert found(made)["prime_lost"] == "watch"


@pytest.mark.parametrize(
    "low",
    [
        {10: 430.0, 25: 425.0},  # two, far apart
        dict.fromkeys(range(0, 34, 3), 430.0),  # draws as usual between
        {30: 300.0, 31: 420.0, 32: 520.0, 33: 540.0},  # nothing alike
        dict.fromkeys(range(28, 34), 600.0),  # 77 %
        dict.fromkeys(range(20, 24), 430.0),  # four, and as usual again
        dict.fromkeys(range(30, 34), 200.0),  # a quarter: another load's
    ],
)
def test_what_is_not_a_dry_pump_is_not_called_one(low):
    """Single runs, runs with usual ones between, runs of all sizes, and runs that draw three quarters."""
    draw_W = np.full(34, 780.0)
    draw_W[list(low)] = list(low.values())
    assert "prime_lost" not in found(days(34, 2, draw_W), site())


def test_runs_that_the_array_shares_take_no_part():
    """At noon the array gives half of the draw: the runs say nothing of the pump."""
    draw_W = np.full(34, 780.0)
    draw_W[28:] = 400.0
    made = days(34, 2, draw_W)
    shared = tuple(replace(c, array_may_share=k >= 28) for k, c in enumerate(made.cycles))
    assert "prime_lost" in found(made, site())
    assert found(replace(made, cycles=shared), site()) == {}


def test_one_dry_run_that_goes_on_and_on_is_enough():
    """The pump runs dry for half an hour, never to reach its cut-out."""
    run_s = np.append(np.random.default_rng(1).uniform(68, 150, 30), 1800.0)
    made = cycles(run_s, np.full(31, 2000.0) + np.arange(31) * 100, draw_W=np.append(np.full(30, 780.0), 420.0))
    assert found(made, site()) == {"prime_lost": "act"}


def test_one_low_run_that_soon_ended_is_neither_found_nor_passed():
    """Twenty minutes at half the draw may be two other loads that stepped together."""
    run_s = np.append(np.random.default_rng(1).uniform(68, 150, 30), 1200.0)
    made = cycles(run_s, np.full(31, 2000.0) + np.arange(31) * 100, draw_W=np.append(np.full(30, 780.0), 420.0))
    check = judged(made, site())["prime_lost"]
    assert check.finding is None
    assert "one run of 20 min" in str(check)


def test_one_odd_run_before_usual_ones_is_no_dry_pump():
    """The pump that drew as usual afterwards has not lost its prime."""
    run_s = np.append(np.random.default_rng(1).uniform(68, 150, 30), [1800.0, 90.0])
    draw_W = np.append(np.full(30, 780.0), [420.0, 780.0])
    assert found(cycles(run_s, np.full(32, 2000.0) + np.arange(32) * 100, draw_W=draw_W), site()) == {}


@pytest.mark.parametrize(("long_s", "is_dry"), [([1000.0, 1900.0, 2700.0], True), ([1000.0, 1900.0], False)])
def test_three_dry_runs_that_go_on_and_on_are_enough_though_it_drew_as_usual_afterwards(long_s, is_dry):
    """Somebody switched it off each time, and there was water again; two may be another load's."""
    run_s = np.concatenate([np.random.default_rng(1).uniform(68, 150, 30), long_s, [90.0, 120.0, 80.0]])
    draw_W = np.concatenate([np.full(30, 780.0), np.full(len(long_s), 500.0), np.full(3, 780.0)])
    made = cycles(run_s, 2000.0 + 100 * np.arange(len(run_s)), draw_W=draw_W)
    assert ("prime_lost" in found(made, site())) is is_dry


def test_a_dry_run_of_hours_is_no_pump_that_never_cuts_out():
    """Its reason is known: it is not said twice."""
    run_s = np.append(np.random.default_rng(1).uniform(68, 150, 30), 4 * 3600.0)
    made = cycles(run_s, np.full(31, 2000.0) + np.arange(31) * 100, draw_W=np.append(np.full(30, 780.0), 420.0))
    assert found(made, site()) == {"prime_lost": "act"}


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("seed", range(5))
def test_a_draw_that_drifts_over_days_is_found_with_its_interval(sign, seed):
    """15 % in ten days, through 3 % of scatter."""
    rng = np.random.default_rng(seed)
    draw_W = 780 * (1 + sign * 0.15 * np.linspace(0, 1, 120)) * rng.normal(1, 0.03, 120)
    check = judged(days(120, 10, draw_W, seed), site())["draw_drift"]
    assert check.finding.severity == "watch"
    assert ("rises" if sign > 0 else "falls") in check.finding.title
    assert "95 %" in check.remark


@pytest.mark.parametrize("seed", range(10))
def test_scatter_is_no_drift(seed):
    """5 % of scatter, and 8 % between day and night, for ten days."""
    rng = np.random.default_rng(seed)
    made = days(120, 10, 780.0, seed)
    at_d = np.array([cycle.start_us for cycle in made.cycles]) / 8.64e10
    draw_W = 780 * rng.normal(1, 0.05, 120) * (1 + 0.08 * np.sin(2 * np.pi * at_d))
    assert found(days(120, 10, draw_W, seed), site()) == {}


@pytest.mark.parametrize(("change", "codes"), [(0.15, {}), (0.35, {"draw_drift": "watch"})])
def test_amps_alone_must_drift_by_more(change, codes):
    """An inverter takes more amps from a lower bank for the same watts: 15 % may be that, 35 % are not."""
    made = days(120, 10, 780 * np.linspace(1, 1 + change, 120))
    amps = replace(made, cycles=tuple(replace(c, run_W=None) for c in made.cycles))
    assert found(amps, site()) == codes


def test_low_draws_without_a_surge_are_no_pump_s():
    """Where starts are resolved, a dry pump still starts like a motor; a cloud does not."""
    made = days(34, 2, np.concatenate([np.full(30, 780.0), np.full(4, 430.0)]))
    cloud = tuple(replace(c, surge_ratio=1.05) if k >= 30 else c for k, c in enumerate(made.cycles))
    unseen = tuple(replace(c, surge_resolved=False) for c in cloud)
    assert found(replace(made, cycles=cloud), site()) == {}
    assert found(replace(made, cycles=unseen), site()) == {"prime_lost": "act"}


def test_a_trend_needs_days():
    """Two hours are no trend."""
    assert judged(days(60, 0.1, 780.0), site())["draw_drift"].outcome == "not judged"


def test_a_draw_beyond_the_inverter_s_rating_asks_for_action():
    """900 VA are 657 W at the highest power factor of such pumps, 0.73 (from memory), and 747 W at the bank: 780 fail.

    As watts for VA they would have held: 900 / 0.88 are 1,023 W.
    """
    check = judged(healthy(), site(inverter={"continuous_VA": 900}, load={"power_factor": None}))["overload"]
    assert check.finding.severity == "act"
    assert "747 W" in check.limit


def test_a_draw_far_beyond_the_plate_wants_watching():
    """Twice the plate's estimate; at its service factor a motor may draw 1.43 times (a manual, from memory)."""
    half, service = (site(load={"power_W": 780 * 0.88 / times}) for times in (2.0, 1.43))
    assert found(healthy(), half) == {"overload": "watch"}
    assert found(healthy(), service) == {}


def test_standing_draw_is_held_against_the_owner_s_limit_only():
    """No limit is published: without one nothing is said."""
    made = replace(healthy(), base_W=72.0)
    assert found(made, site(limits={"standing_draw_W": 40})) == {"standing_draw": "watch"}
    assert found(made, site(limits={"standing_draw_W": 100})) == {}
    assert judged(made, site())["standing_draw"].outcome == "not judged"
    unknown = judged(replace(made, base_W=None), site(limits={"standing_draw_W": 40}))
    assert unknown["standing_draw"].outcome == "not judged"


def volts(made, which, **changes):
    """The same cycles, some with other volts."""
    return replace(made, cycles=tuple(replace(c, **changes) if k in which else c for k, c in enumerate(made.cycles)))


def test_a_bank_pulled_below_the_inverter_s_cut_off_is_found():
    """21.2 V where the inverter switches off at 21.5 V: twice wants watching, often asks for action, once is chance."""
    place = site(inverter={"cut_off_V": 21.5})
    assert found(volts(healthy(), {3, 9}, lowest_V=21.2), place) == {"low_voltage": "watch"}
    assert found(volts(healthy(), range(20), lowest_V=21.2), place) == {"low_voltage": "act"}
    assert found(volts(healthy(), {3}, lowest_V=21.2), place) == {}
    assert found(healthy(), place) == {}


def test_a_bank_empty_before_the_start_is_found():
    """The bank's own cut-off is held against the voltage before a start, not against the dip of the surge."""
    place = site(bank={"cut_off_V": 22.0})
    assert found(volts(healthy(), range(20), lowest_V=21.8), place) == {}
    assert found(volts(healthy(), range(20), before_V=21.8), place) == {"low_voltage": "act"}


def test_without_volts_the_voltage_is_not_judged():
    """A log of amps alone."""
    made = volts(healthy(), range(60), before_V=None, lowest_V=None)
    assert judged(made, site(inverter={"cut_off_V": 21.5}))["low_voltage"].outcome == "not judged"


DRY_S = [400.0, 900.0, 1500.0, 650.0, 2000.0, 330.0]


@pytest.mark.parametrize(("share", "is_dry"), [(0.36, True), (0.6, True), (0.7, False), (0.95, False), (0.3, False)])
def test_a_log_that_is_dry_throughout_is_held_against_the_plate(share, is_dry):
    """Six runs of many minutes at a share of the plate's watts, and none that drew more."""
    place = site()
    plate_W = limits_for(place, place.load("well pump")).plate_W.value
    checks = judged(cycles(DRY_S, 1800.0, draw_W=share * plate_W), place)
    finding = checks["prime_lost"].finding
    assert (finding is not None) is is_dry
    if is_dry:
        assert finding.severity == "watch"
        assert "held against the plate" in finding.evidence
        assert f"{100 * share:.0f} % of" in finding.evidence


@pytest.mark.parametrize(
    ("count", "means", "outcome"), [(24, True, "found"), (25, True, "not judged"), (25, False, "found")]
)
def test_brief_runs_that_means_take_for_one_are_no_dry_pump(count, means, outcome):
    """Six runs at half the plate's watts; what rises within them shows more than four times as many."""
    place = site()
    draw_W = 0.5 * limits_for(place, place.load("well pump")).plate_W.value
    made = cycles(DRY_S, 1800.0, draw_W=draw_W)
    rises = Rises(*(np.array([x]) for x in (0, 0.8 * made.cycles[0].run_A, count, 24.0, False)), means=means)
    assert judged(replace(made, rises=rises), place)["prime_lost"].outcome == outcome


def test_runs_that_end_as_the_tank_makes_them_are_not_dry_whatever_the_plate_says():
    """Half the plate's watts in runs of 70 to 130 s, on a tank that gives 68 s: the plate is of another pump."""
    place = site()
    made = cycles([70.0, 130.0, 90.0, 75.0, 110.0, 100.0], 1800.0, draw_W=400.0)
    assert "prime_lost" not in found(made, place)
    assert "prime_lost" not in found(cycles(DRY_S, 1800.0, draw_W=400.0), None)
    assert "prime_lost" not in found(cycles(DRY_S[:3], 1800.0, draw_W=400.0), place)
    assert "prime_lost" not in found(cycles(DRY_S, 1800.0, draw_W=[300, 400, 550, 300, 400, 550]), place)
