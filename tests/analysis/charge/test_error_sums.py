"""What is kept of a signal to tell how sure its integral is: against plain arithmetic, and by hand."""

import math
from itertools import groupby, pairwise

import numpy as np
import pytest
from examples import examples
from hypothesis import given
from hypothesis import strategies as st
from readings import charge_of, chunk_of, fed, how

from shuntbook.analysis.charge.charge import ChargeFold
from shuntbook.analysis.charge.equal_readings import RunTimes, RunTimeTotals
from shuntbook.analysis.charge.grouped_sums import HALF, size_of, sums_by_size
from shuntbook.analysis.charge.hidden_crossings import Hidden
from shuntbook.analysis.stats.interval95 import Component, judged

CURRENTS_A = st.sampled_from([-3.5, -0.5, 0.0, 0.25, 0.5, 2.0, 2.0, 2.01, 30.0])
SPACINGS_S = st.sampled_from([1.0, 1.0, 1.0, 0.5, 2.5, 40.0])
LOGS = st.lists(st.tuples(CURRENTS_A, SPACINGS_S), min_size=2, max_size=80)
CUTS = st.lists(st.integers(0, 200), max_size=5)


def facts_of(current_A, time_s=None, *, cuts=(), sampling="instant"):
    """What is kept of a current."""
    time_s = np.arange(float(len(current_A))) if time_s is None else time_s
    return fed(ChargeFold(how(sampling=sampling), {"current_A"}), chunk_of(time_s, current_A=current_A), cuts).result()


def hidden_by_lines(parts):
    """What steps through zero hide, interval by interval: a b dt / 2 (a + b), less where they go on: a slope."""
    total = 0.0
    for before, (x0, x1, length_s), after in zip(parts, parts[1:], [*parts[2:], (0.0, 0.0, 0.0)], strict=False):
        if x0 * x1 < 0:
            way = math.copysign(1, x1 - x0)
            slope = sum(max(way * (b - a), 0.0) for a, b, _ in (before, after)) / 2 / abs(x1 - x0)
            total += max(1 - slope, 0.0) * abs(x0 * x1) / (abs(x0) + abs(x1)) / 2 * length_s
    return total


def run_squares(parts, wanted):
    """Sum of the squares of the times that equal readings stand, of those readings that are wanted."""
    runs = [(value, [p[2] for p in run]) for value, run in groupby(parts, key=lambda p: p[1])]
    still, total = {}, 0.0
    for k, (value, lengths_s) in enumerate(runs):
        if wanted(value) and (len(lengths_s) >= 4 or k == len(runs) - 1):
            still[value] = still.get(value, 0.0) + sum(lengths_s)
        elif wanted(value):
            total += sum(lengths_s) ** 2
    return total + sum(s**2 for s in still.values())


@examples(50, 150)
@given(log=LOGS, cuts=CUTS)
def test_facts_are_those_of_plain_arithmetic(log, cuts):
    """Each sum, apart for what is drawn and what is returned."""
    time_s = np.cumsum([row[1] for row in log])
    parts = [(a[0], b[0], b[1]) for a, b in pairwise(log) if b[1] <= how().gap_limit_s]
    facts = facts_of([row[0] for row in log], time_s, cuts=cuts).evidence.current
    if not parts:
        return
    middles = [((x0 + x1) / 2, length_s) for x0, x1, length_s in parts]
    steps = {
        "drawn": [(max(x1, 0.0) - max(x0, 0.0)) * length_s for x0, x1, length_s in parts],
        "returned": [(min(x1, 0.0) - min(x0, 0.0)) * length_s for x0, x1, length_s in parts],
        "net": [(x1 - x0) * length_s for x0, x1, length_s in parts],
    }
    signs = {"drawn": lambda x: x >= 0, "returned": lambda x: x <= 0, "net": lambda x: True}
    expected = {
        "intervals": len(parts),
        "net": math.fsum(x * s for x, s in middles),
        "squares": math.fsum(x * x * s for x, s in middles),
        "highest": max(abs(row[0]) for row in log),  # of all of the log: it may stand for the range
        **{f"steps2.{name}": math.fsum(x**2 for x in xs) for name, xs in steps.items()},
        **{f"steps4.{name}": math.fsum(x**4 for x in xs) for name, xs in steps.items()},
        "time_s.drawn": math.fsum(s for x, s in middles if x > 0),
        "time_s.returned": math.fsum(s for x, s in middles if x < 0),
        "time_s.net": math.fsum(s for x, s in middles if x),
    }
    for name, value in expected.items():
        got = facts
        for part in name.split("."):
            got = getattr(got, part)
        assert got == pytest.approx(value, rel=1e-12, abs=1e-12), name
    for name, sign in signs.items():
        assert getattr(facts.runs2(), name) == pytest.approx(run_squares(parts, sign), rel=1e-12), name
    assert facts.hidden(0.0).held == pytest.approx(hidden_by_lines(parts), abs=1e-12)
    assert facts.by_wobble.sums.sum() == max(len(parts) - 2, 0)
    charge = facts_of([row[0] for row in log], time_s).charge
    assert facts.sizes[1].sum() == pytest.approx(3600 * charge.drawn)
    assert facts.sizes[2].sum() == pytest.approx(3600 * charge.returned)


@pytest.mark.parametrize(("count", "squares_s2"), [(5, 10**2 + 2), (4, 8**2 + 2), (3, 2 * 3**2 + 2)])
def test_a_reading_that_stands_still_twice_has_one_error(count, squares_s2):
    """Four of 5 A and more, 6 A, and as many of 5 A again: their times are added before they are squared."""
    current_A = [0.0, *[5.0] * count, 6.0, *[5.0] * count, 7.0]
    assert facts_of(current_A).evidence.current.runs2().net == squares_s2


FLIPS = [5.0] * 6 + [6.0] * 2 + [5.0] * 2 + [6.0] * 2 + [5.0] * 5 + [7.0]


@pytest.mark.parametrize(
    ("current_A", "digit_A", "squares_s2"),
    [
        # 6 + 5 s stand at 5 A, 2 s flip back to it: 13 s, less twice 2 s at 6 A, which are 4 s there less the 2 s at
        # 5 A between them; then the squares of the three flips and of the last reading.
        (FLIPS, 1.0, (13 - 4) ** 2 + (4 - 2) ** 2 + 3 * 2**2 + 1),
        (FLIPS, 0.1, 11**2 + 3 * 2**2 + 1),
        # To either side, each for more than a hundredth of 18 s: noise evens out most of what is left.
        ([5.0] * 6 + [6.0] + [5.0] * 6 + [4.0] + [5.0] * 6 + [7.0], 1.0, (0.4 * 16) ** 2 + 2 * 1 + 2 * 1 + 1),
        ([5.0] * 6 + [9.0] + [5.0] * 6 + [7.0], 1.0, 12**2 + 1 + 1),  # a load that ran for a reading is no flip
    ],
)
def test_what_flips_between_two_digits_is_right_by_the_share_of_either(current_A, digit_A, squares_s2):
    """By hand, for means of a second: what stands, less what flips to the next digit."""
    facts = facts_of(current_A, sampling="mean").evidence.current
    assert facts.runs2(digit_A).net == pytest.approx(squares_s2)


@examples(33, 100)
@given(log=st.lists(st.sampled_from([0.0, 1.0, 1.0, 2.0, -1.0, 7.0]), min_size=2, max_size=60), cuts=CUTS)
def test_runs_do_not_depend_on_the_cuts(log, cuts):
    """Flips among them, whose neighbours may lie in another chunk."""
    whole, parts = (facts_of(log, cuts=c, sampling="mean").evidence.current.runs for c in ((), cuts))
    for digit_A in (0.0, 1.0):
        assert parts.squares(digit_A).tolist() == pytest.approx(whole.squares(digit_A).tolist(), rel=1e-12)


def test_many_kinds_of_flips_are_no_coarse_digit():
    """Every flip of another size: counted as runs are, in little memory."""
    current_A = np.ravel([(0.0, 1.0 + k / 1000) for k in range(10_000)])
    runs = facts_of(current_A, sampling="mean").evidence.current.runs
    assert not len(runs.flips.kinds)
    assert runs.squares(0.1)[2] == pytest.approx(20_000)


def test_many_readings_that_stand_still_are_put_together_now_and_then():
    """Each of 20,000 readings for four seconds, and once more later: its time is that of both, of however many."""
    levels = np.arange(20_000) / 100
    current_A = np.repeat(np.concatenate([levels, levels[::-1][1:]]), 4)
    still = facts_of(current_A, sampling="mean", cuts=(70_000,)).evidence.current.runs.still
    np.testing.assert_array_equal(still.kinds, levels)
    np.testing.assert_array_equal(still.times_s, np.full(20_000, 8.0) - 4.0 * (levels == levels[-1]))


@pytest.mark.parametrize("each_time", [1, 10_000])
@pytest.mark.parametrize(("most", "holds"), [(3, True), (2, False)])
def test_totals_hold_as_many_kinds_as_they_may_and_none_of_more(most, holds, each_time):
    """Three kinds; whether few or many wait to be put together; what may change yet counts as well."""
    totals, kinds = RunTimeTotals(most), np.array([1.0, 2.0, 5.0])
    many = RunTimes(np.resize(kinds, 3 * each_time), np.full(3 * each_time, 2.0))
    totals.add(RunTimes(np.resize(kinds[:2], 2 * each_time), np.ones(2 * each_time)))
    assert totals.result().times_s.tolist() == [each_time] * 2
    assert totals.result(many).times_s.tolist() == ([3 * each_time, 3 * each_time, 2 * each_time] if holds else [])
    totals.add(many)
    got = totals.result(RunTimes(kinds[:1], np.ones(1)))
    assert got.kinds.tolist() == (kinds.tolist() if holds else [])
    assert got.times_s.tolist() == ([3 * each_time + 1, 3 * each_time, 2 * each_time] if holds else [])


def test_what_is_worked_out_of_volts_and_amps_has_no_digit_of_its_own():
    """Watts that a meter gives stand still; the same watts by volts and amps are no readings."""
    amps, volts, watts = [2.0] * 9, [25.0] * 9, [50.0] * 9
    read = charge_of(chunk_of(np.arange(9.0), current_A=amps, voltage_V=volts, power_W=watts)).evidence
    made = charge_of(chunk_of(np.arange(9.0), current_A=amps, voltage_V=volts)).evidence
    assert read.power.runs2().net == made.current.runs2().net == 8**2
    assert made.power.runs2().net == 0


def test_means_have_no_steps_within_an_interval():
    """Their sums are those of rectangles."""
    facts = facts_of([2.0, -4.0, 6.0], sampling="mean").evidence.current
    assert (facts.intervals, facts.net, facts.squares, facts.highest) == (3, 4.0, 56.0, 6.0)
    assert (facts.steps2.net, facts.steps4.drawn) == (0.0, 0.0)


# --- what steps through zero hide -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("current_A", "hidden_As"),
    [
        ([30.0, 30.0, -10.0, -10.0], 3.75),  # 30 x 10 / (2 x 40): a line hides it of both directions
        ([-10.0, -10.0, 30.0, 30.0], 3.75),
        ([30.0, 30.0, -10.0], 3.75),  # nothing more is known after it
        ([40.0, 20.0, -20.0, -40.0], 2.5),  # half as steep on either side: half of 20 x 20 / (2 x 40)
        ([60.0, 20.0, -20.0, -60.0], 0.0),  # as steep on either side: a slope hides nothing
        ([-10.0, -10.0, 30.0, -10.0, -10.0], 7.5),  # a run of one reading: its end is no slope beside its start
        ([30.0, 30.0, 0.0, -10.0], 0.0),  # it stops at zero: nothing cancels
        ([30.0, 30.0, 10.0, 10.0], 0.0),
    ],
)
def test_what_a_line_through_zero_hides(current_A, hidden_As):
    """By hand, for readings a second apart."""
    assert facts_of(current_A).evidence.current.hidden(0.0).likely == pytest.approx(hidden_As)


@pytest.mark.parametrize(
    ("current_A", "hidden_As"),
    [
        ([30.0, 30.0, 20.0, -10.0, -10.0], 2.5),  # 3/4 of it drew 22.5, 1/4 returned 2.5: the smaller is hidden
        ([-10.0, -10.0, 20.0, 30.0, 30.0], 2.5),
        ([30.0, 30.0, -5.0, -10.0, -10.0], 3.75),  # 1/8 drew 3.75
        ([30.0, 30.0, 20.0, -10.0], 2.5),  # nothing more is known after it
        # It goes on changing: slopes, which hide a quarter of 5 (from 30 to -10) and of 20/3 (from 10 to -50).
        ([70.0, 30.0, 10.0, -10.0, -50.0, -90.0, -90.0], (5 + 20 / 3) / 4),
        ([50.0, 30.0, 20.0, -10.0, -10.0], 2.5 * (0.5 + 0.5 / 4)),  # half a slope
        ([30.0, 30.0, 20.0, 10.0, 10.0], 0.0),
        ([0.5, 0.5, 0.2, 0.5, 0.5], 0.0),
    ],
)
def test_what_a_mean_across_zero_hides(current_A, hidden_As):
    """By hand, for means of a second: a u - b (1 - u), with u the share before the step."""
    assert facts_of(current_A, sampling="mean").evidence.current.hidden(0.0).likely == pytest.approx(hidden_As)


def test_what_a_run_of_one_mean_hides_is_told_apart():
    """A pump of 40 A over -10 A: 20 says that 3/4 of its mean it ran, 2.5 A s are hidden; the top of 30 was not seen.

    Where the top holds for a mean, the same is hidden on either side of it, but known.
    """
    held = facts_of([-10.0, -10.0, 20.0, 30.0, 30.0, 20.0, -10.0, -10.0], sampling="mean").evidence.current.hidden(0.0)
    assert (held.held, held.bumps, held.squares) == pytest.approx((5.0, 0.0, 2 * 2.5**2))
    assert (held.likely, held.u) == pytest.approx((5.0, math.sqrt(0.1**2 * 25 + 0.15 * 12.5)))
    bump = facts_of([-10.0, -10.0, -5.0, 15.0, -10.0, -10.0], sampling="mean").evidence.current.hidden(0.0)
    assert (bump.held, bump.bumps) == pytest.approx((0.0, 3.0))  # a fifth of 15 A s
    assert bump.likely == pytest.approx(3.0 * 1.5)
    assert (held.unseen, bump.unseen) == pytest.approx((0.0, 0.8 * 3.0))
    assert bump.u > 0.5 * 3.0


def test_what_held_levels_and_bumps_hide_together():
    """2 and 6 A s, whose squares come to 10: bumps half as much again and by their share; a tenth and a half off."""
    hidden = Hidden(2.0, 6.0, 10.0)
    assert hidden.likely == pytest.approx(2 + 6 * (0.5 + 6 / 8))
    assert hidden.unseen == pytest.approx(0.8 * 6 * (6 / 8) ** 2)
    assert hidden.u == pytest.approx(math.sqrt(0.2**2 + 3.0**2 + 0.15 * 10))
    assert (Hidden(0.0).likely, Hidden(0.0).unseen, Hidden(0.0).u) == (0.0, 0.0, 0.0)


def test_what_is_hidden_by_steps_above_a_limit():
    """One step of 40 A hides 3.75 A s, one of 2 A 0.25 A s; the limit is taken up to the next power of two."""
    facts = facts_of([30.0, 30.0, -10.0, -10.0, -1.0, -1.0, 1.0, 1.0]).evidence.current
    assert facts.hidden(0.0).likely == pytest.approx(4.0)
    assert [facts.hidden(limit).likely for limit in (1.0, 1.9)] == pytest.approx([4.0, 4.0])
    assert [facts.hidden(limit).likely for limit in (2.0, 16.0, 31.9)] == pytest.approx([3.75] * 3)
    assert facts.hidden(32.0).likely == 0.0


def test_what_lies_near_zero():
    """Up to the next power of two from a limit; what reads exactly nought is left out of the time."""
    facts = facts_of([0.0, 0.3, 3.0, -0.3, -3.0, 30.0], sampling="mean").evidence.current
    assert facts.near_zero(0.0) == (0.0, 0.0, 0.0, 0.0)
    assert facts.near_zero(0.4) == pytest.approx((1.0, 1.0, 0.3, 0.3))
    assert facts.near_zero(2.0) == pytest.approx((2.0, 2.0, 3.3, 3.3))
    assert facts.near_zero(1.9) == pytest.approx((1.0, 1.0, 0.3, 0.3))
    assert facts.near_zero(100.0) == pytest.approx((3.0, 2.0, 33.3, 3.3))
    assert (facts.time_s.drawn, facts.time_s.returned, facts.all_s) == (3.0, 2.0, 6.0)


# --- noise ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("sampling", ["instant", "mean"])
@pytest.mark.parametrize("noise_A", [0.02, 0.5])
def test_noise_is_read_off_the_readings(sampling, noise_A):
    """White noise of known width, with steps of 20 A every twenty readings, to a twentieth (the sizes are as fine)."""
    rng = np.random.default_rng(3)
    current_A = 5 + np.repeat(rng.choice([0.0, 20.0], 1000), 20) + rng.normal(0, noise_A, 20_000)
    facts = facts_of(current_A, sampling=sampling).evidence.current
    # Of means a twentieth is looked at, and the steps are a tenth of all: both shares are moved a little by them.
    assert facts.noise(of_means=sampling == "mean") == pytest.approx(noise_A, rel=0.12)


def test_a_load_that_switches_at_every_second_reading_is_no_noise():
    """A pump of 30 A for one or two readings with two or three between them: nearly every change of changes is its."""
    rng = np.random.default_rng(9)
    runs = np.concatenate([[30.0] * rng.integers(1, 3) + [0.0] * rng.integers(2, 5) for _ in range(1500)])
    facts = facts_of(5 + runs + rng.normal(0, 0.05, len(runs))).evidence.current
    assert facts.noise() < 0.5


def test_noise_below_the_last_digit_is_bounded_by_how_many_readings_are_equal():
    """Noise of 0.2 digits leaves most second differences nought, yet shows; no noise at all shows none."""
    rng = np.random.default_rng(4)
    rounded = np.round(5.3 + rng.normal(0, 0.3, 20_000))
    facts = facts_of(rounded).evidence.current
    still = facts.by_wobble.sums[0, 0] / facts.by_wobble.sums.sum()
    assert 0.25 < still < 0.75
    # The share that stays within half a digit of nought is that of a normal variable sqrt(6) times as wide (erf).
    noise = facts.noise(resolution=1.0)
    assert math.erf(0.5 / (noise * math.sqrt(6)) / math.sqrt(2)) == pytest.approx(still, abs=1e-4)
    assert facts.noise(resolution=2.0) == pytest.approx(2 * noise)
    assert facts.noise() == 0.0
    assert facts_of(np.full(100, 5.0)).evidence.current.noise(resolution=1.0) == 0.0
    assert facts_of([5.0, 6.0]).evidence.current.noise(resolution=1.0) == 0.0


# --- sizes ----------------------------------------------------------------------------------------------------------


@given(st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=60), st.integers(1, 20))
def test_sums_by_size_are_those_of_a_plain_loop(values, times):
    """Whether neighbours are mostly of one size or not."""
    for x in (np.repeat(values, times), np.tile(values, times)):
        amount = np.arange(1.0, len(x) + 1)
        got = sums_by_size(x, amount, 2 * amount)
        expected = np.zeros(2 * HALF)
        for value, each in zip(x, amount, strict=True):
            expected[int(size_of(np.array([value]))[0])] += each
        np.testing.assert_allclose(got, [expected, 2 * expected])


def test_sizes_are_powers_of_two():
    """1 to below 2 is one size, 2 the next; a negative number is half of all sizes further on."""
    one, almost_two, two, minus_one = size_of(np.array([1.0, 1.999, 2.0, -1.0])).tolist()
    assert (almost_two, two, minus_one) == (one, one + 1, one + HALF)


# --- the interval ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("shift", "low", "high"), [(0.0, 8.04, 11.96), (1.0, 9.04, 12.96), (-1.0, 7.04, 10.96), (3.0, 10.0, 14.96)]
)
def test_an_interval_shifts_but_not_beyond_the_figure(shift, low, high):
    """1.96 either side of 10, moved by as much as the truth is likely to lie off."""
    sure = judged(10.0, [Component("noise", 1.0)], shift=shift)
    assert (sure.low, sure.high) == pytest.approx((low, high), abs=1e-3)
    assert sure.u95 == pytest.approx(max(10 - low, high - 10), abs=1e-3)
    assert judged(10.0, [Component("noise", 1.0)], lower=2.0).low == pytest.approx(6.04, abs=1e-3)


def test_an_interval_is_lopsided_by_more_than_what_is_shown():
    """A twentieth of its larger half."""
    assert not judged(10.0, [Component("noise", 1.0)], higher=0.09).lopsided
    assert judged(10.0, [Component("noise", 1.0)], higher=0.12).lopsided
    assert judged(10.0, [Component("noise", 1.0)], lower=0.12).lopsided


def test_nothing_uncertain_has_no_shares():
    """Nor a factor; its interval is the figure."""
    sure = judged(10.0, [Component("noise", 0.0)])
    assert (sure.low, sure.high, sure.factor, sure.components) == (10.0, 10.0, None, ())
    assert sure.share(Component("noise", 0.0)) == 0.0
    assert charge_of(chunk_of([0.0, 1.0], current_A=5.0)).evidence.current.noise() == 0.0
