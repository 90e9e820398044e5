"""Where a signal is level and where it steps, by hand and against plain medians."""

import math
import pickle
from itertools import pairwise

import numpy as np
import pytest
from examples import examples
from hypothesis import given
from hypothesis import strategies as st
from readings import T0_US, US, assert_same, chunk_of, fed, how

from shuntbook.analysis.signal_levels.plateau import OpenPlateau, Plateau, _medians, _rows_of, traces_of
from shuntbook.analysis.signal_levels.step_threshold import Threshold
from shuntbook.analysis.signal_levels.steps import BLOCK, StepFold, signal_of

# --- plateaus and steps ---------------------------------------------------------------------------------------------


def plateaus_of(time_s, reading=None, **quantities):
    """The plateaus of some readings."""
    return fed(StepFold(reading or how(), set(quantities)), chunk_of(time_s, **quantities)).result()


def test_a_load_that_goes_on_and_off():
    """2, 30 and 2 A for ten readings 2 s apart: three plateaus, steps of 28 A, and trapezoids for the integrals."""
    got = plateaus_of(np.arange(0.0, 60.0, 2.0), current_A=np.repeat([2.0, 30.0, 2.0], 10), voltage_V=np.full(30, 25.0))
    rest, run, after = got.plateaus
    assert (got.signal, got.covered_s) == ("current_A", 58.0)
    assert [p.count for p in got.plateaus] == [10, 10, 10]
    assert [(p.first_us - T0_US, p.last_us - T0_US) for p in got.plateaus] == [
        (0, 18 * US),
        (20 * US, 38 * US),
        (40 * US, 58 * US),
    ]
    assert [(p.step, p.step_s, p.after_gap) for p in got.plateaus] == [
        (0.0, 0.0, True),
        (28.0, 2.0, False),
        (-28.0, 2.0, False),
    ]
    # 2 A x 18 s; then (2 + 30) / 2 x 2 s of the change; 30 A x 18 s; and so on.
    assert [p.sums["current_A"] for p in got.plateaus] == [(0.0, 36.0), (68.0, 608.0), (640.0, 676.0)]
    assert rest.sums["power_W"] == (0.0, 900.0)  # volts x amps
    assert run.traces["power_W"].usual == 750.0
    assert after.traces["voltage_V"].high == 25.0
    assert [p.sums["power_W unknown"] for p in got.plateaus] == [(0.0, 0.0)] * 3


@pytest.mark.parametrize("sampling", ["instant", "mean", "held"])
def test_integrals_count_each_interval_once_however_long_the_log(sampling):
    """Of 40,000 readings, more than are looked at together: the sums of a plain loop over neighbours."""
    rng = np.random.default_rng(2)
    time_s = np.cumsum(rng.integers(1, 4, 40_000).astype(float))
    current_A = np.round(np.repeat(rng.choice([2.0, 30.0], 400), 100) + rng.normal(0, 0.01, 40_000), 2)
    got = plateaus_of(time_s, how(sampling=sampling), current_A=current_A)
    spacing_s = np.diff(time_s)
    stands_A = {"instant": (current_A[1:] + current_A[:-1]) / 2, "mean": current_A[1:], "held": current_A[:-1]}
    first_As = current_A[0] if sampling == "mean" else 0.0  # a mean stands for the second before it, too
    assert got.plateaus[-1].sums["current_A"][1] == pytest.approx(stands_A[sampling] @ spacing_s + first_As)
    assert got.covered_s == pytest.approx(spacing_s.sum() + (sampling == "mean"))


def test_nothing_measured_parts_two_plateaus():
    """2 A before and after a minute without readings: the second begins after a gap, and nothing is added for it."""
    got = plateaus_of([0.0, 1.0, 2.0, 3.0, 63.0, 64.0, 65.0, 66.0], current_A=[2.0, 2, 2, 2, 3, 3, 3, 3])
    assert [(p.after_gap, p.step, p.step_s) for p in got.plateaus] == [(True, 0.0, 0.0), (True, 1.0, 60.0)]
    assert [p.sums["current_A"] for p in got.plateaus] == [(0.0, 6.0), (6.0, 15.0)]
    assert got.covered_s == 6.0


def test_a_spacing_of_just_the_gap_limit_parts_nothing():
    """The limit itself is one measurement, as for the charge; held readings know no gap."""
    assert len(plateaus_of([0.0, 10.0, 20.0], current_A=2.0).plateaus) == 1
    assert len(plateaus_of([0.0, 10.000001, 20.0], current_A=2.0).plateaus) == 2
    assert len(plateaus_of([0.0, 3000.0, 6000.0], how(sampling="held"), current_A=2.0).plateaus) == 1
    # What a film showed does not stand while nothing of it could be read.
    filmed = how(sampling="held", delay_s=1.0)
    assert len(plateaus_of([0.0, 3000.0, 6000.0], filmed, current_A=2.0).plateaus) == 3


def levels_of(current_A, **more):
    """The counts of the plateaus, and the highest reading of each."""
    got = plateaus_of(np.arange(float(len(current_A))), current_A=current_A, **more)
    return [(p.count, p.traces["current_A"].high) for p in got.plateaus]


def test_a_lone_reading_far_off_makes_no_step():
    """One of 500 A among 2 A is put midway between its neighbours; two of them are a load."""
    quiet = [2.0] * 12
    assert levels_of([*quiet, 500.0, *quiet]) == [(25, 2.0)]
    assert levels_of([*quiet, -500.0, *quiet]) == [(25, 2.0)]
    assert [count for count, _ in levels_of([*quiet, 500.0, 500.0, *quiet])] == [12, 2, 12]


def test_a_spike_after_a_small_rise_is_one_all_the_same():
    """30 A up before it are less than a tenth of 500 A."""
    assert max(high for _, high in levels_of([2.0] * 40 + [3.0] * 40 + [33.0, 533.0] + [33.0] * 40)) == 33.0


#: A change by 1 A: of readings that hardly change otherwise, five of these are a step and no less.
DIGIT = [2.0] * 40 + [3.0] * 40 + [2.0] * 40


@pytest.mark.parametrize(("after_A", "stays"), [(51.0, False), (52.0, True), (72.0, True)])
def test_readings_around_a_spike_agree_within_a_tenth_of_it(after_A, stays):
    """2 A before it and 500 A above those after it: 50 A more after it are as much as a tenth, and a start's."""
    top_A = after_A + 500.0
    assert (max(high for _, high in levels_of([*DIGIT, top_A, *[after_A] * 40])) == top_A) is stays


@pytest.mark.parametrize(("before_A", "stays"), [(52.0, False), (53.0, True)])
def test_what_rises_by_a_tenth_of_a_spike_before_it_is_no_start(before_A, stays):
    """From 2 A by 50 or 51 A, then by 500 A for one reading."""
    top_A = before_A + 500.0
    assert (max(high for _, high in levels_of([*DIGIT, before_A, top_A, *[before_A] * 40])) == top_A) is stays


def test_a_spike_between_two_small_rises_is_one_and_makes_no_step():
    """40 A up before it and 40 A after it are each less than a tenth of 460 A; it is taken for the middle of both."""
    assert max(high for _, high in levels_of([*DIGIT, 42.0, 542.0, *[82.0] * 40])) == 82.0
    assert levels_of([*DIGIT, *[30.0] * 40, 530.0, *[30.0] * 40]) == [(120, 3.0), (81, 30.0)]
    # Nor where only one reading is known after it, or before it.
    assert levels_of([*DIGIT, *[30.0] * 40, 530.0, 30.0]) == [(120, 3.0), (42, 30.0)]
    assert levels_of([30.0, 530.0, *[30.0] * 40, *DIGIT]) == [(42, 30.0), (120, 3.0)]


@pytest.mark.parametrize(("stays_A", "counts"), [(33.0, [120, 72]), (34.0, [120, 31, 41])])
def test_of_a_step_more_than_three_fifths_stand_one_reading_further_out(stays_A, counts):
    """From 28 A, a lone dip below 30 A, to 34 A: 6 A, where 5 A are a step; 3 A of them remain, or 4 A."""
    got = levels_of([*DIGIT, *[30.0] * 30, 28.0, 34.0, *[stays_A] * 40])
    assert [count for count, _ in got] == counts


def test_each_block_is_judged_by_its_own_noise():
    """A block of 2 A with 5 A as a step, and one that swings by 20 A; 40 A once at its beginning are not far off."""
    current_A = np.full(2 * BLOCK, 2.0)
    current_A[100:200] = 3.0
    begins = BLOCK - 2  # as many readings are held back
    current_A[begins + 5 :: 2] = 22.0
    current_A[begins] = 40.0
    assert levels_of(current_A) == [(2 * BLOCK, 40.0)]


@pytest.mark.parametrize("read", ["current_A voltage_V", "current_A power_W voltage_V", "power_W"])
def test_rises_between_slow_readings_have_the_volts_at_their_tops(read):
    """A minute apart: 30 readings of 30 A, each alone above 2 and 3 A, at 24.5 V; unknown where no volts are read."""
    time_s = 60.0 * np.arange(300)
    current_A = np.where(np.arange(300) % 10 == 1, 32.0, np.where(np.arange(300) < 150, 2.0, 3.0))
    q = {"current_A": current_A, "power_W": 25.0 * current_A, "voltage_V": np.where(current_A > 30, 24.5, 25.0)}
    slow = how(gap_limit_s=300.0, usual_interval_s=60.0)
    rises = plateaus_of(time_s, slow, **{name: q[name] for name in read.split()}).rises
    assert rises.count.sum() == 30
    np.testing.assert_equal(rises.volts, 24.5 if "voltage_V" in read else math.nan)


@pytest.mark.parametrize("at", [BLOCK - 2, BLOCK - 1, BLOCK, BLOCK + 1])
def test_a_spike_where_two_blocks_meet_is_none_the_less_one(at):
    """It is judged when what follows is known; and a step is where it is."""
    current_A = np.full(BLOCK + 100, 2.0)
    current_A[at] = 500.0
    assert levels_of(current_A) == [(BLOCK + 100, 2.0)]
    current_A[at:] = 500.0
    assert [count for count, _ in levels_of(current_A)] == [at, BLOCK + 100 - at]


@pytest.mark.parametrize("sampling", ["instant", "mean", "held"])
@pytest.mark.parametrize("quantities", [("current_A",), ("current_A", "voltage_V"), ("power_W", "current_A")])
def test_blocks_cut_together_are_as_if_cut_one_by_one(sampling, quantities):
    """Five blocks with loads, gaps, spikes where two blocks meet and missing cells, at once and in short chunks."""
    rng, count = np.random.default_rng(4), 5 * BLOCK + 100
    time_s = np.cumsum(np.where(rng.random(count) < 0.0005, 60.0, rng.uniform(0.9, 1.1, count)))
    current_A = np.resize(np.repeat([2.0, 30.0, -4.0], [700, 90, 5]), count) + rng.normal(0, 0.05, count)
    at = BLOCK * np.arange(1, 6) + np.arange(-4, 1)
    current_A[at] += 500.0
    missing = rng.random(count) < 0.01
    q = {"current_A": current_A, "voltage_V": np.where(missing, np.nan, 25 - 0.02 * current_A)}
    q["power_W"] = q["voltage_V"] * current_A
    chunk, reading = chunk_of(time_s, **{name: q[name] for name in quantities}), how(sampling=sampling)
    together = fed(StepFold(reading, set(quantities)), chunk).result()
    assert_same(fed(StepFold(reading, set(quantities)), chunk, range(0, count, 5000)).result(), together, within=0.0)
    assert max(p.traces["current_A"].high for p in together.plateaus) < 100.0


@pytest.mark.parametrize("count", [0, 1, 2, BLOCK, BLOCK + 1])
def test_logs_of_a_few_readings_and_of_just_a_block(count):
    """All of them are in one plateau, if there are any."""
    assert [n for n, _ in levels_of(np.full(count, 2.0))] == [count] * (count > 0)


def test_the_top_of_a_start_is_no_spike():
    """2, 40, 80, 41 A: what rose already before the top belongs to a start, and its top stays."""
    rest, run = [2.0] * 12, [40.0] * 12
    assert max(high for _, high in levels_of([*rest, 40.0, 80.0, *run])) == 80.0
    assert max(high for _, high in levels_of([*rest, 80.0, *run])) == 80.0  # its neighbours differ: no spike


def test_a_lone_reading_next_to_a_gap_stays():
    """Nothing says what was before or after it."""
    time_s = np.array([*range(12), *range(100, 112)], dtype=float)
    for at in (11, 12):
        current_A = np.full(24, 2.0)
        current_A[at] = 500.0
        got = plateaus_of(time_s, current_A=current_A)
        assert max(p.traces["current_A"].high for p in got.plateaus) == 500.0


def test_readings_without_a_signal_are_as_if_not_made():
    """Amps missing at one reading: one fewer, and the line between its neighbours in the integral."""
    current_A = [4.0, 4.0, np.nan, 4.0, 4.0]
    (level,) = plateaus_of(np.arange(5.0), current_A=current_A, voltage_V=25.0).plateaus
    assert (level.count, level.sums["current_A"]) == (4, (0.0, 16.0))


def test_volts_that_are_missing_are_taken_from_the_line_as_far_as_the_gap_limit_reaches():
    """24 to 26 V over a hole of 10 s: 25 V in its middle; over 11 s nothing is known, and that time is counted."""
    for hole_s, volts, unknown_s in ((10.0, 25.0, 0.0), (11.0, np.nan, 5.5)):
        time_s = [0.0, 1.0, 1 + hole_s / 2, 1 + hole_s, 2 + hole_s]
        (level,) = plateaus_of(time_s, current_A=2.0, voltage_V=[24.0, 24.0, np.nan, 26.0, 26.0]).plateaus
        np.testing.assert_equal(level.traces["voltage_V"].head[2], volts)
        assert level.sums["power_W unknown"] == (0.0, pytest.approx(unknown_s))  # half of either side of the reading


def test_volts_missing_at_an_end_are_those_of_the_nearest_reading():
    """Within the gap limit; a column that is missing altogether stays unknown."""
    (level,) = plateaus_of(np.arange(5.0), current_A=2.0, voltage_V=[np.nan, 24.0, 25.0, 26.0, np.nan]).plateaus
    assert level.traces["voltage_V"].head == [24.0, 24.0, 25.0, 26.0, 26.0]
    (blind,) = plateaus_of(np.arange(5.0), current_A=2.0, voltage_V=np.nan).plateaus
    assert math.isnan(blind.traces["voltage_V"].usual)
    assert blind.sums["power_W unknown"] == (0.0, 4.0)


def test_watts_whose_sign_contradicts_the_current_give_way_at_the_bank_only():
    """100 W beside -5 A at 24 V are -120 W; behind an inverter amps have no sign and the watts stay."""
    readings = {"current_A": -5.0, "voltage_V": 24.0, "power_W": 100.0}
    (bank,) = plateaus_of(np.arange(5.0), **readings).plateaus
    (behind,) = plateaus_of(np.arange(5.0), how(side="ac"), **readings).plateaus
    assert (bank.traces["power_W"].usual, behind.traces["power_W"].usual) == (-120.0, 100.0)
    (agrees,) = plateaus_of(np.arange(5.0), **readings | {"power_W": -118.0}).plateaus
    assert agrees.traces["power_W"].usual == -118.0  # as the meter says, not volts times amps


@pytest.mark.parametrize(
    ("side", "quantities", "signal"),
    [
        ("dc", {"power_W", "current_A"}, "current_A"),
        ("dc", {"power_W"}, "power_W"),
        ("ac", {"power_W", "current_A"}, "power_W"),
        ("ac", {"current_A", "voltage_V"}, "current_A"),
        ("dc", {"voltage_V"}, None),
    ],
)
def test_steps_are_sought_where_loads_add_up(side, quantities, signal):
    """Amps at the bank, watts behind an inverter; neither is an error of the caller."""
    assert signal_of(how(side=side), quantities) == signal
    if signal is None:
        with pytest.raises(ValueError, match="no current and no power"):
            StepFold(how(side=side), quantities)


def test_what_is_carried_does_not_grow_with_the_readings():
    """A steady log of three blocks, and of ten: whatever a fold holds."""
    sizes = []
    for blocks in (3, 10):
        fold = fed(StepFold(how(), {"current_A"}), chunk_of(np.arange(float(blocks * BLOCK + 9)), current_A=2.0))
        sizes.append(len(pickle.dumps(fold)))
    assert sizes[1] < 1.1 * sizes[0]


def test_what_was_handed_over_is_forgotten():
    """Plateaus that cannot change are given out once."""
    chunk = chunk_of(np.arange(40_000.0), current_A=np.tile(np.repeat([2.0, 30.0], 500), 40))
    fold, whole = StepFold(how(), {"current_A"}), StepFold(how(), {"current_A"})
    whole.add(chunk)
    fold.add(chunk)
    done = fold.handed_over()
    assert len(done) > 30
    assert fold.handed_over() == []
    assert (*done, *fold.result().plateaus) == whole.result().plateaus
    assert len(whole.result().plateaus) == 80


# --- the smallest change that is a step -----------------------------------------------------------------------------


def threshold(x, gaps=()):
    """The smallest step of some readings, none of them seen before."""
    is_gap = np.zeros(len(x), dtype=bool)
    is_gap[list(gaps)] = True
    return Threshold().of(np.asarray(x, dtype=float), is_gap)


@pytest.mark.parametrize(
    ("x", "least"),
    [
        ([5.0] * 100, 0.0),  # nothing changes
        ([0.0] * 50 + [10.0] * 50, 5.0),  # one change, more than a tenth of the highest: half of it
        ([100.0] * 50 + [101.0] * 50, 1.5),  # less than a tenth of the highest: rounding, half as much again
        ([-100.0] * 50 + [-101.0] * 50, 1.5),
        ([0.0] * 30 + [100.0] * 30 + [101.0] * 30, 5.0),  # five smallest changes, less than a fifth of the range
        ([0.0] * 30 + [4.0] * 30 + [20.0] * 30, 4.0),  # a fifth of the range, less than five smallest changes
        ([7.0] * 30 + [12.0] * 30 + [11.0] * 30, 1.5),  # by the highest reading, not the lowest
        ([9.0] * 50 + [10.0] * 50, 0.5),  # just a tenth of the highest is no rounding
        ([0.0, 1.0] * 30 + [5.0, 4.0] * 30, 6 * math.sqrt((118 + 16) / 119 / 2)),  # four smallest changes are small
        ([0.0, 1.0] * 30 + [6.0, 5.0] * 30, 6 / math.sqrt(2)),  # five are not
        ([0.0, 1.0] * 50, 6 / math.sqrt(2)),  # every difference is 1: a standard deviation of 1 / sqrt 2
        ([0.0, 1.0, 4.0, 1.0] * 25, 6 * 1.4826 * 3 / math.sqrt(2)),  # the upper median is 3: more than two smallest
    ],
)
def test_the_smallest_step_by_hand(x, least):
    """Six standard deviations of the noise, or what the meter's own smallest change asks for."""
    assert threshold(x) == pytest.approx(least)


def test_a_rare_flicker_is_judged_without_the_largest_tenth():
    """Of 200 differences 40 are 1 and the others nought: without the largest 20, 20 of 180 are left."""
    x = np.cumsum(np.concatenate([[0.0], np.where(np.arange(200) % 20 < 4, 1.0, 0.0) * np.tile([1, -1], 100)]))
    assert np.count_nonzero(np.diff(x)) == 40
    assert threshold(x) == pytest.approx(6 * math.sqrt(20 / 180 / 2))


def test_steps_do_not_count_as_noise():
    """Normal noise of 0.1 A with steps of 20 A in it: 0.6 A, as without them."""
    rng = np.random.default_rng(1)
    noise_A = rng.normal(0, 0.1, 16384)
    for loads_A in (0.0, np.repeat(rng.choice([0.0, 20.0], 64), 256)):
        assert threshold(noise_A + loads_A) == pytest.approx(0.6, rel=0.03)


def test_a_change_over_a_gap_is_none():
    """0 and 10 A with nothing measured between them: there is no change at all."""
    assert threshold([0.0] * 50 + [10.0] * 50, gaps=[50]) == 0.0


def test_few_readings_are_judged_by_those_before_them():
    """Fewer than 64 changes say little; and the range is that of all readings so far."""
    judge, none = Threshold(), np.zeros(65, dtype=bool)
    first = judge.of(np.repeat([0.0, 10.0], [30, 35]), none)
    assert (first, judge.of(np.tile([0.0, 3.0], 32), none[:64])) == (5.0, 5.0)
    # 64 changes are enough: one of 1 A now, of which five are less than a fifth of the range of 100 A seen before.
    wide = Threshold()
    assert wide.of(np.repeat([0.0, 100.0], [30, 35]), none) == 50.0
    assert wide.of(np.repeat([50.0, 51.0], [30, 35]), none) == 5.0
    assert wide.of(np.repeat([100.0, 99.0], [30, 35]), none) == 5.0


@given(st.integers(0, 10**6), st.booleans())
@examples(13, 40)
def test_rows_are_judged_as_if_one_by_one(seed, with_gaps):
    """Whatever they hold."""
    rng = np.random.default_rng(seed)
    x = rng.normal(0, rng.choice([0.0, 0.3, 3.0]), (5, 80)) + np.repeat(rng.choice([-90, 0, 9, 30], (5, 4)), 20, axis=1)
    x = np.round(x, rng.integers(0, 2))
    is_gap = rng.random(x.shape) < 0.02 * with_gaps
    together, singly = Threshold(), Threshold()
    assert together.of_rows(x, is_gap).tolist() == [singly.of(*row) for row in zip(x, is_gap, strict=True)]


# --- what is kept of a plateau --------------------------------------------------------------------------------------


def plain(x):
    """A trace's figures, each by a plain median."""
    stride = 1
    while len(x) / stride > 32:
        stride *= 2
    head, tail = x[:15], x[-15:]
    return [*map(np.median, (head, tail, x[::stride])), x.min(), x.max(), head.tolist(), tail.tolist()]


@given(st.integers(0, 10**6), st.lists(st.integers(1, 200), min_size=1, max_size=5))
def test_traces_are_plain_medians_and_extremes(seed, counts):
    """Of the first and last fifteen readings, of at most 32 taken evenly, and of all."""
    x = np.random.default_rng(seed).normal(0, 5, (2, sum(counts)))
    bounds = np.concatenate([[0], np.cumsum(counts)])
    got = traces_of(("a", "b"), x, bounds)
    for traces, (a, b) in zip(got, pairwise(bounds), strict=True):
        assert list(traces["a"]) == plain(x[0, a:b])
        assert list(traces["b"]) == plain(x[1, a:b])


@given(st.integers(0, 10**6), st.integers(1, 300), st.lists(st.integers(1, 300), max_size=5))
def test_an_open_plateau_grows_to_what_it_would_be_at_once(seed, count, cuts):
    """However its readings come in."""
    x = np.random.default_rng(seed).normal(0, 5, (1, count))
    time_us = np.arange(count) * US
    bounds = sorted({0, *(cut % count for cut in cuts), count})
    begun = Plateau(0, int(time_us[bounds[1] - 1]), bounds[1], {}, {"a": (1.0, 2.0)}, 0.5, 3.0, False, 1.0)
    plateau = OpenPlateau.of(begun, ("a",), x[:, : bounds[1]])
    for a, b in pairwise(bounds[1:]):
        plateau = plateau.extended(time_us[a:b], x[:, a:b], {"a": float(b)})
    closed = plateau.closed()
    assert list(closed.traces["a"]) == plain(x[0])
    assert (closed.first_us, closed.last_us, closed.count) == (0, int(time_us[-1]), count)
    assert closed.sums == {"a": (1.0, float(count) if len(bounds) > 2 else 2.0)}
    assert (closed.least, closed.step, closed.after_gap, closed.step_s) == (0.5, 3.0, False, 1.0)


def test_medians_of_stretches():
    """Of an odd and an even number, of every other reading, and of one that is unknown."""
    x = np.array([[1.0, 9.0, 5.0, 2.0, 4.0, 7.0, np.nan]])
    counts = np.array([3, 4, 3, 2])
    got = _medians(*_rows_of(x, np.array([0, 1, 0, 5]), counts, np.array([1, 1, 2, 1])), counts)
    np.testing.assert_equal(got, [[5.0, 4.5, 4.0, np.nan]])
