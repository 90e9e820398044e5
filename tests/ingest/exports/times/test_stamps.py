"""Time stamps: every style is recognised and read back; local clocks against zoneinfo."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from exporting import convert
from hypothesis import given
from hypothesis import strategies as st

from shuntbook.ingest.exports.times.instants import parse
from shuntbook.ingest.exports.times.stamps import (
    HighestNumbers,
    Style,
    find_style,
    highest_numbers,
    possible_orders,
)
from shuntbook.ingest.log.arrow import strings
from shuntbook.ingest.zone import NO_TIME, LocalClock, zone_named

EPOCH = datetime(1970, 1, 1)


def us_of(moment: datetime) -> int:
    """Return a naive time as microseconds since 1970."""
    return (moment - EPOCH) // timedelta(microseconds=1)


STYLES = {
    "%Y-%m-%d %H:%M:%S.%f": Style("calendar", "y-m-d"),
    "%Y-%m-%dT%H:%M:%S.%fZ": Style("calendar", "y-m-d", zoned=True),
    "%Y-%m-%dT%H:%M:%S.%f+00:00": Style("calendar", "y-m-d", zoned=True),
    "%Y-%m-%d %H:%M:%S,%f": Style("calendar", "y-m-d"),
    "%Y/%m/%d %H:%M:%S.%f": Style("calendar", "y-m-d"),
    "%Y.%m.%d %H:%M:%S.%f": Style("calendar", "y-m-d"),
    "%d/%m/%Y %H:%M:%S.%f": Style("calendar", "d/m/y"),
    "%d.%m.%Y %H:%M:%S,%f": Style("calendar", "d/m/y"),
    "%d-%m-%Y %I:%M:%S.%f %p": Style("calendar", "d/m/y"),
    "%m/%d/%Y %I:%M:%S.%f %p": Style("calendar", "m/d/y"),
    "%m/%d/%Y, %H:%M:%S.%f": Style("calendar", "m/d/y"),
    "%d %b %Y %H:%M:%S.%f": Style("calendar", "d/m/y"),
    "%a, %d-%B-%Y %H:%M:%S.%f": Style("calendar", "d/m/y"),
    "%B %d, %Y %I:%M:%S.%f %p": Style("calendar", "m/d/y"),
    "%Y%m%dT%H%M%S.%f": Style("calendar", "y-m-d", unit="basic"),
    "%Y%m%d%H%M%S": Style("calendar", "y-m-d", unit="basic"),
    "%Y%m%d %H:%M:%S.%f": Style("calendar", "y-m-d", unit="basic"),
    "%d/%m/%y %H:%M:%S.%f": Style("calendar", "d/m/y"),
    "%m/%d/%y %H:%M:%S.%f": Style("calendar", "m/d/y"),
    "%y-%m-%d %H:%M:%S.%f": Style("calendar", "y-m-d"),
}
MOMENTS = st.datetimes(datetime(1970, 1, 1), datetime(2068, 12, 31))


@pytest.mark.parametrize("pattern", STYLES)
@given(moments=st.lists(MOMENTS, min_size=1, max_size=8))
def test_any_time_in_any_style_comes_back(pattern, moments):
    """To the microsecond, alone or in company, by the quick ways and the slow one."""
    if "%f" not in pattern:
        moments = [moment.replace(microsecond=0) for moment in moments]
    got = parse(strings([moment.strftime(pattern) for moment in moments]), STYLES[pattern])
    assert got.tolist() == [us_of(moment) for moment in moments]


@pytest.mark.parametrize("pattern", STYLES)
def test_every_style_is_recognised(pattern):
    """From a day's stamps around the end of the month, where the days are above twelve."""
    moments = [datetime(2032, 5, 27, 9) + timedelta(minutes=37 * k) for k in range(200)]
    assert find_style([moment.strftime(pattern) for moment in moments]) == STYLES[pattern]


@pytest.mark.parametrize(
    ("cells", "header", "expected"),
    [
        (["1780000000", "1780000001"], "timestamp", Style("epoch", unit="s")),
        (["1780000000.25", "1780000000.5"], "no word for it", Style("epoch", unit="s")),
        (["1780000000000", "1780000000500"], "Time", Style("epoch", unit="ms")),
        (["1780000000000000"], "Time", Style("epoch", unit="us")),
        (["1780000000000000000"], "Time", Style("epoch", unit="ns")),
        (["0", "1", "2"], "Time (s)", Style("elapsed", unit="s")),
        (["0", "1", "2"], "Time [min]", Style("elapsed", unit="min")),
        (["0.0", "0.5"], "t [h]", Style("elapsed", unit="h")),
        (["0", "500"], "millis", Style("elapsed", unit="ms")),
        (["0:00:01", "0:00:02"], "x", Style("elapsed", unit="h:m:s")),
        (["11:59:59 PM", "12:00:00 AM"], "x", Style("elapsed", unit="h:m:s")),
        (["0:01.5", "61:02.5"], "x", Style("elapsed", unit="m:s")),
        (["1d 02:03:04", "2 days 02:03:04"], "x", Style("elapsed", unit="h:m:s")),
        (["45456.4375", "45456.4376"], "Date", Style("calendar", "y-m-d", unit="days")),
        (["73060.4375", "73060.4376"], "Date", Style("elapsed", unit="")),  # later than 2100
        (["45456", "45457"], "Time", Style("elapsed", unit="s")),
        (["45456", "45457"], "Date", Style("calendar", "y-m-d", unit="days")),
        (["1780000000", "1780000100"], "Time (us)", Style("elapsed", unit="us")),  # half an hour after its start
        (["1", "2", "3"], "Cycle", None),
        (["20", "21", "22"], "T [degC]", None),
        (["5", "1", "4"], "Step time", None),
        (["12.5", "abc"], "Time", None),
        ([], "Time", None),
        (["99999999999", "99999999999999"], "Time", None),
    ],
)
def test_numbers_as_times(cells, header, expected):
    """An epoch by its size, elapsed time only where the header says time; else no time at all."""
    assert find_style(cells, header=header) == expected


@pytest.mark.parametrize(
    ("stamp", "style"),
    [
        ("2026-02-30 10:00:00", STYLES["%Y-%m-%d %H:%M:%S.%f"]),
        ("2026-06-13 24:00:01", STYLES["%Y-%m-%d %H:%M:%S.%f"]),
        ("2026-06-13 10:60:00", STYLES["%Y-%m-%d %H:%M:%S.%f"]),
        ("2026-06-13 10:00:00Z", STYLES["%Y-%m-%d %H:%M:%S.%f"]),
        ("2026-06-13 10:00:00", STYLES["%Y-%m-%dT%H:%M:%S.%fZ"]),
        ("29/02/2026 10:00:00", STYLES["%d/%m/%Y %H:%M:%S.%f"]),
        ("13/13/2026 10:00:00", STYLES["%d/%m/%Y %H:%M:%S.%f"]),
        ("06/13/2026 13:00:00 PM", STYLES["%m/%d/%Y %I:%M:%S.%f %p"]),
        ("06/13/2026 00:30:00 AM", STYLES["%m/%d/%Y %I:%M:%S.%f %p"]),
        ("13 Foo 2026 10:00:00", STYLES["%d %b %Y %H:%M:%S.%f"]),
        ("yesterday", STYLES["%d %b %Y %H:%M:%S.%f"]),
        ("", STYLES["%d %b %Y %H:%M:%S.%f"]),
        ("0", Style("epoch", unit="s")),
        ("99999999999999999", Style("epoch", unit="s")),
        ("9999999999999999999999", Style("elapsed", unit="h")),
        ("1e308", Style("epoch", unit="s")),
        ("1:75", Style("elapsed", unit="h:m:s")),
        ("1:75", Style("elapsed", unit="m:s")),
        ("13:00:00 PM", Style("elapsed", unit="h:m:s")),
        ("-5", Style("epoch", unit="ms")),
    ],
)
@pytest.mark.parametrize("company", [0, 1])
def test_what_is_no_such_time(stamp, style, company):
    """Days and hours that do not exist, other styles, numbers beyond reach: no time, and its company is not harmed."""
    good = {"calendar": "2026-06-13 10:00:00", "epoch": "1780000000", "elapsed": "0:30"}[style.kind]
    got = parse(strings([stamp] + [good] * company), style)
    assert got[0] == NO_TIME


def test_midnight_and_noon_of_a_twelve_hour_clock():
    """12 AM is the day's beginning, 12 PM its middle (common practice)."""
    cells = strings(["06/13/2026 12:00:00 AM", "06/13/2026 12:00:00 PM"])
    got = parse(cells, STYLES["%m/%d/%Y %I:%M:%S.%f %p"])
    assert got.tolist() == [us_of(datetime(2026, 6, 13)), us_of(datetime(2026, 6, 13, 12))]
    bare = parse(strings(["12:00:00 AM", "12:00:00 pm"]), Style("elapsed", unit="h:m:s"))
    assert bare.tolist() == [0, 12 * 3_600_000_000]


@given(st.integers(0, 10**6), st.integers(0, 59), st.integers(0, 999))
def test_minutes_and_seconds(minutes, second, ms):
    """With or without a fraction."""
    style, whole_us = Style("elapsed", unit="m:s"), (minutes * 60 + second) * 1_000_000
    cells = strings([f"{minutes}:{second:02d}", f"{minutes}:{second:02d}.{ms:03d}"])
    assert parse(cells, style).tolist() == [whole_us, whole_us + ms * 1000]


@given(
    st.integers(0, 10**7), st.sampled_from([("ms", 1_000), ("s", 1_000_000), ("min", 60_000_000), ("h", 3_600_000_000)])
)
def test_elapsed_counts(n, unit):
    """Whole and with a fraction, by point or comma."""
    symbol, size_us = unit
    style = Style("elapsed", unit=symbol)
    assert parse(strings([str(n)]), style).tolist() == [n * size_us]
    assert parse(strings([f"{n}.5", f"{n},5"]), style).tolist() == [n * size_us + size_us // 2] * 2


@pytest.mark.parametrize(
    ("cells", "orders"),
    [
        (["13/06/2026 1:00"], ["d/m/y"]),
        (["06/13/2026 1:00"], ["m/d/y"]),
        (["05/06/2026 1:00"], ["d/m/y", "m/d/y"]),
        (["13/13/2026 1:00"], []),
        (["05/32/2026 1:00"], []),
        (["32/05/2026 1:00"], []),
        (["26-06-13 1:00"], ["d/m/y", "y-m-d"]),
        (["32-06-13 1:00"], ["y-m-d"]),
        (["26-13-06 1:00"], []),
        (["26/06/13 1:00"], ["d/m/y"]),
        (["05/06/2026 1:00", "31/01/2026 1:00", "junk"], ["d/m/y"]),
    ],
)
def test_orders_that_no_date_contradicts(cells, orders):
    """A number above twelve is no month, one above 31 no day."""
    assert possible_orders(highest_numbers(strings(cells))) == orders


def test_the_highest_numbers_of_several_files():
    """One file's days and another's decide together."""
    one, other = (highest_numbers(strings([cell])) for cell in ("05/06/2026", "06/05/2026"))
    assert one.with_(other) == HighestNumbers((6, 6, 2026))


ZONES = [
    "America/New_York",
    "Europe/London",
    "Europe/Berlin",
    "Australia/Lord_Howe",
    "Asia/Kathmandu",
    "Pacific/Apia",
    "UTC",
]


@pytest.mark.parametrize("zone", ZONES)
@given(
    start=st.datetimes(datetime(1971, 1, 1), datetime(2037, 12, 1)),
    steps=st.lists(st.integers(1, 1500), min_size=1, max_size=120),
    cut=st.integers(0, 120),
    newest_first=st.booleans(),
)
def test_a_local_clock_agrees_with_zoneinfo(zone, start, steps, cut, newest_first):
    """Instants in order, up to 25 min apart, written by a local clock come back, wherever the file's blocks end."""
    moments = [start.replace(tzinfo=UTC, microsecond=0) + timedelta(seconds=int(s)) for s in np.cumsum(steps)]
    local = [moment.astimezone(ZoneInfo(zone)) for moment in moments]
    entered_in_second = local[0].fold == 1 or local[-1].fold == 1
    if newest_first:
        moments, local = moments[::-1], local[::-1]
    clock = LocalClock(zone_named(zone, what="--zone"), newest_first=newest_first)
    stamps = np.array([us_of(moment.replace(tzinfo=None)) for moment in local])
    got = np.concatenate([clock.to_utc(stamps[:cut]), clock.to_utc(stamps[cut:])])
    want = np.array([us_of(moment.replace(tzinfo=None)) for moment in moments])
    ambiguous = np.array([moment.utcoffset() != moment.replace(fold=1 - moment.fold).utcoffset() for moment in local])
    if entered_in_second or ambiguous[0] or ambiguous[-1]:  # nothing shows which of the two hours it is
        got, want = got[~ambiguous], want[~ambiguous]
    assert got.tolist() == want.tolist()


@pytest.mark.parametrize("zone", ["America/New_York", "Australia/Lord_Howe"])
def test_a_row_a_little_late_in_the_repeated_hour_is_no_step_back(zone):
    """Jitter of a second does not move the rest of the hour."""
    clock = LocalClock(zone_named(zone, what="--zone"))
    first = {"America/New_York": datetime(2024, 11, 3, 1, 10), "Australia/Lord_Howe": datetime(2024, 4, 7, 1, 35)}[zone]
    local = us_of(first) + np.array([0, 1, 3, 2, 4, 5]) * 1_000_000
    got = clock.to_utc(local)
    assert len(set((local - got).tolist())) == 1
    assert clock.ambiguous == 6


@pytest.mark.parametrize(
    ("first", "step", "beyond"),
    [
        ("2026-06-13 10:{:02d}:00", 1, "9999-12-31 23:59:59"),
        ("13.06.2026 10:{:02d}:00", 1, "31.12.9999 23:59:59"),
        ("2026-06-13T10:{:02d}:00Z", 1, "0001-01-01T00:00:00Z"),
        ("{}", 60, "999999999999"),
    ],
)
def test_a_time_that_no_log_can_hold_is_rejected(tmp_path, first, step, beyond):
    """What programs write for no time at all, at either end of a calendar; all else is read, and can be read again."""
    stamps = [first.format(k * step) for k in range(40)]
    rows = [f"{stamp},{k % 7}.5,25.1" for k, stamp in enumerate([*stamps[:30], beyond, *stamps[30:]])]
    times = () if ":" in beyond else ("--times", "elapsed s")
    done = convert(
        tmp_path,
        "\n".join(["time,current [A],voltage [V]", *rows]),
        options=("--zone", "UTC", "--allow-rejects", *times),
    )
    assert len(done.time_us) == 40
    assert done.reject_lines == [32]
