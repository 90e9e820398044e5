"""The ledger by hand and by brute force: changes of the clocks, notes anywhere, totals at each end, paybacks."""

from datetime import UTC, datetime, timedelta, timezone
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from examples import examples
from hypothesis import given
from hypothesis import strategies as st
from readings import US, charge_of, fed, how

from shuntbook.analysis.charge.between_notes import MarkedFold
from shuntbook.analysis.charge.charge import ChargeFold
from shuntbook.analysis.ledger.ledger import LedgerFold, demos_of
from shuntbook.analysis.ledger.local_days import days_in, local_day
from shuntbook.analysis.one_log.site_folds import SiteFolds
from shuntbook.analysis.readings.chunk import Chunk
from shuntbook.analysis.site.site import Site

LONDON = ZoneInfo("Europe/London")
HOUR_US = 3600 * US

# Directive 2000/84/EC, articles 2 and 3 (from memory), which London's clocks follow: summer time begins on the last
# Sunday of March and ends on the last Sunday of October, both at 01:00 UTC. In 2026 these are 29 March and 25 October.
SHORT, LONG, PLAIN = "2026-03-29", "2026-10-25", "2026-11-25"
HOURS = {SHORT: 23, LONG: 25, PLAIN: 24}


def us(text):
    """An instant in UTC [us]."""
    return round(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp()) * US


def log_from(start_us, spacing_s, current_A, **more):
    """Readings at a steady spacing, from an instant on."""
    current_A = np.asarray(current_A, float)
    time_us = start_us + np.arange(len(current_A)) * round(spacing_s * US)
    return Chunk(time_us, {"current_A": current_A} | {name: np.asarray(x, float) for name, x in more.items()})


def ledger_of(chunk, *, zone=LONDON, notes=(), cuts=(), how_read=None):
    """The ledger of some readings."""
    fold = LedgerFold(how_read or how(gap_limit_s=1000.0), set(chunk.quantities), zone=zone, demos=demos_of(notes))
    return fed(fold, chunk, cuts).result()


@pytest.mark.parametrize(("date", "hours"), HOURS.items())
def test_a_local_day_has_the_hours_its_clocks_pass(date, hours):
    """23 hours where summer time begins, 25 where it ends, and each day ends where the next begins."""
    noon_us = us(f"{date}T12:00")
    day = local_day(noon_us, LONDON)
    assert day.date.isoformat() == date
    assert day.stop_us - day.start_us == hours * HOUR_US
    assert local_day(day.stop_us, LONDON).start_us == day.stop_us
    assert local_day(day.stop_us - 1, LONDON) == local_day(day.start_us, LONDON) == day


# The tz database on clocks that change at midnight. Sao Paulo, 4 November 2018: 00:00 became 01:00, so the day began at
# 03:00 UTC. Saint John's, 7 November 2010: 00:01 became 23:01 of the day before, so midnight passed at 02:30 UTC, again
# at 03:30. Havana, 2 November 2025: 01:00 became 00:00, first at 04:00 UTC.
@pytest.mark.parametrize(
    ("zone", "within", "start", "hours"),
    [
        ("America/Sao_Paulo", "2018-11-04T12:00", "2018-11-04T03:00", 23),
        ("America/St_Johns", "2010-11-07T03:00", "2010-11-07T02:30", 25),
        ("America/St_Johns", "2010-11-07T12:00", "2010-11-07T02:30", 25),
        ("America/Havana", "2025-11-02T05:30", "2025-11-02T04:00", 25),
    ],
)
def test_a_midnight_that_is_skipped_or_passed_twice(zone, within, start, hours):
    """The day begins when midnight is skipped, or passed for the first time; it never begins again."""
    day = local_day(us(within), ZoneInfo(zone))
    assert day.date.isoformat() == within[:10]
    assert (day.start_us, day.stop_us - day.start_us) == (us(start), hours * HOUR_US)


@pytest.mark.parametrize(("date", "hours"), HOURS.items())
def test_a_steady_draw_gives_each_day_its_own_hours(date, hours):
    """10 A for four days, read at uneven seconds of the minute: the middle days hold 10 A x their hours exactly."""
    chunk = log_from(us(f"{date}T12:00") - 48 * HOUR_US + 17 * US, 61.0, np.full(5700, 10.0))
    days = {line.text: line for line in ledger_of(chunk).days}
    assert len(days) == 5
    assert days[date].whole.charge.drawn == pytest.approx(10.0 * hours, rel=1e-12)
    assert days[date].measured_s == pytest.approx(3600 * hours)
    assert days[date].not_measured_s == pytest.approx(0.0, abs=1e-9)


def test_an_interval_over_midnight_is_cut_there_exactly():
    """The draw rises from 0 to 60 A in a minute that passes midnight after 20 s: one ninth of its charge is before."""
    chunk = log_from(us(f"{PLAIN}T00:00") - 20 * US, 60.0, [0.0, 60.0])
    before, after = (line.whole.charge.drawn for line in ledger_of(chunk).days)
    assert before == pytest.approx(20 * 20 / 2 / 3600)  # at midnight the draw is 20 A
    assert after == pytest.approx((20 + 60) / 2 * 40 / 3600)


def test_a_midnight_reading_opens_no_day_before_it():
    """A log that begins on the very midnight has the one day."""
    days = ledger_of(log_from(us(f"{PLAIN}T00:00"), 60.0, [1.0, 1.0])).days
    assert [line.text for line in days] == [PLAIN]


def test_a_day_without_readings_is_no_line():
    """Three days without a reading: the two days about them, and not what lies between."""
    start_us = us(f"{PLAIN}T12:00")
    time_us = start_us + np.concatenate([np.arange(60), 4 * 1440 + np.arange(60)]) * 60 * US
    days = ledger_of(Chunk(time_us, {"current_A": np.ones(120)})).days
    assert [line.text for line in days] == [PLAIN, "2026-11-29"]
    assert days[0].not_measured_s == pytest.approx(23 * 3600 + 60)  # 59 minutes are between the first 60 readings


def test_days_in_skips_what_no_stretch_touches():
    """Stretches on two days, with one between them that has none."""
    start = np.array([us("2026-11-25T10:00"), us("2026-11-27T10:00")])
    assert [str(day.date) for day in days_in(start, start + HOUR_US, UTC)] == ["2026-11-25", "2026-11-27"]
    assert list(days_in(start[:0], start[:0], UTC)) == []


ZONES = st.sampled_from([LONDON, UTC, ZoneInfo("America/St_Johns"), timezone(timedelta(hours=12, minutes=45))])
STARTS = st.sampled_from([us(f"{date}T00:00") - 3 * HOUR_US for date in HOURS])
SAMPLINGS = st.sampled_from(["instant", "mean", "held"])
CUTS = st.lists(st.integers(0, 10**6), max_size=6)


@st.composite
def logs(draw):
    """Up to two days of uneven readings with gaps and missing cells, about a change of the clocks."""
    rng = np.random.default_rng(draw(st.integers(0, 10**6)))
    count = draw(st.integers(2, 400))
    spacing_s = np.where(rng.random(count) < 0.02, rng.uniform(1000, 30000, count), rng.uniform(1, 600, count))
    current_A, voltage_V = rng.normal(5, 20, count), rng.normal(25, 0.5, count)
    current_A[rng.random(count) < 0.02] = np.nan
    voltage_V[rng.random(count) < 0.02] = np.nan
    time_us = draw(STARTS) + np.cumsum(np.rint(spacing_s * US).astype(np.int64))
    return Chunk(time_us, {"current_A": current_A, "voltage_V": voltage_V})


def assert_adds_up(lines, whole):
    """Charge, energy and measured time of the lines are those of the whole log."""
    for name, part in (("charge", whole.charge), ("energy", whole.energy)):
        parts = [amounts for line in lines if (amounts := getattr(line.whole, name)) is not None]
        for side in ("drawn", "returned"):
            total = sum(getattr(amounts, side) for amounts in parts)
            assert total == pytest.approx(0.0 if part is None else getattr(part, side), rel=1e-9, abs=1e-9)
    assert sum(line.whole.span.covered_s for line in lines) == pytest.approx(whole.span.covered_s, rel=1e-9, abs=1e-6)


@examples(14, 80)
@given(logs(), ZONES, CUTS, st.lists(st.integers(0, 2 * 86400), max_size=6), SAMPLINGS)
def test_days_and_demos_add_up_to_the_log(chunk, zone, cuts, notes_s, sampling):
    """Any cuts, any notes: days sum to the whole fold, and so do demos that leave nothing out."""
    how_read = how(sampling=sampling, gap_limit_s=900.0, usual_interval_s=60.0)
    first_us = int(chunk.time_us[0])
    notes = [(first_us - HOUR_US, "before all"), *((first_us + s * US, f"note {s}") for s in notes_s)]
    ledger = ledger_of(chunk, zone=zone, notes=notes, cuts=cuts, how_read=how_read)
    whole = fed(ChargeFold(how_read, set(chunk.quantities)), chunk).result()
    assert_adds_up(ledger.days, whole)
    assert_adds_up(ledger.demos, whole)
    assert all(a.stop_us <= b.start_us for a, b in pairwise(ledger.days))
    assert all(line.measured_s <= (line.stop_us - line.start_us) / 1e6 + 1e-6 for line in ledger.days)


@examples(7, 30)
@given(logs(), ZONES, CUTS)
def test_each_day_is_the_charge_between_its_midnights(chunk, zone, cuts):
    """A day's line is what the fold of charge gives for the window from midnight to midnight."""
    how_read = how(gap_limit_s=900.0)
    for line in ledger_of(chunk, zone=zone, cuts=cuts, how_read=how_read).days:
        alone = charge_of(chunk, how_read, from_us=line.start_us, to_us=line.stop_us)
        for got, expected in ((line.whole.charge, alone.charge), (line.whole.energy, alone.energy)):
            assert (got is None) == (expected is None)
            if got is not None:
                assert (got.drawn, got.returned) == pytest.approx((expected.drawn, expected.returned), abs=1e-9)


def test_demos_go_from_note_to_note():
    """A note begins a demo and ends the one before; an ending note only ends; a note overtaken at once is none."""
    notes = [(30, "visitors"), (10, "crates"), (20, " End "), (40, "OFF"), (30, "bell"), (50, "tidy up")]
    assert demos_of(notes) == ((10, 20, "crates"), (30, 40, "visitors"), (50, None, "tidy up"))
    assert demos_of([]) == ()


def test_a_marked_demo_holds_what_flowed_between_its_notes():
    """Notes between readings: 12 A for the 90 s between them are 0.3 Ah, at 25 V 7.5 Wh."""
    start_us = us(f"{PLAIN}T10:00")
    chunk = log_from(start_us, 20.0, np.full(30, 12.0), voltage_V=np.full(30, 25.0))
    notes = [(start_us + 110 * US, "crates"), (start_us + 200 * US, "end"), (start_us + 500 * US, "rinse")]
    crates, rinse = ledger_of(chunk, notes=notes).demos
    assert (crates.text, crates.start_us, crates.stop_us) == ("crates", notes[0][0], notes[1][0])
    assert crates.whole.charge.drawn == pytest.approx(12 * 90 / 3600)
    assert crates.whole.energy.drawn == pytest.approx(25 * 12 * 90 / 3600)
    marked = fed(MarkedFold(how(gap_limit_s=1000.0), set(chunk.quantities), notes), chunk).result()
    assert [stretch.text for stretch in marked] == ["crates", "rinse"]
    assert rinse.stop_us == chunk.time_us[-1]  # no later note: it lasts until the last reading
    assert rinse.whole.charge.drawn == pytest.approx(12 * 80 / 3600)


def brute_force(chunk, gap_limit_s, from_us, to_us):
    """The highest mean of ten whole minutes on end by plain sums, with a point set at every minute."""
    t, i = chunk.time_us, chunk.quantities["current_A"]
    minute_us = 60 * US
    minutes = np.arange(-(-max(t[0], from_us) // minute_us), min(t[-1], to_us) // minute_us + 1) * minute_us
    points = np.union1d(t, minutes)
    values = np.interp(points, t, i)
    area = np.concatenate([[0.0], np.cumsum((values[1:] + values[:-1]) / 2 * np.diff(points) / US)])
    gaps = [(a, b) for a, b in pairwise(t) if b - a > gap_limit_s * US]
    means = []
    for low in minutes:
        high = low + 10 * minute_us
        if high <= minutes[-1] and not any(a < high and b > low for a, b in gaps):
            means.append(float(np.diff(np.interp([low, high], points, area))[0]) / 600)
    return max(means, default=None)


@examples(13, 40)
@given(st.integers(0, 10**6), st.integers(2, 500), CUTS)
def test_sustained_draw_is_the_highest_mean_of_ten_minutes(seed, count, cuts):
    """Against a brute force over all ten whole minutes on end of each day, gaps left out."""
    rng = np.random.default_rng(seed)
    spacing_s = np.where(rng.random(count) < 0.01, rng.uniform(60, 900, count), rng.uniform(2, 45, count))
    time_us = us(f"{PLAIN}T23:00") + np.cumsum(np.rint(spacing_s * US).astype(np.int64))
    chunk = Chunk(time_us, {"current_A": rng.normal(4, 25, count).round(2)})
    for line in ledger_of(chunk, cuts=cuts, how_read=how(gap_limit_s=50.0)).days:
        expected = brute_force(chunk, 50.0, line.start_us, line.stop_us)
        if expected is None:
            assert line.current.sustained is None
        else:
            assert line.current.sustained == pytest.approx(expected, abs=1e-9)


def test_sustained_power_of_means_by_hand():
    """Minutes of 100 W with twelve of 400 W among them: ten of those on end make 400 W; nine would make 370 W."""
    watts = np.full(60, 100.0)
    watts[20:32] = 400.0
    start_us = us(f"{PLAIN}T10:00")
    for keep, expected in ((12, 400.0), (9, 370.0)):
        power_W = np.where(np.arange(60) >= 20 + keep, 100.0, watts)
        chunk = Chunk(start_us + np.arange(1, 61) * 60 * US, {"power_W": power_W})
        (day,) = ledger_of(chunk, how_read=how("ac", "mean", 120.0, 60.0)).days
        assert day.power.sustained == pytest.approx(expected)
        assert day.power.highest == 400.0
        assert (day.current.sustained, day.at_end, day.whole.charge) == (None, None, None)


def test_the_highest_draw_of_all_passes_midnight():
    """Ten minutes at 40 A about midnight: no day and no demo has them whole, the log does."""
    amps = np.where(abs(np.arange(61) - 30.5) < 5, 40.0, 4.0)
    chunk = Chunk(us(f"{PLAIN}T23:30") + np.arange(61) * 60 * US, {"current_A": amps})
    ledger = ledger_of(chunk, how_read=how(sampling="mean", gap_limit_s=120.0, usual_interval_s=60.0))
    assert ledger.current.sustained == pytest.approx(40.0)
    assert all(line.current.sustained < 30 for line in ledger.days)


def test_starts_are_counted_where_they_lie():
    """A start on midnight belongs to the day that begins; one a microsecond earlier to the day before."""
    midnight_us = us(f"{PLAIN}T00:00")
    chunk = log_from(midnight_us - HOUR_US, 60.0, np.ones(121))
    notes = [(midnight_us - 10 * US, "crates"), (midnight_us + 10 * US, "end")]
    starts_us = [midnight_us - HOUR_US, midnight_us - 1, midnight_us, midnight_us + 10 * US, midnight_us + 11 * US]
    judged = ledger_of(chunk, notes=notes).with_intervals(lambda charge: charge, starts_us)
    assert [line.starts for line in judged.days] == [2, 3]
    assert [line.starts for line in judged.demos] == [2]


def test_what_had_flowed_by_each_end_is_exact():
    """12 A drawn from 18:00, 6 A returned from 06:00: by midnight 72 Ah out; by the last reading 144 out, 36 back."""
    hours = np.arange(0, 18 * 60 + 1) / 60
    chunk = Chunk(
        us(f"{PLAIN}T18:00") + np.rint(hours * HOUR_US).astype(np.int64),
        {"current_A": np.where(hours <= 12, 12.0, -6.0)},
    )
    how_read = how(sampling="mean", gap_limit_s=120.0, usual_interval_s=60.0)
    minute_h = 1 / 60  # the first mean stands for the minute before it
    for cuts in ((), (300, 361, 362), range(0, 1081, 7)):
        first, second = (line.at_end for line in ledger_of(chunk, cuts=cuts, how_read=how_read).days)
        got = (first.drawn_Ah, first.returned_Ah, first.covered_h)
        assert got == pytest.approx((72 + 12 * minute_h, 0, 6 + minute_h))
        got = (second.drawn_Ah, second.returned_Ah, second.covered_h)
        assert got == pytest.approx((144 + 12 * minute_h, 36, 18 + minute_h))


def test_what_had_flowed_is_cut_within_an_interval():
    """A draw that rises from 0 to 60 A in a minute, 20 s of it before midnight and 35 s of it before a note."""
    midnight_us = us(f"{PLAIN}T00:00")
    chunk = log_from(midnight_us - 80 * US, 60.0, [0.0, 0.0, 60.0, 60.0])
    notes = [(midnight_us - 80 * US, "crates"), (midnight_us + 15 * US, "end")]
    ledger = ledger_of(chunk, notes=notes)
    before, after = ledger.days
    assert before.at_end.drawn_Ah == pytest.approx(20 * 20 / 2 / 3600)
    assert before.at_end.covered_h == pytest.approx(80 / 3600)
    assert after.at_end.drawn_Ah == pytest.approx((60 / 2 + 60) * 60 / 3600)
    assert ledger.demos[0].at_end.drawn_Ah == pytest.approx(35 * 35 / 2 / 3600)


def test_minutes_about_a_gap_are_not_on_end():
    """Six whole minutes, three without readings from one whole minute to another, six more: no ten on end."""
    minute = np.concatenate([np.arange(7), np.arange(9, 16)])
    chunk = Chunk(us(f"{PLAIN}T10:00") + minute * 60 * US, {"current_A": np.full(14, 9.0)})
    (day,) = ledger_of(chunk, how_read=how(gap_limit_s=100.0)).days
    assert (day.current.highest, day.current.sustained) == (9.0, None)
    assert day.measured_s == 12 * 60


def test_a_demo_is_paid_back_at_a_known_instant():
    """30 A for ten minutes are 5 Ah; the array's 10 A, of which 85 % count, bring them back in 5 / 8.5 hours."""
    start_us = us(f"{PLAIN}T10:00")
    minute = np.arange(1, 90)
    chunk = Chunk(start_us + minute * 60 * US, {"current_A": np.where(minute <= 10, 30.0, -10.0)})
    notes = [(start_us, "crates"), (start_us + 600 * US, "end")]
    bank = {"nominal_V": 24, "capacity_Ah": 420, "charge_efficiency_pct": 85}
    site = Site.model_validate({"name": "Marrowbrook", "bank": bank})
    how_read = how(sampling="mean", gap_limit_s=120.0, usual_interval_s=60.0)
    followed = fed(SiteFolds(how_read, {"current_A"}, notes, site=site, zone=LONDON), chunk, (7, 30)).result()
    (paid,) = followed.paybacks
    assert paid.owed_Ah == pytest.approx(5.0)
    assert paid.paid_us == pytest.approx(start_us + (600 + 5 / 8.5 * 3600) * US, abs=1)
    (line,) = followed.ledger.demos
    assert (line.text, line.start_us, line.stop_us) == (paid.text, paid.start_us, paid.stop_us)


def test_without_a_site_nothing_is_paid_back():
    """How much of a return a bank keeps is in its site file."""
    start_us = us(f"{PLAIN}T10:00")
    folds = SiteFolds(how(), {"current_A"}, [(start_us, "crates")], site=None, zone=LONDON)
    followed = fed(folds, log_from(start_us, 1.0, [1.0, 1.0])).result()
    assert followed.paybacks == ()
    assert [line.text for line in followed.ledger.demos] == ["crates"]
