"""One load followed through steps: on and off, coincidences, lost draw, failed starts, the array's share."""

from itertools import pairwise

import numpy as np
import pytest
from examples import examples
from hypothesis import example, given
from hypothesis import strategies as st
from load_scenes import Load, Scene, cycles_of, evenly
from readings import T0_US, US, chunk_of

from shuntbook.analysis.cycles.choose_load import loads_of, the_load
from shuntbook.analysis.cycles.on_off_path import Heights, RunLevels, fit, follow, steps_of


def followed(changes, draw=10.0):
    """The runs of a load of this draw."""
    changes = np.array(changes, dtype=float)
    share = changes / draw
    return follow(steps_of(share, fit(share), Heights.of(share)))


def test_a_start_and_a_stop_are_a_run():
    """Steps of other sizes between do not matter."""
    assert followed([np.nan, 10, 3, -3, -9.5, 1]) == [RunLevels(1, 4)]


def test_a_gap_leaves_the_stop_unseen_and_a_stop_after_it_without_start():
    """What was on before the gap is not complete; what stops after it began unseen."""
    assert followed([np.nan, 10, np.nan, -10, 10, -10]) == [RunLevels(1, None), RunLevels(4, 5)]


def test_a_draw_that_falls_within_a_run_is_one_run():
    """Ten up, four down, six down."""
    assert followed([np.nan, 10, -4, -6, 10, -10]) == [RunLevels(1, 3, 2), RunLevels(4, 5)]


def test_a_stop_that_fits_badly_goes_before_a_start_that_is_left_over():
    """Ten up, 6.4 down, ten up and down: two runs fit by 1 - 1.07 + 1 + 1, one without what is between by 1 - 1 + 1."""
    assert followed([np.nan, 10, -6.4, 10, -10]) == [RunLevels(1, 2), RunLevels(3, 4)]


def test_the_better_of_two_starts_is_taken():
    """Nine and then ten up, ten down: the nine are another load's; and the other way round as well."""
    assert followed([np.nan, 9, 10, -10]) == [RunLevels(2, 3)]
    assert followed([np.nan, 10, 9, -10]) == [RunLevels(1, 3)]
    assert followed([np.nan, 10, -10, -9]) == [RunLevels(1, 2)]


@pytest.mark.parametrize(("fall", "is_own"), [(2.0, False), (4.0, True), (7.5, True), (7.6, False)])
def test_a_draw_may_fall_by_up_to_three_quarters_within_a_run(fall, is_own):
    """And the rest is switched off; where four fifths are, that is the stop, and the fall another load's."""
    runs = followed([np.nan, 10, -fall, fall - 10, 10, -10])
    assert (RunLevels(1, 3, 2) in runs) is is_own
    assert runs[-1] == RunLevels(4, 5)


@pytest.mark.parametrize(("slid_to_A", "matter"), [(21.0, [0, 1, 3, 4]), (24.9, [0, 1, 3, 4]), (25.0, [0, 1, 4])])
def test_a_step_that_fits_nothing_matters_where_the_signal_has_slid_to_its_rest(slid_to_A, matter):
    """By hand, for a draw of 10 A above a rest of 20 A: before a step of 4.5 A a run may have ended unseen."""
    changes = np.array([np.nan, 10.0, 0.5, 4.5, 9.5])
    after = np.array([20.0, 30.0, 30.5, slid_to_A + 4.5, slid_to_A + 14.0])
    heights = Heights(after - np.nan_to_num(changes), after, np.full(5, 20.0), np.zeros(5, dtype=bool))
    share = changes / 10.0
    assert [step.level for step in steps_of(share, fit(share), heights, 10.0)] == matter


def test_how_well_a_step_fits():
    """1 where it is what is expected, 0 where a quarter is missing or too much, and never below -3."""
    assert fit(np.array([1.0, -1.0, 0.75, 1.25, 1.5, 9.0])) == pytest.approx([1.0, 1.0, 0.0, 0.0, -3.0, -3.0])


def in_turn(*runs):
    """Changes of loads that run one after the other: (draw, how often)."""
    return np.array([np.nan, *(x for draw, count in runs for _ in range(count) for x in (draw, -draw))])


def test_what_looks_like_a_load_may_be_two_that_step_at_once():
    """Twelve runs each of 10 A and of 24 A: three of 34 A or of 14 A are both at once, or one on and the other off."""
    for both in (34.0, 14.0):
        loads = loads_of(in_turn((10.0, 12), (24.0, 12), (both, 3)))
        assert sorted(load.up for load in loads) == [10.0, 24.0]
    # Four are too many for chance, and 17 A are neither.
    assert len(loads_of(in_turn((10.0, 12), (24.0, 12), (34.0, 4)))) == 3
    assert len(loads_of(in_turn((10.0, 12), (24.0, 12), (17.0, 3)))) == 3


def test_what_hardly_stops_by_itself_is_two_that_step_at_once():
    """A drum of 10 A and a pump of 24 A, which three times starts as the drum falls; twice both stop at once."""
    together = [10.0, 14.0, 10.0, -10.0, 10.0, -34.0]
    changes = np.append(in_turn((10.0, 40), (24.0, 8)), [*together, *together, *together[:-1], -14.0, -10.0])
    loads = loads_of(changes)
    assert sorted(load.up for load in loads) == [10.0, 24.0]
    assert len(the_load(loads, changes, 24.0, [False] * len(changes)).runs) == 8 + 3


def test_a_load_of_twice_anothers_draw_is_a_load():
    """Twenty runs of 10 A and six of 20 A: no load starts twice at once, so the six are another's."""
    loads = loads_of(in_turn((10.0, 20), (20.0, 6)))
    assert sorted((load.up, len(load.runs)) for load in loads) == [(10.0, 20), (20.0, 6)]


@pytest.mark.parametrize(("rest_A", "slid_A"), [(1.0, 0.0), (6.0, 0.0), (1.0, 4.0)])
def test_steps_after_which_nothing_is_drawn_are_no_second_loads(rest_A, slid_A):
    """Nine runs of 10 and 11 A read in whole amps, and three steps up of 11 A that slid back to rest: one load.

    Or to less than half of its draw above that.
    """
    ups = [11.0, 10.0, 11.0] * 3
    changes = np.array([np.nan, *(x for up in ups for x in (up, -up)), 11.0, 0.0, 11.0, 0.0, 11.0])
    after = rest_A + np.array([0.0, *(x for up in ups for x in (up, 0.0)), *[slid_A] * 5])
    before = np.concatenate([[rest_A], after[:-1]])
    loads = loads_of(changes, Heights(before, after, np.full(len(after), rest_A), np.zeros(len(after), dtype=bool)))
    assert [len(load.runs) for load in loads] == [9]


def test_a_bank_that_takes_back_what_a_run_took_makes_its_stops_larger():
    """10 A up; by night 8 A down, and by day, while the array holds the bank, 15 A: all eight runs are whole."""
    changes = np.array([np.nan, 60.0, *[10.0, -8.0] * 4, *[10.0, -15.0] * 4])  # beside another that stays on
    (load,) = (load for load in loads_of(changes) if load.up == 10.0)
    assert [(run.start, run.stop) for run in load.runs] == [(2 * k + 2, 2 * k + 3) for k in range(8)]
    assert load.down == 11.5  # the middle of 8 A and 15 A


def test_two_loads_of_nearly_one_size_that_run_at_once():
    """30 and 34 A, each on while the other is, are two loads; 30 and 31 A cannot be told apart."""
    loads = loads_of(np.array([np.nan, *[30.0, 34.0, -30.0, -34.0] * 8]))
    assert sorted((load.up, len(load.runs)) for load in loads) == [(30.0, 8), (34.0, 8)]
    assert len(loads_of(np.array([np.nan, *[30.0, 31.0, -30.0, -31.0] * 8]))) == 1
    # Each keeps to its size: what the smaller does by itself is not the larger's.
    loads = loads_of(np.array([np.nan, *[30.0, 34.0, -30.0, -34.0] * 8, *[30.0, -30.0] * 4]))
    assert sorted((load.up, len(load.runs)) for load in loads) == [(30.0, 12), (34.0, 8)]


def test_two_loads_of_like_size_are_held_to_half_of_what_lies_between_them():
    """30 and 36 A to 6 %: a tenth apart on either side, and each on while the other is."""
    off = np.resize([0.94, 1.0, 1.06, 1.0], 12)
    steps = [x for k in off for x in (30.0 * k, 36.0 * k, -30.0 * k, -36.0 * k)]
    loads = loads_of(np.array([np.nan, *steps]))
    assert sorted((load.up, len(load.runs)) for load in loads) == [(30.0, 12), (36.0, 12)]


def test_a_step_that_two_loads_made_at_once_is_looked_at_once_more():
    """20 A and 7 A, six runs each one after the other, and a last one that both end at once."""
    changes = np.array([*in_turn((20.0, 6), (7.0, 6)), 20.0, 7.0, -27.0])
    loads = loads_of(changes)
    load = the_load(loads, changes, None, [False] * len(changes))
    assert (load.up, load.runs[-1]) == (20.0, RunLevels(len(changes) - 3, len(changes) - 1))
    assert load.whole_runs() == 7


def chosen(changes, expected=None, in_part=False):
    """The draw of the load that is taken."""
    load = the_load(loads_of(changes, expected=expected), changes, expected, [in_part] * len(changes))
    return load and load.up


def test_the_largest_draw_that_matters_is_taken():
    """15 A once beside 10 A twenty times are 7 % of all that was switched on, 30 A once are 13 %."""
    assert chosen(in_turn((10.0, 20), (15.0, 1))) == 10.0
    assert chosen(in_turn((10.0, 20), (30.0, 1))) == 30.0
    assert chosen(np.array([np.nan, -10.0])) is None


def test_the_plates_load_is_the_near_one_with_most_runs():
    """Three runs of 20 A go before nine of 40 A for a plate of 20 A: ln 2 is 1.5 spreads, which leaves 0.93 of nine."""
    changes = in_turn((20.0, 3), (40.0, 9))
    assert [chosen(changes, plate) for plate in (20.0, 40.0, 28.0)] == [20.0, 40.0, 40.0]
    assert [chosen(in_turn((20.0, 5)), plate) for plate in (8.0, 7.9, 50.0, 51.0)] == [20.0, None, 20.0, 20.0]
    # Where the array may have given part of its starts it may draw half of that still.
    assert [chosen(in_turn((20.0, 5)), plate, in_part=True) for plate in (100.0, 101.0)] == [20.0, None]


@pytest.mark.parametrize(("shared", "draw"), [(2, None), (3, 20.0), (5, 20.0)])
def test_a_load_draws_half_of_its_plate_where_the_array_may_have_given_to_half_of_its_starts(shared, draw):
    """Five starts of 20 A for a plate of 100 A."""
    changes = in_turn((20.0, 5))
    in_part = np.isin(np.arange(len(changes)), np.flatnonzero(changes > 0)[:shared])
    load = the_load(loads_of(changes, expected=100.0), changes, 100.0, in_part)
    assert (load and load.up) == draw


def test_where_nothing_fits_the_plate_a_pump_without_water_may_be_all_there_is():
    """Four runs at 40 % of the plate's draw go before two of a kettle; not where three runs fit the plate."""
    assert chosen(in_turn((16.0, 4), (58.0, 2)), 40.0) == 16.0
    assert chosen(in_turn((16.0, 3), (58.0, 2)), 40.0) == 58.0
    assert chosen(in_turn((16.0, 9), (58.0, 3)), 40.0) == 58.0
    assert chosen(in_turn((16.0, 9), (58.0, 2), (38.0, 3)), 40.0) == 38.0
    assert [chosen(in_turn((20.0, 5)), plate) for plate in (60.0, 61.0)] == [20.0, None]  # a third of it


@pytest.mark.parametrize(("ratio", "drawn"), [(0.5, 0.75), (0.5, 1.0), (1.5, 0.75), (1.5, 1.0), (2.2, 1.3)])
def test_what_fits_the_plate_goes_before_what_is_far_from_it(ratio, drawn):
    """A hob's three hundred pulses of another draw than the plate's, and the pump's twelve of about the plate's."""
    assert chosen(in_turn((30.0 * ratio, 300), (30.0 * drawn, 12)), 30.0) == 30.0 * drawn
    # Two runs are too few to go before three hundred.
    assert chosen(in_turn((30.0 * ratio, 300), (30.0, 2)), 30.0) == 30.0 * ratio


@pytest.mark.parametrize(("count", "up"), [(1, 14.0), (2, 31.0)])
def test_a_pump_that_seldom_runs_is_not_a_dry_one(count, up):
    """Four runs at 0.47 of the plate's draw are no dry pump's where it ran twice at what the plate says."""
    assert chosen(in_turn((14.0, 4), (31.0, count)), 30.0) == up


def test_a_plates_draw_is_looked_for_however_much_else_is_switched():
    """Ten lamps of 3 to 9.5 A, sixty times each, and five runs of a pump of 24 A: by its plate it is found."""
    changes = in_turn(*((3.0 * 1.136**k, 60) for k in range(10)), (24.0, 5))
    assert chosen(changes, 27.0) == 24.0
    assert len([load for load in loads_of(changes, expected=27.0) if load.up == 24.0]) == 1
    assert not [load for load in loads_of(changes) if load.up == 24.0]  # others matter more


def test_a_run_ends_where_a_step_of_any_size_leads_to_rest():
    """Above a rest of 5 A: 10 A, another load's 24 A, and both off at once."""
    share = np.array([np.nan, 10, 24, -34, 10, -10]) / 10
    before, after = np.array([5.0, 5, 15, 39, 5, 15]), np.array([5.0, 15, 39, 5, 15, 5])
    heights = Heights(before / 10, after / 10, np.full(6, 0.5), np.zeros(6, dtype=bool))
    assert follow(steps_of(share, fit(share), heights)) == [RunLevels(1, 3), RunLevels(4, 5)]


def test_what_stands_half_of_its_draw_above_rest_is_on():
    """10 A above a rest of 5 A, another's 24 A, a step of 29 A to 10 A, and 10 A off: the last one ends it."""
    share = np.array([np.nan, 10, 24, -29, -10]) / 10
    before, after = np.array([5.0, 5, 15, 39, 10]), np.array([5.0, 15, 39, 10, 0])
    heights = Heights(before / 10, after / 10, np.array([0.5, 0.5, 0.5, 0.5, 0.0]), np.zeros(5, dtype=bool))
    assert follow(steps_of(share, fit(share), heights)) == [RunLevels(1, 4)]


def test_a_load_that_stops_as_well_is_looked_for_before_steps_that_only_rise():
    """Six runs of 10 A, and eight larger sizes of steps up without their like down, each once to three times."""
    ups = [30.0] * 3 + [36.0] * 3 + [43.0] * 2 + [51.0] * 2 + [61.0, 73.0, 88.0, 105.0]
    loads = loads_of(np.append(in_turn((10.0, 6)), ups))
    assert [len(load.runs) for load in loads if load.up == 10.0] == [6]


@given(st.lists(st.sampled_from([10.0, -10.0, 3.0, -3.0, np.nan]), max_size=60))
def test_runs_of_one_load_never_overlap(changes):
    """Whatever the steps, a load that is on cannot start."""
    runs = followed(changes)
    for run, after in pairwise(runs):
        assert run.start < (run.stop or run.start + 1) <= after.start or run.stop is None
        assert run.start < after.start


@examples(100, 300)
@given(st.lists(st.sampled_from([30.0, -30.0, 17.0, -17.0, 13.0, -13.0, 21.0, np.nan]), min_size=1, max_size=40))
@example([30.0, -30.0, 30.0, -13.0, 17.0, -17.0])
@example([30.0, -13.0, np.nan, 17.0, np.nan, 30.0, -30.0])
def test_a_loads_runs_are_in_order_and_never_overlap_whatever_else_is_taken_for_its_own(changes):
    """Whole and open runs, falling draws and gaps, a load that may be the pump with less: each start is there once."""
    changes = np.array([np.nan, *changes])
    for expected in (None, 30.0):
        load = the_load(loads_of(changes), changes, expected, [False] * len(changes))
        for run, after in pairwise(load.runs if load is not None else ()):
            assert run.start < after.start
            assert run.stop is None or run.stop <= after.start


def test_two_loads_that_stop_at_once_are_told_by_their_sum():
    """Ten and twenty-four run by themselves three times, then both stop in one step."""
    each = [10, -10, 24, -24] * 3
    changes = np.array([np.nan, *each, 10, 24, -34], dtype=float)
    for expected in (10.0, 24.0):
        load = the_load(loads_of(changes), changes, expected, [False] * len(changes))
        assert len(load.runs) == 4
        assert load.runs[-1].stop == len(changes) - 1


def test_a_lamp_switched_at_the_very_start_is_not_the_pumps():
    """The lamp goes on within the same reading as the third run and off long after: its charge is not the pump's."""
    runs_s = evenly(200.5, 100.0, 300.0, 8)
    scene = Scene(Load(20.0, runs_s), others=[Load(4.0, [(runs_s[2][0], runs_s[2][1] + 90.0)])], span_s=3500)
    charges = [cycle.charge_Ah for cycle in cycles_of(scene.chunk()).cycles]
    np.testing.assert_allclose(charges, 20 * 100 / 3600, rtol=0.02)


def test_failed_starts_are_attempts_and_no_runs():
    """Five times what it draws, for a second, twice before each start: at ten readings a second."""
    runs_s = evenly(200.05, 60.0, 140.0, 6)
    fails_s = [(a - back, a - back + 1.0) for a, _ in runs_s for back in (30.0, 15.0)]
    scene = Scene(Load(20.0, runs_s), others=[Load(100.0, fails_s)], every_s=0.1, span_s=1400, ohm=0.01)
    result = cycles_of(scene.chunk(), 0.1)
    assert len(result.cycles) == 6
    np.testing.assert_allclose(
        [(a.start_us - T0_US) / US for a in result.attempts], sorted(a for a, _ in fails_s), atol=0.3
    )
    np.testing.assert_allclose([a.peak_A for a in result.attempts], 100.0, rtol=0.02)
    np.testing.assert_allclose([a.lasted_s for a in result.attempts], 1.0, atol=0.3)


def test_failed_starts_before_a_run_that_goes_on_at_the_end_are_attempts():
    """Three of five times what it draws, for a second and a half, and then it starts and stays on."""
    fails_s = [(100.05 + 15 * k, 101.55 + 15 * k) for k in range(3)]
    scene = Scene(Load(20.0, [(145.05, 9e9)]), others=[Load(100.0, fails_s)], every_s=0.1, span_s=400, ohm=0.01)
    result = cycles_of(scene.chunk(), 0.1)
    assert [cycle.run_A for cycle in result.cycles] == [pytest.approx(20.0, rel=0.01)]
    assert len(result.attempts) == 3


def test_a_short_false_row_is_no_attempt():
    """Two false rows at five times the draw while the volts stay: nothing failed."""
    chunk = Scene(Load(20.0, evenly(200.5, 60.0, 140.0, 6)), span_s=1400).chunk()
    chunk.quantities["current_A"][100:102] = 100.0
    result = cycles_of(chunk)
    assert len(result.cycles) == 6
    assert result.attempts == ()


def test_a_soft_start_is_seen_at_its_beginning():
    """Brought up in five seconds, ten readings a second."""
    time_s = np.arange(0.0, 1500.0, 0.1)
    phase_s = time_s % 300 - 100
    draw_A = 30 * np.clip(phase_s / 5, 0.1, 1.0) * ((phase_s >= 0) & (phase_s < 80))
    noise_A = np.random.default_rng(4).normal(0, 0.03, len(time_s))
    result = cycles_of(chunk_of(time_s, current_A=np.round(2 + draw_A + noise_A, 2)), 0.1)
    assert len(result.cycles) == 5
    np.testing.assert_allclose([(c.start_us - T0_US) / US % 300 for c in result.cycles], 100.0, atol=1.0)
    np.testing.assert_allclose([c.run_A for c in result.cycles], 30.0, rtol=0.01)


def test_a_pump_that_loses_its_water_is_still_the_pump():
    """The draw halves within the fifth run, and the runs after it are dry from the start."""
    time_s = np.arange(0.0, 2400.0)
    phase_s, number = time_s % 300 - 100, time_s // 300
    is_dry = (number > 4) | ((number == 4) & (phase_s > 30))
    current_A = 2 + 30 * np.where(is_dry, 0.5, 1.0) * ((phase_s >= 0) & (phase_s < 90))
    current_A += np.random.default_rng(5).normal(0, 0.03, len(time_s))
    result = cycles_of(chunk_of(time_s, current_A=np.round(current_A, 2)))
    assert len(result.cycles) == 8
    np.testing.assert_allclose([c.run_A for c in result.cycles[5:]], 15.0, rtol=0.02)


@pytest.mark.parametrize("floats", [True, False])
def test_a_run_that_the_array_shares_is_marked(floats):
    """At 28.8 V, with 2 A going in: the array gives 12 of 30 A, and charges with 10 A again right after the run.

    Without that (the volts fall as at night, and afterwards the current is what it was) nothing is shared.
    """
    time_s = np.arange(0.0, 3000.0)
    phase_s = time_s % 300 - 100
    on = (phase_s >= 0) & (phase_s < 90)
    after = np.where((phase_s >= 90) & floats, 8 * np.exp(-(phase_s - 90) / 30), 0.0)
    noise_A = np.random.default_rng(6).normal(0, 0.02, len(time_s))
    current_A = np.round(-2 + (18 if floats else 30) * on - after + noise_A, 2)
    voltage_V = np.round(28.8 - 0.02 * (current_A + 2) * on, 2)
    cycles = cycles_of(chunk_of(time_s, current_A=current_A, voltage_V=voltage_V)).cycles
    assert len(cycles) == 10
    assert {cycle.array_may_share for cycle in cycles} == {floats}


def test_what_is_known_of_edges_and_rests():
    """Half the spacing on either side; volts before and lowest; the base; the shortest run that can be seen."""
    runs_s = evenly(100.5, 60.0, 120.0, 6)
    result = cycles_of(Scene(Load(30.0, runs_s), span_s=1200, noise_A=0.0).chunk())
    for cycle in result.cycles:
        assert (cycle.start_within_s, cycle.stop_within_s) == (0.5, 0.5)
        assert cycle.before_V == pytest.approx(25.2 - 0.02 * 2)
        assert cycle.lowest_V == pytest.approx(25.2 - 0.02 * 32)
    assert result.base_A == pytest.approx(2.0)
    assert result.shortest_run_s == 3.0
    assert (result.covered_s, result.first_us, result.last_us) == (1200.0, T0_US, T0_US + 1200 * US)


def test_what_slid_to_its_rest_unseen_leaves_the_rest_after_it_unknown():
    """The draw fades away within the third run: when that ended nobody knows, but not as the next one began."""
    time_s = np.arange(0.0, 3600.0)
    phase_s = time_s % 600 - 300
    current_A = 1 + 20.0 * ((phase_s >= 0) & (phase_s < 200))
    fades = (time_s >= 1600) & (time_s < 2100)
    current_A[fades] = np.maximum(21 - (time_s[fades] - 1600) / 20, 1)
    current_A += np.random.default_rng(1).normal(0, 0.02, len(time_s))
    cycles = cycles_of(chunk_of(time_s, current_A=np.round(current_A, 2))).cycles
    assert [cycle.off_before_s for cycle in cycles] == [None, 400.0, 400.0, None, 400.0, 400.0]
