"""What a person notes down from a display: ``900 W``, ``74.5 A 11.9 V``, ``off``, ``end``, or a remark."""

from __future__ import annotations

import re
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass, field
from enum import Enum

import numpy as np

from ..events import Reading
from ..quantities import OF_DIMENSION, QUANTITIES, UNITS, Unit, UnknownUnitError, find_unit

#: What can be noted down. A ratio could be several things, so it takes a meter that says which.
QUANTITIES_BY_HAND = tuple(name for name in QUANTITIES if name in OF_DIMENSION.values())
_DRAWS = ("current_A", "power_W")
_NUMBER = r"([+\-−]?(?:\d+(?:[.,]\d+)?|[.,]\d+))"
_UNIT = r"(m[3³]/h|[A-Za-zµμ°º℃℉]+(?:/[A-Za-z]+)?)"
_ONE = re.compile(rf"{_NUMBER}\s*{_UNIT}")
_WHOLE = re.compile(rf"{_ONE.pattern}(?:\s*(?:[,;/@]|\band\b|\bat\b)?\s*{_ONE.pattern})*")
_COULD_BE_GROUPED = re.compile(r"[+\-−]?[1-9]\d{0,2},\d{3}")


class Word(Enum):
    """What a line is that holds no reading: nothing is drawn, the readings end, or a remark."""

    OFF = "off"
    END = "end"
    REMARK = "remark"


class DoubtfulLine(ValueError):  # noqa: N818 - a state, told by its name
    """A line that looks like a reading, but it cannot be said for sure which.

    ``fact`` is what is in doubt; the whole sentence also says what a person should write instead.
    """

    def __init__(self, fact: str, instead: str = "") -> None:
        super().__init__(f"{fact}; {instead}" if instead else fact)
        self.fact = fact


def parse_line(text: str) -> dict[str, float] | Word:
    """Return what a line means: quantities in their own units, draw positive, or a word.

    Raises
    ------
    DoubtfulLine
        If it looks like a reading but could mean several: ``1,150 W``, ``900``, ``5 mw``, ``900 VA``, ``5 A 6 A``.
    """
    text = text.strip()
    if text.lower() in (Word.OFF.value, Word.END.value):
        return Word(text.lower())
    if re.fullmatch(_NUMBER, text):
        raise DoubtfulLine(f"{text!r} has no unit", "write it like 900 W or 74.5 A")
    # Words with a number in them ("pump 2 on") are remarks: only a line of nothing but amounts is a reading.
    if not _WHOLE.fullmatch(text):
        return Word.REMARK
    parts = [(number, _unit(unit)) for number, unit in _ONE.findall(text)]
    known = [(number, unit) for number, unit in parts if unit is not None]
    return _values(known) if len(known) == len(parts) else Word.REMARK


def holds_a_draw(text: str) -> bool:
    """Tell whether a remark holds an amount of amps or watts: in a file of notes it was hardly meant as words."""
    return any(unit.dimension in ("current", "power") for _, unit in _among_words(text))


def amounts_among_words(text: str) -> dict[str, float]:
    """Return what a remark such as ``about 71 amps`` would be as a reading: the amounts of it that have a unit.

    Raises
    ------
    DoubtfulLine
        If they could mean several, as in `parse_line`.
    """
    return _values(_among_words(text))


def _among_words(text: str) -> list[tuple[str, Unit]]:
    """Return the numbers that stand before the name of a unit that a log has a place for."""
    amounts = []
    for number, name in _ONE.findall(text):
        unit = UNITS.get(name)
        # One letter in the wrong case is hardly a unit among words ("3 a.m."), a word such as amps is.
        if unit is None and len(name) > 2:
            with suppress(UnknownUnitError):
                unit = find_unit(name)
        if unit is not None and unit.dimension in OF_DIMENSION:
            amounts.append((number, unit))
    return amounts


def _values(parts: Iterable[tuple[str, Unit]]) -> dict[str, float]:
    values: dict[str, float] = {}
    for number, unit in parts:
        quantity = _quantity(unit)
        if quantity in values:
            raise DoubtfulLine(f"{unit.symbol} stands in it twice")
        values[quantity] = float(unit.to_canonical(np.array(_number(number))))
    return values


def _unit(text: str) -> Unit | None:
    try:
        return find_unit(text)
    except UnknownUnitError as reason:
        if "could be" in str(reason):
            raise DoubtfulLine(str(reason)) from None
        return None


def _quantity(unit: Unit) -> str:
    if unit.dimension not in OF_DIMENSION:
        raise DoubtfulLine(f"{unit.symbol} ({unit.dimension}) is not noted in a log", "note the watts (W) instead")
    return OF_DIMENSION[unit.dimension]


def _number(text: str) -> float:
    if _COULD_BE_GROUPED.fullmatch(text):
        whole, decimal = text.replace(",", ""), text.replace(",", ".")
        raise DoubtfulLine(f"{text} could be {whole} or {decimal}", "write it without the comma")
    return float(text.replace(",", ".").replace("−", "-"))


@dataclass
class Standing:
    """What stands on the display as far as it was noted: a reading holds until the next.

    Notes
    -----
    A quantity that a line does not mention stands on in the log, which must not tell of an old draw beside a new one.
    Amps and volts belong together: where a line has one of them, the other stands as it was. Where earlier lines told
    watts and this one has only amps, or the reverse, what is missing is worked out from the volts at the bank; if that
    cannot be, the line is doubtful. ``off`` is a draw of zero in the quantities told so far; before any, it is kept
    until the first tells which. The volts are repeated at ``off`` so that watts can be worked out from volts and amps.
    """

    _values: dict[str, float] = field(default_factory=dict)
    _off_us: int | None = None

    def take(self, time_us: int, values: dict[str, float], *, side: str) -> list[Reading]:
        """Return the readings that a line's quantities make; the last of them at `time_us`.

        Raises
        ------
        DoubtfulLine
            If the draw that stood before would stand on beside the new one.
        """
        # Volts first: watts and amps are worked out from them.
        full = self._with_volts(values)
        self._with_watts(full, side)
        self._with_amps(full, side)
        readings = []
        # An "off" from before the first amount is known to be amps or watts only now; it is written in its place.
        if self._off_us is not None:
            draws = [name for name in _DRAWS if name in full]
            readings = [Reading(self._off_us, dict.fromkeys(draws, 0.0))] if draws else []
            self._off_us = None if draws else time_us + 1
        self._values |= full
        return [*readings, Reading(time_us, full)]

    def off(self, time_us: int) -> list[Reading]:
        """Return the reading that nothing is drawn; none yet if it is not known which quantities are told."""
        draws = [name for name in _DRAWS if name in self._values]
        if not draws:
            self._off_us = time_us
            return []
        volts = {name: self._values[name] for name in ("voltage_V",) if name in self._values}
        zero = dict.fromkeys(draws, 0.0) | volts
        self._values |= zero
        return [Reading(time_us, zero)]

    def end(self, time_us: int) -> list[Reading]:
        """Return the reading that closes the last one: what stands, once more."""
        return [Reading(time_us, dict(self._values))] if self._values else []

    def _with_volts(self, values: dict[str, float]) -> dict[str, float]:
        full, stands = dict(values), self._values
        if "voltage_V" in full and not any(name in full for name in _DRAWS):
            full |= {name: stands[name] for name in _DRAWS if name in stands}
        if "current_A" in full and "voltage_V" in stands:
            full.setdefault("voltage_V", stands["voltage_V"])
        return full

    def _with_watts(self, full: dict[str, float], side: str) -> None:
        if "current_A" not in full or "power_W" in full or "power_W" not in self._values:
            return
        if side != "dc" or "voltage_V" not in full:
            raise DoubtfulLine("watts were told before and would stand on as they were; tell the watts too")
        full["power_W"] = full["current_A"] * full["voltage_V"]

    def _with_amps(self, full: dict[str, float], side: str) -> None:
        # Behind an inverter watts over volts are not amps: the power factor is missing.
        if side != "dc" or "power_W" not in full or "current_A" in full or "current_A" not in self._values:
            return
        volts = full.setdefault("voltage_V", self._values.get("voltage_V", 0.0))
        if not volts:
            raise DoubtfulLine("amps were told before and would stand on as they were; tell the amps too")
        full["current_A"] = full["power_W"] / volts
