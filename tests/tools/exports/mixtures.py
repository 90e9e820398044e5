"""Styles by chance: what loggers of one land are used to write, each part drawn for itself."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from .readings import Rng, readings
from .sheet import Column, Export, Sheet, clock, comma, export, named, pick, point


@dataclass(frozen=True)
class Land:
    """What is usual: clocks (``|`` parts columns), names of time, amps and volts, marks, and the dates' order."""

    clocks: tuple[str, ...]
    times: tuple[str, ...]
    amps: tuple[str, ...]
    volts: tuple[str, ...]
    delimiters: tuple[str, ...]
    encodings: tuple[str, ...]
    order: str
    write: Callable[[float, int], str] = point


LANDS = {
    "plain": Land(
        ("%Y-%m-%d %H:%M:%S", "%Y-%m-%dT%H:%M:%S", "%Y/%m/%d %H:%M:%S", "%Y-%m-%d|%H:%M:%S"),
        ("Time", "timestamp", "DateTime", "Recorded"),
        ("Current", "Battery current", "I", "Amps", "Shunt current"),
        ("Voltage", "Battery voltage", "U", "Volts"),
        (",", ";", "\t"),
        ("utf-8", "utf-8-sig"),
        "y-m-d",
    ),
    "american": Land(
        ("%m/%d/%Y %I:%M:%S %p", "%m/%d/%Y %H:%M:%S", "%m/%d/%Y|%I:%M:%S %p", "%b %d, %Y %I:%M:%S %p"),
        ("Date/Time", "Time", "Logged"),
        ("Current", "Amps", "Battery Amps", "BATTERY CURRENT"),
        ("Voltage", "Volts", "Battery Volts"),
        (",", "\t"),
        ("utf-8", "utf-8-sig", "cp1252"),
        "m/d/y",
    ),
    "british": Land(
        ("%d/%m/%Y %H:%M:%S", "%d/%m/%y %H:%M:%S", "%d-%b-%Y %H:%M:%S", "%d/%m/%Y|%H:%M:%S"),
        ("Date", "Date and time", "Time"),
        ("Current", "Battery current"),
        ("Voltage", "Battery voltage"),
        (",", "\t"),
        ("utf-8", "utf-8-sig"),
        "d/m/y",
    ),
    "german": Land(
        ("%d.%m.%Y %H:%M:%S", "%d.%m.%y %H:%M:%S", "%d.%m.%Y|%H:%M:%S", "%Y-%m-%d %H:%M:%S"),
        ("Zeit", "Datum", "Zeitstempel", "Datum/Uhrzeit"),
        ("Strom", "Batteriestrom", "I"),
        ("Spannung", "Batteriespannung", "U"),
        (";", "\t"),
        ("utf-8", "utf-8-sig", "cp1252"),
        "d/m/y",
        comma,
    ),
    "french": Land(
        ("%d/%m/%Y %H:%M:%S", "%d/%m/%y %H:%M:%S", "%d/%m/%Y|%H:%M:%S", "%Y-%m-%d %H:%M:%S"),
        ("Date", "Horodatage", "Date et heure"),
        ("Courant", "Courant batterie", "I"),
        ("Tension", "Tension batterie", "U"),
        (";", "\t"),
        ("utf-8", "utf-8-sig", "cp1252"),
        "d/m/y",
        comma,
    ),
}
#: Forms of a name with its unit.
UNITS = ("{} ({})", "{} [{}]", "{}/{}", "{}_{}")


def _mixture(land: Land) -> Callable[[Rng], Export]:
    def made(rng: Rng) -> Export:
        log = readings(rng)
        forms, name, unit = pick(rng, *land.clocks).split("|"), pick(rng, *land.times), pick(rng, *UNITS)
        times: list[Column] = [(f"{name} {k}" if k else name, clock(log, form)) for k, form in enumerate(forms)]
        if len(times) == 2:
            times = [("Date" if land.order != "d/m/y" else "Datum", times[0][1]), ("Time", times[1][1])]
        # thousandths are whole numbers and have no mark: with one, three digits behind it would be asked for
        milli = rng.random() < 0.3
        digits = 0 if milli else int(rng.choice([1, 2, 2, 2]))
        log = log if digits != 1 else _rounded(log)
        current = [land.write(x * (1000 if milli else 1), digits) for x in log.amps]
        amounts: list[Column] = [
            (unit.format(pick(rng, *land.amps), "mA" if milli else "A"), current),
            (unit.format(pick(rng, *land.volts), "V"), [land.write(x, 2) for x in log.volts]),
        ]
        if rng.random() < 0.3:
            amounts.append((unit.format("Temp", "°C"), [land.write(20 + k % 9 / 10, 1) for k in range(len(log))]))
        order = rng.permutation(len(amounts))
        sheet = Sheet([*times, *(amounts[k] for k in order)], pick(rng, *land.delimiters), **_written(rng, land))
        return export(log, sheet, answers={"--dates": land.order})

    return made


def _rounded(log: Any) -> Any:
    return type(log)(log.t_s, log.amps.round(1), log.volts, log.zone)


def _written(rng: Rng, land: Land) -> dict[str, Any]:
    before = [[], [], ["Logger of our own", "Serial 0815", ""], ["# made by hand"]]
    return {
        "eol": pick(rng, "\n", "\r\n"),
        "encoding": pick(rng, *land.encodings),
        "quoted": pick(rng, "where needed", "where needed", "all"),
        "before": before[int(rng.integers(len(before)))],
        "after": [[], [], [""]][int(rng.integers(3))],
    }


for _name, _land in LANDS.items():
    named(f"mixture_{_name}", _mixture(_land))
