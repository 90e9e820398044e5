"""Runs of a load in made-up logs with known truth, and in the sample data against the simulator's own."""

import dataclasses
from math import gamma, log

import numpy as np
import pytest
from load_scenes import Load, Scene, cycles_of, evenly
from readings import T0_US, US, chunk_of, how

from shuntbook.analysis.cycles.cycles import CycleFold
from shuntbook.analysis.readings.chunk import Chunk
from shuntbook.sample_data.generate import simulate_open_day, simulate_week_later

AMPS_AND_VOLTS = {"current_A": lambda i, v: i, "voltage_V": lambda i, v: v}
SEEDS = range(5)


def times(result):
    """Starts and stops, counted from the log's first reading; NaN where no stop was seen. [s]."""
    starts = np.array([(c.start_us - T0_US) / US for c in result.cycles])
    stops = np.array([np.nan if c.stop_us is None else (c.stop_us - T0_US) / US for c in result.cycles])
    return starts, stops


def assert_runs(result, runs_s, *, within_s):
    """Every run is there, once, and nothing else."""
    starts, stops = times(result)
    assert len(starts) == len(runs_s)
    np.testing.assert_allclose(starts, [a for a, _ in runs_s], rtol=0, atol=within_s)
    np.testing.assert_allclose(stops, [b for _, b in runs_s], rtol=0, atol=within_s)


# --- one pump -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("every_s", [0.1, 1.0, 10.0])
@pytest.mark.parametrize("noise_A", [0.0, 0.02, 0.5])
@pytest.mark.parametrize("seed", SEEDS)
def test_one_pump_on_a_quiet_baseline(every_s, noise_A, seed):
    """Each start and stop to within one interval, at three rates and down to no noise at all."""
    runs_s = evenly(103.7, 80.0, 140.0, 12)
    scene = Scene(Load(30.0, runs_s, surge=4), every_s=every_s, noise_A=noise_A, seed=seed, span_s=3000)
    result = cycles_of(scene.chunk(), every_s)
    assert_runs(result, runs_s, within_s=every_s)
    assert all(cycle.complete for cycle in result.cycles)
    assert result.summary.other_runs == 0


@pytest.mark.parametrize("every_s", [1.0, 10.0])
@pytest.mark.parametrize("seed", SEEDS)
def test_drifting_baseline(every_s, seed):
    """A baseline that wanders by two thirds of the pump's draw within minutes, as under clouds."""
    runs_s = evenly(103.7, 80.0, 140.0, 12)
    scene = Scene(Load(30.0, runs_s, surge=4), every_s=every_s, drift_A=10.0, seed=seed, span_s=3000)
    assert_runs(cycles_of(scene.chunk(), every_s), runs_s, within_s=every_s)


@pytest.mark.parametrize("every_s", [0.1, 1.0, 10.0])
@pytest.mark.parametrize("seed", SEEDS)
def test_other_loads_switch_between_and_meanwhile(every_s, seed):
    """Three smaller loads come and go at all times; none of their runs is the pump's."""
    runs_s = evenly(103.7, 80.0, 140.0, 12)
    others = [
        Load(4.0, evenly(33, 77, 95, 17)),
        Load(8.0, evenly(60, 300, 400, 4)),
        Load(2.2, [(0, 1500), (2400, 9e9)]),
    ]
    scene = Scene(Load(30.0, runs_s, surge=4), every_s=every_s, drift_A=3, others=others, seed=seed, span_s=3000)
    result = cycles_of(scene.chunk(), every_s)
    assert_runs(result, runs_s, within_s=2 * every_s)
    edges_s = [t for load in others for run in load.runs_s for t in run]
    for (start, stop), cycle in zip(runs_s, result.cycles, strict=True):
        if min(abs(t - edge) for t in edges_s for edge in (start, stop)) > 3 * every_s:  # else no level between them
            assert cycle.charge_Ah == pytest.approx(30 * 80 / 3600, rel=0.03)


def test_array_that_gives_more_than_is_drawn():
    """Current at the bank below zero all the time: the pump's runs are steps like any others."""
    runs_s = evenly(100.5, 60.0, 200.0, 8)
    scene = Scene(Load(12.0, runs_s), base_A=-40.0, span_s=2400)
    result = cycles_of(scene.chunk())
    assert_runs(result, runs_s, within_s=1.0)
    np.testing.assert_allclose([cycle.run_A for cycle in result.cycles], 12.0, rtol=0.01)


@pytest.mark.parametrize("every_s", [0.1, 1.0])
def test_a_draw_that_falls_within_the_run_is_one_run(every_s):
    """A pump that draws a tenth less at the end of its run, as pressure rises."""
    time_s = np.arange(0.0, 2400.0, every_s)
    phase_s = time_s % 300 - 100
    on = (phase_s >= 0) & (phase_s < 90)
    noise_A = np.random.default_rng(2).normal(0, 0.03, len(time_s))
    result = cycles_of(chunk_of(time_s, current_A=np.round(2 + on * (30 - phase_s / 30) + noise_A, 2)), every_s)
    assert_runs(result, evenly(100, 90, 210, 8), within_s=every_s)


def test_a_step_down_within_the_run_can_be_the_loads_own():
    """A compressor that draws 110 W at first and 73 W then: nothing else was on, so both are its own."""
    time_s = np.arange(0.0, 6000.0)
    phase_s = time_s % 1000
    power_W = np.select([phase_s < 300, phase_s < 320, phase_s < 700], [0.0, 110.0, 73.0], 0.0)
    power_W += 2 * np.random.default_rng(1).integers(0, 2, len(time_s))
    result = cycles_of(chunk_of(time_s, power_W=power_W), side="ac")
    assert len(result.cycles) == 6
    np.testing.assert_allclose([cycle.run_W for cycle in result.cycles], 73.0, atol=2.5)
    np.testing.assert_allclose([cycle.energy_Wh for cycle in result.cycles], (110 * 20 + 73 * 380) / 3600, rtol=0.03)


def test_a_step_down_within_the_run_can_be_another_loads():
    """A lamp that was on before the pump goes off during its run: the pump's charge does not change for it."""
    runs_s = evenly(200.5, 100.0, 500.0, 3)
    scene = Scene(Load(20.0, runs_s), others=[Load(6.0, [(0.0, 250.0), (700.0, 850.0), (1300.0, 1450.0)])], span_s=1900)
    result = cycles_of(scene.chunk())
    assert_runs(result, runs_s, within_s=1.0)
    np.testing.assert_allclose([cycle.charge_Ah for cycle in result.cycles], 20 * 100 / 3600, rtol=0.03)


# --- what a cycle is like -------------------------------------------------------------------------------------------


def test_charge_energy_sag_and_draw_of_a_run():
    """At 0.1 s against the closed form, within 3 %.

    The surge adds (4 - 1) x 30 A x 0.3 s x Gamma(4/3) to 30 A over the run (integral of exp(-(t/tau)^3)); the base of
    2 A is not the run's, but it lowers the voltage: 24 V - 0.02 ohm x 2 A before the start.
    """
    runs_s = evenly(60.0, 90.0, 150.0, 5)
    scene = Scene(Load(30.0, runs_s, surge=4), every_s=0.1, span_s=1300, rest_V=24.0, noise_A=0.03)
    expected_Ah = (30 * 90 + 3 * 30 * 0.3 * gamma(4 / 3)) / 3600
    for cycle in cycles_of(scene.chunk(), 0.1).cycles:
        assert cycle.charge_Ah == pytest.approx(expected_Ah, rel=0.03)
        # watts above the base: (24 - 0.02 x 32) x 32 - (24 - 0.02 x 2) x 2 while it runs
        assert cycle.run_W == pytest.approx(23.36 * 32 - 23.96 * 2, rel=0.03)
        assert cycle.energy_Wh == pytest.approx(23.2 * expected_Ah, rel=0.03)
        assert cycle.run_A == pytest.approx(30.0, rel=0.03)
        assert cycle.surge_A == pytest.approx(120.0, rel=0.03)
        assert cycle.surge_ratio == pytest.approx(4.0, rel=0.03)
        assert cycle.sag_V == pytest.approx(0.02 * 120, rel=0.03)
        assert cycle.peak_W == pytest.approx((24 - 0.02 * 122) * 122 - 23.96 * 2, rel=0.03)
        assert cycle.run_s == pytest.approx(90.0, abs=0.2)
        assert cycle.surge_resolved
        # Half of the surge is gone: exp(-(t/tau)^3) = 1/2, to half a spacing and some noise.
        assert cycle.start_s == pytest.approx(0.3 * log(2) ** (1 / 3), abs=0.065)


@pytest.mark.parametrize(("every_s", "resolved"), [(0.1, True), (0.2, True), (1.0, False), (10.0, False)])
def test_surge_is_a_lower_bound_where_readings_are_slow(every_s, resolved):
    """Readings 0.2 s apart show a surge of a third of a second, those 1 s apart do not, and it is said."""
    runs_s = evenly(100.53, 80.0, 140.0, 4)
    scene = Scene(Load(30.0, runs_s, surge=4), every_s=every_s, span_s=1000)
    for cycle in cycles_of(scene.chunk(), every_s).cycles:
        assert cycle.surge_resolved is resolved
        assert cycle.surge_ratio <= 4.05
        assert cycle.surge_ratio >= (3.0 if resolved else 0.98)


@pytest.mark.parametrize("limit", [2.0, 2.5])
@pytest.mark.parametrize("every_s", [0.1, 0.2])
def test_a_start_that_the_inverter_holds_at_its_limit_for_seconds(every_s, limit):
    """It is one start, its surge that limit, its settled draw the load's; and cuts within the start do not matter."""
    runs_s = evenly(100.0, 60.0, 120.0, 6)
    chunk = Scene(Load(20.0, runs_s, surge=4, surge_s=3.0, limit=limit), every_s=every_s, span_s=1300).chunk()
    result = cycles_of(chunk, every_s)
    assert_runs(result, runs_s, within_s=2 * every_s)
    for cycle in result.cycles:
        assert cycle.run_A == pytest.approx(20.0, rel=0.01)
        assert cycle.surge_ratio == pytest.approx(limit, rel=0.01)
    cuts = np.searchsorted(chunk.time_us, T0_US + np.arange(100.05, 107.0, 0.4) * US)
    assert cycles_of(chunk, every_s, cuts=cuts).cycles == result.cycles


def test_summary_counts_and_times():
    """Ten runs of 60 s with 120 s between in half an hour, the last stop 30 s before its end."""
    result = cycles_of(Scene(Load(30.0, evenly(60.5, 60.0, 120.0, 10)), span_s=1800).chunk())
    assert result.summary.count == 10
    assert result.summary.starts_per_hour == pytest.approx(20.0)
    assert result.summary.duty_cycle == pytest.approx(600 / 1800)
    assert result.summary.median_run_s == 60.0
    assert result.summary.median_off_s == 120.0
    assert [cycle.off_before_s for cycle in result.cycles] == [None, *[120.0] * 9]


@pytest.mark.parametrize("factor", [0.5, 10.0, 1000.0])
def test_ten_times_the_signal_gives_the_same_runs(factor):
    """The same log with every amp multiplied has the same runs, and draws multiplied."""
    scene = Scene(
        Load(30.0, evenly(100.5, 60.0, 90.0, 6), surge=3), others=[Load(5.0, evenly(20, 50, 110, 6))], drift_A=2
    )
    once = cycles_of(scene.chunk(current_A=lambda i, v: i))
    more = cycles_of(scene.chunk(current_A=lambda i, v: factor * i))
    assert times(more)[0].tolist() == times(once)[0].tolist()
    assert times(more)[1].tolist() == times(once)[1].tolist()
    for a, b in zip(once.cycles, more.cycles, strict=True):
        assert b.charge_Ah == pytest.approx(factor * a.charge_Ah)
        assert b.surge_ratio == pytest.approx(a.surge_ratio)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_coarse_meter_shows_a_small_pump(seed):
    """A meter of whole amps and a pump of five: flicker by one amp is no step, five are."""
    runs_s = evenly(100.5, 60.0, 120.0, 10)
    scene = Scene(Load(5.0, runs_s), base_A=12.5, noise_A=0.2, grain_A=1.0, span_s=2000, seed=seed)
    assert_runs(cycles_of(scene.chunk()), runs_s, within_s=2.0)


def test_two_loads_of_nearly_one_size_are_told_apart_by_running_at_once():
    """30 A and 34 A are like enough for one load, but no load runs twice at once."""
    small_s, large_s = evenly(100.5, 100.0, 300.0, 8), evenly(150.5, 100.0, 300.0, 8)
    result = cycles_of(Scene(Load(34.0, large_s), others=[Load(30.0, small_s)], span_s=3400).chunk())
    assert_runs(result, large_s, within_s=1.0)
    assert result.summary.other_runs == 8


@pytest.mark.parametrize("seed", SEEDS)
def test_of_many_loads_that_all_matter_little_the_one_that_drew_most_is_taken(seed):
    """Eight loads, each of another size, none with a fifth of all that was drawn."""
    rng = np.random.default_rng(seed)
    loads = [Load(1.5**k, evenly(100.5 + 400 * k, float(round(3000 / 1.5**k)) % 200 + 60, 9e9, 1)) for k in range(8)]
    result = cycles_of(Scene(loads[0], others=loads[1:], span_s=3600, seed=int(rng.integers(1000))).chunk())
    assert result.summary.count == 1
    assert result.summary.other_runs == 7


def test_a_long_log_keeps_its_first_runs():
    """More readings than are looked at together: every run is there, the first as well, and the log's own ends."""
    runs_s = evenly(100.5, 60.0, 240.0, 7)
    chunk = Scene(Load(30.0, runs_s), span_s=2100).chunk()
    times_s = np.arange(0.0, 9.0) * 2101
    long = Chunk(
        np.concatenate([chunk.time_us + round(t * US) for t in times_s]),
        {name: np.tile(x, len(times_s)) for name, x in chunk.quantities.items()},
    )
    result = cycles_of(long)
    assert_runs(result, [(t + a, t + b) for t in times_s for a, b in runs_s], within_s=1.0)
    assert (result.first_us, result.last_us) == (long.time_us[0], long.time_us[-1])
    assert result.covered_s == pytest.approx((result.last_us - result.first_us) / US)


def test_an_inverter_that_takes_more_amps_for_the_same_watts_is_one_load():
    """600 W at 28 V and at 20 V are 21.4 A and 30 A: by watts all runs are one load's, also for a plate in amps."""
    time_s = np.arange(0.0, 2400.0)
    rest_V = np.where(time_s < 1200, 28.0, 20.0)
    current_A = 2.0 + np.where(time_s % 300 < 200, 0.0, 600.0) / rest_V
    chunk = chunk_of(time_s, current_A=current_A, voltage_V=rest_V)
    for expected in (None, 25.0):
        result = cycles_of(chunk, expected=expected)
        assert_runs(dataclasses.replace(result, cycles=result.cycles[:7]), evenly(200, 100, 200, 8)[:7], within_s=1.0)
        assert (result.summary.count, result.summary.other_runs) == (8, 0)


@pytest.mark.parametrize(("expected", "draw"), [(20.0, 20.0), (9.0, 20.0), (36.0, 40.0), (70.0, 40.0)])
def test_without_watts_the_plates_amps_are_compared_with_amps(expected, draw):
    """Two loads of 20 and 40 A: the nearer one, within two and a half times."""
    loads = {20.0: Load(20.0, evenly(100.5, 60.0, 240.0, 6)), 40.0: Load(40.0, evenly(250.5, 60.0, 240.0, 6))}
    chunk = Scene(loads[20.0], others=[loads[40.0]], span_s=2000).chunk(current_A=lambda i, v: i)
    result = cycles_of(chunk, expected=expected)
    assert_runs(result, loads[draw].runs_s, within_s=1.0)
    assert result.summary.other_runs == 6
    assert (result.expected, result.load) == (expected, None)


def test_a_gap_that_could_hide_the_shortest_run_leaves_the_rest_unknown():
    """Runs of 60 and of 200 s: a gap of 100 s is long enough for one of them."""
    runs_s = [(100.5, 160.5), (500.5, 700.5), (1000.5, 1060.5)]
    result = cycles_of(Scene(Load(30.0, runs_s), holes_s=[(250.0, 350.0), (800.0, 840.0)], span_s=1200).chunk())
    assert [cycle.off_before_s for cycle in result.cycles] == [None, None, pytest.approx(300.0, abs=1.0)]
    assert result.summary.median_off_s == pytest.approx(300.0, abs=1.0)
    assert result.summary.duty_cycle == pytest.approx(320 / (1200 - 102 - 42), rel=0.02)


def test_what_runs_stand_on_is_the_middle_of_what_was_before_them():
    """2 A at first, 7 A before two of three runs; without amps nothing is said of amps."""
    runs_s = evenly(200.5, 60.0, 240.0, 3)
    scene = Scene(Load(30.0, runs_s), others=[Load(5.0, [(400.0, 9e9)])], span_s=1100, noise_A=0.0)
    result = cycles_of(scene.chunk())
    assert result.base_A == pytest.approx(7.0)
    assert result.base_W == pytest.approx(7.0 * (25.2 - 0.14))
    assert result.summary.other_runs == 0  # one that goes on and never off has no run before the log's end
    watts = cycles_of(scene.chunk(power_W=lambda i, v: 25.0 * i))
    assert (watts.base_A, watts.base_W) == (None, pytest.approx(175.0))


def test_nameplate_chooses_the_load():
    """With two loads, the one that is asked for is found by its draw; one that is not there is not made up."""
    small_s, large_s = evenly(40.5, 50.0, 100.0, 10), evenly(300.5, 200.0, 400.0, 3)
    scene = Scene(Load(30.0, large_s), others=[Load(8.0, small_s)], span_s=2000)
    assert_runs(cycles_of(scene.chunk(), expected=7.0, load="fridge"), small_s, within_s=1.0)
    assert {c.load for c in cycles_of(scene.chunk(), expected=7.0, load="fridge").cycles} == {"fridge"}
    assert_runs(cycles_of(scene.chunk(), expected=33.0), large_s, within_s=1.0)
    assert cycles_of(scene.chunk(), expected=150.0).cycles == ()


# --- ends, gaps, and what is no start -------------------------------------------------------------------------------


def test_log_that_begins_in_a_run_has_no_start_for_it():
    """Its start was not seen; the next one is the first, and the rest before it is not known for sure."""
    result = cycles_of(Scene(Load(30.0, [(-50, 80.5), *evenly(200.5, 60, 120, 3)]), span_s=900).chunk())
    assert_runs(result, evenly(200.5, 60, 120, 3), within_s=1.0)


def test_log_that_ends_in_a_run_has_an_open_cycle():
    """A start without a stop: counted, not complete, and nothing is given that needs the stop."""
    result = cycles_of(Scene(Load(30.0, [(100.5, 160.5), (300.5, 9e9)]), span_s=400).chunk())
    assert [cycle.complete for cycle in result.cycles] == [True, False]
    last = result.cycles[-1]
    assert (last.stop_us, last.run_s, last.charge_Ah, last.energy_Wh) == (None, None, None, None)
    assert last.run_A == pytest.approx(30.0, rel=0.01)
    assert last.off_before_s == pytest.approx(140.0, abs=1.0)
    assert result.summary.duty_cycle == pytest.approx((60 + 99.5) / 400, rel=0.01)


@pytest.mark.filterwarnings("error")
def test_where_every_reading_stands_alone_there_are_no_runs():
    """A gap limit shorter than the spacing parts them all, and no step is known."""
    k = np.arange(1200)
    amps = np.where(k % 180 < 60, 40.0 + k % 7 / 10, 2.0 + k % 5 / 100)
    fold = CycleFold(how(gap_limit_s=1e-300), {"current_A", "voltage_V"})
    fold.add(chunk_of(k, current_A=amps, voltage_V=25.0 - amps / 100))
    assert len(fold.result().cycles) == 0


def test_gap_within_a_run_is_no_stop_and_no_start():
    """What ran before the gap is not complete; what runs after it has no start."""
    scene = Scene(Load(30.0, evenly(100.5, 200.0, 200.0, 3)), holes_s=[(550.0, 600.0)], span_s=1400)
    result = cycles_of(scene.chunk())
    assert times(result)[0].tolist() == pytest.approx([100.5, 500.5, 900.5], abs=1.0)
    assert [cycle.complete for cycle in result.cycles] == [True, False, True]
    assert result.cycles[1].charge_Ah is None
    assert result.cycles[2].off_before_s is None  # its last stop was seen by nobody


def test_gap_in_a_rest_long_enough_for_a_run_leaves_the_rest_unknown():
    """A run of the load could hide in 100 s, not in 20 s."""
    scene = Scene(Load(30.0, evenly(100.5, 60.0, 240.0, 3)), holes_s=[(200.0, 300.0), (550.0, 570.0)], span_s=1000)
    result = cycles_of(scene.chunk())
    assert_runs(result, evenly(100.5, 60.0, 240.0, 3), within_s=1.0)
    assert [cycle.off_before_s for cycle in result.cycles] == [None, None, pytest.approx(240.0, abs=1.0)]


@pytest.mark.parametrize("every_s", [1.0, 10.0])
@pytest.mark.parametrize("grain_A", [0.0, 0.01, 0.1])
@pytest.mark.parametrize("seed", SEEDS)
def test_noise_alone_has_no_starts(every_s, grain_A, seed):
    """A day of noise, fine or coarse."""
    scene = Scene(Load(30.0, []), noise_A=0.05, grain_A=grain_A, every_s=every_s, span_s=86400, seed=seed)
    assert cycles_of(scene.chunk(), every_s).summary.count == 0


@pytest.mark.parametrize("drift_A", [0.0, 5.0])
@pytest.mark.parametrize("seed", SEEDS)
def test_a_pump_that_never_stops_has_no_starts(drift_A, seed):
    """Running when the log begins and when it ends, over whatever else drifts."""
    scene = Scene(Load(30.0, [(-10.0, 9e9)]), drift_A=drift_A, span_s=20000, seed=seed)
    assert cycles_of(scene.chunk()).summary.count == 0


def test_a_lone_spike_is_no_start():
    """One false row, however high, on a quiet baseline or within a run, starts nothing and is no surge."""
    runs_s = evenly(300.5, 100.0, 300.0, 4)
    chunk = Scene(Load(30.0, runs_s), span_s=2000).chunk()
    for at in (150, 350, 1234):
        chunk.quantities["current_A"][at] = 900.0
    result = cycles_of(chunk)
    assert_runs(result, runs_s, within_s=1.0)
    assert max(cycle.surge_ratio for cycle in result.cycles) < 1.1
    np.testing.assert_allclose([cycle.charge_Ah for cycle in result.cycles], 30 * 100 / 3600, rtol=0.03)


@pytest.mark.parametrize("count", [0, 1, 2, 3, 5])
def test_a_log_of_a_few_readings_has_no_cycles(count):
    """Nothing, or next to nothing, is no load."""
    result = cycles_of(chunk_of(np.arange(count), current_A=np.arange(count) * 10.0))
    assert result.cycles == ()
    assert result.summary.median_run_s is None
    assert not result.in_clouds


def test_without_a_usual_interval_nobody_knows_how_short_a_run_may_be():
    """The shortest run that shows is three intervals."""
    shortest_s = []
    for interval_s in (None, 2.0):
        fold = CycleFold(how(usual_interval_s=interval_s), {"current_A"})
        fold.add(chunk_of([0.0], current_A=2.0))
        shortest_s.append(fold.result().shortest_run_s)
    assert shortest_s == [None, 6.0]


# --- other signals --------------------------------------------------------------------------------------------------


def test_power_alone_is_enough():
    """A log of watts has the same runs, energy instead of charge, and no sag."""
    runs_s = evenly(100.5, 60.0, 120.0, 5)
    result = cycles_of(Scene(Load(30.0, runs_s), span_s=1200).chunk(power_W=lambda i, v: 25.0 * i))
    assert_runs(result, runs_s, within_s=1.0)
    for cycle in result.cycles:
        assert cycle.energy_Wh == pytest.approx(25 * 30 * 60 / 3600, rel=0.03)
        assert cycle.run_W == pytest.approx(750.0, rel=0.01)
        assert (cycle.charge_Ah, cycle.run_A, cycle.surge_A, cycle.sag_V) == (None, None, None, None)
        assert cycle.surge_ratio == pytest.approx(1.0, abs=0.05)


def test_behind_an_inverter_watts_lead_and_there_is_no_charge():
    """RMS amps do not add up and are no charge at the bank; the sag there is not the bank's."""
    runs_s = evenly(100.5, 60.0, 120.0, 5)
    make = {"current_A": lambda i, v: i / 8, "power_W": lambda i, v: 25.0 * i, "voltage_V": lambda i, v: 0 * i + 230.0}
    result = cycles_of(Scene(Load(30.0, runs_s), span_s=1200).chunk(**make), side="ac")
    assert result.signal == "power_W"
    assert_runs(result, runs_s, within_s=1.0)
    for cycle in result.cycles:
        assert cycle.energy_Wh == pytest.approx(25 * 30 * 60 / 3600, rel=0.03)
        assert (cycle.charge_Ah, cycle.sag_V) == (None, None)
        assert cycle.run_A == pytest.approx(30 / 8, rel=0.02)


def test_means_give_the_same_runs_and_charge():
    """Averages over each second: a start within a second shows as a part of one, and no charge is lost."""
    runs_s = evenly(100.3, 60.0, 120.0, 5)
    fine = Scene(Load(30.0, runs_s), every_s=0.1, span_s=1200, noise_A=0.02).chunk()
    means = {n: x[1:].reshape(-1, 10).mean(axis=1) for n, x in fine.quantities.items()}
    result = cycles_of(chunk_of(np.arange(1.0, 1201.0), **means), sampling="mean")
    assert_runs(result, runs_s, within_s=1.0)
    np.testing.assert_allclose([cycle.charge_Ah for cycle in result.cycles], 30 * 60 / 3600, rtol=0.01)


def test_missing_volts_hide_energy_not_runs():
    """A meter that loses its volts now and then, or never has any: runs stay, energy is known or null, never wrong."""
    runs_s = evenly(100.5, 60.0, 120.0, 5)
    chunk = Scene(Load(30.0, runs_s), span_s=1200).chunk()
    chunk.quantities["voltage_V"][::7] = np.nan
    for cycle in cycles_of(chunk).cycles:
        assert cycle.energy_Wh == pytest.approx(24.6 * 30 * 60 / 3600, rel=0.03)
    chunk.quantities["voltage_V"][:] = np.nan
    result = cycles_of(chunk)
    assert_runs(result, runs_s, within_s=1.0)
    assert {(cycle.energy_Wh, cycle.run_W, cycle.sag_V) for cycle in result.cycles} == {(None, None, None)}


def test_power_of_the_wrong_sign_is_not_taken_for_the_loads():
    """Unsigned watts while the array gives more than is drawn: a run's energy is still positive."""
    runs_s = evenly(100.5, 60.0, 120.0, 5)
    make = {**AMPS_AND_VOLTS, "power_W": lambda i, v: np.abs(i * v)}
    for cycle in cycles_of(Scene(Load(12.0, runs_s), base_A=-40.0, span_s=1200).chunk(**make)).cycles:
        assert cycle.energy_Wh == pytest.approx(25.9 * 12 * 60 / 3600, rel=0.03)


# --- the sample data ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("simulate", "every_s", "count", "resolved"),
    [(simulate_open_day, 0.1, 10, True), (simulate_week_later, 1.0, 103, False)],
)
def test_sample_data_have_the_runs_of_the_simulator(simulate, every_s, count, resolved):
    """Invented data against the simulator's own truth: every run to two intervals, their energy to 3 %."""
    scene = simulate()
    truth, first_s = scene.truth, scene.time_s[0]
    chunk = chunk_of(scene.time_s - first_s, current_A=scene.measured_current_A, voltage_V=scene.measured_voltage_V)
    result = cycles_of(chunk, every_s)
    assert len(truth.pump_starts_s) == count
    assert_runs(result, np.transpose([truth.pump_starts_s, truth.pump_stops_s]) - first_s, within_s=2 * every_s)
    assert sum(cycle.energy_Wh for cycle in result.cycles) == pytest.approx(truth.pump_energy_Wh, rel=0.03)
    assert {cycle.surge_resolved for cycle in result.cycles} == {resolved}


def test_a_run_whose_volts_are_missing_has_no_energy():
    """Volts that were not read for longer than the gap limit give no watt-hours, no watts and no sag; amps do."""
    count = 6000
    time_s = np.arange(count, dtype=float)
    current_A = np.where((time_s % 2000 > 500) & (time_s % 2000 < 1500), 30.0, 1.0)
    voltage_V = np.full(count, 24.0)
    voltage_V[2800:3200] = np.nan  # in the middle of the second run
    voltage_V[4600] = np.nan  # a single one in the third
    chunk = chunk_of(time_s, current_A=current_A, voltage_V=voltage_V)
    fold = CycleFold(how(), {"current_A", "voltage_V"})
    fold.add(chunk)
    first, second, third = fold.result().cycles
    assert second.energy_Wh is None
    assert second.peak_W is None
    assert second.sag_V is None
    assert second.charge_Ah == pytest.approx(first.charge_Ah, rel=1e-6)
    assert third.energy_Wh == pytest.approx(first.energy_Wh, rel=1e-6)
    assert first.energy_Wh == pytest.approx(24 * 29 * 999 / 3600, rel=0.01)
