"""Times in forms of their own come to the same instants as plain ones; what can be read in two ways is asked."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from exporting import convert
from hypothesis import given
from hypothesis import strategies as st

from shuntbook.ingest.exports.times.forms import FORMS, find_forms, in_usual_form, tidy
from shuntbook.ingest.exports.times.instants import parse
from shuntbook.ingest.exports.times.stamps import Style, find_style
from shuntbook.ingest.log.arrow import strings

START = datetime(2026, 6, 13, 0, 2, 17)
SPANISH = ["ene", "feb", "mar", "abr", "may", "jun", "jul", "ago", "sep", "oct", "nov", "dic"]
SPANISH_LONG = [
    *("enero", "febrero", "marzo", "abril", "mayo", "junio"),
    *("julio", "agosto", "septiembre", "octubre", "noviembre", "diciembre"),
]
WEEKDAYS = ["Mo", "Di", "Mi", "Do", "Fr", "Sa", "So"]
ITALIAN = ["gen", "feb", "mar", "apr", "mag", "giu", "lug", "ago", "set", "ott", "nov", "dic"]
DUTCH_LONG = [
    *("januari", "februari", "maart", "april", "mei", "juni"),
    *("juli", "augustus", "september", "oktober", "november", "december"),
]
GERMAN = ["Jan", "Feb", "März", "Apr", "Mai", "Jun", "Jul", "Aug", "Sept", "Okt", "Nov", "Dez"]
GERMAN_LONG = [
    *("Januar", "Februar", "März", "April", "Mai", "Juni"),
    *("Juli", "August", "September", "Oktober", "November", "Dezember"),
]
FRENCH = ["janv.", "févr.", "mars", "avr.", "mai", "juin", "juil.", "août", "sept.", "oct.", "nov.", "déc."]
FRENCH_LONG = [
    *("janvier", "février", "mars", "avril", "mai", "juin"),
    *("juillet", "août", "septembre", "octobre", "novembre", "décembre"),
]


def table(head: str, write, *, every: timedelta = timedelta(minutes=7), count: int = 120, start: datetime = START):
    """Return an export of amps that rise, and the instants as they were."""
    moments = [start + k * every for k in range(count)]
    lines = [f"{head},Current (A)", *(f"{write(t)},{k / 8}" for k, t in enumerate(moments))]
    return "\n".join(lines) + "\n", [(t - datetime(1970, 1, 1)) // timedelta(microseconds=1) for t in moments]


def days(moment: datetime) -> float:
    return (moment - datetime(1899, 12, 30)) / timedelta(days=1)


WRITTEN = {
    "ctime": ("Time", lambda t: t.strftime("%a %b %d %H:%M:%S %Y")),
    "ctime, blank before the day": ("Time", lambda t: f"{t:%a %b} {t.day:2d} {t:%H:%M:%S %Y}"),
    "date": ("Time", lambda t: f"{t:%a %b} {t.day:2d} {t:%H:%M:%S} GMT {t:%Y}"),
    "date, German": ("Time", lambda t: f"Sa {t.day}. {GERMAN_LONG[t.month - 1]} {t:%H:%M:%S} UTC {t:%Y}"),
    "Japanese": ("日時", lambda t: f"{t.year}年{t.month}月{t.day}日 {t.hour}時{t.minute:02d}分{t.second:02d}秒"),
    "Japanese date, clock": ("Date,Time", lambda t: f"{t.year}年{t.month}月{t.day}日,{t:%H:%M:%S}"),
    "German months": ("Zeit", lambda t: f"{t.day}. {GERMAN_LONG[t.month - 1]} {t:%Y %H:%M:%S}"),
    "German months, short": ("Zeit", lambda t: f"{t:%d}-{GERMAN[t.month - 1]}-{t:%Y %H:%M:%S}"),
    "French months": ("Heure", lambda t: f"{t.day} {FRENCH_LONG[t.month - 1]} {t:%Y %H:%M:%S}"),
    "French months, short": ("Heure", lambda t: f"{t:%d} {FRENCH[t.month - 1]} {t:%Y %H:%M:%S}"),
    "milliseconds after a colon": ("Time", lambda t: f"{t:%Y-%m-%d %H:%M:%S}:000"),
    "date, clock, milliseconds": ("Date,Time,ms", lambda t: f"{t:%Y-%m-%d,%H:%M:%S},0"),
    "digits in two columns": ("Date,Time", lambda t: f"{t:%Y%m%d,%H%M%S}"),
    "digits without their zeros": ("Date,Time", lambda t: f"{t:%Y%m%d},{int(f'{t:%H%M%S}')}"),
    "digits with a fraction": ("Date,Time", lambda t: f"{t:%Y%m%d,%H%M%S}.00"),
    "six columns": ("Year,Month,Day,Hour,Minute,Second", lambda t: ",".join(map(str, t.timetuple()[:6]))),
    "a date and three": ("Date,Hour,Minute,Second", lambda t: f"{t:%Y-%m-%d},{t.hour},{t.minute},{t.second}"),
    "year, day, month": ("Time", lambda t: f"{t:%Y-%d-%m %H:%M:%S}"),
    "hours from UTC": ("Time", lambda t: f"{t:%Y-%m-%d %H:%M:%S} UTC+0"),
    "a spreadsheet's days": ("Date Time", lambda t: f"{days(t):.9f}"),
    "a spreadsheet's day and fraction": ("Date,Time", lambda t: f"{int(days(t))},{days(t) % 1:.9f}"),
    "Spanish months": ("Fecha", lambda t: f"{t.day} de {SPANISH_LONG[t.month - 1]} de {t:%Y %H:%M:%S}"),
    "Spanish months, short": ("Fecha", lambda t: f"{t:%d}-{SPANISH[t.month - 1]}-{t:%Y %H:%M:%S}"),
    "Italian months": ("Ora", lambda t: f"{t:%d}-{ITALIAN[t.month - 1]}-{t:%Y %H:%M:%S}"),
    "Dutch months": ("Tijd", lambda t: f"{t.day} {DUTCH_LONG[t.month - 1]} {t:%Y %H:%M:%S}"),
    "German weekday": (
        "Zeit",
        lambda t: f"{WEEKDAYS[t.weekday()]} {t:%d.%m.%Y %H:%M:%S}",
    ),
    "o'clock in German": ("Zeit", lambda t: t.strftime("%d.%m.%Y %H:%M:%S Uhr")),
    "h for a colon": ("Heure", lambda t: t.strftime("%Y-%m-%d %Hh%M:%S")),
    "h, m and s": ("Heure", lambda t: f"{t:%Y-%m-%d} {t.hour}h{t:%Mm%Ss}"),
    "dots in the clock": ("Ora", lambda t: t.strftime("%Y-%m-%d %H.%M.%S")),
    "dots in the clock of a column": ("Data,Ora", lambda t: t.strftime("%Y-%m-%d,%H.%M.%S")),
    "p. m.": ("Hora", lambda t: f"{t:%Y-%m-%d %I:%M:%S} {t:%p}".replace("M", ". m.").lower()),
    "a and p": ("Time", lambda t: f"{t:%Y-%m-%d %I:%M:%S}{t:%p}".replace("M", "").lower()),
    "PM in front": ("Time", lambda t: t.strftime("%Y-%m-%d %p %I:%M:%S")),
    "PM in a column": ("Date,Time,AM/PM", lambda t: t.strftime("%Y-%m-%d,%I:%M:%S,%p")),
    "PM in a column beside both": ("Time,Half", lambda t: t.strftime("%Y-%m-%d %I:%M:%S,%p")),
    "hyphens throughout": ("Time", lambda t: t.strftime("%Y-%m-%d-%H-%M-%S")),
    "digits and underscore": ("Time", lambda t: t.strftime("%Y%m%d_%H%M%S")),
    "as servers log": ("Time", lambda t: t.strftime("%d/%b/%Y:%H:%M:%S +0000")),
    "dots behind year, month and day": ("Time", lambda t: t.strftime("%Y. %m. %d. %H:%M:%S")),
    "direction marks": ("Time", lambda t: t.strftime("\u200e%Y-%m-%d \u200f%H:%M:%S")),
    "an epoch with a power of ten": ("epoch", lambda t: f"{(t - datetime(1970, 1, 1)).total_seconds():.9E}"),
    "dots": ("Time", lambda t: t.strftime("%d.%m.%Y %H:%M:%S")),
}


@pytest.mark.parametrize("form", WRITTEN)
def test_every_form_comes_back(tmp_path, form):
    """To the second, from the small hours through a day, and through a year at two hours' spacing."""
    head, write = WRITTEN[form]
    for every, count in ((timedelta(minutes=7), 220), (timedelta(hours=49), 180)):
        text, want = table(head, write, every=every, count=count)
        assert np.rint(convert(tmp_path, text).time_us / 1e6).tolist() == [us // 1_000_000 for us in want]


def test_dotted_dates_are_day_first_unless_said_otherwise(tmp_path):
    """5.6. is the fifth of June where nothing shows it; --dates says otherwise; dates with slashes are asked about."""
    start = datetime(2026, 6, 5, 10)
    text, want = table("Time", lambda t: f"{t:%d.%m.%Y %H:%M:%S}", start=start)
    assert convert(tmp_path, text).time_us.tolist() == want
    other = convert(tmp_path, text, options=("--zone", "UTC", "--dates", "m/d/y"))
    assert other.stamps[0].startswith("2026-05-06T10:00:00")
    slashes, _ = table("Time", lambda t: f"{t:%d/%m/%Y %H:%M:%S}", start=start)
    assert "--dates d/m/y or --dates m/d/y" in convert(tmp_path, slashes).error


@pytest.mark.parametrize("order", ["d/m/y", "m/d/y", "y-m-d"])
def test_dates_of_six_digits_are_asked_about(tmp_path, order):
    """They may be in any order; with the option they are read."""
    pattern = order.replace("/", "").replace("-", "").replace("d", "%d").replace("m", "%m").replace("y", "%y")
    text, want = table("Date,Time", lambda t: f"{t:{pattern},%H%M%S.00}", start=datetime(2012, 11, 10, 9), count=40)
    assert f"--dates {order}" in convert(tmp_path, text).error
    assert convert(tmp_path, text, options=("--zone", "UTC", "--dates", order)).time_us.tolist() == want


@pytest.mark.parametrize(
    ("head", "unit_s"),
    [("Elapsed (days)", 86_400), ("Elapsed (min)", 60), ("Time [h]", 3600), ("Elapsed µs", 1e-6), ("Time (ms)", 1e-3)],
)
def test_elapsed_time_by_the_name_of_its_column(tmp_path, head, unit_s):
    """Days, minutes, hours, microseconds, milliseconds."""
    text, _ = table(head, lambda t: f"{(t - START).total_seconds() / unit_s:.8f}", every=timedelta(seconds=30))
    assert np.allclose(np.diff(convert(tmp_path, text).time_us), 30_000_000, atol=2_000)


@pytest.mark.parametrize(("unit", "unit_s"), [("h", 3600.0), ("min", 60.0), ("days", 86_400.0), ("ms", 0.001)])
def test_elapsed_time_of_an_unnamed_unit_is_asked_about(tmp_path, unit, unit_s):
    """Where its spacing is no second's; the option settles it."""
    text, _ = table("Runtime", lambda t: f"{(t - START).total_seconds() / unit_s:.8f}", every=timedelta(seconds=5))
    assert f'"elapsed {unit}"' in convert(tmp_path, text).error
    assert np.allclose(np.diff(convert(tmp_path, text, options=("--times", f"elapsed {unit}")).time_us), 5e6, atol=2e3)


def test_whole_seconds_need_no_name(tmp_path):
    """0, 30, 60 and 0, 300, 600 are seconds, as they ever were."""
    for step in (0.5, 1, 30, 300):
        text, _ = table("Time", lambda t, step=step: f"{(t - START) / timedelta(minutes=7) * step:g}")
        assert np.diff(convert(tmp_path, text).time_us)[0] == step * 1e6


def test_days_and_a_clock_behind_a_point(tmp_path):
    """1.02:03:04 is a day, two hours and so on, and the next day follows the one before."""
    text, _ = table("Elapsed", lambda t: f"{(t - START).days}.{str((t - START) % timedelta(days=1)).rjust(8, '0')}")
    assert set(np.diff(convert(tmp_path, text).time_us)) == {7 * 60_000_000}


def test_two_numbers_and_a_colon_are_asked_about(tmp_path):
    """Hours and minutes or minutes and seconds; a clock that passes midnight shows which."""
    text, _ = table("Time", lambda t: f"{t:%M:%S}", every=timedelta(seconds=1))
    assert '"elapsed h:m:s" or "elapsed m:s"' in convert(tmp_path, text).error
    assert np.diff(convert(tmp_path, text, options=("--times", "elapsed m:s")).time_us)[0] == 1_000_000
    late, _ = table("Time", lambda t: f"{t:%H:%M}", every=timedelta(minutes=1), start=datetime(2026, 6, 13, 23))
    assert np.diff(convert(tmp_path, late).time_us).tolist() == [60_000_000] * 119


def test_an_epoch_without_its_last_digits_is_refused(tmp_path):
    """A spreadsheet's 1.78E+12 is rounded to hours; with all its digits it is read."""
    us = [int((START + k * timedelta(minutes=9) - datetime(1970, 1, 1)).total_seconds() * 1000) for k in range(60)]
    short = "time,Current (A)\n" + "".join(f"{ms:.5E},1\n" for ms in us)
    assert "rounded to 10,000 s" in convert(tmp_path, short).error
    whole = "time,Current (A)\n" + "".join(f"{ms:.12E},1\n" for ms in us)
    assert np.diff(convert(tmp_path, whole).time_us).tolist() == [540_000_000] * 59


def test_a_zone_word_is_asked_about(tmp_path):
    """With a place whose clocks say so; --zone settles it."""
    text, want = table("Time", lambda t: f"{t:%Y-%m-%d %H:%M:%S} CEST")
    assert "--zone Europe/Berlin" in convert(tmp_path, text, options=()).error
    assert convert(tmp_path, text, options=("--zone", "Europe/Paris")).time_us.tolist() == [
        us - 7_200_000_000 for us in want
    ]


def test_days_counted_from_1904(tmp_path):
    """As said by the option; without it that is pointed out."""
    text, want = table("Date", lambda t: f"{days(t) - 1462:.9f}", start=datetime(2026, 6, 13, 9))
    assert "sheet days 1904" in convert(tmp_path, text).said
    done = convert(tmp_path, text, options=("--zone", "UTC", "--times", "sheet days 1904"))
    assert np.rint(done.time_us / 1e6).tolist() == [us // 1_000_000 for us in want]


def test_24_00_is_the_next_days_beginning():
    """By ISO 8601; one second later is no time."""
    style = Style("calendar", "y-m-d")
    end, begin = parse(strings(["2026-06-13 24:00:00", "2026-06-14 00:00:00"]), style)
    assert end == begin


@given(
    st.sampled_from(sorted(FORMS)), st.text(alphabet="0123456789:.,- ()年月日時分秒午前後UTCGMZ+ESunJa", max_size=30)
)
def test_both_engines_rewrite_alike(form, cell):
    """A sample is looked at by Python's expressions, the rows by Arrow's."""
    assert tidy(strings([cell]), (form,))[0].as_py() == in_usual_form(cell, (form,))


def test_plain_times_have_no_form():
    """They go the quick way."""
    assert find_forms(["2026-06-13 10:00:00", "13/06/2026 10:00", "12.5", "1780000000", "10:00:00.125"]) == ()
    assert find_style(["46117.594444", "46117.677778", "46117.761111"], header="Time") == Style(
        "calendar", "y-m-d", unit="days"
    )


def _rows(stamp, rows=120, step_s=5):
    begin = datetime(2026, 6, 13, 9, 30)
    return "\n".join(f"{stamp(timedelta(seconds=step_s * k), begin)},{1 + k % 7}.5" for k in range(rows)) + "\n"


@pytest.mark.parametrize(
    ("head", "form"),
    [
        ("log_date,log_time", "%Y%m%d,%H%M%S"),
        ("LogDate,LogTime", "%Y%m%d,%H%M%S"),
        ("DATE_YYYYMMDD,hhmmss", "%Y%m%d,%H%M%S"),
        ("Date,Time", "%d%m%Y,%H%M%S"),
    ],
)
def test_bare_digits_under_other_names(tmp_path, head, form):
    text = f"{head},Current (A)\n" + _rows(lambda t, begin: (begin + t).strftime(form))
    time_us = convert(tmp_path, text).time_us
    assert time_us[0] == 1_781_343_000_000_000
    assert set(np.diff(time_us)) == {5_000_000}


@pytest.mark.parametrize("head", ["ticks (10 ms)", "count10ms", "t [1/100 s]", "tick_10ms"])
def test_ticks_last_as_long_as_their_name_says(tmp_path, head):
    text = f"{head},Current (A)\n" + _rows(lambda t, _: f"{t.total_seconds() * 100:.0f}")
    assert set(np.diff(convert(tmp_path, text).time_us)) == {5_000_000}


@pytest.mark.parametrize("head", ["tick", "ticks"])
def test_ticks_of_no_length_are_asked_about(tmp_path, head):
    text = f"{head},Current (A)\n" + _rows(lambda t, _: f"{t.total_seconds() * 100:.0f}")
    assert "how long one lasts" in convert(tmp_path, text).error


def test_a_clock_of_digits_without_a_date_is_no_count_of_seconds(tmp_path):
    text = "time,Current (A)\n" + _rows(lambda t, begin: f"{begin + t:%H%M%S}")
    assert "hours, minutes and seconds in bare digits" in convert(tmp_path, text).error
    seconds = "time,Current (A)\n" + _rows(lambda t, _: f"{6000 + t.total_seconds():.0f}")
    assert not convert(tmp_path, seconds).error


def test_whole_steps_with_many_decimals_are_asked_about(tmp_path):
    text = "Time,Current (A)\n" + _rows(lambda t, _: f"{t.total_seconds():.4f}", step_s=1)
    assert "nothing says in what" in convert(tmp_path, text).error
    assert not convert(tmp_path, text.replace(".0000,", ",")).error


def _night(form):
    """Return an export of the night in which clocks were set back from CEST to CET, and its instants."""
    begin = datetime(2025, 10, 25, 23, 0, tzinfo=UTC)
    moments = [begin + timedelta(minutes=5 * k) for k in range(60)]
    # The rows around the change are out of order by intent: only the word tells.
    moments[22:28] = moments[27:21:-1]
    local = [t.astimezone(ZoneInfo("Europe/Berlin")) for t in moments]
    text = "\n".join(["Time,Current (A)", *(f"{t.strftime(form)},{k % 7}.5" for k, t in enumerate(local))]) + "\n"
    return text, sorted(int(t.timestamp() * 1e6) for t in moments)


@pytest.mark.parametrize("form", ["%Y-%m-%d %H:%M:%S %Z", "%a %b %d %H:%M:%S %Z %Y", "%d.%m.%Y %H:%M (%Z)"])
def test_words_of_a_zone_settle_the_hour_that_comes_twice(tmp_path, form):
    text, instants = _night(form)
    assert convert(tmp_path, text, options=("--zone", "Europe/Berlin")).time_us.tolist() == instants
    german = text.replace("CEST", "MESZ").replace("CET", "MEZ")
    assert convert(tmp_path, german, options=("--zone", "Europe/Berlin")).time_us.tolist() == instants


def test_words_of_another_zone_than_the_one_stated_are_asked_about(tmp_path):
    text, instants = _night("%Y-%m-%d %H:%M:%S %Z")
    error = convert(tmp_path, text, options=("--zone", "America/New_York")).error
    assert "say CEST" in error or "say CET" in error
    assert "--zone Europe/Berlin" in error
    assert "--zone Europe/Berlin" in convert(tmp_path, text, options=()).error
    assert convert(tmp_path, text, options=("--zone", "Europe/Paris")).error == ""
    summer = "\n".join(line for line in text.splitlines() if "CET" not in line) + "\n"
    assert convert(tmp_path, summer, options=("--zone", "Etc/GMT-2")).time_us[0] == instants[0]


def test_a_column_beside_the_time_whose_unit_nobody_knows_is_no_second_clock(tmp_path):
    lines = [f"2026-06-13 10:{k // 60:02d}:{k % 60:02d},{k % 7}.5,{k * 0.0001:.6f}" for k in range(200)]
    assert not convert(tmp_path, "\n".join(["Time,Current (A),t", *lines]) + "\n").error


@pytest.mark.parametrize(
    ("head", "form"),
    [
        ("Date,Time", lambda t: f"{t:%Y%m%d},{int(f'{t:%H%M%S}')}"),
        ("YY,MM,DD,hh,mm,ss", lambda t: f"{t:%y},{t.month},{t.day},{t.hour},{t.minute},{t.second}"),
        ("sec,usec", lambda t: f"{int(t.replace(tzinfo=UTC).timestamp())},{t.microsecond}"),
        ("ts,ms", lambda t: f"{int(t.replace(tzinfo=UTC).timestamp())},{t.microsecond // 1000}"),
    ],
)
def test_parts_of_a_time_in_columns_of_their_own(tmp_path, head, form):
    begin = datetime(2026, 6, 13, 0, 50, 58)
    step = timedelta(seconds=0.25 if "sec" in head or "ms" in head.split(",") else 2)
    moments = [begin + k * step for k in range(150)]
    text = "\n".join([f"{head},Current (A)", *(f"{form(t)},{k % 7}.5" for k, t in enumerate(moments))]) + "\n"
    time_us = convert(tmp_path, text).time_us
    assert time_us[0] == (begin - datetime(1970, 1, 1)) // timedelta(microseconds=1)
    assert set(np.diff(time_us)) == {step // timedelta(microseconds=1)}


def test_a_name_says_what_two_numbers_are(tmp_path):
    rows = [f"{k // 60:02d}:{k % 60:02d},{k % 7}.5" for k in range(200)]
    for head, spacing_s in (("mm:ss", 1), ("Time (mm:ss)", 1), ("hh:mm", 60)):
        time_us = convert(tmp_path, "\n".join([f"{head},Current (A)", *rows]) + "\n").time_us
        assert set(np.diff(time_us)) == {spacing_s * 1_000_000}, head
    assert "--times" in convert(tmp_path, "\n".join(["Time,Current (A)", *rows]) + "\n").error


def test_hours_and_minutes_in_digits_beside_a_date_are_no_seconds(tmp_path):
    rows = [f"20260613,{datetime(2026, 6, 13, 9, 30) + timedelta(minutes=k):%H%M},{k % 7}.5" for k in range(90)]
    assert "bare digits" in convert(tmp_path, "\n".join(["Date,Time,Current (A)", *rows]) + "\n").error


@pytest.mark.parametrize(("begin", "hours"), [(datetime(2025, 11, 5, 22, 0), 60), (datetime(2025, 6, 11, 23, 0), 700)])
@pytest.mark.parametrize("backwards", [False, True])
def test_the_day_ahead_of_the_month_shows_where_days_seem_months(tmp_path, begin, hours, backwards):
    moments = [begin + timedelta(minutes=10 * k) for k in range(hours * 6)]
    rows = [f"{t:%Y-%d-%m %H:%M:%S},{k % 7}.5" for k, t in enumerate(moments)]
    text = "\n".join(["Time,Current (A)", *(rows[::-1] if backwards else rows)]) + "\n"
    assert "--dates y-d-m" in convert(tmp_path, text).error or max(t.day for t in moments) > 12
    time_us = convert(tmp_path, text, options=("--zone", "UTC", "--dates", "y-d-m")).time_us
    assert time_us.tolist() == [(t - datetime(1970, 1, 1)) // timedelta(microseconds=1) for t in moments]
    assert len(time_us) == len(moments)


def test_a_day_ahead_of_the_month_behind_the_sample_is_named(tmp_path):
    begin = datetime(2025, 6, 12, 0, 0)
    moments = [begin + timedelta(seconds=10 * k) for k in range(9000)]
    text = "\n".join(["Time,Current (A)", *(f"{t:%Y-%d-%m %H:%M:%S},{k % 7}.5" for k, t in enumerate(moments))])
    assert "--dates y-d-m" in convert(tmp_path, text + "\n").error


def test_a_pause_of_a_month_is_one(tmp_path):
    rows = [f"2025-{month:02d}-06 {hour:02d}:00:00,{hour}.5" for month in (5, 6, 7) for hour in range(10, 20)]
    done = convert(tmp_path, "\n".join(["Time,Current (A)", *rows]) + "\n")
    assert len(done.time_us) == 30
