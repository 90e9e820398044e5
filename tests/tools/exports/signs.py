"""Styles of directions: two columns, words in many languages, signs of their own, meters that count charging up."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from .readings import Readings, Rng, readings
from .sheet import Column, Export, Sheet, Want, amps, comma, export, iso, named, pick, point, style, volts

#: Names of the columns into the bank and out of it, and what is wanted.
TWO_COLUMNS: dict[str, tuple[str, str, str, Want]] = {
    "columns_charge_discharge": ("Charge (A)", "Discharge (A)", ",", "right"),
    "columns_charging_discharging_amps": ("Charging Amps", "Discharging Amps", ",", "right"),
    "columns_current_in_out": ("Current In (A)", "Current Out (A)", ",", "right"),
    "columns_a_in_out": ("A_in", "A_out", ",", "right"),
    "columns_german": ("Ladestrom (A)", "Entladestrom (A)", ";", "right"),
    "columns_german_words": ("Strom Laden [A]", "Strom Entladen [A]", ";", "right"),
    "columns_french": ("Courant de charge (A)", "Courant de décharge (A)", ";", "right"),
    "columns_french_in_out": ("Courant entrée (A)", "Courant sortie (A)", ";", "either"),
    "columns_plus_minus": ("Current + (A)", "Current - (A)", ",", "either"),
    "columns_to_from": ("To battery (A)", "From battery (A)", ",", "either"),
    "columns_import_export": ("Import (A)", "Export (A)", ",", "either"),
}


def _two(into: str, out: str, delimiter: str, want: Want) -> Callable[[Rng], Export]:
    def made(rng: Rng) -> Export:
        log = readings(rng)
        write = comma if delimiter == ";" else point
        both: list[Column] = [
            (into, [write(max(-x, 0)) for x in log.amps]),
            (out, [write(max(x, 0)) for x in log.amps]),
        ]
        both = both if rng.random() < 0.5 else both[::-1]
        sheet = Sheet([("Time", iso(log)), *both, volts(log, write=write)], delimiter)
        tables = f'[quantities.current_A]\ncolumn = "{out}"\nminus = "{into}"\nunit = "A"\n'
        return export(log, sheet, want=want, answers={"minus": tables})

    return made


for _name, _names in TWO_COLUMNS.items():
    named(_name, _two(*_names))

#: The name of the column, its word for draw, for return, and what is wanted.
WORDS: dict[str, tuple[str, str, str, Want]] = {
    "words_mode": ("Mode", "Discharging", "Charging", "right"),
    "words_state_short": ("State", "DSG", "CHG", "right"),
    "words_direction": ("Direction", "out", "in", "right"),
    "words_dir_capital": ("Dir", "OUT", "IN", "right"),
    "words_german": ("Richtung", "Entladen", "Laden", "right"),
    "words_german_state": ("Zustand", "entlädt", "lädt", "right"),
    "words_french": ("Sens", "décharge", "charge", "right"),
    "words_french_state": ("État", "Décharge", "Charge", "right"),
    "words_letters": ("Dir", "D", "C", "either"),
    "words_signs": ("Sign", "+", "-", "either"),
    "words_arrows": ("Flow", "->", "<-", "either"),
    "words_numbers": ("Direction", "0", "1", "either"),
    "words_unheard_of": ("Way", "from bank", "to bank", "either"),
    "words_sink_source": ("Mode", "source", "sink", "either"),
}


def _worded(name: str, draw: str, back: str, want: Want, *, log: Readings) -> Export:
    words = [back if x < 0 else draw for x in log.amps]
    columns: list[Column] = [
        ("Time", iso(log)), ("Current (A)", [point(abs(x)) for x in log.amps]), volts(log), (name, words),
    ]  # fmt: skip
    tables = (
        '[quantities.current_A]\ncolumn = "Current (A)"\n[quantities.current_A.direction]\n'
        f'column = "{name}"\ndraw = ["{draw}"]\nreturn = ["{back}"]\n'
    )
    return export(log, Sheet(columns), want=want, answers={"direction = {column": tables})


def _words(how: tuple[str, str, str, Want]) -> Callable[[Rng], Export]:
    return lambda rng: _worded(*how, log=readings(rng))


for _name, _how in WORDS.items():
    named(_name, _words(_how))


@style
def words_that_come_late(rng: Rng) -> Export:
    """The word for charging first comes behind what a first look sees."""
    log = readings(rng, rows=900)
    log = replace(log, amps=np.where(np.arange(900) < 650, np.abs(log.amps), -np.abs(log.amps)))
    return _worded("Mode", *_pair(rng), "right", log=log)


@style
def words_of_one_kind_draw(rng: Rng) -> Export:
    """All of it drawn, and each row says so."""
    log = readings(rng)
    return _worded("Mode", *_pair(rng), "right", log=replace(log, amps=np.abs(log.amps)))


@style
def words_of_one_kind_charge(rng: Rng) -> Export:
    """All of it returned, and each row says so."""
    log = readings(rng)
    return _worded("Mode", *_pair(rng), "right", log=replace(log, amps=-np.abs(log.amps)))


def _pair(rng: Rng) -> tuple[str, str]:
    return ("discharging", "charging") if rng.random() < 0.5 else ("Entladen", "Laden")


@style
def words_with_idle(rng: Rng) -> Export:
    """Between both, at nothing, a third word."""
    log = readings(rng)
    log = replace(log, amps=np.where(np.abs(log.amps) < 1.5, 0.0, log.amps))
    idle = pick(rng, "idle", "standby", "rest")
    words = [idle if x == 0 else "charging" if x < 0 else "discharging" for x in log.amps]
    columns = [("Time", iso(log)), ("Current (A)", [point(abs(x)) for x in log.amps]), volts(log), ("Mode", words)]
    return export(log, Sheet(columns))


@style
def words_beside_signs(rng: Rng) -> Export:
    """The amps have their sign already; the word says the same once more."""
    log = readings(rng)
    words = ["charging" if x < 0 else "discharging" for x in log.amps]
    return export(log, Sheet([("Time", iso(log)), amps(log), volts(log), ("Mode", words)]))


@style
def words_beside_signs_of_charge(rng: Rng) -> Export:
    """Charging counts up, and the word beside it tells so."""
    log = readings(rng)
    words = ["charging" if x < 0 else "discharging" for x in log.amps]
    columns = [("Time", iso(log)), ("Current (A)", [point(-x + 0.0) for x in log.amps]), volts(log), ("Mode", words)]
    return export(log, Sheet(columns), want="either", answers={"--reverse-sign": ""})


@style
def words_of_a_charger(rng: Rng) -> Export:
    """Words of how a charger is at work tell no direction of signed amps."""
    log = readings(rng)
    words = [pick(rng, "bulk", "absorption", "float") for _ in log.amps]
    return export(log, Sheet([("Time", iso(log)), amps(log), volts(log), ("Charger state", words)]))


#: Names that say that charging counts up.
UP = {
    "charging_is_plus": "Current (A, + = charging)",
    "charging_is_plus_words": "Current (A) positive = charge",
    "charging_is_plus_german": "Strom (A) + = Laden",
}


def _up(name: str) -> Callable[[Rng], Export]:
    def made(rng: Rng) -> Export:
        log = readings(rng)
        cells = [point(-x + 0.0) for x in log.amps]
        sheet = Sheet([("Time", iso(log)), (name, cells), volts(log)])
        return export(log, sheet, answers={"--reverse-sign": ""})

    return made


for _name, _text in UP.items():
    named(_name, _up(_text))


@style
def charging_is_plus_by_the_volts(rng: Rng) -> Export:
    """No word says it; the bank's volts fall with what is drawn."""
    log = readings(rng)
    name = pick(rng, "Current (A)", "Battery amps", "Strom (A)")
    columns = [("Time", iso(log)), (name, [point(-x + 0.0) for x in log.amps]), volts(log)]
    return export(log, Sheet(columns), answers={"--reverse-sign": ""})


@style
def draw_is_plus_said(rng: Rng) -> Export:
    """The name says what is taken anyway."""
    log = readings(rng)
    return export(log, Sheet([("Time", iso(log)), amps(log, "Current (A, + = discharge)"), volts(log)]))


@style
def column_of_charge_alone(rng: Rng) -> Export:
    """Only what goes in was logged: it is returned, every bit."""
    log = readings(rng)
    log = replace(log, amps=-np.abs(log.amps))
    name = pick(rng, "Charge current (A)", "Charging current (A)", "Ladestrom (A)")
    return export(log, Sheet([("Time", iso(log)), (name, [point(-x) for x in log.amps]), volts(log)]), want="either")


@style
def minus_zero(rng: Rng) -> Export:
    """Nothing, with a sign."""
    log = readings(rng)
    log = replace(log, amps=np.where(np.abs(log.amps) < 2, 0.0, log.amps))
    return export(
        log, Sheet([("Time", iso(log)), amps(log, write=lambda x: "-0.00" if x == 0 else point(x)), volts(log)])
    )
