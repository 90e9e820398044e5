"""How sure charge and energy are: each component against its closed form."""

import math
from dataclasses import replace

import numpy as np
import pytest
from health_cycles import cycles
from readings import T0_US, US, charge_of, chunk_of, fed, how

from shuntbook.analysis.cycles.cycles import CycleFold
from shuntbook.analysis.forecast.unseen_starts import caught_starts
from shuntbook.analysis.quality.zero_check import without_offset
from shuntbook.analysis.site.tables import Meter
from shuntbook.analysis.sureness.amount_intervals import AmountsAnalysis, with_intervals
from shuntbook.analysis.sureness.cycle_intervals import cycles_with_intervals
from shuntbook.analysis.sureness.meter_figures import NOTHING_STATED, Accuracy, MeterFigures, ZeroCheck, figures_of
from shuntbook.analysis.sureness.signal_errors import UnseenStarts

PERFECT = Accuracy(0.0, 0.0)
DAY_S = 86_400


def figures(**current):
    """A meter of which only these figures of the current are not perfect."""
    return MeterFigures(Accuracy(**{"reading_pct": 0.0, "range_pct": 0.0} | current), PERFECT, clock_ppm=0.0)


def parts_of(sure):
    """The standard uncertainties of a budget by source."""
    return {part.source: part.u for part in sure.components}


def steady(current_A=5.0, length_s=DAY_S, noise_A=0.0, every_s=1.0, seed=1, **more):
    """A steady draw with some noise."""
    time_s = np.arange(0, length_s + every_s / 2, every_s)
    noise = np.random.default_rng(seed).normal(0, noise_A, len(time_s)) if noise_A else 0.0
    return chunk_of(time_s, current_A=current_A + noise, **more)


def test_an_offset_grows_with_time():
    """0.05 A over 24 h is 1.2 Ah (closed form): an even part of that half-width."""
    sure = with_intervals(charge_of(steady()), figures(zero=0.05)).charge.sure.drawn
    assert parts_of(sure)["zero"] == pytest.approx(1.2 / math.sqrt(3), rel=1e-9)
    assert sure.u95 == pytest.approx(0.95 * 1.2, rel=1e-3)
    assert sure.factor == pytest.approx(0.95 * math.sqrt(3), rel=1e-3)


def test_a_share_of_the_range_is_an_offset_too():
    """0.1 % of 50 A is 0.05 A; without a range the highest reading stands for it."""
    charge = charge_of(steady())
    for given, offset_A in ((50.0, 0.05), (None, 0.005)):
        sure = with_intervals(charge, figures(range_pct=0.1, full_scale=given)).charge.sure.net
        assert parts_of(sure)["offset (share of range)"] == pytest.approx(offset_A * 24 / math.sqrt(3), rel=1e-9)


def test_a_window_without_a_run_knows_the_range_no_better():
    """Ten minutes at 2 A of a log that goes to 80: 0.1 % of the range is 0.08 A there too, not 0.002 A."""
    time_s = np.arange(0, 1801.0)
    chunk = chunk_of(time_s, current_A=np.where(time_s > 1200, 80.0, 2.0), voltage_V=25.0)
    stated = figures(range_pct=0.1, full_scale=80.0)
    window = {"from_us": T0_US, "to_us": T0_US + 600 * US}
    markers = [(T0_US, "quiet"), (T0_US + 600 * US, "still quiet")]
    for cuts in ((), (300, 900)):
        folds = [
            AmountsAnalysis(how(), set(chunk.quantities), each, **window) for each in (figures(range_pct=0.1), stated)
        ]
        (assumed, _), (known, _) = (fed(fold, chunk, cuts).result() for fold in folds)
        parts = parts_of(assumed.charge.sure.drawn)
        assert parts["offset (share of range)"] == pytest.approx(0.08 / 6 / math.sqrt(3), rel=1e-9)
        assert assumed.charge.sure.drawn.u95 == known.charge.sure.drawn.u95
        assert assumed.energy.sure.drawn.u95 == pytest.approx(known.energy.sure.drawn.u95, rel=1e-9)
        noted = AmountsAnalysis(how(), set(chunk.quantities), figures(range_pct=0.1), markers)
        _, stretches = fed(noted, chunk, cuts).result()
        assert stretches[0].whole.charge.sure.drawn.u95 == pytest.approx(assumed.charge.sure.drawn.u95, rel=1e-9)


@pytest.mark.parametrize("length_s", [3600, 4 * 3600, 16 * 3600])
def test_noise_shrinks_with_the_square_root_of_time(length_s):
    """White noise s at spacing dt for a time T: s sqrt(T dt) (closed form); the size is found from the log itself."""
    sure = with_intervals(charge_of(steady(length_s=length_s, noise_A=0.2)), figures()).charge.sure.drawn
    closed_Ah = 0.2 * math.sqrt(length_s) / 3600
    assert set(parts_of(sure)) <= {"noise", "instants of steps"}
    assert sure.u == pytest.approx(closed_Ah, rel=0.06)  # the noise is read off a quantile of the log's own readings


def test_gain_and_shunt_class_are_one_factor_each():
    """1 % of 120 Ah for the whole log, however many readings: never one of each reading."""
    sure = with_intervals(charge_of(steady()), figures(reading_pct=1.0, class_pct=0.25)).charge.sure.drawn
    assert parts_of(sure)["gain"] == pytest.approx(1.2 / math.sqrt(3), rel=1e-9)
    assert parts_of(sure)["shunt class"] == pytest.approx(0.3 / math.sqrt(3), rel=1e-9)
    assert [part.even for part in sure.components] == [1, 1]


def test_one_edge_is_known_to_its_interval():
    """FACTS of the trade: one edge of 80 A between readings 1 s apart: 80 / sqrt(12) As; 40 runs: sqrt(80) of it."""
    edge = chunk_of(np.arange(0, 100.0), current_A=np.where(np.arange(100) < 50, 0.0, 80.0))
    sure = with_intervals(charge_of(edge), figures()).charge.sure.drawn
    assert parts_of(sure) == {"instants of steps": pytest.approx(80 / math.sqrt(12) / 3600, rel=1e-9)}
    assert sure.u95 == pytest.approx(0.95 * 80 / 2 / 3600, rel=1e-3)
    many = chunk_of(np.arange(0, 4001.0), current_A=np.where((np.arange(4001) % 100 < 50), 0.0, 80.0))
    sure = with_intervals(charge_of(many), figures()).charge.sure.drawn
    assert sure.u == pytest.approx(0.057, abs=0.0005)  # computed in the facts to two digits: 0.057 Ah
    assert sure.factor == pytest.approx(1.96, abs=0.01)


def test_a_last_digit_does_not_average_out_where_nothing_moves():
    """A steady reading has one rounding error all day: q / sqrt(12) x T; one that moves by digits has many."""
    still = with_intervals(charge_of(steady()), figures(resolution=0.1)).charge.sure.drawn
    assert parts_of(still)["last digit"] == pytest.approx(0.1 / math.sqrt(12) * 24, rel=1e-9)
    moving = steady(noise_A=0.3)
    moving.quantities["current_A"][:] = np.round(moving.quantities["current_A"], 1)
    sure = with_intervals(charge_of(moving), figures(resolution=0.1)).charge.sure.drawn
    assert parts_of(sure)["last digit"] < 0.01 * parts_of(still)["last digit"]


def test_of_how_many_even_errors_the_last_digit_is_the_sum():
    """One where nothing moves; of an hour whose readings change each second as many as there are readings."""
    still = with_intervals(charge_of(steady()), figures(resolution=0.1)).charge.sure.net
    assert component(still, "last digit").even == pytest.approx(1.0)
    moving = chunk_of(np.arange(3601.0), current_A=5 + 0.1 * (np.arange(3601) % 3))
    sure = with_intervals(charge_of(moving), figures(resolution=0.1)).charge.sure.net
    last_digit = component(sure, "last digit")
    assert last_digit.even == pytest.approx(3600, rel=1e-3)
    assert last_digit.u == pytest.approx(0.1 / math.sqrt(12) * math.sqrt(3600) / 3600, rel=1e-3)


@pytest.mark.parametrize(("zero_A", "hours"), [(0.05, 24), (0.06, 6)])
@pytest.mark.parametrize("nought_A", [0.0, -0.0])
def test_an_offset_within_the_last_digit_counts_while_the_meter_reads_nought(zero_A, hours, nought_A):
    """A quarter of a day at 5 A, then nought to a tenth: 0.05 A would not show there, 0.06 A would."""
    time_s = np.arange(DAY_S + 1.0)
    chunk = chunk_of(time_s, current_A=np.where(time_s <= DAY_S / 4, 5.0, nought_A))
    sure = with_intervals(charge_of(chunk), figures(zero=zero_A, resolution=0.1)).charge.sure
    for each in (sure.drawn, sure.net):
        assert component(each, "zero").u == pytest.approx(zero_A * hours / math.sqrt(3), rel=1e-4)


@pytest.mark.parametrize(("draw_A", "hours"), [(0.04, 24), (0.4, 12)])
def test_an_offset_counts_where_it_could_turn_what_flows(draw_A, hours):
    """Half a day drawn, half returned, by less than 0.05 A or by more; of the net all day. In energy times 25 V."""
    time_s = np.arange(DAY_S + 1.0)
    chunk = chunk_of(time_s, current_A=np.where(time_s <= DAY_S / 2, draw_A, -draw_A), voltage_V=25.0)
    charge = with_intervals(charge_of(chunk), figures(zero=0.05))
    for amounts, volts in ((charge.charge, 1.0), (charge.energy, 25.0)):
        for part, counted_h in (("drawn", hours), ("returned", hours), ("net", 24)):
            zero = component(getattr(amounts.sure, part), "zero")
            assert zero.u == pytest.approx(0.05 * volts * counted_h / math.sqrt(3), rel=1e-4)


def test_runs_of_one_mean_may_hide_more_at_the_upper_end():
    """Means of -5 and 15 A among -10: a fifth of 15 A s is hidden and half as much again; 2.4 A s more may be.

    So the middle of the interval, as wide as half of what was read, lies 4.5 and half of 2.4 A s above it.
    """
    chunk = chunk_of(np.arange(42.0), current_A=[-10.0] * 20 + [-5.0, 15.0] + [-10.0] * 20)
    amounts = with_intervals(charge_of(chunk, how(sampling="mean")), figures(reading_pct=50.0)).charge
    drawn = amounts.sure.drawn
    assert (drawn.low + drawn.high) / 2 - amounts.drawn == pytest.approx((4.5 + 1.2) / 3600, rel=1e-6)


def test_runs_of_equal_readings_are_looked_at_where_a_last_digit_is_stated():
    """Nobody asks for them else: the intervals are the same as of who looks at them all the same."""
    chunk = steady(voltage_V=25.0)
    for each, squares_s2 in ((figures(), 0.0), (figures(resolution=0.1), DAY_S**2)):
        charge, _ = fed(AmountsAnalysis(how(), set(chunk.quantities), each), chunk, (500,)).result()
        alone = with_intervals(charge_of(chunk), each)
        assert charge.evidence.current.runs2().net == pytest.approx(squares_s2)
        assert charge.charge.sure.drawn.u95 == pytest.approx(alone.charge.sure.drawn.u95, rel=1e-12)
        assert charge.energy.sure.drawn.u95 == pytest.approx(alone.energy.sure.drawn.u95, rel=1e-12)


def test_means_and_glances():
    """Means know what was drawn between readings; a display read by eye does not, and less so the fewer glances."""
    current_A = np.where(np.arange(400) % 40 < 20, 2.0, 30.0)
    chunk = chunk_of(np.arange(400.0) * 10, current_A=current_A)
    by = {
        sampling: with_intervals(
            charge_of(chunk, how(sampling=sampling, usual_interval_s=10.0, gap_limit_s=60.0)), figures()
        ).charge.sure.drawn
        for sampling in ("mean", "instant", "held")
    }
    assert by["mean"].u < by["instant"].u < by["held"].u
    assert "instants of steps" not in parts_of(by["mean"])
    few = chunk.part(0, 4)
    assert (
        with_intervals(charge_of(few, how(sampling="held")), figures()).charge.sure.drawn.u
        / charge_of(few, how(sampling="held")).charge.drawn
        > by["held"].u / charge_of(chunk, how(sampling="held")).charge.drawn
    )


def test_starts_caught_by_chance():
    """A start counts A dt with probability d/dt, so u = A d sqrt(n (dt/d - 1)); the sum of n such draws (computed)."""
    charge = charge_of(steady(every_s=2.0), how(usual_interval_s=2.0))
    starts = UnseenStarts(count=100, extra_A=60.0, extra_W=1500.0, lasts_s=0.5)
    sure = with_intervals(charge, figures(), starts).charge.sure.drawn
    rng = np.random.default_rng(3)
    draws_As = (rng.random((20_000, 100)) < 0.5 / 2.0).sum(axis=1) * 60.0 * 2.0
    assert parts_of(sure)["unseen start surges"] * 3600 == pytest.approx(draws_As.std(), rel=0.02)
    assert draws_As.mean() == pytest.approx(100 * 60 * 0.5, rel=0.01)  # right in the mean, so no correction


def test_few_starts_are_a_bound_to_one_side():
    """Ten starts seen every eighth of a time are not caught five times: all of them may be missing, in the high end."""
    charge = charge_of(steady(every_s=4.0), how(usual_interval_s=4.0))
    sure = with_intervals(charge, figures(), UnseenStarts(10, 60.0, 1500.0, 0.5)).charge.sure.drawn
    assert sure.high - 120.0 == pytest.approx(10 * 60 * 0.5 / 3600)
    assert sure.low == pytest.approx(120.0)
    assert with_intervals(
        charge, figures(), UnseenStarts(10, 60.0, 1500.0, 5.0)
    ).charge.sure.drawn.high == pytest.approx(120)


def test_few_starts_that_were_caught_may_have_counted_too_much():
    """One of ten was caught: it counts 60 A for 4 s, which may all be too much, and the ten may be missing still."""
    charge = charge_of(steady(every_s=4.0), how(usual_interval_s=4.0))
    starts = UnseenStarts(10, 60.0, 1500.0, 0.5, caught_us=(T0_US + 60 * US,))
    sure = with_intervals(charge, figures(), starts).charge.sure
    assert (sure.drawn.low - 120.0, sure.drawn.high - 120.0) == pytest.approx((-240 / 3600, 300 / 3600))
    assert sure.returned.low == 0


def test_only_caught_starts_say_what_a_start_draws():
    """Settled runs of 20 A, of which one start showed 80: 60 A above it; where none did, nothing is known."""
    shown = {3: 80.0}
    made = cycles(60.0, [600.0] * 10, draw_W=480.0, cycle=lambda k, cycle: _showing(cycle, shown.get(k, 22.0)))
    plate = UnseenStarts(1, 500.0, 12_500.0, 0.5)
    assert caught_starts(plate, made.cycles[:3], 1.0) is None
    assert caught_starts(None, made.cycles, 1.0) is None
    assert caught_starts(plate, made.cycles, 5.0) == UnseenStarts(1, 60.0, 1440.0, 0.5, (made.cycles[3].start_us,))


def test_what_chance_cannot_have_caught_is_another_load():
    """Half a second of 60 is caught once in 120 starts: one of ten is no surge; nor are all of ten that 5 s apart."""
    made = cycles(60.0, [600.0] * 10, draw_W=480.0, cycle=lambda k, cycle: _showing(cycle, 80.0))
    plate = UnseenStarts(1, 500.0, 12_500.0, 0.5)
    assert caught_starts(plate, made.cycles, 60.0) is None
    assert caught_starts(plate, made.cycles, None) is None
    assert caught_starts(plate, made.cycles, 5.0) is None
    assert caught_starts(plate, made.cycles, 1.0) is not None


def _showing(cycle, surge_A):
    """The run with what its start showed, at 24 V."""
    return replace(cycle, surge_A=surge_A, surge_ratio=surge_A / cycle.run_A, peak_W=24 * surge_A)


def test_noise_about_zero_counts_both_ways_and_is_told():
    """A rest with noise adds 0.4 of it to draw and to return (mean of the half normal: 1/sqrt(2 pi)); net has none."""
    charge = with_intervals(charge_of(steady(0.0, noise_A=0.5)), figures())
    rectified_Ah = 0.5 / math.sqrt(2 * math.pi) * 24
    assert charge.charge.drawn == pytest.approx(0.75 * rectified_Ah, rel=0.2)  # lines between readings cut corners
    assert charge.charge.sure.drawn.low < 0.1 * charge.charge.drawn
    assert charge.charge.sure.net.low < 0 < charge.charge.sure.net.high
    assert charge.charge.sure.net.u95 < 0.1


def test_energy_has_the_errors_of_volts_as_well():
    """Volts times amps: both gains; an offset of amps counts times the volts, one of volts times the charge."""
    charge = charge_of(steady(voltage_V=25.0))
    meter = MeterFigures(Accuracy(1.0, 0.0, zero=0.05), Accuracy(0.5, 0.1, full_scale=50.0), clock_ppm=0.0)
    parts = parts_of(with_intervals(charge, meter).energy.sure.drawn)
    assert parts["gain"] == pytest.approx(30 / math.sqrt(3), rel=1e-9)
    assert parts["voltage gain"] == pytest.approx(15 / math.sqrt(3), rel=1e-9)
    assert parts["zero"] == pytest.approx(1.2 * 25 / math.sqrt(3), rel=1e-6)
    assert parts["voltage offset (share of range)"] == pytest.approx(0.05 * 120 / math.sqrt(3), rel=1e-6)


def test_runs_at_nearly_every_mean_are_not_taken_for_its_noise():
    """A pump of 14 A for 70 s in every three or four means of 76 s, over 8 A of sun: its steps are told, not noise."""
    rng = np.random.default_rng(8)
    starts_s = np.cumsum(rng.uniform(200, 350, 200))
    time_s = np.arange(0.0, 76.0 * 400)
    since_s = time_s - starts_s[np.maximum(np.searchsorted(starts_s, time_s, side="right") - 1, 0)]
    true_A = np.where((since_s >= 0) & (since_s < 70), 6.0, -8.0)
    means = true_A.reshape(-1, 76).mean(axis=1) + rng.normal(0, 0.003, 400)
    reading = how(sampling="mean", gap_limit_s=380.0, usual_interval_s=76.0)
    amounts = with_intervals(charge_of(chunk_of(76.0 * np.arange(1, 401), current_A=means), reading), figures()).charge
    assert amounts.drawn < 0.9 * true_A[true_A > 0].sum() / 3600
    assert component(amounts.sure.drawn, "both directions in one mean").u > 0
    assert amounts.sure.drawn.high > 1.2 * amounts.drawn


@pytest.mark.parametrize("sampling", ["instant", "mean"])
def test_the_last_digit_of_amps_is_one_error_of_energy_however_the_volts_waver(sampling):
    """5.4 A reads 5 all day: half an ampere at most, times 24 h and 25 V; the volts differ from reading to reading."""
    volts = 25.0 + np.random.default_rng(4).normal(0, 0.03, DAY_S + 1)
    charge = with_intervals(charge_of(steady(voltage_V=volts), how(sampling=sampling)), figures(resolution=1.0))
    in_Ah, in_Wh = (parts_of(x.sure.drawn)["last digit"] for x in (charge.charge, charge.energy))
    assert in_Ah == pytest.approx(12 / math.sqrt(3), rel=1e-4)
    assert in_Wh == pytest.approx(25 * in_Ah, rel=1e-4)
    assert charge.energy.sure.drawn.high >= 25 * 24 * 5.4


def test_noise_about_zero_under_a_coarse_digit_counts_in_energy_as_in_charge():
    """0.2 A with noise of 0.12 A, shown in tenths, beside volts that waver: what seems returned is noise, in Wh too."""
    rng = np.random.default_rng(6)
    amps = np.round(0.22 + rng.normal(0, 0.12, DAY_S // 4 + 1), 1)
    chunk = chunk_of(np.arange(0, DAY_S + 1.0, 4), current_A=amps, voltage_V=25 + rng.normal(0, 0.01, len(amps)))
    charge = with_intervals(charge_of(chunk, how(usual_interval_s=4.0)), figures(resolution=0.1))
    for amounts in (charge.charge, charge.energy):
        assert amounts.returned > 0
        assert amounts.sure.returned.low <= 0


def test_a_power_column_has_its_own_accuracy():
    """Where the site states it; else watts are taken to be no better than volts times amps."""
    charge = charge_of(steady(voltage_V=25.0, power_W=125.0))
    own = with_intervals(charge, MeterFigures(Accuracy(), Accuracy(), Accuracy(0.5, 0.0), clock_ppm=0.0))
    assert parts_of(own.energy.sure.drawn) == {"power gain": pytest.approx(15 / math.sqrt(3), rel=1e-9)}
    assert with_intervals(charge, NOTHING_STATED).energy.sure.drawn.u > own.energy.sure.drawn.u


def test_behind_an_inverter_there_is_energy_only():
    """Watts of side ac: an interval for Wh, none for Ah."""
    chunk = chunk_of(np.arange(0, 3600.0), power_W=700.0)
    sure = with_intervals(charge_of(chunk, how(side="ac")), NOTHING_STATED)
    assert sure.charge is None
    assert sure.energy.sure.drawn.u95 == pytest.approx(0.0096 * sure.energy.drawn, rel=0.05)


def test_a_zero_check_takes_the_offset_off():
    """0.05 A over 24 h is 1.2 Ah, taken off charge and, times the volts, off power; what is left is the check's own."""
    chunk = steady(0.05, voltage_V=25.0, power_W=1.25)
    check = ZeroCheck(T0_US, T0_US + 600 * US, 600, 0.05, 0.001, 20.0)
    mended = charge_of(without_offset(chunk, check.offset_A))
    assert charge_of(chunk).charge.drawn == pytest.approx(1.2, rel=1e-3)
    assert mended.charge.drawn == pytest.approx(0, abs=1e-9)
    assert mended.energy.net == pytest.approx(0, abs=1e-9)
    charge = charge_of(without_offset(steady(5.05), check.offset_A))
    sure = with_intervals(charge, figures(zero=0.2).after_zero_check(check)).charge.sure.drawn
    assert parts_of(sure) == {"zero check": pytest.approx(0.001 * 24, rel=1e-3)}
    assert sure.factor == pytest.approx(2.086, abs=0.002)  # Student's t for 20 degrees of freedom, any table


def test_gaps_are_outside_the_interval():
    """An hour that was not measured widens nothing; what it may have held is told beside it, like the hours around."""
    time_s = np.concatenate([np.arange(0, 3600.0), np.arange(7200, 10800.0)])
    gap = charge_of(chunk_of(time_s, current_A=5.0))
    whole = with_intervals(gap, figures(reading_pct=1.0))
    assert whole.charge.sure.drawn.u95 == pytest.approx(0.0095 * gap.charge.drawn, rel=2e-3)
    assert gap.in_gaps.drawn == pytest.approx(5.0, rel=0.01)
    assert gap.in_gaps.returned == 0
    assert charge_of(steady()).in_gaps is None


def test_each_stretch_and_each_window_has_its_own():
    """Half of the time has half of an offset; markers and --from/--to alike."""
    chunk = steady()
    half = with_intervals(charge_of(chunk, to_us=T0_US + DAY_S // 2 * US), figures(zero=0.05)).charge.sure.drawn
    assert half.u == pytest.approx(0.6 / math.sqrt(3), rel=1e-6)
    fold = AmountsAnalysis(how(), set(chunk.quantities), figures(zero=0.05), [(T0_US + DAY_S // 4 * 3 * US, "evening")])
    _, (evening,) = fed(fold, chunk).result()
    assert evening.charge.drawn_u95 == pytest.approx(0.95 * 0.3, rel=1e-3)


def test_starts_count_for_the_stretch_they_lie_in():
    """One of two starts lies after the marker."""
    chunk = steady(every_s=4.0, length_s=3600)
    fold = AmountsAnalysis(how(usual_interval_s=4.0), {"current_A"}, figures(), [(T0_US + 1800 * US, "then")])
    starts = UnseenStarts(1, 60.0, 1500.0, 0.5)
    whole, (then,) = fed(fold, chunk).result(starts, [T0_US + 60 * US, T0_US + 2000 * US])
    assert whole.charge.sure.drawn.high - whole.charge.drawn == pytest.approx(2 * 30 / 3600)
    assert then.charge.sure.drawn.high - then.charge.drawn == pytest.approx(30 / 3600)


def test_starts_at_the_first_and_last_reading_count_and_those_outside_do_not():
    """An hour from 0 to 3,596 s: two of four starts lie in it."""
    chunk = steady(every_s=4.0, length_s=3600)
    fold = AmountsAnalysis(how(usual_interval_s=4.0), {"current_A"}, figures())
    first_us, last_us = int(chunk.time_us[0]), int(chunk.time_us[-1])
    starts_us = [first_us - 1, first_us, last_us, last_us + 1]
    charge, _ = fed(fold, chunk).result(UnseenStarts(1, 60.0, 1500.0, 0.5), starts_us)
    assert charge.charge.sure.drawn.high - charge.charge.drawn == pytest.approx(2 * 30 / 3600)


def test_each_figure_of_an_amount_has_its_own_interval():
    """15 A out for half a day and 5 A back for the other, within 1 %: 0.95 % of 180, 60 and 120 Ah, and the step's."""
    time_s = np.arange(0, DAY_S + 1.0, 10)
    plain = charge_of(chunk_of(time_s, current_A=np.where(time_s <= DAY_S / 2, 15.0, -5.0)), how(usual_interval_s=10.0))
    amounts = with_intervals(plain, figures(reading_pct=1.0)).charge
    assert (plain.charge.drawn_u95, plain.charge.returned_u95, plain.charge.net_u95) == (None, None, None)
    assert (amounts.drawn_u95, amounts.returned_u95, amounts.net_u95) == pytest.approx((1.71, 0.57, 1.14), rel=0.02)


def test_a_cycle_does_not_feel_the_meters_zero():
    """It counts above the level before it; gain and edges are left: 30 A edges of 1 s spacing."""
    time_s = np.arange(0, 300.0)
    chunk = chunk_of(time_s, current_A=np.where((time_s >= 100) & (time_s < 200), 32.0, 2.0), voltage_V=25.0)
    cycles = fed(CycleFold(how(), set(chunk.quantities)), chunk).result()
    (far,) = cycles_with_intervals(cycles, figures(zero=5.0), how(), noise=0.0).cycles
    assert far.charge_u95_Ah == pytest.approx(1.901766 * 30 * math.sqrt(2 / 12) / 3600, rel=1e-3)
    (gain,) = cycles_with_intervals(cycles, figures(reading_pct=50.0), how(), noise=0.0).cycles
    assert gain.charge_u95_Ah == pytest.approx(0.95 * 0.5 * gain.charge_Ah, rel=0.01)
    (means,) = cycles_with_intervals(cycles, figures(), how(sampling="mean"), noise=0.0).cycles
    assert means.charge_u95_Ah == 0


def test_figures_come_from_the_site_file():
    """What the table states; half of an accuracy leaves the other half nought; what it does not state is said."""
    meter = Meter(name="shunt", side="dc", range_A=500.0, reading_pct=0.5, shunt_class_pct=0.25, resolution_A=0.1)
    figures = figures_of(meter)
    assert (figures.current.reading_pct, figures.current.range_pct, figures.current.class_pct) == (0.5, 0.0, 0.25)
    assert any("volts" in sentence for sentence in figures.assumed)
    assert any("zero" in sentence for sentence in figures.assumed)
    assert figures_of(None) is NOTHING_STATED
    assert "common practice, no source" in NOTHING_STATED.assumed[0]


def component(sure, source):
    """One component of a budget."""
    (component,) = [part for part in sure.components if part.source == source]
    return component


def test_how_long_the_first_means_were_is_not_known():
    """10 A, means of a second, with one gap: two of 10 A s that may be anywhere within: sqrt(2) x 10 / sqrt(12)."""
    time_s = np.concatenate([np.arange(1.0, 1001.0), np.arange(2001.0, 3001.0)])
    sure = with_intervals(
        charge_of(chunk_of(time_s, current_A=10.0), how(sampling="mean")), figures()
    ).charge.sure.drawn
    first = component(sure, "first readings of means")
    assert (first.u, first.even) == (pytest.approx(10 * math.sqrt(2 / 12) / 3600), 2)


def test_what_lies_between_two_glances():
    """6 A and 2 A for a minute each: 4 A +- 2 A, and of two glances 4 / sqrt(2) more; times 60 s x sqrt(2)."""
    chunk = chunk_of([0.0, 60.0, 120.0], current_A=[6.0, 2.0, 0.0])
    sure = with_intervals(charge_of(chunk, how(sampling="held")), figures()).charge.sure.drawn
    by_eye = component(sure, "between readings by eye")
    assert (by_eye.u, by_eye.even) == (pytest.approx(math.sqrt(4 + 8) * 60 * math.sqrt(2) / 3600), 2)


@pytest.mark.parametrize(("sampling", "hidden_As"), [("instant", 3.75), ("mean", 2.5), ("held", 0.0)])
def test_what_a_step_through_zero_hides_shifts_both_directions_and_not_the_net(sampling, hidden_As):
    """30 to -10 A: a line hides 3.75 A s of each, a mean of 20 A 2.5 A s; a display read by eye hides none."""
    current_A = [30.0] * 40 + ([20.0] if sampling == "mean" else []) + [-10.0] * 40
    plain = charge_of(chunk_of(np.arange(float(len(current_A))), current_A=current_A), how(sampling=sampling))
    amounts = with_intervals(plain, figures(reading_pct=50.0)).charge
    for part, shift_As in (("drawn", hidden_As), ("returned", hidden_As), ("net", 0.0)):
        sure = getattr(amounts.sure, part)
        assert (sure.low + sure.high) / 2 - getattr(amounts, part) == pytest.approx(shift_As / 3600, abs=1e-7)


def test_means_of_short_runs_into_the_sun_hold_what_was_drawn():
    """Runs of 90 s of a pump of 40 A, each minute a mean, 15 A of sun all day: exact by arithmetic, in the interval."""
    time_s = np.arange(86_400.0)
    pumping = (time_s % 437) < 90
    true_A = np.where(pumping, 25.0, -15.0)
    means = true_A.reshape(-1, 60).mean(axis=1)
    chunk = chunk_of(np.arange(60.0, 86_401.0, 60.0), current_A=means)
    reading = how(sampling="mean", gap_limit_s=300.0, usual_interval_s=60.0)
    amounts = with_intervals(charge_of(chunk, reading), NOTHING_STATED).charge
    for sure, part, truth_As in (
        (amounts.sure.drawn, amounts.drawn, true_A[pumping].sum()),
        (amounts.sure.returned, amounts.returned, -true_A[~pumping].sum()),
    ):
        assert part < 0.95 * truth_As / 3600
        assert sure.low <= truth_As / 3600 <= sure.high
        assert component(sure, "both directions in one mean").u > 0
    assert "both directions in one mean" not in {part.source for part in amounts.sure.net.components}


def test_starts_that_are_caught_five_times_are_a_component():
    """Ten of half a second, a reading a second: five catches; nine are a bound, and so is what has no known spacing."""
    for count, is_component in ((10, True), (9, False)):
        starts = UnseenStarts(count, 60.0, 1500.0, 0.5)
        sure = with_intervals(charge_of(steady(), how(usual_interval_s=1.0)), figures(), starts).charge.sure
        assert ("unseen start surges" in parts_of(sure.drawn)) is is_component
        assert sure.drawn.lopsided is not is_component
        assert parts_of(sure.returned) == {}
    unknown = with_intervals(charge_of(steady(), how(usual_interval_s=None)), figures(), starts).charge.sure.drawn
    assert (unknown.low, unknown.high) == pytest.approx((120.0, 120.0))


@pytest.mark.parametrize(("sampling", "share"), [("instant", 1 / 6), ("mean", 1 / 4), ("held", 0.0)])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_products_of_volts_and_amps_are_likely_too_high(sampling, share, sign):
    """From 2 to 12 A while the bank falls by 2 V: a sixth of 20 W s between instants, a quarter between means."""
    count, step = 40, np.repeat([0.0, 1.0], 20)
    chunk = chunk_of(np.arange(float(count)), current_A=sign * (2 + 10 * step), voltage_V=26 - 2 * sign * step)
    amounts = with_intervals(charge_of(chunk, how(sampling=sampling)), figures(reading_pct=50.0)).energy
    part = "drawn" if sign > 0 else "returned"
    sure = getattr(amounts.sure, part)
    # By the lower end: the upper one of what was read off allows for a start that nobody saw.
    shift = sure.low + sure.factor * sure.u - getattr(amounts, part)
    assert shift == pytest.approx(-sign * share * 20 / 3600, abs=1e-7)
    assert (sure.high > 2 * (getattr(amounts, part) + shift) - sure.low + 1e-6) is (sampling == "held" and sign > 0)
    if share:
        assert component(sure, "volts x amps").u == pytest.approx(share * 20 / 3600 / math.sqrt(3))


def test_the_last_digit_of_volts_and_a_checked_zero_count_in_energy():
    """0.1 V is 0.05 V either way, for 120 Ah; a zero known to 1 mA is 1 mA x 25 V x 24 h."""
    charge = charge_of(steady(voltage_V=25.0))
    check = ZeroCheck(T0_US, T0_US + 600 * US, 600, 0.0, 0.001, 20.0)
    meter = MeterFigures(PERFECT, Accuracy(0.0, 0.0, resolution=0.1), clock_ppm=0.0).after_zero_check(check)
    parts = parts_of(with_intervals(charge, meter).energy.sure.drawn)
    assert parts["voltage last digit"] == pytest.approx(0.05 * 120 / math.sqrt(3))
    assert parts["zero check"] == pytest.approx(0.001 * 25 * 24)


def test_a_power_columns_offset_and_a_power_factor():
    """0.1 % of 1,000 W for a day is 24 Wh, one error; a power factor is taken to be known to 1 %."""
    charge = charge_of(steady(voltage_V=25.0, power_W=125.0))
    own = MeterFigures(PERFECT, PERFECT, Accuracy(0.0, 0.1, full_scale=1000.0), clock_ppm=0.0)
    offset = component(with_intervals(charge, own).energy.sure.drawn, "power offset (share of range)")
    assert (offset.u, offset.even) == (pytest.approx(24 / math.sqrt(3)), 1)
    behind = charge_of(steady(voltage_V=230.0, power_factor=0.6), how(side="ac"))
    factor = component(with_intervals(behind, figures()).energy.sure.drawn, "power factor")
    assert (factor.u, factor.even) == (pytest.approx(0.01 * 690 * 24 / math.sqrt(3)), 1)


def test_a_clock_that_runs_fast_is_one_error():
    """100 millionths of 120 Ah."""
    meter = MeterFigures(PERFECT, PERFECT, clock_ppm=100.0)
    clock = component(with_intervals(charge_of(steady()), meter).charge.sure.drawn, "clock")
    assert (clock.u, clock.even) == (pytest.approx(0.012 / math.sqrt(3)), 1)
