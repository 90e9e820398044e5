"""Styles of dates and clocks: orders, months by name, zones, bare digits, columns of their own, nights of change."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from .readings import Readings, Rng, amps_of, of_amps, readings, trapezoid
from .sheet import Column, Export, Sheet, Want, amps, clock, comma, export, iso, named, plain, point, style, volts

MONTHS = {
    "de": ("Januar", "Februar", "März", "April", "Mai", "Juni", "Juli", "August", "September", "Oktober", "November",
           "Dezember"),
    "de_short": ("Jan.", "Feb.", "März", "Apr.", "Mai", "Juni", "Juli", "Aug.", "Sept.", "Okt.", "Nov.", "Dez."),
    "fr": ("janvier", "février", "mars", "avril", "mai", "juin", "juillet", "août", "septembre", "octobre", "novembre",
           "décembre"),
    "fr_short": ("janv.", "févr.", "mars", "avr.", "mai", "juin", "juil.", "août", "sept.", "oct.", "nov.", "déc."),
}  # fmt: skip
DAY_FIRST, MONTH_FIRST = {"--dates": "d/m/y"}, {"--dates": "m/d/y"}


@dataclass(frozen=True)
class Dated:
    """How a logger writes its clock: patterns of ``strftime``, a column each, and what may be asked of it."""

    columns: dict[str, str]
    answers: dict[str, str] = field(default_factory=dict)
    want: Want = "right"
    european: bool = False


_US = "%m/%d/%Y %I:%M:%S %p"
DATED = {
    "date_blank_clock": Dated({"Logged at": "%Y-%m-%d %H:%M:%S"}),
    "date_t_clock": Dated({"stamp": "%Y-%m-%dT%H:%M:%S"}),
    "date_slashes_year_first": Dated({"Time": "%Y/%m/%d %H:%M:%S"}),
    "date_points_year_first": Dated({"Time": "%Y.%m.%d %H:%M:%S"}),
    "date_points": Dated({"Zeitpunkt": "%d.%m.%Y %H:%M:%S"}, DAY_FIRST, european=True),
    "date_points_short_year": Dated({"Datum/Zeit": "%d.%m.%y %H:%M:%S"}, DAY_FIRST, european=True),
    "date_points_two_columns": Dated({"Datum": "%d.%m.%Y", "Uhrzeit": "%H:%M:%S"}, DAY_FIRST, european=True),
    "date_slashes_day_first": Dated({"Time": "%d/%m/%Y %H:%M:%S"}, DAY_FIRST),
    "date_slashes_day_first_short": Dated({"Time": "%d/%m/%y %H:%M:%S"}, DAY_FIRST),
    "date_slashes_month_first": Dated({"Time": _US}, MONTH_FIRST),
    "date_slashes_month_first_two_columns": Dated({"Date": "%m/%d/%Y", "Time": "%I:%M:%S %p"}, MONTH_FIRST),
    "date_slashes_month_first_dotted_pm": Dated({"Time": "%m/%d/%y %I:%M:%S {p}"}, MONTH_FIRST),
    "date_hyphens_day_first": Dated({"Time": "%d-%m-%Y %H:%M:%S"}, DAY_FIRST),
    "date_year_day_month": Dated({"Time": "%Y-%d-%m %H:%M:%S"}, want="either"),
    "digits_joined": Dated({"Time": "%Y%m%d%H%M%S"}),
    "digits_joined_t": Dated({"Time": "%Y%m%dT%H%M%S"}),
    "digits_two_columns": Dated({"Date": "%Y%m%d", "Clock": "%H%M%S"}),
    "digits_two_columns_underscore": Dated({"log_date": "%Y%m%d", "log_time": "%H%M%S"}, want="either"),
    "digits_six_day_first": Dated({"Date": "%d%m%y", "Time": "%H%M%S"}, DAY_FIRST, "either"),
    "digits_six_year_first": Dated({"Date": "%y%m%d", "Time": "%H%M%S"}, {"--dates": "y-m-d"}, "either"),
    "clock_colon_milliseconds": Dated({"Time": "%Y-%m-%d %H:%M:%S:{ms}"}),
    "clock_point_milliseconds": Dated({"Time": "%Y-%m-%d %H:%M:%S.{ms}"}),
    "clock_comma_milliseconds_quoted": Dated({"Time": "%Y-%m-%d %H:%M:%S,{ms}"}),
    "clock_hyphens": Dated({"Time": "%Y-%m-%d %H-%M-%S"}, want="either"),
    "clock_points": Dated({"Time": "%Y-%m-%d %H.%M.%S"}, want="either"),
    "clock_letters": Dated({"Heure": "%d/%m/%Y %Hh%Mm%Ss"}, DAY_FIRST, "either", european=True),
    "month_name_english": Dated({"Time": "%d-%b-%Y %H:%M:%S"}),
    "month_name_english_long": Dated({"Time": "%B %d, %Y %H:%M:%S"}),
    "month_name_english_day": Dated({"Time": "%A, %d %B %Y %H:%M:%S"}, want="either"),
    "month_name_english_short_year": Dated({"Time": "%d %b %y %I:%M:%S %p"}),
    "ctime": Dated({"Time": "%a %b %d %H:%M:%S %Y"}),
    "ctime_with_zone": Dated({"Time": "%a %b %d %H:%M:%S {zone} %Y"}, want="either"),
    "mail_date": Dated({"Date": "%a, %d %b %Y %H:%M:%S %z"}),
    "offset_colon": Dated({"time": "%Y-%m-%dT%H:%M:%S{offset}"}),
    "offset_after_blank": Dated({"time": "%Y-%m-%d %H:%M:%S %z"}),
    "zone_word": Dated({"time": "%Y-%m-%d %H:%M:%S {zone}"}, want="either"),
    "japanese": Dated({"日時": "%Y年%m月%d日 %H時%M分%S秒"}),
    "japanese_slashes": Dated({"日付": "%Y/%m/%d", "時刻": "%H:%M:%S"}),
    "three_of_a_clock": Dated({"Date": "%Y-%m-%d", "Hour": "%H", "Minute": "%M", "Second": "%S"}, want="either"),
    "six_parts": Dated(
        {"Year": "%Y", "Month": "%m", "Day": "%d", "Hour": "%H", "Minute": "%M", "Second": "%S"}, want="either"
    ),
    "day_of_year": Dated({"Time": "%Y-%j %H:%M:%S"}, want="either"),
    "week_date": Dated({"Time": "%G-W%V-%u %H:%M:%S"}, want="either"),
    "apostrophe_before_date": Dated({"Time": "'%Y-%m-%d %H:%M:%S"}),
    "clock_before_date": Dated({"Time": "%H:%M:%S %d/%m/%Y"}, DAY_FIRST, "either"),
    "clock_column_before_date": Dated({"Time": "%H:%M:%S", "Date": "%Y-%m-%d"}),
}


def _pattern(log: Readings, form: str) -> list[str]:
    """Write the clock, and what ``strftime`` cannot: milliseconds, an offset with a colon, an abbreviation."""
    texts = []
    for t in log.local:
        offset = f"{t:%z}"
        own = {
            "ms": f"{t.microsecond // 1000:03d}",
            "offset": f"{offset[:3]}:{offset[3:]}",
            "zone": t.tzname() or "UTC",
            "p": "p.m." if t.hour >= 12 else "a.m.",
        }
        texts.append(t.strftime(form.format(**own)))
    return texts


def _dated(how: Dated) -> Callable[[Rng], Export]:
    def write(rng: Rng) -> Export:
        log = readings(rng)
        if any("{ms}" in form for form in how.columns.values()):
            log = readings(rng, step_s=0.25)
        stamps: list[Column] = [(name, _pattern(log, form)) for name, form in how.columns.items()]
        sheet = Sheet([*stamps, amps(log), volts(log)])
        if how.european:
            sheet = Sheet([*stamps, amps(log, write=comma), volts(log, write=comma)], delimiter=";")
        zoned = any(mark in form for form in how.columns.values() for mark in ("%z", "{offset}"))
        return export(log, sheet, answers=how.answers, want=how.want, options=() if zoned else ("--zone", log.zone))

    return write


for _name, _how in DATED.items():
    named(_name, _dated(_how))


def _months(language: str) -> Callable[[Rng], Export]:
    def write(rng: Rng) -> Export:
        month = int(rng.choice([1, 2, 5, 6, 7, 8, 12]))
        log = readings(rng, start=datetime(2024, month, int(rng.integers(1, 25)), 9, tzinfo=UTC))
        day = "{t.day}. " if language.startswith("de") else "{t.day} "
        stamps = [day.format(t=t) + f"{MONTHS[language][t.month - 1]} {t.year} {t:%H:%M:%S}" for t in log.local]
        sheet = Sheet([("Date", stamps), amps(log, write=comma), volts(log, write=comma)], delimiter=";")
        return export(log, sheet, want="either" if language.endswith("short") else "right")

    return write


for _language in MONTHS:
    named(f"month_name_{_language}", _months(_language))


@style
def twelve_hours_without_a_mark(rng: Rng) -> Export:
    """The morning's nine and the evening's nine look alike; only their order tells."""
    start = datetime(2025, 6, int(rng.integers(1, 27)), 9, 30, tzinfo=UTC)
    log = readings(rng, rows=400, step_s=60, zone="UTC", start=start)
    return export(log, Sheet([("Time", clock(log, "%Y-%m-%d %I:%M:%S")), amps(log), volts(log)]), want="either")


@style
def minutes_alone_uneven(rng: Rng) -> Export:
    """Several rows a minute, now more and now fewer: where in it they were taken, nobody knows."""
    log = readings(rng, rows=300, step_s=20)
    keep = np.sort(rng.choice(300, 240, replace=False))
    log = log[keep]
    return export(log, Sheet([("Time", clock(log, "%Y-%m-%d %H:%M")), amps(log), volts(log)]), want="either")


@style
def several_rows_a_second(rng: Rng) -> Export:
    """Four rows with one stamp; the first second begins on the second."""
    log = readings(rng, rows=4 * int(rng.integers(60, 120)), step_s=0.25)
    return export(log, plain(log))


@style
def milliseconds_in_a_third_column(rng: Rng) -> Export:
    """Date, clock and what is left of the second."""
    log = readings(rng, step_s=0.2)
    ms = [str(t.microsecond // 1000) for t in log.local]
    columns = [("Date", clock(log, "%Y-%m-%d")), ("Time", clock(log, "%H:%M:%S")), ("ms", ms)]
    return export(log, Sheet([*columns, amps(log), volts(log)]), want="either")


@style
def local_and_utc(rng: Rng) -> Export:
    """Two clocks that agree."""
    log = readings(rng)
    utc = [t.astimezone(UTC).strftime("%Y-%m-%d %H:%M:%S") for t in log.local]
    return export(log, Sheet([("Time (local)", iso(log)), ("Time (UTC)", utc), amps(log), volts(log)]))


@style
def date_and_elapsed(rng: Rng) -> Export:
    """A clock and a count that agree."""
    log = readings(rng)
    elapsed = [point(t - log.t_s[0], 1) for t in log.t_s]
    return export(log, Sheet([("Time", iso(log)), ("Elapsed (s)", elapsed), amps(log), volts(log)]))


@style
def date_and_elapsed_at_odds(rng: Rng) -> Export:
    """The clock stood still for whole minutes, the count did not: one of both is wrong."""
    log = readings(rng, step_s=10)
    stands = [f"{t:%Y-%m-%d} 08:00:00" for t in log.local]
    elapsed = [point(t - log.t_s[0], 0) for t in log.t_s]
    return export(
        log, Sheet([("Time", stands), ("Elapsed (s)", elapsed), amps(log), volts(log)]), want="either", options=()
    )


@style
def night_of_autumn(rng: Rng) -> Export:
    """The hour from two to three comes twice, without a word of it."""
    start = datetime(2025, 10, 25, 22, 20, int(rng.integers(0, 30)), tzinfo=UTC)
    log = readings(rng, rows=420, step_s=30, zone="Europe/Berlin", start=start)
    return export(log, plain(log))


@style
def night_of_spring(rng: Rng) -> Export:
    """An hour of the clock is not there."""
    start = datetime(2026, 3, 28, 23, 40, int(rng.integers(0, 30)), tzinfo=UTC)
    log = readings(rng, rows=400, step_s=30, zone="Europe/Paris", start=start)
    return export(log, plain(log))


@style
def night_of_autumn_with_offsets(rng: Rng) -> Export:
    """The same night, where each stamp says its offset."""
    start = datetime(2025, 11, 2, 4, 20, tzinfo=UTC)
    log = readings(rng, rows=420, step_s=30, zone="America/New_York", start=start)
    return export(log, Sheet([("time", [t.isoformat() for t in log.local]), amps(log), volts(log)]), options=())


@style
def midnight_as_24(rng: Rng) -> Export:
    """Midnight is the end of a day to this one."""
    start = datetime(2026, 6, 12, 20, 0, tzinfo=UTC)
    log = readings(rng, rows=300, step_s=60, zone="UTC", start=start)
    stamps = [
        f"{t - timedelta(days=1):%Y-%m-%d} 24:00:00" if (t.hour, t.minute) == (0, 0) else f"{t:%Y-%m-%d %H:%M:%S}"
        for t in log.local
    ]
    return export(log, Sheet([("Time", stamps), amps(log), volts(log)]))


@style
def date_that_stands_still(rng: Rng) -> Export:
    """A date that is written once a day, and the clock on every row."""
    log = readings(rng, step_s=5, zone="UTC", start=datetime(2026, 6, 12, 9, 0, tzinfo=UTC))
    dates = [f"{t:%Y-%m-%d}" if k == 0 else "" for k, t in enumerate(log.local)]
    return export(log, Sheet([("Date", dates), ("Time", clock(log, "%H:%M:%S")), amps(log), volts(log)]), want="either")


@style
def start_and_end(rng: Rng) -> Export:
    """Each row is a stretch with a beginning and an end, and what was usual in it."""
    log = readings(rng, step_s=30)
    end = [f"{t + timedelta(seconds=30):%Y-%m-%d %H:%M:%S}" for t in log.local]
    also = trapezoid(log.t_s, log.amps)
    return export(log, Sheet([("Start", iso(log)), ("End", end), amps(log), volts(log)]), truth=also, want="either")


@style
def zone_in_a_column(rng: Rng) -> Export:
    """The offset stands in a column of its own, and changes in the night."""
    start = datetime(2025, 10, 25, 22, 20, tzinfo=UTC)
    t_s = start.timestamp() + np.arange(400) * 30.0
    log = of_amps(t_s, amps_of(rng, 400), "Europe/Berlin", rng)
    offsets = [f"{t.astimezone(ZoneInfo('Europe/Berlin')):%z}" for t in log.local]
    return export(log, Sheet([("Time", iso(log)), ("Offset", offsets), amps(log), volts(log)]), want="either")
