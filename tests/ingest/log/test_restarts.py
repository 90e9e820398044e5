"""Sessions of a clock that began anew are laid behind each other, with a pause that counts for nothing."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from shuntbook.ingest.errors import InputError
from shuntbook.ingest.log.log import Readings
from shuntbook.ingest.log.restarts import begins_unset
from shuntbook.ingest.log.timeline import Settled, settle

S = 1_000_000
HOUR_S = 3600


def at(year: int, month: int = 1, day: int = 1, hour: int = 0) -> int:
    """Return an instant in seconds."""
    return int(datetime(year, month, day, hour, tzinfo=UTC).timestamp())


def settled(seconds: list[int], *, counted: bool, current: list[float] | None = None) -> Settled:
    """Settle readings whose current counts the rows, if none is given."""
    time_us = np.array(seconds, dtype=np.int64) * S
    amps = np.arange(len(seconds), dtype=float) if current is None else np.array(current)
    return settle(Readings(time_us, {"current_A": amps}), counted=counted)


def sessions(result: Settled) -> list[int]:
    """Return how many rows each session has: none is nearer to the next than an hour."""
    gaps = np.flatnonzero(np.diff(result.readings.time_us) >= HOUR_S * S) + 1
    return np.diff([0, *gaps.tolist(), len(result.readings.time_us)]).tolist()


@pytest.mark.parametrize("lengths", [(180, 100, 98), (40, 300, 20), (10, 10, 10, 10)])
@pytest.mark.parametrize("usual", [1, 5, 60])
def test_a_count_that_begins_anew(lengths, usual):
    """Short sessions behind long ones, too: in the order they were written, none of them merged."""
    seconds = [k * usual for length in lengths for k in range(length)]
    result = settled(seconds, counted=True)
    assert result.readings.quantities["current_A"].tolist() == list(range(len(seconds)))
    assert sessions(result) == list(lengths)
    assert "began anew" in " ".join(result.moved())


def test_a_full_count_of_milliseconds_goes_on():
    """2^32 ms are 49 days 17 h: there the count begins at nought without a pause."""
    ms = np.concatenate([np.arange(2**32 - 50_000, 2**32, 1000), np.arange(2**32, 2**32 + 60_000, 1000) % 2**32])
    result = settle(Readings(ms * 1000, {"current_A": np.arange(len(ms), dtype=float)}), counted=True)
    assert np.diff(result.readings.time_us).max() <= 1_000_000


@pytest.mark.parametrize("year", [1970, 1980, 2000])
def test_a_clock_of_power_up(year):
    """Each session begins in the first seconds of a date of its making; one may have a single row."""
    begin = at(year)
    seconds = [begin + b + 5 * k for b, n in ((0, 100), (4, 160), (4, 1), (1, 40)) for k in range(n)]
    result = settled(seconds, counted=False)
    assert result.readings.quantities["current_A"].tolist() == list(range(301))
    assert sessions(result) == [100, 160, 1, 40]


@pytest.mark.parametrize(("begins_s", "rows"), [(60, [200, 100]), (61, [300])])
def test_from_power_up_to_the_first_reading_it_takes_about_as_long_each_time(begins_s, rows):
    """Within a minute; what falls back to a later second was moved while it ran, and follows on."""
    begin = at(2000)
    seconds = [*range(begin, begin + 200), *range(begin + begins_s, begin + begins_s + 100)]
    assert sessions(settled(seconds, counted=False)) == rows


def test_a_clock_that_lost_its_time_goes_on_behind():
    """What bears the date of its making lies behind the true dates, not 26 years ahead; then it is set again."""
    true, later = at(2026, 6, 13), at(2026, 6, 20)
    seconds = [*range(true, true + 200), *range(at(2000), at(2000) + 100), *range(later, later + 50)]
    result = settled(seconds, counted=False)
    assert result.readings.quantities["current_A"].tolist() == list(range(350))
    time_s = result.readings.time_us // S
    assert (time_s[0], time_s[-1]) == (true, later + 49)
    assert sessions(result) == [200, 100, 50]


def test_a_clock_that_was_not_set_at_first():
    """Its rows lie ahead of the first true date."""
    true = at(2026, 6, 13)
    result = settled([*range(at(2000), at(2000) + 100), *range(true, true + 200)], counted=False)
    assert result.readings.quantities["current_A"].tolist() == list(range(300))
    assert result.readings.time_us[100] // S == true
    assert sessions(result) == [100, 200]
    assert result.readings.time_us[0] // S > true - 2 * 86_400


def assert_pauses(result: Settled) -> None:
    """The pauses laid between sessions are those that the instants show, in any order."""
    time_us = result.readings.time_us
    behind = np.flatnonzero(np.diff(time_us) >= HOUR_S * S) + 1
    shown = [(int(time_us[k - 1]), int(time_us[k])) for k in behind]
    assert sorted(result.sessions.pauses) == shown


def test_sessions_of_a_clock_that_was_set_late_lie_ahead_of_it():
    """Two with the date of its making, then true ones: each pause is told where it lies."""
    true, made = at(2026, 6, 13), at(2000)
    result = settled([*range(made, made + 100), *range(made, made + 50), *range(true, true + 200)], counted=False)
    assert result.readings.quantities["current_A"].tolist() == list(range(350))
    assert sessions(result) == [100, 50, 200]
    assert result.readings.time_us[150] // S == true
    assert_pauses(result)


@pytest.mark.parametrize("unset", [at(2000), at(2020), at(2021, 12, 31, 12)])
def test_a_clock_of_another_make_falls_back_to_a_new_years_day(unset):
    """A session of 1970 ahead, true dates, and one that begins within 15 h of a new year, of whatever time zone."""
    true = at(2026, 6, 13)
    seconds = [*range(100), *range(true, true + 200), *range(unset, unset + 100)]
    result = settled(seconds, counted=False)
    assert result.readings.quantities["current_A"].tolist() == list(range(400))
    assert sessions(result) == [100, 200, 100]
    assert_pauses(result)


@pytest.mark.parametrize(
    ("first", "steps_s", "unset"),
    [
        (at(2000), [1, 26 * 365 * 86_400, 1], True),
        (at(1999, 12, 31, 10), [1, 26 * 365 * 86_400], True),  # midnight somewhere on Earth
        (at(1980, 1, 6), [1, 46 * 365 * 86_400], True),  # satellite time
        (at(2000, 1, 7), [1, 300 * 86_400 + 1, 1], True),
        (at(2000, 1, 7), [1, 300 * 86_400, 1], False),  # put away for a winter
        (at(2000), [1, 2, 1], False),  # it was never set, or is right
        (at(2000, 1, 7, 1), [1, 26 * 365 * 86_400], False),
        (at(1990), [1, 26 * 365 * 86_400], False),
        (at(2026, 1, 3), [1, 400 * 86_400], False),
        (at(1999, 12, 31, 8), [1, 26 * 365 * 86_400], False),
    ],
)
def test_a_log_begins_unset_if_it_leaps_from_the_first_days_of_a_clock(first, steps_s, unset):
    """By its first instant and a spacing of nearly a year and more."""
    assert begins_unset(first * S, np.array(steps_s) * S) is unset


def test_all_sessions_before_the_first_true_date_lie_ahead_of_it():
    """Two of a clock that was not set: each step stands where a session ended, and the rhythm knows no pause."""
    true = at(2026, 6, 13)
    unset = [at(2000) + 5 * k for n in (60, 40) for k in range(n)]
    result = settled([*unset, *range(true, true + 500, 5)], counted=False)
    assert sessions(result) == [60, 40, 100]
    time_us = result.readings.time_us
    assert time_us[100] // S == true
    assert [step["at_us"] for step in result.clock_steps] == time_us[[59, 99]].tolist()
    closed_us = np.concatenate([part.time_us for part in result.rhythm()])
    assert (np.diff(closed_us) == 5 * S).all()


@pytest.mark.parametrize(("day", "is_unset"), [((1, 1, 0), True), ((1, 1, 15), True), ((1, 1, 16), False)])
@pytest.mark.parametrize("year", [2015, 2022])
def test_a_clock_that_fell_back_to_the_first_of_a_year(year, day, is_unset):
    """Within what a zone and some minutes make of midnight; any other day may be the truth."""
    true, fell = at(2026, 6, 13), at(year, *day)
    result = settled([*range(true, true + 200), *range(fell, fell + 100)], counted=False)
    amps = result.readings.quantities["current_A"].tolist()
    assert amps == ([*range(300)] if is_unset else [*range(200, 300), *range(200)])
    assert ("began anew" in " ".join(result.moved())) is is_unset


def test_a_leap_to_the_first_of_a_later_year_is_true():
    """A log that was put away: no clock begins there by itself."""
    first, later = at(2024, 6, 13), at(2026)
    result = settled([*range(first, first + 200), *range(later, later + 100)], counted=False)
    assert result.readings.time_us[200] // S == later
    assert result.clock_steps == []


@pytest.mark.parametrize(
    ("seconds", "rows"),
    [
        ([*range(200), *range(20, 120)], [200, 100]),
        ([0, 10, 20, 30, 40, 20, 30, 40], [5, 3]),
        ([*range(200), *range(20, 120), *range(40, 160)], [200, 100, 120]),
    ],
)
def test_a_count_that_begins_anew_a_little_later(seconds, rows):
    """However short the log: other readings at seconds that were there are those of another session."""
    assert sessions(settled(seconds, counted=True)) == rows


def test_a_late_row_before_the_last_is_no_new_session():
    """Row 20 of fifty again, with another reading, and then the next: its second is the mean of both."""
    result = settled([*range(50), 20, 50], counted=True)
    assert sessions(result) == [51]
    assert result.clock_steps == []
    assert result.readings.quantities["current_A"][20] == (20 + 50) / 2


@pytest.mark.parametrize(
    ("usual_s", "least_pause_s", "pause_s"), [(1, 0, 3600), (300, 0, 6000), (1, 7200, 14_400), (300, 2000, 6000)]
)
def test_the_pause_laid_between_sessions_is_longer_than_any_spacing(usual_s, least_pause_s, pause_s):
    """An hour, twenty spacings, or twice what is no pause yet: whichever is most."""
    time_us = np.array([k * usual_s for n in (60, 40) for k in range(n)], dtype=np.int64) * S
    readings = Readings(time_us, {"current_A": np.arange(100.0)})
    result = settle(readings, counted=True, least_pause_us=least_pause_s * S)
    assert np.diff(result.readings.time_us)[59] == pause_s * S
    assert [step["step_s"] for step in result.clock_steps] == [59 * usual_s + pause_s]


def test_late_rows_of_a_count_are_no_new_session():
    """A row, twenty rows and a swapped pair."""
    seconds = [0, 2, 3, 1, *range(4, 50), *range(70, 200), *range(50, 70), *range(200, 300), 301, 300, *range(302, 350)]
    result = settled(seconds, counted=True)
    assert result.clock_steps == []
    assert (result.readings.time_us // S).tolist() == list(range(350))


def test_the_same_again_counts_once():
    """A log behind itself, also where a second holds two rows that are alike."""
    base = at(2026, 6, 13)
    once = [base + k // 2 for k in range(200)]
    current = [float(k // 4) for k in range(200)]
    twice = settled(once * 2, counted=False, current=current * 2)
    assert twice.repeated == 200
    assert len(twice.readings.time_us) == 200
    assert "counted once" in " ".join(twice.moved())


@pytest.mark.parametrize(("start", "stop"), [(60, 90), (0, 200), (150, 200)])
def test_a_block_of_a_count_that_stands_there_twice_counts_once(start, stop):
    """From the middle, from the beginning, at the end: it says the same again, and no clock began anew."""
    seconds = [*range(stop), *range(start, 200)]
    current = [float(k % 37) for k in seconds]
    result = settled(seconds, counted=True, current=current)
    assert result.repeated == stop - start
    assert result.readings.quantities["current_A"].tolist() == [float(k % 37) for k in range(200)]
    assert sessions(result) == [200]


def test_a_session_of_the_same_level_reading_is_one():
    """A load that draws the same all day: that readings are alike says nothing."""
    assert sessions(settled([*range(200), *range(100)], counted=True, current=[2.0] * 300)) == [200, 100]


def test_other_readings_at_the_first_instant_are_asked():
    """A clock that was set does not fall back to where the log began: it may be another meter."""
    base = at(2026, 6, 13)
    with pytest.raises(InputError, match=r"row 101 .*\(2026-06-13 00:00:00 UTC\).*another meter"):
        settled([*range(base, base + 100), *range(base, base + 100)], counted=False)


def test_readings_below_a_header_that_go_back_are_asked():
    """Two meters' files behind one another; a clock set by an hour or some seconds, or late rows, are none."""
    base = at(2026, 6, 13)
    readings = {"current_A": np.arange(6000, dtype=float)}

    def joined(back_s: int, headers: list[int]) -> Settled:
        first, second = np.arange(5000), np.arange(5000 - back_s, 6000 - back_s)
        time_us = (base + np.concatenate([first, second])) * S
        return settle(Readings(time_us, readings), headers=headers)

    with pytest.raises(InputError, match=r"row 5001 .* by 1400 s to 2026-06-13 01:00:00 UTC.*another meter's"):
        joined(1400, [5000])
    assert len(joined(1400, [200]).clock_steps) == 1
    for back_s in (30, 600, 3480, 3600, 3720):
        assert len(joined(back_s, [5000]).clock_steps) == 1
    for back_s in (601, 3479, 3721):
        with pytest.raises(InputError, match="another meter's"):
            joined(back_s, [5000])
    assert joined(0, [5000]).clock_steps == []


def test_rows_that_say_otherwise_are_told():
    """Their mean is in no doubt where they differ by the last digit."""
    base = at(2026, 6, 13)
    seconds = [base + k for k in [*range(20), 19, *range(20, 40)]]
    near, far = [10.0] * 41, [10.0] * 41
    near[20], far[20] = 10.01, 30.0
    assert settled(seconds, counted=False, current=near).moved() == []
    assert "say otherwise" in settled(seconds, counted=False, current=far).moved()[0]
