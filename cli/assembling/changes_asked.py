"""Changes of a system as a person types them, ``tank 300 L``, and what they mean."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Final, get_args

from ...analysis.site.conductor_tables import GAUGES
from ...analysis.site.tables import Bank, Chemistry, Waveform
from ...analysis.what_if.cables import CableChange
from ...analysis.what_if.changes import (
    ArrayChange,
    BankChange,
    InverterChange,
    PrechargeChange,
    PressureChange,
    SystemChange,
    TankChange,
    UseChange,
)
from ...analysis.what_if.charger_change import ChargerChange
from ...analysis.what_if.sizes import BankFor, TankFor
from ...analysis.what_if.start_change import StartChange
from ...ingest.errors import InputError, quoted
from ...ingest.toml.amounts import amount_of, in_key_unit

#: How each change is written: what the sentence of a wrong one shows.
FORMS: Final = {
    "tank": '"tank 300 L", or "tank for 60 s" for the size that such runs ask',
    "pre-charge": '"pre-charge 2.5 bar"',
    "pressures": '"pressures 2.8..4.1 bar"',
    "start": '"soft start", "drive" or "direct start"',
    "inverter": '"inverter 3000 W", or "inverter 3000 VA, surge 6000 VA for 5 s, 92 %, idle 8 W" as its plate says',
    "bank": '"bank 400 Ah", "bank 3 strings", "bank 300 Ah lifepo4", or "bank for 3 days"',
    "array": '"array 1200 W"',
    "charger": '"charger 40 A"',
    "cable": '"cable 35 mm2", "cable 2 AWG", or "cable" for the smallest and its fuse ("cable 2 %": losing no more)',
    "use": '"use 500 L a day" or "use 90 min a day"',
}
_WORDS: Final = {
    "tank": "tank", "precharge": "pre-charge", "pre-charge": "pre-charge", "air": "pre-charge", "pressure": "pressures",
    "pressures": "pressures", "switch": "pressures", "soft": "start", "drive": "start", "direct": "start",
    "soft-start": "start", "start": "start", "vfd": "start", "inverter": "inverter", "bank": "bank", "battery": "bank",
    "batteries": "bank", "array": "array", "solar": "array", "panels": "array", "cable": "cable", "wire": "cable",
    "charger": "charger", "generator": "charger", "fuse": "cable", "use": "use",
}  # fmt: skip
_RANGE: Final = re.compile(
    r"([\d.,]+?)\s*([a-zA-Z]*)\s*(?:\.\.+|…|–|-|\bto\b)\s*([\d.,]+)\s*([a-zA-Z]+)", re.IGNORECASE
)
_INVERTER: Final = re.compile(
    r"(?P<rating>[^,;]+?)(?:[,;]?\s*surge\s+(?P<surge>.+?)(?:\s+for\s+(?P<lasts>.+))?)?", re.IGNORECASE
)
#: What a plate may say of an inverter's losses, anywhere behind its rating.
_EFFICIENCY: Final = re.compile(r"[,;]?\s+([\d.,]+\s*%)(?:\s*effici\w+)?|,\s*([\d.,]+\s*%)", re.IGNORECASE)
_IDLE: Final = re.compile(r"[,;]?\s*\bidle\s+([\d.,]+\s*k?W)\b", re.IGNORECASE)
_WAVE: Final = re.compile(
    r"[,;]?\s*\b(?:(pure|true)[ -]sine|modified(?:[ -]sine)?|square(?:[ -]wave)?)\b", re.IGNORECASE
)
_A_DAY: Final = re.compile(r"(.+?)\s*(?:/\s*d(?:ay)?|(?:a|per|each)\s+day|daily)", re.IGNORECASE)
_STRINGS: Final = re.compile(r"(\d+|one|two|three|four)\s+strings?|strings?\s+(\d+)", re.IGNORECASE)
_NUMBERS: Final = {"one": 1, "two": 2, "three": 3, "four": 4}
_STARTS: Final = {"soft": "soft", "soft-start": "soft", "drive": "drive", "vfd": "drive", "direct": "direct"}


def changes_of(texts: tuple[str, ...]) -> tuple[SystemChange, ...]:
    """Return what a person asked for.

    Raises
    ------
    InputError
        With a sentence for each change that is none, which says how to write it.
    """
    changes: list[SystemChange] = []
    sentences: list[object] = []
    for text in texts:
        try:
            changes.append(change_of(text))
        except InputError as error:
            sentences += error.args
    if sentences:
        raise InputError(*sentences)
    return tuple(changes)


def parted(text: str) -> tuple[str, ...]:
    """Return the changes that one field of a form holds: a line each, or with semicolons between them."""
    return tuple(part.strip() for part in re.split(r"[;\n]", text) if part.strip())


def change_of(text: str) -> SystemChange:
    """Return the change that a text asks for; `InputError` if it is none."""
    plain = " ".join(text.split())
    first, _, rest = plain.partition(" ")
    kind = _WORDS.get(first.lower().rstrip(":="))
    if kind is None:
        forms = ", ".join(_short(form) for form in FORMS)
        raise InputError(f"--with: {quoted(text)} is no change that is known; write one of: {forms}")
    change = _READERS[kind](plain, rest.strip())
    if change is None:
        raise InputError(f"--with: {quoted(text)} is not understood; write it like {FORMS[kind]}")
    return change


def _short(kind: str) -> str:
    return FORMS[kind].partition('"')[2].partition('"')[0]


def _in(text: str, key: str) -> float | None:
    """Return an amount in the unit of a key of the site file; None where it is none above nought of that kind."""
    # A unit must stand there: 300 may be litres or gallons. A comma that may group thousands is no figure either.
    amount = amount_of(text)
    if amount is None or amount.unit is None or not amount.value > 0 or amount.other is not None:
        return None
    try:
        value = in_key_unit(amount.value, amount.unit, key)
    except ValueError:
        return None
    return value if amount.unit.dimension == _dimension(key) else None


def _dimension(key: str) -> str | None:
    amount = amount_of(f"1 {key.rpartition('_')[2]}")
    return None if amount is None or amount.unit is None else amount.unit.dimension


def _tank(text: str, rest: str) -> SystemChange | None:
    if rest.lower().startswith("for "):
        run_s = _in(re.sub(r"\s*runs?( of)?\b", "", rest[4:]).strip(), "run_s")
        return None if run_s is None else TankFor(text, run_s)
    volume_L = _in(rest, "tank_volume_L")
    return None if volume_L is None else TankChange(text, volume_L)


def _precharge(text: str, rest: str) -> SystemChange | None:
    air_kPa = _in(rest, "precharge_kPa")
    return None if air_kPa is None else PrechargeChange(text, air_kPa)


def _pressures(text: str, rest: str) -> SystemChange | None:
    both = _RANGE.fullmatch(rest)
    if both is None:
        return None
    low, unit, high, last = both.groups()
    # One unit may stand for both, after the second.
    ends = [_in(f"{figure} {own or last}", "cut_in_kPa") for figure, own in ((low, unit), (high, last))]
    if None in ends or not ends[0] < ends[1]:  # type: ignore[operator]
        return None
    return PressureChange(text, ends[0], ends[1])  # type: ignore[arg-type]


def _start(text: str, rest: str) -> SystemChange | None:
    # "soft start", "soft starter", "start soft" and "drive" are all said.
    first = text.partition(" ")[0].lower()
    kind = _STARTS.get(rest.lower() if first == "start" else first)
    if kind is None or (first != "start" and rest.lower() not in ("", "start", "starter")):
        return None
    return StartChange(text, kind)  # type: ignore[arg-type]


def _inverter(text: str, rest: str) -> SystemChange | None:
    efficiency, idle, wave = _EFFICIENCY.search(rest), _IDLE.search(rest), _WAVE.search(rest)
    for form in (_EFFICIENCY, _IDLE, _WAVE):
        rest = form.sub("", rest, count=1)
    parts = _INVERTER.fullmatch(rest)
    if parts is None:
        return None
    W, VA = _in(parts["rating"], "continuous_W"), _in(parts["rating"], "continuous_VA")
    surge = parts["surge"] or ""
    surge_W, surge_VA = _in(surge, "surge_W"), _in(surge, "surge_VA")
    surge_s = None if parts["lasts"] is None else _in(parts["lasts"], "surge_s")
    wrong = (surge and surge_W is None and surge_VA is None) or (parts["lasts"] is not None and surge_s is None)
    pct = None if efficiency is None else _percent(efficiency[1] or efficiency[2])
    idle_W = None if idle is None else _in(idle[1], "idle_W")
    wrong = wrong or (efficiency is not None and pct is None) or (idle is not None and idle_W is None)
    if (W is None and VA is None) or wrong:
        return None
    return InverterChange(text, W, VA, surge_W, surge_VA, surge_s, pct, idle_W, _waveform(wave))


def _waveform(wave: re.Match[str] | None) -> Waveform | None:
    return None if wave is None else "sine" if wave[1] else "modified"


def _percent(text: str) -> float | None:
    amount = amount_of(text)
    return amount.value if amount is not None and amount.other is None and 0 < amount.value <= 100 else None


def _bank(text: str, rest: str) -> SystemChange | None:
    if rest.lower().startswith("for "):
        days = amount_of(re.sub(r"\s*d(ays?)?$", "", rest[4:].lower().removesuffix(" without sun")))
        return None if days is None or days.unit is not None or not days.value > 0 else BankFor(text, days.value)
    if strings := _STRINGS.fullmatch(rest):
        number = strings[1] or strings[2]
        return BankChange(text, strings=_NUMBERS.get(number.lower()) or max(int(number), 1))
    # The kind of cells stands last, after the size or alone.
    words = rest.split(" ")
    chemistry = _chemistry(words[-1])
    if chemistry is not None:
        rest = " ".join(words[:-1])
    capacity_Ah = _in(rest, "capacity_Ah") if rest else None
    if (rest and capacity_Ah is None) or (not rest and chemistry is None):
        return None
    return BankChange(text, capacity_Ah=capacity_Ah, chemistry=chemistry)


def _chemistry(word: str) -> Chemistry | None:
    plain = word.lower().replace("-", "_")
    meant = Bank.also_called.get(plain, plain)
    return next((each for each in get_args(Chemistry) if each == meant), None)


def _array(text: str, rest: str) -> SystemChange | None:
    power_W = _in(rest, "power_W")
    return None if power_W is None else ArrayChange(text, power_W)


def _charger(text: str, rest: str) -> SystemChange | None:
    rated_A = _in(rest, "rated_A")
    return None if rated_A is None else ChargerChange(text, rated_A)


def _cable(text: str, rest: str) -> SystemChange | None:
    if not rest:
        return CableChange(text)
    amount = amount_of(rest)
    if amount is not None and amount.unit is not None and amount.unit.symbol == "%" and 0 < amount.value < 100:
        return CableChange(text, drop_pct=amount.value)
    gauge = re.fullmatch(r"(?:awg\s*)?(\d+(?:/0)?)\s*(?:awg)?", rest, re.IGNORECASE)
    if gauge is not None and ("awg" in rest.lower() or "/" in rest):
        return CableChange(text, gauge_AWG=gauge[1]) if gauge[1] in GAUGES else None
    area_mm2 = _in(rest, "area_mm2")
    return None if area_mm2 is None else CableChange(text, area_mm2=area_mm2)


def _use(text: str, rest: str) -> SystemChange | None:
    amount = _A_DAY.fullmatch(rest)
    if amount is None:
        return None
    water_L, run_s = _in(amount[1], "use_L"), _in(amount[1], "run_s")
    if water_L is None and run_s is None:
        return None
    return UseChange(text, water_L, run_s)


_READERS: Final[dict[str, Callable[[str, str], SystemChange | None]]] = {
    "tank": _tank, "pre-charge": _precharge, "pressures": _pressures, "start": _start, "inverter": _inverter,
    "bank": _bank, "array": _array, "charger": _charger, "cable": _cable, "use": _use,
}  # fmt: skip
