"""Styles of times that are numbers: epochs, a spreadsheet's days, counts from the start, clocks without a date."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

import numpy as np

from .readings import Readings, Rng, readings
from .sheet import Column, Export, Sheet, Want, amps, export, named, pick, point, style, volts

#: A spreadsheet counts days from here, seen from 1970; and one made on another system. [days]
SHEET_ZERO, SHEET_ZERO_1904 = 25_569.0, 24_107.0


def _with(log: Readings, *times: Column, options: tuple[str, ...] = (), want: Want = "right") -> Export:
    return export(log, Sheet([*times, amps(log), volts(log)]), options=options, want=want)


EPOCHS: dict[str, tuple[str, Callable[[float], str], Want]] = {
    "epoch_seconds": ("unixtime", lambda t: f"{t:.0f}", "right"),
    "epoch_seconds_fraction": ("epoch", lambda t: f"{t:.3f}", "right"),
    "epoch_milliseconds": ("ts", lambda t: f"{t * 1e3:.0f}", "right"),
    "epoch_microseconds": ("time_us", lambda t: f"{t * 1e6:.0f}", "right"),
    "epoch_nanoseconds": ("time", lambda t: f"{round(t)}000000000", "right"),
    "epoch_milliseconds_scientific": ("time", lambda t: f"{t * 1e3:.5E}", "refuse"),
    "epoch_milliseconds_scientific_long": ("time", lambda t: f"{t * 1e3:.12E}", "right"),
    "epoch_seconds_scientific": ("time", lambda t: f"{t:.4E}", "refuse"),
    "epoch_hexadecimal": ("time", lambda t: f"{round(t):08X}", "either"),
}


def _epoch(name: str, write: Callable[[float], str], want: Want) -> Callable[[Rng], Export]:
    def made(rng: Rng) -> Export:
        log = readings(rng, step_s=float(rng.choice([1, 5, 30])))
        return _with(log, (name, [write(t) for t in log.t_s]), want=want)

    return made


for _name, _how in EPOCHS.items():
    named(_name, _epoch(*_how))


def _days(log: Readings, zero: float = SHEET_ZERO) -> list[float]:
    """Return the logger's clock as a spreadsheet's day numbers. [days]"""
    return [t.replace(tzinfo=UTC).timestamp() / 86400 + zero for t in log.local]


def _sheet_days(step_s: float, digits: int, name: str) -> Callable[[Rng], Export]:
    def made(rng: Rng) -> Export:
        log = readings(rng, step_s=step_s)
        return _with(log, (name, [point(d, digits) for d in _days(log)]), options=("--zone", log.zone))

    return made


named("sheet_days_minutes", _sheet_days(60, 8, "Date/Time"))
named("sheet_days_hourly", _sheet_days(3600, 6, "Time"))
named("sheet_days_every_quarter_day", _sheet_days(21600, 4, "Timestamp"))
named("sheet_days_seconds", _sheet_days(1, 10, "Time"))


@style
def sheet_days_1904(rng: Rng) -> Export:
    """The other system's zero: four years off, but the spacings hold."""
    log = readings(rng, step_s=60)
    return _with(log, ("Time", [point(d, 9) for d in _days(log, SHEET_ZERO_1904)]), options=("--zone", log.zone))


@style
def sheet_day_and_fraction(rng: Rng) -> Export:
    """The day in one column, what is gone of it in the next."""
    log = readings(rng, step_s=float(rng.choice([10, 60, 600])))
    whole, fraction = zip(*(divmod(round(d, 8), 1) for d in _days(log)), strict=True)
    columns = ("Date", [f"{d:.0f}" for d in whole]), ("Time", [point(f, 8) for f in fraction])
    return _with(log, *columns, options=("--zone", log.zone))


@style
def sheet_days_with_comma(rng: Rng) -> Export:
    """Day numbers with a decimal comma."""
    log = readings(rng, step_s=60)
    columns: list[Column] = [("Zeit", [point(d, 8) for d in _days(log)]), amps(log), volts(log)]
    with_commas = [(name, [cell.replace(".", ",") for cell in cells]) for name, cells in columns]
    return export(log, Sheet(with_commas, delimiter=";"))


#: A count's name, what one of it is in seconds, digits behind the point, and what is wanted.
ELAPSED: dict[str, tuple[tuple[str, ...], float, int, Want]] = {
    "elapsed_seconds": (("Elapsed (s)", "t [s]", "seconds", "uptime_s", "Zeit [s]", "Temps (s)"), 1.0, 1, "right"),
    "elapsed_milliseconds": (("millis", "Time (ms)", "t_ms", "Zeit (ms)"), 1e-3, 0, "right"),
    "elapsed_microseconds": (("micros", "Time (us)", "t_us", "Time [µs]"), 1e-6, 0, "right"),
    "elapsed_minutes": (("Elapsed (min)", "minutes", "Time [min]", "t_min"), 60.0, 5, "right"),
    "elapsed_hours": (("Elapsed (h)", "hours", "Time [h]", "Stunden"), 3600.0, 6, "right"),
    "elapsed_days": (("Elapsed (d)", "days", "Time [days]", "t_days"), 86400.0, 8, "right"),
    "elapsed_hours_unsaid": (("Elapsed", "Running time", "t"), 3600.0, 6, "either"),
    "elapsed_minutes_unsaid": (("Elapsed", "Time", "Since start"), 60.0, 4, "either"),
    "elapsed_milliseconds_unsaid": (("Elapsed", "t", "Time"), 1e-3, 0, "either"),
    "elapsed_seconds_unsaid": (("Elapsed", "t", "Time"), 1.0, 1, "either"),
    "elapsed_ticks": (("tick", "ticks (10 ms)", "count10ms"), 1e-2, 0, "either"),
}


def _elapsed(names: tuple[str, ...], unit_s: float, digits: int, want: Want) -> Callable[[Rng], Export]:
    def made(rng: Rng) -> Export:
        step_s = float(rng.choice([1, 2, 5, 10, 30, 60]))
        log = readings(rng, step_s=step_s)
        cells = [point((t - log.t_s[0]) / unit_s, digits) for t in log.t_s]
        name = pick(rng, *names)
        return _with(log, (name, cells), want="either" if name in ("count10ms", "Stunden") else want)

    return made


for _name, _count in ELAPSED.items():
    named(_name, _elapsed(*_count))


def _clocked(t_s: float, form: str) -> str:
    h, rest = divmod(round(t_s), 3600)
    return form.format(d=h // 24, hd=h % 24, h=h, m=rest // 60, s=rest % 60, ms=round(t_s * 10) % 10)


#: A count as a clock writes it.
CLOCKS = {
    "elapsed_clock": ("Elapsed", "{h:02d}:{m:02d}:{s:02d}", 60.0),
    "elapsed_clock_beyond_a_day": ("Elapsed", "{h:d}:{m:02d}:{s:02d}", 600.0),
    "elapsed_days_and_clock": ("Run time", "{d}d {hd:02d}:{m:02d}:{s:02d}", 600.0),
    "elapsed_words": ("Elapsed", "{h}h {m:02d}m {s:02d}s", 30.0),
    "elapsed_minutes_and_seconds": ("Elapsed (mm:ss)", "{m:02d}:{s:02d}", 2.0),
}


def _elapsed_clock(name: str, form: str, step_s: float) -> Callable[[Rng], Export]:
    def made(rng: Rng) -> Export:
        log = readings(rng, step_s=step_s)
        cells = [_clocked(t - log.t_s[0], form) for t in log.t_s]
        want: Want = "either" if "m " in form or name == "Elapsed (mm:ss)" else "right"
        return _with(log, (name, cells), want=want)

    return made


for _name, _clock in CLOCKS.items():
    named(_name, _elapsed_clock(*_clock))


@style
def clock_without_a_date(rng: Rng) -> Export:
    """The hands of a clock alone, over midnight."""
    start = datetime(2026, 6, 12, 22, 10, int(rng.integers(60)), tzinfo=UTC)
    log = readings(rng, rows=380, step_s=30, zone="UTC", start=start)
    return _with(log, ("Time", [f"{t:%H:%M:%S}" for t in log.local]))


@style
def minutes_and_seconds_alone(rng: Rng) -> Export:
    """Minutes and seconds that a spreadsheet left of a clock, over several hours."""
    log = readings(rng, rows=400, step_s=20, zone="UTC")
    return _with(log, ("Time", [f"{t:%M:%S}" for t in log.local]), want="either")


@style
def row_number_beside_time(rng: Rng) -> Export:
    """A number of the row before the time, which is none."""
    log = readings(rng)
    numbers = [str(k + 1) for k in range(len(log))]
    return _with(
        log, ("No.", numbers), ("Time", [f"{t:%Y-%m-%d %H:%M:%S}" for t in log.local]), options=("--zone", log.zone)
    )


@style
def row_number_alone(rng: Rng) -> Export:
    """Rows that are numbered and no time: nobody can know how long one lasts."""
    log = readings(rng)
    return _with(log, ("No.", [str(k + 1) for k in range(len(log))]), want="refuse")


@style
def count_begins_anew(rng: Rng) -> Export:
    """The logger was switched off and on: its count begins at nothing, twice."""
    return _anew(rng, "uptime_s", 1.0, want="either")


@style
def milliseconds_begin_anew(rng: Rng) -> Export:
    """The same, in milliseconds from an odd first one."""
    return _anew(rng, "millis", 1e-3, want="either")


def _anew(rng: Rng, name: str, unit_s: float, want: Want) -> Export:
    log = readings(rng, rows=360, step_s=float(rng.choice([1, 5, 10])))
    cuts = np.sort(rng.choice(np.arange(40, 320), 2, replace=False))
    cells, truth = [], None
    for part in np.split(np.arange(len(log)), cuts):
        session = log[part]
        cells += [point((t - session.t_s[0] + 0.1) / unit_s, 0 if unit_s < 1 else 1) for t in session.t_s]
        truth = session.truth if truth is None else truth + session.truth
    return export(log, Sheet([(name, cells), amps(log), volts(log)]), truth=truth, options=(), want=want)


@style
def milliseconds_run_over(rng: Rng) -> Export:
    """A count of 32 bits that runs over after seven weeks and goes on from nothing."""
    log = readings(rng, rows=300, step_s=1)
    first = 2**32 - int(rng.integers(60_000, 240_000))
    cells = [str((first + round((t - log.t_s[0]) * 1000)) % 2**32) for t in log.t_s]
    cut = int(np.argmax(np.diff([int(c) for c in cells]) < 0)) + 1
    parts = log[slice(0, cut)].truth + log[slice(cut, None)].truth
    return Export(Sheet([("millis", cells), amps(log), volts(log)]).content(), log.truth, also_right=(parts,))
