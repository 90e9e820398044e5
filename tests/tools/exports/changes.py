"""Styles that change on the way: heads again with another order or unit, clocks set, files joined, pauses, changes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .readings import Readings, Rng, moment, of_amps, readings, rectangles, trapezoid
from .sheet import Column, Export, Sheet, Want, amps, export, iso, pick, plain, point, style, volts

ROWS = 360


def _halves(rng: Rng) -> tuple[Readings, Readings, Readings]:
    """Return readings, and the two parts of them on either side of a cut."""
    log = readings(rng, rows=ROWS)
    cut = int(rng.integers(120, 300))
    return log, log[slice(0, cut)], log[slice(cut, None)]


def _joined(log: Readings, first: Sheet, second: Sheet, want: Want) -> Export:
    return Export(first.content() + second.content(), log.truth, ("--zone", log.zone), want=want)


@style
def head_again_in_milliamps(rng: Rng) -> Export:
    """Amps, and from a second header on thousandths of them."""
    log, a, b = _halves(rng)
    milli = amps(b, "Current (mA)", lambda x: point(x * 1000, 0))
    return _joined(log, plain(a), Sheet([("Time", iso(b)), milli, volts(b)]), "right")


@style
def head_again_in_another_order(rng: Rng) -> Export:
    """Volts before amps from a second header on."""
    log, a, b = _halves(rng)
    return _joined(log, plain(a), Sheet([("Time", iso(b)), volts(b), amps(b)]), "right")


@style
def head_again_with_a_column_more(rng: Rng) -> Export:
    """A thermometer was added."""
    log, a, b = _halves(rng)
    heat = "Temp (degC)", ["21.5"] * len(b)
    return _joined(log, plain(a), Sheet([("Time", iso(b)), heat, amps(b), volts(b)]), "right")


@style
def head_again_by_another_hand(rng: Rng) -> Export:
    """Another logger's block, with other delimiters, names and clocks."""
    log, a, b = _halves(rng)
    stamps = "Zeit", [f"{t:%d.%m.%Y %H:%M:%S}" for t in b.local]
    other = Sheet([stamps, amps(b, "Strom (A)"), volts(b, "Spannung (V)")], ";")
    return _joined(log, plain(a), other, "either")


@style
def head_again_of_something_else(rng: Rng) -> Export:
    """A second table behind the first, of temperatures: no amps of it are to be had."""
    log = readings(rng)
    other = Sheet([("Time", iso(log)), ("Inside (degC)", ["20.5"] * len(log)), ("Outside (degC)", ["9.5"] * len(log))])
    return _joined(log, plain(log), other, "either")


@style
def rows_before_a_head(rng: Rng) -> Export:
    """The head stands behind the first two hundred rows."""
    log = readings(rng, rows=ROWS)
    lines = plain(log).lines()
    cut = int(rng.integers(60, 240))
    content = plain(log).content([*lines[1:cut], lines[0], *lines[cut:]])
    return Export(content, log.truth, ("--zone", log.zone), want="either")


@style
def rows_before_another_head(rng: Rng) -> Export:
    """A first part without a head, and the second with a column more."""
    log, a, b = _halves(rng)
    heat = "Temp (degC)", ["21.5"] * len(b)
    first = plain(a)
    content = first.content(first.lines()[1:]) + Sheet([("Time", iso(b)), amps(b), volts(b), heat]).content()
    return Export(content, log.truth, ("--zone", log.zone), want="either")


@style
def columns_change_without_a_head(rng: Rng) -> Export:
    """From one row on volts stand where amps stood, and nothing says so."""
    log, a, b = _halves(rng)
    other = Sheet([("Time", iso(b)), volts(b), amps(b)])
    content = plain(a).content() + other.content(other.lines()[1:])
    return Export(content, log.truth, ("--zone", log.zone), want="either")


@style
def unit_changes_without_a_head(rng: Rng) -> Export:
    """From one row on both amps and volts are thousandths, and nothing says so."""
    log, a, b = _halves(rng)
    milli = replace(b, amps=b.amps * 1000, volts=b.volts * 1000)
    other = Sheet(
        [("Time", iso(b)), amps(milli, write=lambda x: point(x, 0)), volts(milli, write=lambda x: point(x, 0))]
    )
    content = plain(a).content() + other.content(other.lines()[1:])
    return Export(content, log.truth, ("--zone", log.zone), want="either")


def _two_sessions(rng: Rng, first_year: str, *, back_first: bool) -> Export:
    """One part has the clock of a power-up, the other the right one; both were measured."""
    log, a, b = _halves(rng)
    lost, kept = (a, b) if back_first else (b, a)
    wrong = replace(lost, t_s=lost.t_s - lost.t_s[0] + _epoch(first_year), zone="UTC")
    kept = replace(kept, zone="UTC")
    parts = (wrong, kept) if back_first else (kept, wrong)
    stamps = [stamp for part in parts for stamp in iso(part)]
    amounts: list[Column] = [amps(log), volts(log)]
    truth = a.truth + b.truth
    return export(log, Sheet([("Time", stamps), *amounts]), truth=truth, options=("--zone", "UTC"), want="either")


def _epoch(year: str) -> float:
    return float(np.datetime64(f"{year}-01-01T00:00:00").astype("datetime64[s]").astype(np.int64))


@style
def clock_of_power_up_first(rng: Rng) -> Export:
    """The clock was set only after a while."""
    return _two_sessions(rng, pick(rng, "2000", "1970", "2010"), back_first=True)


@style
def clock_of_power_up_later(rng: Rng) -> Export:
    """The clock's cell is flat: after a power cut it begins in another century."""
    return _two_sessions(rng, pick(rng, "2000", "1970", "2010"), back_first=False)


@style
def clock_of_power_up_thrice(rng: Rng) -> Export:
    """Three short runs that all begin at the same moment."""
    log = readings(rng, rows=ROWS, step_s=float(rng.choice([1, 5, 10])), zone="UTC")
    parts = [log[part] for part in np.split(np.arange(ROWS), [90, 200])]
    stamps = [s for p in parts for s in iso(replace(p, t_s=p.t_s - p.t_s[0] + _epoch("2000")))]
    truth = parts[0].truth + parts[1].truth + parts[2].truth
    return export(log, Sheet([("Time", stamps), amps(log), volts(log)]), truth=truth, want="either")


@style
def clock_set_back(rng: Rng) -> Export:
    """Somebody set the clock back a little; nothing was measured twice, and the log goes on for longer than that."""
    log, a, b = _halves(rng)
    return _set(log, a, b, -int(rng.integers(5, 50)))


@style
def clock_set_back_near_the_end(rng: Rng) -> Export:
    """The same, so late that all that follows has stamps of rows that were there before."""
    log = readings(rng, rows=ROWS)
    cut = int(rng.integers(ROWS - 60, ROWS - 20))
    return _set(log, log[slice(0, cut)], log[slice(cut, None)], -int(rng.integers(80, 200)))


@style
def clock_set_on(rng: Rng) -> Export:
    """Somebody set the clock on: what looks like a pause was none, and is left out or not."""
    log, a, b = _halves(rng)
    return _set(log, a, b, int(rng.integers(1000, 4000)))


def _set(log: Readings, a: Readings, b: Readings, by_steps: int) -> Export:
    """Return readings whose second part has a clock that was set by so many spacings."""
    step_s = float(log.t_s[1] - log.t_s[0])
    stamps = iso(a) + iso(replace(b, t_s=b.t_s + by_steps * step_s))
    sheet = Sheet([("Time", stamps), amps(log), volts(log)])
    return export(
        log,
        sheet,
        truth=a.truth + b.truth,
        want="either" if by_steps < 0 else "right",
        also_right=(log.truth,),
    )


@style
def one_stamp_astray(rng: Rng) -> Export:
    """A single row says another century."""
    log = readings(rng)
    stamps = iso(log)
    at = int(rng.integers(10, len(log) - 10))
    stamps[at] = pick(rng, "2165-25-45 45:85:85", "2000-00-00 00:00:00", "1970-01-01 00:00:00", "2099-12-31 23:59:59")
    without = log[np.delete(np.arange(len(log)), at)]
    return Export(
        Sheet([("Time", stamps), amps(log), volts(log)]).content(),
        log.truth,
        ("--zone", log.zone),
        want="either",
        also_right=(without.truth, trapezoid(without.t_s, without.amps, limit_s=1e-9 + float(np.diff(log.t_s).min()))),
    )


@style
def the_whole_twice(rng: Rng) -> Export:
    """The file was put behind itself."""
    log = readings(rng)
    return _joined(log, plain(log), plain(log), "right")


@style
def days_that_overlap(rng: Rng) -> Export:
    """The second file begins before the first one ends, with the same readings."""
    log = readings(rng, rows=ROWS)
    return _joined(log, plain(log[slice(0, 220)]), plain(log[slice(180, None)]), "right")


@style
def blocks_in_another_order(rng: Rng) -> Export:
    """Three parts, the last one first."""
    log = readings(rng, rows=ROWS)
    lines = plain(log).lines()
    order = [lines[0], *lines[241:], *lines[121:241], *lines[1:121]]
    return Export(plain(log).content(order), log.truth, ("--zone", log.zone))


@style
def files_with_a_night_between(rng: Rng) -> Export:
    """Two days one behind the other, nothing in the night."""
    log, a, b = _halves(rng)
    later = replace(b, t_s=b.t_s + 9 * 3600)
    both = replace(log, t_s=np.concatenate([a.t_s, later.t_s]))
    return _joined(both, plain(a), plain(later), "right")


@style
def pauses(rng: Rng) -> Export:
    """The logger was off now and then."""
    log = readings(rng, rows=ROWS, step_s=10)
    off_s = np.zeros(ROWS)
    off_s[rng.choice(np.arange(20, ROWS - 20), 3, replace=False)] = rng.uniform(600, 9000, 3).round()
    log = replace(log, t_s=log.t_s + np.cumsum(off_s))
    return export(log, plain(log))


@style
def spacings_uneven(rng: Rng) -> Export:
    """Every reading comes a little early or late."""
    log = readings(rng, rows=ROWS, step_s=10)
    log = replace(log, t_s=log.t_s + rng.integers(0, 5, ROWS))
    return export(log, plain(log))


@style
def only_changes(rng: Rng) -> Export:
    """A value is written when it changes, and stands until the next; it is said so."""
    spacings_s = rng.integers(1, 240, 200).astype(float)
    levels = np.round(np.where(np.arange(200) % 2 == 0, 0.8, rng.uniform(10, 40, 200)), 1)
    log = of_amps(moment(rng) + np.cumsum(spacings_s), levels, "UTC", rng)
    sheet = Sheet([("Time", iso(log)), amps(log, write=lambda x: point(x, 1))])
    return export(log, sheet, truth=rectangles(log.t_s, log.amps), options=("--zone", "UTC", "--sampling", "held"))


@style
def gap_in_words(rng: Rng) -> Export:
    """Rows that say only that the logger was off."""
    log = readings(rng)
    lines = plain(log).lines()
    lines[100:100] = [f"{iso(log)[99]},,", f"{iso(log)[99]},power off,"]
    return Export(plain(log).content(lines), log.truth, ("--zone", log.zone))
