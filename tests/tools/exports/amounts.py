"""Styles of amounts: marks and groups of digits, signs before and behind, units and their places, words for missing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from .readings import Floats, Readings, Rng, readings, trapezoid
from .sheet import Column, Export, Sheet, Want, amps, comma, export, iso, named, pick, point, style, volts

Write = Callable[[float], str]


def _grouped(mark: str, digits: int = 1, decimal: str = ".") -> Write:
    def write(x: float) -> str:
        text = f"{x:,.{digits}f}".replace(".", "d").replace(",", mark)
        return text.replace("d", decimal)

    return write


def _minus(form: str) -> Write:
    """Write what is below zero in a form of its own; ``{}`` is the amount without a sign."""
    return lambda x: form.format(point(-x)) if x < 0 else point(x)


def _indian(x: float) -> str:
    text = f"{abs(x):.0f}"
    head, tail = text[:-3], text[-3:]
    while len(head) > 2:
        head, tail = head[:-2], f"{head[-2:]},{tail}"
    return ("-" if x < 0 else "") + (f"{head},{tail}" if head else tail)


@dataclass(frozen=True)
class Written:
    """How amps are written: the name of their column, by what they are multiplied, and the hand."""

    name: str
    times: float
    write: Write
    delimiter: str = ","
    volts: Write | None = point
    answers: dict[str, str] = field(default_factory=dict)
    want: Want = "right"
    encoding: str = "utf-8"


COMMA, POINT = {"--decimal": "comma"}, {"--decimal": "point"}
WRITTEN = {
    "comma_and_semicolon": Written("Strom (A)", 1, comma, ";", comma),
    "comma_quoted": Written("Current (A)", 1, comma, ",", comma),
    "comma_three_digits": Written("Strom (A)", 1, lambda x: comma(x, 3), ";", comma, COMMA),
    "comma_three_digits_alone": Written("Strom (A)", 1, lambda x: comma(x, 3), ";", None, COMMA),
    "point_three_digits": Written("Current (A)", 1, lambda x: point(x, 3)),
    "point_three_digits_semicolon": Written("Strom (A)", 1, lambda x: point(x, 3), ";", lambda x: point(x, 3), POINT),
    "groups_of_points": Written("Strom (mA)", 1000, _grouped(".", 1, ","), ";", comma, COMMA),
    "groups_of_points_whole": Written("Strom (mA)", 1000, _grouped(".", 0), ";", comma, COMMA),
    "groups_of_points_whole_alone": Written("Strom (mA)", 1000, _grouped(".", 0), ";", None, COMMA),
    "groups_of_commas": Written("Current (mA)", 1000, _grouped(",", 1), ",", point, POINT),
    "groups_of_commas_whole": Written("Current (mA)", 1000, _grouped(",", 0), ",", point, POINT),
    "groups_of_commas_whole_alone": Written("Current (mA)", 1000, _grouped(",", 0), ",", None, POINT),
    "groups_of_apostrophes": Written("Strom (mA)", 1000, _grouped("'", 1), ";"),
    "groups_of_curly_apostrophes": Written("Strom [mA]", 1000, _grouped("’", 0), ";"),
    "groups_of_blanks": Written("Courant (mA)", 1000, _grouped(" ", 1, ","), ";", comma),
    "groups_of_narrow_blanks": Written("Courant (mA)", 1000, _grouped("\u202f", 0), ";", comma),
    "groups_of_hard_blanks_latin1": Written(
        "Intensité (mA)", 1000, _grouped("\u00a0", 1, ","), ";", comma, encoding="cp1252"
    ),
    "groups_of_two": Written("Current (mA)", 1000, _indian, ",", point, POINT, "either"),
    "minus_of_print": Written("Current (A)", 1, _minus("\u2212{}")),
    "minus_as_en_dash": Written("Current (A)", 1, _minus("–{}")),
    "minus_as_em_dash": Written("Current (A)", 1, _minus("—{}"), want="either"),
    "minus_full_width": Written("Current (A)", 1, _minus("－{}"), want="either"),
    "minus_behind": Written("Current (A)", 1, _minus("{}-")),
    "minus_in_brackets": Written("Current (A)", 1, _minus("({})")),
    "minus_apart": Written("Current (A)", 1, _minus("- {}")),
    "minus_with_comma": Written("Strom (A)", 1, lambda x: _minus("- {}")(x).replace(".", ","), ";", comma),
    "minus_as_letter": Written("Current (A)", 1, _minus("{} CR"), want="either"),
    "plus_before": Written("Current (A)", 1, lambda x: f"{x:+.2f}"),
    "scientific": Written("Current (A)", 1, lambda x: f"{x:.4e}"),
    "scientific_capital_comma": Written("Strom (A)", 1, lambda x: f"{x:.4E}".replace(".", ","), ";", comma),
    "scientific_bare_power": Written("Current (A)", 1, lambda x: f"{x:.4e}".replace("e", " x10^"), want="either"),
    "fortran_power": Written("Current (A)", 1, lambda x: f"{x:.4E}".replace("E", "D"), want="either"),
    "leading_zeros": Written("Current (A)", 1, lambda x: f"{x:08.2f}"),
    "no_leading_zero": Written("Current (A)", 1, lambda x: point(x).replace("0.", ".", int(abs(x) < 1))),
    "padded": Written("Current (A)", 1, lambda x: f"{x:>10.2f}  "),
    "apostrophe_before": Written("Current (A)", 1, lambda x: f"'{x:.2f}"),
    "hexadecimal": Written("Current (mA)", 1000, lambda x: f"0x{round(x) & 0xFFFFFFFF:08X}", want="refuse", volts=None),
    "hexadecimal_bare": Written(
        "Current (mA)", 1000, lambda x: f"{round(x) & 0xFFFFFF:06X}", want="refuse", volts=None
    ),
    "full_width_digits": Written(
        "電流(A)", 1, lambda x: "".join(chr(ord(c) + 0xFEE0) for c in point(x)), want="either"
    ),
    "unit_in_cell": Written("Current", 1, lambda x: f"{x:.2f} A", volts=lambda x: f"{x:.2f} V"),
    "unit_in_cell_no_blank": Written("Current", 1, lambda x: f"{x:.2f}A", volts=lambda x: f"{x:.2f}V"),
    "unit_in_cell_comma": Written("Strom", 1, lambda x: comma(x) + " A", ";", lambda x: comma(x) + " V"),
    "unit_in_cell_milli": Written("Current", 1000, lambda x: f"{x:.0f}mA", volts=lambda x: f"{x * 1000:.0f}mV"),
    "unit_of_each_cell": Written(
        "Current",
        1,
        lambda x: f"{x * 1000:.0f} mA" if abs(x) < 1.5 else f"{x:.3f} A",
        volts=lambda x: f"{x:.2f} V",
        want="either",
    ),
    "unit_behind_bar": Written("Current / mA", 1000, lambda x: f"{x:.0f}"),
    "unit_behind_bar_without_blanks": Written("Current/mA", 1000, lambda x: f"{x:.0f}"),
    "unit_behind_bar_german": Written("Strom/mA", 1000, lambda x: f"{x:.0f}", ";", comma),
    "unit_behind_underscore": Written("battery_current_ma", 1000, lambda x: f"{x:.0f}"),
    "unit_behind_comma": Written("Current, A", 1, point),
    "unit_with_in": Written("Strom in mA", 1000, lambda x: f"{x:.0f}", ";"),
    "unit_in_square_brackets": Written("I_batt [A]", 1, point),
    "unit_in_words": Written("Current (milliamperes)", 1000, lambda x: f"{x:.0f}"),
    "unit_micro": Written("Current (µA)", 1e6, lambda x: f"{x:.0f}", encoding="cp1252"),
    "unit_micro_greek": Written("Current (μA)", 1e6, lambda x: f"{x:.0f}"),
    "unit_kilo": Written("Current (kA)", 1e-3, lambda x: point(x, 5)),
    "unit_tenths": Written("Current (0.1 A)", 10, lambda x: point(x, 1), want="either"),
    "unit_hundredths": Written("Current x100 (A)", 100, lambda x: point(x, 0), want="either"),
    "unit_case_lost": Written("CURRENT MA", 1000, lambda x: f"{x:.0f}", want="either"),
    "unit_unsaid_milli": Written("Current", 1000, lambda x: f"{x:.0f}", want="either"),
    "name_spanish": Written("Corriente (A)", 1, comma, ";", comma, want="either"),
    "name_dutch": Written("Stroom (A)", 1, comma, ";", comma, want="either"),
    "name_french": Written("Courant batterie (A)", 1, comma, ";", comma),
    "name_german": Written("Batteriestrom [A]", 1, comma, ";", comma),
    "name_letter": Written("I [A]", 1, point),
    "name_unit_alone": Written("A", 1, point),
    "name_shouted": Written("BATT CURRENT (A)", 1, point),
}


def _written(how: Written) -> Callable[[Rng], Export]:
    def write(rng: Rng) -> Export:
        log = readings(rng)
        cells = [how.write(x) for x in np.round(log.amps * how.times, 6)]
        columns: list[Column] = [("Time", iso(log)), (how.name, cells)]
        if how.volts is not None:
            # volts say their unit where their amps do
            name = "Voltage" if how.name in ("Current", "Strom") else "Voltage (V)"
            columns.append((name, [how.volts(x) for x in log.volts]))
        sheet = Sheet(columns, how.delimiter, encoding=how.encoding)
        return export(log, sheet, answers=how.answers, want=how.want)

    return write


for _name, _how in WRITTEN.items():
    named(_name, _written(_how))


#: Watts alone: what is drawn is then an energy.
WATTS: dict[str, tuple[str, float, Write, str]] = {
    "watts_alone": ("Power (W)", 1, lambda x: f"{x:.0f}", ","),
    "watts_alone_kilo": ("Leistung [kW]", 1e-3, lambda x: comma(x, 3), ";"),
    "watts_alone_grouped": ("Leistung (W)", 1, _grouped(".", 0), ";"),
    "watts_alone_french": ("Puissance (W)", 1, lambda x: comma(x, 1), ";"),
}


def _watts(name: str, times: float, write: Write, delimiter: str) -> Callable[[Rng], Export]:
    def made(rng: Rng) -> Export:
        log = readings(rng)
        watts: Floats = log.watts
        truth = trapezoid(log.t_s, watts, unit="Wh")
        sheet = Sheet([("Time", iso(log)), (name, [write(x * times) for x in watts])], delimiter)
        return export(log, sheet, truth=truth, answers=COMMA)

    return made


for _name, _how_W in WATTS.items():
    named(_name, _watts(*_how_W))

#: What stands where nothing was read.
MISSING = {
    "missing_empty": ("",),
    "missing_usual": ("NaN", "null", "N/A", "-"),
    "missing_german": ("k.A.", "n.v.", "fehlt", "---"),
    "missing_french": ("n.d.", "s.o.", "manquant"),
    "missing_overflow": ("OL", "OVL", "----", "####"),
    "missing_sheet": ("#N/A", "#DIV/0!", "#VALUE!", "#NV"),
    "missing_words": ("no data", "error", "ERR", "invalid", "offline"),
    "missing_number": ("-999", "9999", "-9999.0", "-32768"),
    "missing_marks": ("?", "*", "x", "..", "~"),
}


def _missing(words: tuple[str, ...]) -> Callable[[Rng], Export]:
    def made(rng: Rng) -> Export:
        log = readings(rng)
        lost = rng.random(len(log)) < 0.025
        log = replace(log, amps=np.where(lost, np.nan, log.amps))
        word = pick(rng, *words)
        cells = [word if np.isnan(x) else point(x) for x in log.amps]
        # where the number itself says that there is none, only a person can know it
        want: Want = "either" if word.lstrip("-").replace(".", "").isdigit() else "right"
        return export(log, Sheet([("Time", iso(log)), ("Current (A)", cells), volts(log)]), want=want)

    return made


for _name, _words in MISSING.items():
    named(_name, _missing(_words))


def _late(log: Readings) -> Readings:
    """Return readings that stay small for long, and have their pump late."""
    quiet = np.where(np.arange(len(log)) < 0.7 * len(log), np.clip(log.amps, 0.1, 0.98), log.amps)
    return replace(log, amps=np.round(quiet, 2))


@style
def groups_that_come_late(rng: Rng) -> Export:
    """Thousands only in the last third, beyond what a first look sees."""
    log = _late(readings(rng, rows=1500))
    cells = [_grouped(".", 0)(x * 1000) for x in log.amps]
    sheet = Sheet([("Zeit", iso(log)), ("Strom (mA)", cells)], ";")
    return export(log, sheet, answers=COMMA, want="either")


@style
def minus_that_comes_late(rng: Rng) -> Export:
    """Charging begins late, with a dash that is no hyphen."""
    log = readings(rng, rows=900)
    late = np.where(np.arange(900) < 700, np.abs(log.amps), -np.abs(log.amps))
    log = replace(log, amps=late)
    return export(log, Sheet([("Time", iso(log)), amps(log, write=_minus("–{}")), volts(log)]))


@style
def unit_in_a_column(rng: Rng) -> Export:
    """The unit of each row beside it, as a meter that finds its range has it."""
    log = readings(rng)
    small = np.abs(log.amps) < 2
    cells = [point(x * 1000, 0) if s else point(x) for x, s in zip(log.amps, small, strict=True)]
    units = ["mA" if s else "A" for s in small]
    return export(log, Sheet([("Time", iso(log)), ("Current", cells), ("Unit", units), volts(log)]))


@style
def unit_in_a_row(rng: Rng) -> Export:
    """Names in one row, their units in the next."""
    log = readings(rng)
    columns: list[Column] = [
        ("Time", ["", *iso(log)]),
        ("Current", ["mA", *[point(x * 1000, 0) for x in log.amps]]),
        ("Voltage", ["V", *[point(x) for x in log.volts]]),
    ]
    return export(log, Sheet(columns))


@style
def unit_column_first(rng: Rng) -> Export:
    """One unit for all rows, in a column before the amount; the name says none."""
    log = readings(rng)
    columns: list[Column] = [
        ("Time", iso(log)), ("Unit", ["mA"] * len(log)), ("Reading", [point(x * 1000, 0) for x in log.amps]),
    ]  # fmt: skip
    return export(log, Sheet(columns), want="either")
