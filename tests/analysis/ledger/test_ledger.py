"""The ledger: days parted exactly at midnight, demos, the highest and the sustained draw, starts and states."""

from datetime import UTC, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from examples import examples
from hypothesis import given
from hypothesis import strategies as st
from readings import T0_US, charge_of, chunk_of, fed, how

from shuntbook.analysis.ledger.ledger import LedgerFold, demos_of
from shuntbook.analysis.ledger.local_days import local_day
from shuntbook.analysis.not_known import Refusal
from shuntbook.analysis.readings.chunk import Chunk

HOUR_US = 3_600_000_000
DAY_US = 24 * HOUR_US
LONDON = ZoneInfo("Europe/London")
#: 29 March 2026 has 23 h in London and 25 October 25 h: clocks change on the last Sundays (2000/84/EC).
SPRING_US, AUTUMN_US = 1_774_742_400_000_000, 1_792_882_800_000_000


def ledger(chunk, zone=UTC, markers=(), sampling="instant", cuts=(), **changes):
    """The ledger of some readings, a minute apart."""
    how_read = how(sampling=sampling, gap_limit_s=300.0, usual_interval_s=60.0, **changes)
    return fed(LedgerFold(how_read, set(chunk.quantities), zone=zone, demos=demos_of(markers)), chunk, cuts).result()


def minutes(start_us, count, current_A, every_s=60):
    """Readings a minute apart, from an instant on."""
    time_us = start_us + np.arange(count) * every_s * 1_000_000
    return Chunk(time_us, {"current_A": np.broadcast_to(np.asarray(current_A, dtype=float), count).copy()})


@pytest.mark.parametrize(("start_us", "hours"), [(SPRING_US, 23), (AUTUMN_US, 25), (SPRING_US - DAY_US, 24)])
def test_days_have_the_hours_of_their_zone(start_us, hours):
    """At a steady 6 A a day's charge is 6 x its hours, on either side of a change of the clocks."""
    lines = ledger(minutes(start_us, 60 * hours + 121, 6.0), LONDON).days
    assert (lines[0].stop_us - lines[0].start_us) / HOUR_US == hours
    assert lines[0].whole.charge.drawn == pytest.approx(6 * hours)
    assert lines[0].not_measured_s == pytest.approx(0, abs=1e-6)
    assert lines[1].whole.charge.drawn == pytest.approx(12.0)


def test_an_interval_over_midnight_is_cut_there():
    """Two readings two minutes apart, 0 A and 12 A, midnight half-way: the triangle's two parts, 1/4 and 3/4."""
    midnight_us = 20_000 * DAY_US
    time_us = midnight_us + np.array([-60, 60]) * 1_000_000
    first, second = ledger(Chunk(time_us, {"current_A": np.array([0.0, 12.0])})).days
    whole_Ah = 12 / 2 * 120 / 3600
    assert first.whole.charge.drawn == pytest.approx(whole_Ah / 4)
    assert second.whole.charge.drawn == pytest.approx(3 * whole_Ah / 4)
    assert (first.at_end.drawn_Ah, second.at_end.drawn_Ah) == pytest.approx((whole_Ah / 4, whole_Ah))


@examples(13, 40)
@given(st.integers(0, 10**6), st.integers(2, 6000), st.lists(st.integers(0, 6000), max_size=4))
def test_days_add_up_to_the_log(seed, count, cuts):
    """Each day is what a plain integral of its window gives, and all of them together are the log's."""
    rng = np.random.default_rng(seed)
    time_us = T0_US + np.cumsum(rng.choice([60, 61, 900], count, p=[0.6, 0.395, 0.005])) * 1_000_000
    chunk = Chunk(time_us, {"current_A": rng.normal(1.0, 5.0, count)})
    how_read = how(gap_limit_s=300.0, usual_interval_s=60.0)
    days = ledger(chunk, LONDON, cuts=cuts).days
    whole = charge_of(chunk, how_read).charge
    for day in days:
        alone = charge_of(chunk, how_read, from_us=day.start_us, to_us=day.stop_us)
        assert day.whole.charge.drawn == pytest.approx(alone.charge.drawn, abs=1e-12)
        assert day.whole.span == alone.span
    if whole is not None:
        assert sum(day.whole.charge.drawn for day in days) == pytest.approx(whole.drawn)
        assert sum(day.whole.charge.returned for day in days) == pytest.approx(whole.returned)
        assert days[-1].at_end.drawn_Ah == pytest.approx(whole.drawn)


def test_a_gap_of_years_makes_no_lines():
    """A clock that jumps from 1970 to 2026 gives two days, not twenty thousand."""
    early, late = minutes(0, 30, 1.0), minutes(20_600 * DAY_US, 30, 2.0)
    both = Chunk(
        np.concatenate([early.time_us, late.time_us]),
        {"current_A": np.concatenate([early.quantities["current_A"], late.quantities["current_A"]])},
    )
    lines = ledger(both).days
    assert [line.text for line in lines] == ["1970-01-01", "2026-05-27"]
    assert lines[0].whole.span.gaps[0].stop_us == DAY_US


def test_sustained_is_the_highest_mean_of_ten_minutes():
    """Ten minutes at 30 A among an hour at 3 A, against a spike of one reading at 100 A."""
    minute = np.arange(61)
    amps = np.where((minute > 20) & (minute <= 30), 30.0, 3.0) + 97.0 * (minute == 50)
    chunk = minutes(20_000 * DAY_US + HOUR_US, 61, amps)
    (line,) = ledger(chunk, sampling="mean").days
    assert line.current.highest == 100.0
    assert line.current.sustained == pytest.approx(30.0)
    assert line.power.highest is None


@examples(7, 20)
@given(st.integers(0, 10**6), st.integers(2, 60))  # each minute is the begin of a search
def test_sustained_is_that_of_a_plain_search(seed, count):
    """The highest of all means over ten whole minutes, each integrated by itself."""
    rng = np.random.default_rng(seed)
    time_us = 20_000 * DAY_US + np.cumsum(rng.integers(5, 200, count)) * 1_000_000
    chunk = Chunk(time_us, {"current_A": rng.normal(5.0, 9.0, count)})
    means = []
    for k in range(int(time_us[0]) // 60_000_000, int(time_us[-1]) // 60_000_000 + 1):
        low, high = k * 60_000_000, (k + 10) * 60_000_000
        alone = charge_of(chunk, how(gap_limit_s=300.0, usual_interval_s=60.0), from_us=low, to_us=high)
        if alone.span.covered_s == pytest.approx(600.0):
            means.append(alone.charge.net * 6)
    (line,) = ledger(chunk).days
    assert line.current.sustained == pytest.approx(max(means, default=None))


def test_demos_go_from_note_to_note_and_end_at_an_end():
    """`end` ends a demo and begins none; the last one goes on to the log's end; notes at one time are one."""
    marks = [(300, "c"), (100, "a"), (200, " End "), (100, "b")]
    assert demos_of(marks) == ((100, 200, "b"), (300, None, "c"))


def test_a_log_without_dates_has_demos_and_no_days():
    """No calendar without a zone."""
    book = ledger(minutes(0, 31, 6.0), None, markers=[(10 * 60_000_000, "crates")])
    assert book.days == ()
    (demo,) = book.demos
    assert demo.whole.charge.drawn == pytest.approx(6 * 20 / 60)
    assert demo.at_end.drawn_Ah == pytest.approx(3.0)


def test_starts_and_intervals_are_told():
    """Starts belong to the line they fall in; intervals are those of the function given."""
    midnight_us = 20_000 * DAY_US
    book = ledger(minutes(midnight_us - HOUR_US, 121, 1.0))
    judged = book.with_intervals(lambda charge: charge, [midnight_us - 5, midnight_us, midnight_us + 5])
    assert [line.starts for line in judged.days] == [1, 2]
    assert all(line.whole.evidence is None for line in judged.days)


def test_nothing_to_integrate_is_refused_at_once():
    """As the charge itself is."""
    with pytest.raises(Refusal, match="neither current"):
        LedgerFold(how(), {"voltage_V"}, zone=None)


@pytest.mark.parametrize(
    ("zone", "at_us"),
    [(ZoneInfo("America/Sao_Paulo"), 1_508_036_400_000_000), (ZoneInfo("Atlantic/Azores"), AUTUMN_US)],
)
def test_a_midnight_that_is_skipped_or_passed_twice(zone, at_us):
    """Days join without a hole where the clocks change at midnight: Sao Paulo in October 2017, the Azores yearly."""
    day = local_day(at_us, zone)
    for _ in range(3):
        assert day.start_us <= at_us < day.stop_us
        at_us = day.stop_us
        after = local_day(at_us, zone)
        assert after.start_us == day.stop_us
        assert after.date - day.date == timedelta(days=1)
        day = after


def test_behind_an_inverter_a_day_has_energy_alone():
    """Watts behind an inverter, an hour at 600 W."""
    chunk = chunk_of(60.0 * np.arange(61), power_W=600.0)
    (line,) = ledger(chunk, side="ac").days
    assert line.whole.charge is None
    assert line.whole.energy.drawn == pytest.approx(600.0)
    assert (line.power.highest, line.at_end) == (600.0, None)
    assert line.power.sustained == pytest.approx(600.0)
