"""What all loads take in a day, though the sun carries part of it: by closed forms, and on days with exact truth."""

from dataclasses import replace

import numpy as np
import pytest
from examples import examples
from hypothesis import given
from hypothesis import strategies as st
from readings import fed, how
from report_scenes import make_cycle, make_log

from shuntbook.analysis.charge.amounts import Amounts, Charge
from shuntbook.analysis.charge.charge import ChargeFold
from shuntbook.analysis.cycles.cycle import Cycles
from shuntbook.analysis.cycles.cycles import CycleFold
from shuntbook.analysis.ledger.loads_use import ClockHours, ClockHoursFold, loads_use
from shuntbook.analysis.not_known import Missing
from shuntbook.analysis.one_log.site_report import daily_from_bank_Wh
from shuntbook.analysis.readings.chunk import Chunk
from shuntbook.analysis.readings.measured_span import Span
from shuntbook.analysis.stats.interval95 import Within

HOUR_US = 3_600_000_000
MIDNIGHT_US = 20_000 * 24 * HOUR_US  # a midnight UTC
VOLTS = 25.0
READING = how(sampling="mean", gap_limit_s=500.0, usual_interval_s=30.0)


def taken_in(chunk, cuts=()):
    """What flows by the hour of the day."""
    return fed(ClockHoursFold(READING, {"current_A"}), chunk, cuts).result()


def days_of(loads_A, sun_A, step_s=30.0):
    """A log of loads less the sun from midnight on, as means over each step."""
    time_us = MIDNIGHT_US + np.arange(1, len(loads_A) + 1) * round(step_s * 1e6)
    net_A = np.asarray(loads_A, dtype=float) - sun_A
    return Chunk(time_us, {"current_A": net_A, "voltage_V": np.full(len(net_A), VOLTS)})


def sunny_day(hour, peak_A, rise=6.0, sets=18.0):
    """A bell from sunrise to sunset."""
    share = np.clip((hour % 24 - rise) / (sets - rise), 0, 1)
    return peak_A * np.sin(np.pi * share) ** 1.3


def use_of(chunk, *, sun=True):
    """The use of all loads in a log."""
    names = {"current_A", "voltage_V"}
    whole = fed(ChargeFold(READING, names), chunk).result()
    cycles = fed(CycleFold(READING, names), chunk).result()
    from_bank_Wh = daily_from_bank_Wh(whole)
    assert from_bank_Wh is not None
    return loads_use(whole, cycles, taken_in(chunk), from_bank_Wh, sun=sun)


def test_a_steady_load_is_found_by_what_it_takes_in_the_dark():
    """6 A at 25 V all day are 3,600 Wh; in the sun of 40 A at noon the bank gives about half of them."""
    hour = np.arange(2 * 2880) / 120
    got = use_of(days_of(np.full(len(hour), 6.0), sunny_day(hour, 40.0)))
    assert isinstance(got.day_Wh, Within)
    assert got.day_Wh.value == pytest.approx(3600, rel=1e-6)
    assert got.from_bank_Wh < 0.65 * 3600


def test_without_anything_back_the_bank_gave_it_all():
    """Nothing to guess without an array: 4 A at 25 V are 2,400 Wh a day. One that gives less than is taken hides it."""
    chunk = days_of(np.full(2880, 4.0), 0.0)
    got = use_of(chunk, sun=False)
    assert got.day_Wh == Within(*[pytest.approx(2400)] * 3)
    hidden = use_of(chunk)
    assert isinstance(hidden.day_Wh, Missing)
    assert hidden.from_bank_Wh == pytest.approx(2400)


def test_days_without_their_nights_tell_no_use():
    """Readings from 8 to 17 h on three days: the sun shines in all of them."""
    hour = np.arange(3 * 2880) / 120
    chunk = days_of(np.full(len(hour), 6.0), sunny_day(hour, 40.0))
    by_day = (hour % 24 >= 8) & (hour % 24 < 17)
    chunk = Chunk(chunk.time_us[by_day], {name: x[by_day] for name, x in chunk.quantities.items()})
    got = use_of(chunk)
    assert isinstance(got.day_Wh, Missing)
    assert "too few dark hours" in got.day_Wh.sentence
    assert got.from_bank_Wh == pytest.approx(0.0, abs=1.0)


def test_without_amps_nothing_is_said():
    """A log of watts alone has no hours of amps."""
    charge = Charge(how(), Span(0, 1, 2, 9e4, ()), None, Amounts(1.0, 0.0), None, None)
    assert isinstance(loads_use(charge, Cycles.__new__(Cycles), None, 1.0).day_Wh, Missing)


def by_hand(dark_A=(4.0, 6.0), returned_As=360_000.0):
    """Two days: an hour of each amps in all dark hours, and sun from 7 to 17 h."""
    hour = np.arange(24)
    sunny = (hour >= 7) & (hour < 17)
    covered_s = np.full(24, 7200.0)
    sums = [np.where(sunny, 0.0, sum(x**power for x in dark_A)) for power in (1, 2)]
    return ClockHours(covered_s, sums[0] * 3600, sunny * returned_As, np.where(sunny, 0.0, 2.0), *sums)


def runs_at(*hours_and_Ah):
    """Runs that began at these hours of the first day and took so much."""
    runs = tuple(replace(make_cycle(0), start_us=MIDNIGHT_US + h * HOUR_US, charge_Ah=Ah) for h, Ah in hours_and_Ah)
    return replace(make_log().cycles, cycles=runs)


CHARGE = Charge(READING, Span(0, 1, 2, 172_800.0, ()), Amounts(100.0, 60.0), Amounts(2500.0, 1500.0), None, None)


def test_the_sum_by_hand():
    """8 dark hours on 2 days at 4 and 6 A, less 2 Ah of a run in the dark, are 4.875 A; the runs take 2.5 Ah a day.

    At 25 V that is 2,987.5 Wh. Student's t for 15 degrees of freedom is 2.131 (any table of it), the hours' spread
    16/15 A2: 2.131 x sqrt(16/15 / 16) A x 24 h x 25 V are 330.2 Wh.
    """
    got = loads_use(CHARGE, runs_at((21, 2.0), (12, 3.0), (12.5, None)), by_hand(), 500.0)
    assert got.day_Wh.value == pytest.approx(2987.5)
    assert got.day_Wh.high - got.day_Wh.value == pytest.approx(330.2, abs=0.1)
    assert got.day_Wh.value - got.day_Wh.low == pytest.approx(330.2, abs=0.1)
    assert "4.88 A" in got.assumptions[0]
    assert "2.5 Ah a day" in got.assumptions[1]


@pytest.mark.parametrize(
    ("from_bank_Wh", "ends"),
    [(2800.0, (2987.5, 2800.0, 3317.7)), (3200.0, (3200.0, 3200.0, 3317.7)), (4e3, (4e3,) * 3)],
)
def test_what_the_bank_gave_is_the_least_the_loads_took(from_bank_Wh, ends):
    """No end of the interval lies below it."""
    got = loads_use(CHARGE, runs_at((21, 2.0), (12, 3.0)), by_hand(), from_bank_Wh).day_Wh
    assert (got.value, got.low, got.high) == pytest.approx(ends, abs=0.1)


def test_runs_never_leave_less_than_nothing_in_the_dark():
    """More in runs than was drawn is the runs' error: the rest draws nothing."""
    got = loads_use(CHARGE, runs_at((21, 500.0)), by_hand(), 0.0)
    assert got.day_Wh.value == pytest.approx(250 * 25)


@pytest.mark.parametrize(
    ("sunny", "dark"),
    [
        (range(7, 17), {20, 21, 22, 23, 0, 1, 2, 3}),  # 14 h without sun, of which the middle 8
        (range(3, 21), {22, 23, 0, 1}),  # 6 h, less one of dusk and one of dawn
        (range(1, 23), set()),  # 3 h: none is surely dark but one
        (range(12, 13), {20, 21, 22, 23, 0, 1, 2, 3}),
        ((9, 10, 15), {20, 21, 22, 23, 0, 1, 2, 3}),  # the longest stretch counts: 17 h from 16 to 8
        ((1, 2), {10, 11, 12, 13, 14, 15, 16, 17}),  # a zone on the other side of the world
    ],
)
def test_which_hours_are_dark(sunny, dark):
    """By where the sun gave something back; a fiftieth of the best hour is a meter's zero."""
    hours = by_hand()
    returned_As = np.where(np.isin(np.arange(24), list(sunny)), 1000.0, 19.0)
    got = set(replace(hours, returned_As=returned_As).night())
    assert got == dark or (not dark and len(got) <= 1)


def test_an_hour_counts_where_most_of_it_was_measured():
    """Ten minutes of an hour tell nothing of its mean."""
    step_us = 30_000_000
    time_us = MIDNIGHT_US + np.concatenate([np.arange(1, 120), np.arange(120, 130)]) * step_us
    hours = taken_in(Chunk(time_us, {"current_A": np.full(len(time_us), 2.0)}))
    assert hours.count[:2].tolist() == [1.0, 0.0]
    assert (hours.mean_A[0], hours.square_A2[0], hours.mean_A[1]) == pytest.approx((2.0, 4.0, 0.0))
    assert hours.covered_s[1] == pytest.approx(300.0)


def test_the_night_is_the_middle_of_the_hours_without_sun():
    """Sun from 6 to 18 h: back flows from 7 to 17 h at the latest, and the eight hours around midnight are dark."""
    hour = np.arange(2880) / 120
    assert sorted(taken_in(days_of(np.full(2880, 2.0), sunny_day(hour, 40.0))).night()) == [0, 1, 2, 3, 20, 21, 22, 23]
    always = days_of(np.full(2880, -1.0), 0.0)
    assert taken_in(always).night() == []
    assert taken_in(days_of(np.full(2880, 1.0), 0.0)).night() == []


@given(
    st.lists(st.floats(-50, 50), min_size=200, max_size=400),
    st.lists(st.integers(1, 399), max_size=6),
    st.floats(30, 400),
)
@examples(13, 40)
def test_cut_anywhere_the_hours_are_the_same(current_A, cuts, step_s):
    """Sums to 1e-9, wherever the log is cut."""
    chunk = days_of(current_A, 0.0, step_s)
    whole, parts = taken_in(chunk), taken_in(chunk, cuts)
    for name in ("covered_s", "drawn_As", "returned_As", "count", "mean_A", "square_A2"):
        np.testing.assert_allclose(getattr(parts, name), getattr(whole, name), rtol=1e-9, atol=1e-6)


def a_household(seed, days=3):
    """Days of a household whose loads keep no hours of their own but the pump's, and of the sun; with the true use."""
    rng = np.random.default_rng(seed)
    count = days * 2880
    hour = np.arange(count) / 120
    loads_A = np.full(count, rng.uniform(0.5, 3.0))
    for _ in range(rng.integers(2, 5)):  # what a thermostat switches
        period, duty, amps = rng.integers(40, 160), rng.uniform(0.2, 0.6), rng.uniform(1.0, 6.0)
        at = np.cumsum(np.maximum(rng.normal(period, 0.15 * period, 4 * count // period), 10)).astype(int)
        for start in at[at < count]:
            loads_A[start : start + max(int(duty * period), 1)] += amps
    for _ in range(days * int(rng.integers(8, 20))):  # the pump, by day
        start = int((rng.integers(days) * 24 + rng.uniform(6, 22)) * 120)
        loads_A[start : start + int(rng.integers(3, 8))] += 32.0
    clear = rng.uniform(0.5, 1.0, days).repeat(2880)
    cloud = np.interp(np.arange(count), np.arange(0, count + 60, 60), rng.uniform(0.4, 1.0, count // 60 + 1))
    sun_A = sunny_day(hour, rng.uniform(15, 60), rng.uniform(4, 7.5), rng.uniform(16.5, 21)) * clear * cloud
    return days_of(loads_A, sun_A), float(loads_A.mean()) * 24 * VOLTS


@pytest.mark.parametrize("households", [4, pytest.param(20, marks=pytest.mark.night)])
def test_the_interval_holds_the_use_of_most_households(households):
    """Households with exact truth; a log's nights are a few hours, and its interval says so."""
    held = near = 0
    for seed in range(households):
        chunk, true_Wh = a_household(7000 + seed)
        got = use_of(chunk)
        assert isinstance(got.day_Wh, Within)
        held += got.day_Wh.holds(true_Wh)
        near += abs(got.day_Wh.value / true_Wh - 1) < 0.15
        assert got.from_bank_Wh <= got.day_Wh.value
    assert held >= 0.85 * households
    assert near >= 0.9 * households - 1
