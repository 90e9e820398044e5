"""A load of several speeds, or behind a drive, runs from rest to rest; what is on or off is found as ever."""

import numpy as np
import pytest
from load_scenes import cycles_of
from readings import T0_US, US, chunk_of, fed, how

from shuntbook.analysis.cycles.cycles import CycleFold
from shuntbook.analysis.signal_levels.levels import START_S

EVERY_S = 2.0
#: Watts and seconds: four speeds in turn, with rests; in no run does a step up have its like.
RUNS = [
    [(20.0, 120.0), (70.0, 300.0), (45.0, 200.0)],
    [(70.0, 90.0), (45.0, 100.0)],
    [(45.0, 240.0), (100.0, 60.0), (20.0, 80.0)],
    [(20.0, 60.0), (45.0, 60.0), (100.0, 150.0)],
    [(100.0, 60.0), (20.0, 300.0)],
]
REST_S = 400.0
#: By how much readings scatter. [W]
SCATTER_W = 0.2


def log_of(runs, *, ramp_s=0.0, seed=5, beside=None):
    """Instants and watts of runs at one draw after another, with a rest before each; `beside` is what else is drawn."""
    at_s, watts, now = [0.0], [3.0], REST_S
    for run in runs:
        for held_W, length_s in run:
            at_s += [now, now + ramp_s + 1e-3]
            watts += [watts[-1], 3.0 + held_W]
            now += length_s
        at_s += [now, now + 1e-3]
        watts += [watts[-1], 3.0]
        now += REST_S
    time_s = np.arange(0.0, now, EVERY_S)
    scatter = np.random.default_rng(seed).normal(0, SCATTER_W, len(time_s))
    also_W = beside(time_s) if beside is not None else 0.0
    return chunk_of(time_s, power_W=np.interp(time_s, at_s, watts) + also_W + scatter)


def fridge_W(time_s):
    """A thermostat's load of 30 W, on for 700 s in 1,500 s: runs begin and end within its own, and across its ends."""
    return 30.0 * (time_s % 1500 > 800)


def sun_W(time_s):
    """What an array gives on a winter's day, with waves in it: more than all that is drawn at rest."""
    return -120 * np.sin(np.pi * (time_s + 3600) / 36000) * (1 + 0.03 * np.sin(time_s / 300))


def begin_and_end(cycle):
    """When a run was, from the log's start. [s]."""
    return (cycle.start_us - T0_US) / US, (cycle.stop_us - T0_US) / US


@pytest.mark.parametrize("ramp_s", [0.0, 9.0])
def test_a_run_lasts_from_rest_to_rest(ramp_s):
    """Each run once, with both ends to a reading, its energy in all, and how long it held each draw."""
    result = cycles_of(log_of(RUNS, ramp_s=ramp_s), EVERY_S, side="ac")

    assert len(result.cycles) == len(RUNS) == result.summary.count
    assert result.summary.other_runs == 0
    now = REST_S
    for cycle, run in zip(result.cycles, RUNS, strict=True):
        length_s = sum(held_s for _, held_s in run)
        assert begin_and_end(cycle) == pytest.approx((now, now + length_s), abs=EVERY_S)
        lost_s = ramp_s / 2  # of each step, on the way to it
        steps = np.diff([0.0, *(held_W for held_W, _ in run)])
        true_Wh = (sum(held_W * held_s for held_W, held_s in run) - steps.sum() * lost_s) / 3600
        assert cycle.energy_Wh == pytest.approx(true_Wh, rel=0.02)
        assert cycle.run_W == pytest.approx(3600 * cycle.energy_Wh / cycle.run_s)
        assert sum(cycle.at_speeds) == pytest.approx(cycle.run_s)
        now += length_s + REST_S


def test_its_draws_are_told_with_the_time_at_each():
    """Four fixed speeds, the lowest first; each run knows how long it held them."""
    result = cycles_of(log_of(RUNS), EVERY_S, side="ac")

    assert result.fixed_speeds
    assert not result.under_array
    assert [speed.draw_W for speed in result.speeds] == pytest.approx([20, 45, 70, 100], rel=0.02)
    assert [speed.lasted_s for speed in result.speeds] == pytest.approx([560, 600, 390, 270], abs=4 * EVERY_S)
    assert result.cycles[0].at_speeds == pytest.approx((120, 200, 300, 0), abs=2 * EVERY_S)
    assert (result.cycles[0].surge_ratio, result.cycles[0].start_s) == (None, None)


def test_what_is_on_or_off_has_no_speeds():
    """Two loads that run together, each with a step down like its step up, are two loads."""
    first, both, second = [(70.0, 200.0)], [(70.0, 120.0), (115.0, 60.0), (70.0, 90.0)], [(45.0, 100.0)]
    result = cycles_of(log_of([first, both, second, first, both, first, both, second, both]), EVERY_S, side="ac")

    assert result.speeds == ()
    assert all(cycle.at_speeds == () for cycle in result.cycles)
    assert [cycle.run_W for cycle in result.cycles] == pytest.approx([70] * 7, rel=0.03)


def test_two_runs_show_no_speeds_unless_the_owner_says_so():
    """A site file with `start = "drive"` makes one run enough; without it two may be two loads' by chance."""
    chunk = log_of(RUNS[:2])

    assert cycles_of(chunk, EVERY_S, side="ac").speeds == ()
    told = cycles_of(chunk, EVERY_S, side="ac", drive=True)
    assert len(told.cycles) == 2
    assert len(told.speeds) == 3


def test_a_drive_that_runs_as_a_pump_does_is_followed_as_one():
    """The owner's word alone makes no speeds: at one draw after rest, runs are those of a load that is on or off."""
    result = cycles_of(log_of([[(70.0, 100.0)]] * 6), EVERY_S, side="ac", drive=True)

    assert result.speeds == ()
    assert len(result.cycles) == 6


def test_the_plate_of_another_load_makes_no_runs_of_this_one():
    """A pump of ten times the draw is not what goes up and down here."""
    assert cycles_of(log_of(RUNS), EVERY_S, side="ac", expected=1000.0).speeds == ()
    assert len(cycles_of(log_of(RUNS), EVERY_S, side="ac", expected=110.0).cycles) == len(RUNS)


def test_a_run_that_goes_on_at_the_end_counts_as_long_as_it_was_seen():
    """The log ends at the second speed of a sixth run."""
    chunk = log_of([*RUNS, [(20.0, 100.0), (70.0, 120.0)]])
    until = chunk.time_us < chunk.time_us[-1] - (REST_S + 50) * US
    result = cycles_of(
        chunk_of((chunk.time_us[until] - T0_US) / US, power_W=chunk.quantities["power_W"][until]), EVERY_S, side="ac"
    )

    last = result.cycles[-1]
    assert not last.complete
    assert last.stop_us is None
    assert last.so_far_s == pytest.approx(170, abs=3 * EVERY_S)
    assert last.so_far_Wh == pytest.approx((20 * 100 + 70 * 70) / 3600, rel=0.05)


def test_where_chunks_end_makes_no_difference():
    """A fold, as all of them: cut anywhere, and asked in between."""
    chunk, reading = log_of(RUNS, ramp_s=9.0), how("ac", "instant", 10.0, EVERY_S)
    fold = CycleFold(reading, {"power_W"}, drive=True)
    whole = fed(CycleFold(reading, {"power_W"}, drive=True), chunk).result()
    for k in (0, 137, 400, 401, 777):
        end = {0: 137, 137: 400, 400: 401, 401: 777, 777: len(chunk)}[k]
        fold.add(chunk.part(k, end))
        fold.result()

    assert fold.result() == whole
    assert whole.speeds


def test_a_rise_that_takes_longer_than_a_start_is_one_run():
    """A ramp of twice a start's time has levels of its own; the run begins at its foot."""
    result = cycles_of(log_of(RUNS, ramp_s=2 * START_S), EVERY_S, side="ac")

    assert begin_and_end(result.cycles[0])[0] == pytest.approx(REST_S, abs=2 * EVERY_S)


#: Watts and seconds: a drive of 40 to 200 W that follows what is asked of it, no two draws alike.
DEMANDS = [
    [(130.0, 60.0), (57.0, 90.0), (171.0, 120.0), (44.0, 20.0)],
    [(66.0, 80.0), (199.0, 90.0), (103.0, 60.0), (44.0, 20.0)],
    [(182.0, 100.0), (88.0, 60.0), (149.0, 70.0), (44.0, 20.0)],
    [(75.0, 100.0), (50.0, 120.0), (121.0, 60.0), (44.0, 20.0)],
    [(110.0, 60.0), (160.0, 60.0), (95.0, 60.0), (44.0, 20.0)],
] * 4


def truth_of(runs):
    """When each run of such a log begins and ends, and what it takes. [s], [s], [Wh]."""
    now = REST_S
    for run in runs:
        length_s = sum(held_s for _, held_s in run)
        yield now, now + length_s, sum(held_W * held_s for held_W, held_s in run) / 3600
        now += length_s + REST_S


def test_draws_of_all_sizes_are_told_in_four_bands():
    """From 44 to 199 W each reaches 1.458 times as high as the one below: to 64, 94, 136 and 199 W."""
    result = cycles_of(log_of(DEMANDS), EVERY_S, side="ac")
    assert not result.fixed_speeds
    watts, lasted_s = np.array([held for run in DEMANDS for held in run]).T
    band = np.searchsorted([44 * (199 / 44) ** (k / 4) for k in (1, 2, 3)], watts)
    assert [speed.lasted_s for speed in result.speeds] == pytest.approx(np.bincount(band, lasted_s), rel=0.02)
    mean_W = np.bincount(band, watts * lasted_s) / np.bincount(band, lasted_s)
    assert [speed.draw_W for speed in result.speeds] == pytest.approx(mean_W, rel=0.02)


@pytest.mark.parametrize("factor", [0.001, 1000.0])
@pytest.mark.parametrize("runs", [RUNS, DEMANDS[:10]])
def test_a_thousandth_or_a_thousand_times_of_the_signal_gives_the_same_runs(runs, factor):
    """No draw is too small by itself to run at several speeds."""
    chunk, usual = log_of(runs), cycles_of(log_of(runs), EVERY_S, side="ac")
    scaled = chunk_of((chunk.time_us - T0_US) / US, power_W=factor * chunk.quantities["power_W"])
    result = cycles_of(scaled, EVERY_S, side="ac")
    assert [(x.start_us, x.stop_us) for x in result.cycles] == [(x.start_us, x.stop_us) for x in usual.cycles]
    assert [x.draw_W for x in result.speeds] == pytest.approx([factor * x.draw_W for x in usual.speeds])


@pytest.mark.parametrize("drive", [False, True])
def test_a_small_drive_beside_a_fridge_is_parted_from_it(drive):
    """Its least draw is hardly more than the fridge's, which runs half of the time: each run once, with its energy."""
    result = cycles_of(log_of(DEMANDS, beside=fridge_W), EVERY_S, side="ac", drive=drive)

    assert not result.fixed_speeds
    assert [begin_and_end(cycle) for cycle in result.cycles] == [
        pytest.approx((start, stop), abs=2 * EVERY_S) for start, stop, _ in truth_of(DEMANDS)
    ]
    assert [cycle.energy_Wh for cycle in result.cycles] == [
        pytest.approx(true_Wh, rel=0.03) for *_, true_Wh in truth_of(DEMANDS)
    ]


@pytest.mark.parametrize(("runs", "told"), [(DEMANDS, True), (RUNS * 2, False)])
def test_runs_are_followed_while_an_array_gives(runs, told):
    """A drive whose owner says so, and fixed speeds that nobody names: the sun is none of theirs."""
    result = cycles_of(log_of(runs, beside=sun_W), EVERY_S, side="ac", drive=told)
    assert result.under_array
    assert len(result.speeds) > 1
    assert [begin_and_end(cycle) for cycle in result.cycles] == [
        pytest.approx((start, stop), abs=2 * EVERY_S) for start, stop, _ in truth_of(runs)
    ]


def test_what_the_sky_moves_meanwhile_is_not_the_runs():
    """Thin cloud moves what the array gives by a tenth, to and fro: a straight base would be off by it."""
    result = cycles_of(
        log_of(DEMANDS, beside=lambda time_s: sun_W(time_s) * (1 + 0.1 * np.sin(time_s / 100))),
        EVERY_S,
        side="ac",
        drive=True,
    )

    assert [cycle.energy_Wh for cycle in result.cycles] == [
        pytest.approx(true_Wh, rel=0.03) for *_, true_Wh in truth_of(DEMANDS)
    ]


def test_draws_of_all_sizes_while_an_array_gives_may_be_clouds():
    """Without the owner's word nobody can say."""
    assert cycles_of(log_of(DEMANDS, beside=sun_W), EVERY_S, side="ac").speeds == ()


#: Watts and seconds: two runs in which no step up has its like down.
UNLIKE = [[(20.0, 200.0), (100.0, 150.0), (45.0, 300.0)], [(32.0, 200.0), (110.0, 90.0), (50.0, 200.0)]]


def test_two_runs_are_enough_where_many_steps_have_no_like():
    """Two loads step together once or twice, and not at every step; one such run alone may be theirs."""
    result = cycles_of(log_of(UNLIKE), EVERY_S, side="ac")

    assert len(result.speeds) > 1
    assert [begin_and_end(cycle) for cycle in result.cycles] == [
        pytest.approx((start, stop), abs=EVERY_S) for start, stop, _ in truth_of(UNLIKE)
    ]
    assert cycles_of(log_of(UNLIKE[:1]), EVERY_S, side="ac").speeds == ()
