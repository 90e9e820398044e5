"""Charge and energy against closed forms, an independent integrator and what the meter itself counted."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from readings import T0_US, US, assert_same, charge_of, chunk_of, how
from scipy.integrate import quad, trapezoid

from shuntbook.analysis.charge.charge import ChargeFold
from shuntbook.analysis.not_known import Refusal
from shuntbook.analysis.readings.energy_signals import contradicts
from shuntbook.analysis.readings.integral import power_at, zero_crossing

# The sums of linear pieces below are exact but for rounding, so tolerances are those of floating-point sums.
SUM = 1e-9


def irregular(seed, count=400, longest_s=5.0):
    """Times that no clock ticks at, beginning at 0, and a generator for the values. [s]."""
    rng = np.random.default_rng(seed)
    return np.concatenate([[0.0], np.cumsum(np.rint(rng.uniform(0.01, longest_s, count) * 1e6) / 1e6)]), rng


# --- closed forms ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("sampling", ["instant", "mean", "held"])
def test_75_amps_for_a_quarter_of_an_hour(sampling):
    """75 A for 15 min is 18.75 Ah, and 225 Wh at 12 V (common practice, arithmetic: 75 x 0.25, 18.75 x 12)."""
    first_s = 1.0 if sampling == "mean" else 0.0  # a mean stands for the second before it
    chunk = chunk_of(np.arange(first_s, 900.5), current_A=75.0, voltage_V=12.0)
    result = charge_of(chunk, how(sampling=sampling))

    assert result.charge.drawn == pytest.approx(18.75, rel=SUM)
    assert result.charge.returned == 0.0
    assert result.energy.drawn == pytest.approx(225.0, rel=SUM)
    assert result.span.covered_s == pytest.approx(900.0)
    assert result.energy_by == "volts x amps"


def test_ramp_is_half_its_height():
    """A current that rises from 0 to 40 A within an hour moves 20 Ah (area of a triangle)."""
    chunk = chunk_of(np.arange(0, 3601, 10.0), current_A=np.linspace(0, 40, 361))
    assert charge_of(chunk).charge.drawn == pytest.approx(20.0, rel=SUM)


def test_sign_change_is_split_where_the_line_crosses_zero():
    """From +30 A to -10 A in 8 s the line crosses zero after 6 s: 90 As out and 10 As back (two triangles)."""
    result = charge_of(chunk_of([0.0, 8.0], current_A=[30.0, -10.0]))
    assert result.charge.drawn == pytest.approx(90 / 3600, rel=SUM)
    assert result.charge.returned == pytest.approx(10 / 3600, rel=SUM)
    assert result.charge.net == pytest.approx(80 / 3600, rel=SUM)


@pytest.mark.parametrize("pair", [(0.0, -4.0), (-4.0, 0.0), (0.0, 4.0), (4.0, 0.0), (0.0, 0.0), (-0.0, 4.0)])
def test_end_at_zero_is_no_crossing(pair):
    """A line that only touches zero gives one triangle, on its own side."""
    result = charge_of(chunk_of([0.0, 2.0], current_A=list(pair)))
    assert result.charge.drawn == pytest.approx(max(*pair, 0.0) * 1 / 3600, rel=SUM)
    assert result.charge.returned == pytest.approx(-min(*pair, 0.0) * 1 / 3600, rel=SUM)


def test_sine_over_whole_periods():
    """Each half wave of a sine holds 2 A T / (2 pi): as much goes out as comes back.

    Linear pieces of a sine lie below its arcs by (2 pi / n)^2 / 12 of the area (trapezoid rule), n pieces a period.
    """
    amplitude_A, period_s, pieces, periods = 25.0, 60.0, 600, 5
    time_s = np.arange(pieces * periods + 1) * period_s / pieces
    result = charge_of(chunk_of(time_s, current_A=amplitude_A * np.sin(2 * np.pi * time_s / period_s)))
    half_waves_Ah = periods * amplitude_A * period_s / np.pi / 3600
    short = (2 * np.pi / pieces) ** 2 / 12
    assert result.charge.drawn == pytest.approx(half_waves_Ah * (1 - short), rel=1e-6)
    assert result.charge.returned == pytest.approx(half_waves_Ah * (1 - short), rel=1e-6)
    assert result.charge.net == pytest.approx(0.0, abs=1e-12)


def test_energy_of_two_ramps_is_the_integral_of_their_product():
    """Volts 12 + t and amps 3 + 2 t over 6 s: the integral of 36 + 27 t + 2 t^2 is 846 J."""
    result = charge_of(chunk_of([0.0, 6.0], current_A=[3.0, 15.0], voltage_V=[12.0, 18.0]))
    assert result.energy.drawn == pytest.approx((36 * 6 + 27 * 18 + 2 * 72) / 3600, rel=SUM)


# --- an independent integrator --------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(5))
def test_net_charge_agrees_with_the_trapezoid_of_scipy(seed):
    """Irregular readings: net charge is the trapezoid rule's, whose code is not ours (scipy.integrate)."""
    time_s, rng = irregular(seed)
    current_A = rng.normal(2.0, 20.0, len(time_s))
    result = charge_of(chunk_of(time_s, current_A=current_A))
    assert result.charge.net == pytest.approx(trapezoid(current_A, time_s) / 3600, rel=SUM)


@pytest.mark.parametrize("seed", range(3))
def test_each_direction_agrees_with_quadrature_of_the_line(seed):
    """Irregular readings with many sign changes: each direction is the integral of the clipped line (scipy quad)."""
    time_s, rng = irregular(seed, count=25)
    current_A = rng.normal(0.0, 20.0, len(time_s))
    result = charge_of(chunk_of(time_s, current_A=current_A))
    for sign, ours in ((1.0, result.charge.drawn), (-1.0, result.charge.returned)):
        pieces = [
            quad(lambda t: max(sign * np.interp(t, time_s, current_A), 0.0), a, b, limit=200)[0]  # noqa: B023
            for a, b in pairwise(time_s)
        ]
        assert ours == pytest.approx(sum(pieces) / 3600, rel=1e-6)  # quad's own tolerance at the kink


@pytest.mark.parametrize("seed", range(3))
def test_energy_agrees_with_a_fine_quadrature_of_the_product(seed):
    """Volts times amps, split where the current turns, against Gauss points within each piece (quad)."""
    time_s, rng = irregular(seed, count=25)
    current_A, voltage_V = rng.normal(0.0, 20.0, len(time_s)), rng.uniform(22.0, 29.0, len(time_s))

    def power_W(t):
        return np.interp(t, time_s, current_A) * np.interp(t, time_s, voltage_V)

    result = charge_of(chunk_of(time_s, current_A=current_A, voltage_V=voltage_V))
    for sign, ours in ((1.0, result.energy.drawn), (-1.0, result.energy.returned)):
        joules = sum(
            quad(lambda t: max(sign * power_W(t), 0.0), a, b, limit=200)[0]  # noqa: B023
            for a, b in pairwise(time_s)
        )
        assert ours == pytest.approx(joules / 3600, rel=1e-6)


# --- what a reading stands for --------------------------------------------------------------------------------------


def test_a_mean_stands_for_the_time_since_the_one_before():
    """Rectangles end at the reading; the first, and one after a gap, cover one usual interval."""
    chunk = chunk_of([0.0, 2.0, 5.0, 100.0, 102.0], current_A=[1.0, 2.0, -4.0, 8.0, 16.0])
    result = charge_of(chunk, how(sampling="mean", usual_interval_s=2.0))
    assert result.charge.drawn == pytest.approx((1 * 2 + 2 * 2 + 8 * 2 + 16 * 2) / 3600, rel=SUM)
    assert result.charge.returned == pytest.approx(4 * 3 / 3600, rel=SUM)
    assert result.span.covered_s == pytest.approx(2 + 2 + 3 + 2 + 2)
    assert [(gap.start_us - T0_US, gap.stop_us - T0_US) for gap in result.span.gaps] == [(5 * US, 98 * US)]


def test_a_mean_after_a_gap_never_reaches_back_over_the_reading_before():
    """Where the gap limit is shorter than the usual interval, no time is counted twice."""
    chunk = chunk_of([0.0, 10.0, 20.0, 24.0], current_A=1.0)
    span = charge_of(chunk, how(sampling="mean", gap_limit_s=3.0, usual_interval_s=10.0)).span
    assert span.covered_s == pytest.approx(34.0)
    assert span.gaps == ()


def test_a_held_reading_stands_until_the_next():
    """Rectangles begin at the reading, know no gap, and change sign in a step; the last covers nothing yet."""
    chunk = chunk_of([0.0, 60.0, 4000.0], current_A=[6.0, -3.0, 50.0])
    result = charge_of(chunk, how(sampling="held"))
    assert result.charge.drawn == pytest.approx(6 * 60 / 3600, rel=SUM)
    assert result.charge.returned == pytest.approx(3 * 3940 / 3600, rel=SUM)
    assert result.span.gaps == ()


# --- gaps -----------------------------------------------------------------------------------------------------------


def test_a_gap_adds_nothing_and_is_listed():
    """10 A, then nothing for a minute, then 10 A: only the measured 20 s count, and the minute is told."""
    chunk = chunk_of([0.0, 5.0, 10.0, 70.0, 75.0, 80.0], current_A=10.0)
    result = charge_of(chunk)
    assert result.charge.drawn == pytest.approx(10 * 20 / 3600, rel=SUM)
    assert [gap.length_s for gap in result.span.gaps] == [60.0]
    assert result.span.uncovered_s == 60.0


def test_a_spacing_of_just_the_limit_is_no_gap():
    """The limit itself is still one measurement; a microsecond more is not."""
    for extra_s, gaps in ((0.0, 0), (1e-6, 1)):
        assert len(charge_of(chunk_of([0.0, 10.0 + extra_s], current_A=1.0)).span.gaps) == gaps


@given(
    st.lists(st.floats(0.001, 40.0), min_size=1, max_size=40),
    st.sampled_from(["instant", "mean", "held"]),
)
def test_covered_and_uncovered_make_up_the_span(steps_s, sampling):
    """Whatever the spacing, every moment of the span is either measured or in a gap."""
    chunk = chunk_of(np.concatenate([[0.0], np.cumsum(steps_s)]), current_A=1.0)
    span = charge_of(chunk, how(sampling=sampling, usual_interval_s=1.0)).span
    assert span.covered_s + span.uncovered_s == pytest.approx((span.stop_us - span.start_us) / US, abs=1e-6)


def test_a_single_reading_covers_nothing():
    """One reading says nothing about charge, and the answer is none, not 0; a mean stands for its interval."""
    assert charge_of(chunk_of([0.0], current_A=5.0)).charge is None
    assert charge_of(chunk_of([0.0], current_A=5.0), how(sampling="mean")).charge.drawn == pytest.approx(5 / 3600)


@pytest.mark.parametrize(("sampling", "swing_Ws"), [("instant", 100.0), ("mean", 100.0), ("held", 0.0)])
def test_what_products_of_volts_and_amps_may_miss(sampling, swing_Ws):
    """From 2 to 12 A while the bank falls from 26 to 24 V, within 5 s: 10 A x 2 V x 5 s; a held reading misses none."""
    chunk = chunk_of([0.0, 5.0], current_A=[2.0, 12.0], voltage_V=[26.0, 24.0])
    evidence = charge_of(chunk, how(sampling=sampling, usual_interval_s=5.0)).evidence
    assert evidence.swing_Ws == pytest.approx(swing_Ws)
    assert evidence.mean_V == pytest.approx(26.0 if sampling == "held" else 25.0)


def test_the_mean_voltage_of_half_a_second():
    """However short the time: 25 V; and none where nothing was measured."""
    assert charge_of(chunk_of([0.0, 0.5], current_A=2.0, voltage_V=25.0)).evidence.mean_V == pytest.approx(25.0)
    assert charge_of(chunk_of([0.0], current_A=2.0, voltage_V=25.0)).evidence.mean_V is None


def test_what_a_gap_may_have_held_is_told_in_both_directions():
    """12 A out and 6 A back in turn, second by second, are 6 and 3 Ah an hour: half an hour may hold 3 and 1.5 Ah."""
    time_s = np.concatenate([np.arange(0, 3600.0), np.arange(5400, 9000.0)])
    current_A = np.where(np.arange(len(time_s)) % 2 == 0, 12.0, -6.0)
    held = charge_of(chunk_of(time_s, current_A=current_A), how(sampling="mean")).in_gaps
    assert (held.drawn, held.returned) == pytest.approx((3.0, 1.5), rel=0.01)


# --- windows --------------------------------------------------------------------------------------------------------


@given(
    st.integers(0, 200),
    st.lists(st.floats(-30.0, 230.0), min_size=3, max_size=3, unique=True).map(sorted),
    st.sampled_from(["instant", "mean", "held"]),
)
def test_windows_add_up(seed, bounds_s, sampling):
    """What is drawn, covered and missing from A to B and from B to C is what is from A to C, wherever B lies."""
    time_s, rng = irregular(seed, count=60, longest_s=12.0)
    chunk = chunk_of(time_s, current_A=rng.normal(0, 9, len(time_s)), voltage_V=rng.uniform(23, 28, len(time_s)))
    a, b, c = (T0_US + round(x * US) for x in bounds_s)
    near, far, whole = (
        charge_of(chunk, how(sampling=sampling), from_us=low, to_us=high) for low, high in ((a, b), (b, c), (a, c))
    )
    for of in (
        lambda r: r.charge.drawn if r.charge else 0.0,
        lambda r: r.charge.returned if r.charge else 0.0,
        lambda r: r.energy.net if r.energy and sampling != "instant" else 0.0,
        lambda r: r.span.covered_s,
        lambda r: r.span.uncovered_s,
    ):
        assert of(near) + of(far) == pytest.approx(of(whole), rel=SUM, abs=SUM)


def test_energy_of_a_window_is_that_of_the_cut_lines():
    """A window within one long piece: volts and amps are taken on their lines (integral of the product, by quad)."""
    chunk = chunk_of([0.0, 10.0], current_A=[-10.0, 30.0], voltage_V=[24.0, 27.0])
    result = charge_of(chunk, from_us=T0_US + 4 * US, to_us=T0_US + 7 * US)
    joules = quad(lambda t: (-10 + 4 * t) * (24 + 0.3 * t), 4, 7)[0]
    assert result.energy.drawn == pytest.approx(joules / 3600, rel=SUM)
    assert (result.span.start_us, result.span.stop_us) == (T0_US + 4 * US, T0_US + 7 * US)


def test_window_outside_the_log_gives_nothing_but_no_zero():
    """What was not measured is unknown, not nought."""
    result = charge_of(chunk_of([0.0, 1.0], current_A=1.0), from_us=T0_US + 50 * US)
    assert result.charge is None
    assert result.span.start_us is None


# --- readings that are not there ------------------------------------------------------------------------------------


def test_missing_readings_are_as_if_not_made():
    """A cell that is empty is bridged like the spacing that it leaves, and a long row of them is a gap."""
    time_s = np.arange(0.0, 60.0)
    current_A = np.full(60, 3.0)
    current_A[[5, 6]] = np.nan
    current_A[20:40] = np.nan
    result = charge_of(chunk_of(time_s, current_A=current_A))
    measured = ~np.isnan(current_A)
    assert_same(result, charge_of(chunk_of(time_s[measured], current_A=3.0)))
    assert result.span.uncovered_s == 21.0
    assert result.span.readings == 38


def test_missing_volts_shorten_the_energy_only():
    """Where only the volts are missing the charge goes on, and the time that energy stands for is told apart."""
    voltage_V = np.full(61, 24.0)
    voltage_V[20:50] = np.nan
    result = charge_of(chunk_of(np.arange(0.0, 61.0), current_A=10.0, voltage_V=voltage_V))
    assert result.charge.drawn == pytest.approx(600 / 3600)
    assert result.span.covered_s == 60.0
    assert result.energy.drawn == pytest.approx(240 * 29 / 3600)
    assert result.energy_span.covered_s == 29.0


def test_nothing_but_missing_readings_is_unknown():
    """A column without a single number gives no zero."""
    result = charge_of(chunk_of([0.0, 1.0], current_A=np.nan, voltage_V=24.0))
    assert result.charge is None
    assert result.energy is None


# --- the power column -----------------------------------------------------------------------------------------------


def test_power_column_goes_before_volts_times_amps():
    """Watts that the meter gives are taken as they are: 100 W for 36 s is 1 Wh, whatever the volts say."""
    chunk = chunk_of(np.arange(0.0, 37.0), current_A=4.0, voltage_V=20.0, power_W=100.0)
    result = charge_of(chunk)
    assert result.energy.drawn == pytest.approx(1.0, rel=SUM)
    assert result.energy_by == "the power column"


def test_power_of_the_wrong_sign_is_replaced_by_volts_times_amps():
    """A meter that gives watts without their sign: while current returns, volts times amps are taken and it is said."""
    current_A = np.repeat([5.0, -5.0], 50)
    chunk = chunk_of(np.arange(0.0, 100.0), current_A=current_A, voltage_V=24.0, power_W=120.0)
    result = charge_of(chunk)
    assert result.energy.drawn == pytest.approx(120 * 49.5 / 3600, rel=0.01)  # the crossing takes a second
    assert result.energy.returned == pytest.approx(120 * 49.5 / 3600, rel=0.01)
    assert result.energy_by == "the power column (volts x amps instead where its sign contradicts the current's)"


def test_power_of_the_wrong_sign_without_volts_is_left_out():
    """Without volts nothing can stand in: that time is not covered, and it is said."""
    current_A = np.repeat([5.0, -5.0], 50)
    result = charge_of(chunk_of(np.arange(0.0, 100.0), current_A=current_A, power_W=120.0))
    assert result.energy.drawn == pytest.approx(120 * 49 / 3600)
    assert result.energy.returned == 0.0
    assert result.energy_span.covered_s == 49.0
    assert result.energy_by == "the power column (left out where its sign contradicts the current's)"


def test_power_alone_gives_energy_and_no_charge():
    """A log without current has energy only: 50 W out for an hour, 20 W back for half of one."""
    power_W = np.concatenate([np.full(3601, 50.0), np.full(1801, -20.0)])
    result = charge_of(chunk_of(np.arange(len(power_W)), power_W=power_W))
    assert result.charge is None
    assert result.energy.drawn == pytest.approx(50.0, rel=1e-3)
    assert result.energy.returned == pytest.approx(10.0, rel=1e-3)


def test_power_with_holes_is_filled_by_volts_times_amps_only_there():
    """Where the meter gave no watts, volts times amps of the same instant stand in."""
    power_W = np.full(37, 100.0)
    power_W[10:20] = np.nan
    result = charge_of(chunk_of(np.arange(0.0, 37.0), current_A=4.0, voltage_V=25.0, power_W=power_W))
    assert result.energy.drawn == pytest.approx(1.0, rel=SUM)


def test_watts_count_where_amps_or_volts_are_missing_beside_them():
    """-100, -300, -100 W a second apart return 400 W s (trapezoids), though one reading has no amps, or no volts."""
    power_W = [-100.0, -300.0, -100.0]
    columns = {"current_A": [-4.0, -12.0, -4.0], "voltage_V": [25.0, 25.0, 25.0]}
    for name, x in columns.items():
        holed = {**columns, name: [x[0], np.nan, x[2]]}
        result = charge_of(chunk_of([0.0, 1.0, 2.0], power_W=power_W, **holed))
        assert result.energy.returned == pytest.approx(400 / 3600, rel=SUM)
        assert result.energy.drawn == 0.0
        assert result.energy_by == "the power column"


def test_volts_that_are_missing_are_those_the_power_implies():
    """25 W at 1 A are 25 V: the mean voltage does not feel the hole."""
    voltage_V = [25.0, np.nan, 25.0]
    result = charge_of(chunk_of([0.0, 1.0, 2.0], current_A=1.0, power_W=25.0, voltage_V=voltage_V))
    assert result.evidence.mean_V == pytest.approx(25.0)


def test_what_contradicts():
    """Only opposite signs do: not a small product, and not nothing."""
    power_W, current_A = np.array([0.5, -0.5, 0.0, 5.0, 0.5, -0.5]), np.array([1.0, -1.0, -5.0, 0.0, -1.0, 1.0])
    assert contradicts(power_W, current_A).tolist() == [False, False, False, False, True, True]


def test_power_at_an_instant():
    """Volts times amps where there is no power, or one of the wrong sign; the power itself elsewhere."""
    p, i, v = np.array([120.0, 120.0]), np.array([5.0, -5.0]), np.array([24.0, 26.0])
    assert power_at({"p": p}).tolist() == [120.0, 120.0]
    assert power_at({"i": i, "v": v}).tolist() == [120.0, -130.0]
    assert power_at({"p": p, "i": i, "v": v}).tolist() == [120.0, -130.0]


def test_where_a_line_passes_zero():
    """Three quarters of the way from 30 to -10; what keeps its sign, touches zero or stays there has no crossing."""
    x0, x1 = np.array([30.0, -10.0, 5.0, -5.0, 0.0, 0.0]), np.array([-10.0, 30.0, 9.0, 0.0, 0.0, 5.0])
    assert zero_crossing(x0, x1).tolist() == [0.75, 0.25, 1.0, 1.0, 1.0, 1.0]


# --- behind an inverter ---------------------------------------------------------------------------------------------


def test_behind_an_inverter_there_is_energy_and_no_charge():
    """RMS amps have no sign: 230 V, 5 A at power factor 0.6 for an hour is 690 Wh (V x I x power factor), and no Ah."""
    chunk = chunk_of(np.arange(0, 3601, 5.0), current_A=5.0, voltage_V=230.0, power_factor=0.6)
    result = charge_of(chunk, how(side="ac"))
    assert result.charge is None
    assert result.counter is None
    assert result.energy.drawn == pytest.approx(690.0, rel=SUM)
    assert result.energy_by == "volts x amps x power factor"


def test_behind_an_inverter_power_goes_before_the_factor():
    """A power column needs no other, and its sign is not held against amps that have none."""
    chunk = chunk_of(np.arange(0, 3601, 5.0), current_A=5.0, voltage_V=230.0, power_factor=0.6, power_W=-700.0)
    result = charge_of(chunk, how(side="ac"))
    assert result.energy.returned == pytest.approx(700.0, rel=SUM)
    assert result.energy_by == "the power column"


@pytest.mark.parametrize(
    ("side", "quantities", "reason"),
    [
        ("ac", {"voltage_V", "current_A"}, "VA, not watts"),
        ("ac", {"current_A"}, "no charge out of the bank"),
        ("ac", {"voltage_V"}, "neither current"),
        ("dc", {"voltage_V"}, "neither current"),
        ("dc", {"charge_Ah"}, "neither current"),
    ],
)
def test_refusals_say_what_to_add(side, quantities, reason):
    """What cannot be had is refused in one sentence that names the columns that would help."""
    with pytest.raises(Refusal) as refused:
        ChargeFold(how(side=side), quantities)
    assert reason in str(refused.value)
    assert "power" in str(refused.value)
    assert "\n" not in str(refused.value)


# --- the meter's own counter ----------------------------------------------------------------------------------------


def counted(time_s, current_A, start_Ah=0.0, *, moved=False):
    """What an ideal counter shows: the running trapezoid of the current, or of its size."""
    flow_A = np.abs(current_A) if moved else current_A
    return start_Ah + np.concatenate([[0.0], np.cumsum((flow_A[1:] + flow_A[:-1]) / 2 * np.diff(time_s)) / 3600])


HOUR_S = np.arange(0.0, 3601.0, 10.0)
SWING_A = np.where(HOUR_S < 2400, 12.0, -6.0)


def test_counter_that_agrees_differs_by_nothing():
    """A counter that begins above zero and is never set back."""
    result = charge_of(chunk_of(HOUR_S, current_A=SWING_A, charge_Ah=counted(HOUR_S, SWING_A, 3.0)))
    assert result.counter.charge_Ah == pytest.approx(result.charge.net)
    assert result.counter.difference_Ah == pytest.approx(0.0, abs=1e-9)
    assert (result.counter.resets, result.counter.counts_down, result.counter.against) == (0, False, "net")


def test_counter_that_counts_down_is_recognised():
    """What is left in the bank falls while it is drawn on."""
    result = charge_of(chunk_of(HOUR_S, current_A=SWING_A, charge_Ah=400.0 - counted(HOUR_S, SWING_A)))
    assert result.counter.counts_down
    assert result.counter.difference_Ah == pytest.approx(0.0, abs=1e-9)


def test_counter_is_followed_across_its_resets():
    """Set back to zero twice: each time only what flowed between two readings is lost (12 A x 10 s)."""
    count_Ah = counted(HOUR_S, np.full_like(HOUR_S, 12.0))
    for at in (100, 250):
        count_Ah[at:] -= count_Ah[at]
    result = charge_of(chunk_of(HOUR_S, current_A=12.0, charge_Ah=count_Ah))
    assert result.counter.resets == 2
    assert result.counter.difference_Ah == pytest.approx(2 * 12 * 10 / 3600, rel=1e-9)


def test_coarse_counter_that_passes_zero_was_not_reset():
    """A counter in whole tenths that comes down through zero goes on below it."""
    current_A = np.where(HOUR_S < 600, 3.0, -3.0)
    count_Ah = np.round(counted(HOUR_S, current_A), 1)
    result = charge_of(chunk_of(HOUR_S, current_A=current_A, charge_Ah=count_Ah))
    assert result.counter.resets == 0
    assert result.counter.charge_Ah == pytest.approx(result.charge.net, abs=0.1)


def test_counter_of_what_moved_is_compared_with_both_directions():
    """Always up, set back where the direction turns; a flicker of its last digit is no reset."""
    count_Ah = counted(HOUR_S, SWING_A, moved=True)
    count_Ah[241:] -= count_Ah[240]
    count_Ah[100] = count_Ah[99] - 1e-6
    chunk = chunk_of(HOUR_S, current_A=SWING_A, charge_Ah=count_Ah)
    result = charge_of(chunk, how(counter_kind="moved"))
    assert result.counter.against == "drawn + returned"
    assert result.counter.resets == 1
    # ours passes zero between two readings, the counter's trapezoid of sizes does not: 2 x triangle of 12 and 6 A
    assert result.counter.difference_Ah == pytest.approx(0.0, abs=10 * (12 + 6) / 2 / 3600)


def test_what_a_counter_went_on_counting_in_a_gap_is_told_apart():
    """Nothing was read for half an hour while 12 A flowed: 6 Ah by the counter alone (12 x 0.5)."""
    noted = (HOUR_S <= 600) | (HOUR_S >= 2400)
    count_Ah = counted(HOUR_S, np.full_like(HOUR_S, 12.0))
    result = charge_of(chunk_of(HOUR_S[noted], current_A=12.0, charge_Ah=count_Ah[noted]))
    assert result.counter.in_gaps_Ah == pytest.approx(6.0)
    assert result.counter.difference_Ah == pytest.approx(0.0, abs=1e-9)


def test_counter_that_was_never_read_is_not_compared():
    """An empty column gives no comparison."""
    assert charge_of(chunk_of(HOUR_S, current_A=1.0, charge_Ah=np.nan)).counter is None
