"""What came back, by where it came from: the sun, or a charger.

What a charger adds counts as its own as far as it went into the bank: without it that much less would have come back,
and what is left is the sun's. In the dark all is the charger's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from itertools import pairwise
from typing import Final

import numpy as np

from ..charge.amounts import Amounts, Charge
from ..cycles.cycle import Cycles
from ..readings.chunk import MICROSECONDS, SECONDS_PER_HOUR, FloatArray, TimeArray
from ..signal_levels.level_record import Stair
from ..site.tables import Charger
from ..stats.interval95 import Within
from .charger_spells import NOTHING_BACK, ChargerSpell, DayStretch, charger_spells
from .ledger import Ledger
from .local_days import local_time
from .payback import Payback
from .running_charge import FineReturn

#: Hours of a clock between which no sun shines up to some 55 degrees from the equator: common practice, no source. [h]
DARK_FROM_H, DARK_TO_H = 22, 4
#: What comes back on the mean of so long at an end of the dark tells whether a charger is on there. [us]
_AT_END_US: Final = 600 * MICROSECONDS
#: A level in the dark that begins with a step and lasts so long is a source's: common practice, no source. [us]
_LASTS_US: Final = 600 * MICROSECONDS
#: So many times the least step that stands out, a step of return in the dark is clear. [1]
_CLEAR: Final = 4.0

#: The bank's volts rise with a charger, and the sun gives, and loads draw, fewer amps: by so much a step may be off the
#: charger's own amps (common practice, no source). [1]
_STEP_OFF: Final = 0.04

Between = tuple[int, int]
"""Two instants, between which something is looked at. [us]"""


@dataclass(frozen=True)
class ReturnedFrom:
    """What came back in a stretch of time; energy is None where no volts are known. [Ah], [Wh]"""

    charger_Ah: Within
    sun_Ah: Within
    charger_Wh: Within | None
    sun_Wh: Within | None


@dataclass(frozen=True)
class Sources:
    """What came back, by where it came from.

    ``lines`` are those of the ledger, days before demos; ``paybacks`` what came back from each demo's end until it was
    paid, or the log's end; None where nothing is owed. ``spells`` are when a charger was on by day, also those that are
    not decided: what they would come to is in the intervals. ``sun`` tells whether the site has an array.
    """

    chargers: tuple[str, ...]
    sun: bool
    whole: ReturnedFrom
    lines: tuple[ReturnedFrom, ...]
    paybacks: tuple[ReturnedFrom | None, ...]
    spells: tuple[ChargerSpell, ...]
    assumptions: tuple[str, ...]


@dataclass(frozen=True)
class UnnamedSource:
    """A step of return in the dark that the site file has no source for. [us], [A]"""

    at_us: int
    current_A: float


def sources(
    returned: FineReturn,
    charge: Charge,
    cycles: Cycles,
    chargers: Sequence[Charger],
    ledger: Ledger,
    paybacks: Sequence[Payback],
    *,
    zone: tzinfo | None,
    sun: bool,
    loads_A: Sequence[float] = (),
) -> Sources | None:
    """Return what came back, by where it came from; None where nothing is known of the charge.

    `zone` is that of the clock that tells the dark, None where it is not known; `sun` whether the site has an array;
    `loads_A` what other loads draw at the bank by their plates.
    """
    if charge.charge is None or not len(returned.charge.time_us):
        return None
    parts = _ReturnedParts.of(returned)
    first_us, last_us = int(parts.start_us[0]), int(parts.stop_us[-1])
    dark = dark_stretches(first_us, last_us, zone) if sun else [(first_us, last_us)]
    least_A = NOTHING_BACK * min(each.rated_A for each in chargers)
    windows = _windows(dark, (first_us, last_us), parts, least_A)
    interval_s = charge.how.usual_interval_s or 1.0
    # Runs of whatever load was seen may be what a charger left between its spells: only a named load's are its own.
    runs = cycles.cycles if cycles.load is not None else ()
    spells = charger_spells(cycles.stairs, chargers, windows, runs, loads_A, interval_s)
    shares = _shares(parts, dark, spells, least_A)
    lines = (*ledger.days, *ledger.demos)
    return Sources(
        tuple(each.name for each in chargers),
        sun,
        _split(parts, shares, (first_us, last_us), _Back.of(charge)),
        tuple(_split(parts, shares, (line.start_us, line.stop_us), _Back.of(line.whole)) for line in lines),
        tuple(_paid(parts, shares, each, _Back.of(charge), last_us) for each in paybacks),
        spells,
        _assumptions(zone, sun=sun, undecided=sum(not spell.decided for spell in spells)),
    )


def unnamed_source(stairs: Sequence[Stair], zone: tzinfo | None) -> UnnamedSource | None:
    """Return the first clear step of return in the dark, which no sun makes; None where there is none."""
    if zone is None:
        return None
    for before, level in pairwise(stairs):
        lasts = level.last_us - level.start_us >= _LASTS_US
        clear = before.last - level.first > _CLEAR * level.least and level.first < -_CLEAR * level.least
        # What returned before already may be a sign that is turned, or a zero that is off.
        if lasts and clear and before.last >= -level.least and not level.after_gap:
            at = local_time(round(level.start_us), zone)
            if _is_dark(at) and level.last < level.first / 2:
                return UnnamedSource(round(level.start_us), -level.first)
    return None


def _is_dark(at: datetime) -> bool:
    return at.hour >= DARK_FROM_H or at.hour < DARK_TO_H


def dark_stretches(first_us: int, last_us: int, zone: tzinfo | None) -> list[Between]:
    """Return the stretches of a log in which no sun shines by the clock; none without a zone. [us]"""
    if zone is None:
        return []
    evening = local_time(first_us, zone).replace(hour=DARK_FROM_H, minute=0, second=0, microsecond=0)
    stretches, evening = [], evening - timedelta(days=1)
    while (start_us := round(evening.timestamp() * MICROSECONDS)) < last_us:
        morning = (evening + timedelta(days=1)).replace(hour=DARK_TO_H)
        part = max(start_us, first_us), min(round(morning.timestamp() * MICROSECONDS), last_us)
        stretches += [part] if part[0] < part[1] else []
        evening += timedelta(days=1)
    return stretches


@dataclass(frozen=True)
class _ReturnedParts:
    """Consecutive parts of a log: their ends [us], time measured in each [s], what came back [A s], [W s]."""

    start_us: TimeArray
    stop_us: TimeArray
    covered_s: FloatArray
    charge_As: FloatArray
    energy_Ws: FloatArray | None

    @staticmethod
    def of(returned: FineReturn) -> _ReturnedParts:
        charge, energy = returned.charge, returned.energy
        covered_s, charge_As = (
            np.diff(x, prepend=0.0) * SECONDS_PER_HOUR for x in (charge.covered_h, charge.returned_Ah)
        )
        stop_us = charge.time_us
        start_us = np.concatenate([[stop_us[0] - round(covered_s[0] * MICROSECONDS)], stop_us[:-1]]).astype(np.int64)
        energy_Ws = None
        if energy is not None and len(energy.time_us):
            known = np.interp(stop_us.astype(float), energy.time_us.astype(float), energy.returned_Ah)
            energy_Ws = np.diff(known, prepend=0.0) * SECONDS_PER_HOUR
        return _ReturnedParts(start_us, stop_us, covered_s, charge_As, energy_Ws)

    def within(self, stretch: Between) -> FloatArray:
        """Return which share of each part lies in a stretch. [1]"""
        low, high = stretch
        length_us = np.maximum(self.stop_us - self.start_us, 1)
        inside: FloatArray = np.clip(np.minimum(self.stop_us, high) - np.maximum(self.start_us, low), 0, None)
        share: FloatArray = inside / length_us
        return share

    def mean_A(self, stretch: Between) -> float:
        """Return what came back on the mean. [A]"""
        share = self.within(stretch)
        covered_s = float((share * self.covered_s).sum())
        return float((share * self.charge_As).sum()) / covered_s if covered_s > 0 else 0.0


def _windows(dark: Sequence[Between], log: Between, parts: _ReturnedParts, least_A: float) -> list[DayStretch]:
    """Return the stretches by day, each with what came back in the dark next to it."""
    edges = [log[0], *(us for stretch in dark for us in stretch), log[1]]
    windows = []
    for start_us, stop_us in zip(edges[::2], edges[1::2], strict=True):
        if start_us < stop_us:
            before, after = (start_us - _AT_END_US, start_us), (stop_us, stop_us + _AT_END_US)
            level_A = parts.mean_A(before) if start_us > log[0] else 0.0
            on_after = stop_us < log[1] and parts.mean_A(after) >= least_A
            windows.append(DayStretch(start_us, stop_us, level_A >= least_A, on_after, level_A, start_us == log[0]))
    return windows


def _shares(
    parts: _ReturnedParts, dark: Sequence[Between], spells: Sequence[ChargerSpell], least_A: float
) -> FloatArray:
    """Return what of each part came from a charger, and the least and the most it can be; shape (3, n). [A s]"""
    charge_As, mean_A = parts.charge_As, parts.charge_As / np.maximum(parts.covered_s, 1e-9)
    shares = np.zeros((3, len(charge_As)))
    for stretch in dark:
        shares += np.where(mean_A >= least_A, charge_As, 0.0) * parts.within(stretch)
    for spell in spells:
        share = parts.within((spell.start_us, spell.stop_us))
        middle_us = (parts.start_us + parts.stop_us) / 2
        gone = np.clip((middle_us - spell.start_us) / max(spell.stop_us - spell.start_us, 1), 0, 1)
        usual_A = spell.first_A + (spell.last_A - spell.first_A) * gone
        low_A, high_A = min(spell.first_A, spell.last_A), max(spell.first_A, spell.last_A)
        ends_A = (1 - _STEP_OFF) * low_A, (1 + _STEP_OFF) * high_A
        # What went into the bank is the charger's up to its amps; the loads may have had the rest of them.
        rows: tuple[FloatArray | float, ...] = (usual_A, *ends_A)
        for row, amps in enumerate(rows):
            given_As = np.minimum(amps * parts.covered_s * share, charge_As)
            if spell.decided:
                shares[row] += given_As
            elif row == 2:
                # What may have been given once may not have been given twice.
                shares[row] = np.maximum(shares[row], given_As)
    return np.minimum(shares, charge_As)


def _split(parts: _ReturnedParts, shares: FloatArray, stretch: Between, back: _Back) -> ReturnedFrom:
    """Return the parts of what came `back` in a stretch."""
    inside = parts.within(stretch)
    total = float((parts.charge_As * inside).sum())
    part, least, most = ((shares * inside).sum(axis=1) / total).tolist() if total > 0 else (0.0, 0.0, 0.0)
    charge = _of(back.charge_Ah, part, least, most)
    if parts.energy_Ws is None or back.energy_Wh is None:
        return ReturnedFrom(*charge, None, None)
    # What each part's charge is made of its energy is made of: the volts are the same for both.
    weight = parts.energy_Ws / np.where(parts.charge_As > 0, parts.charge_As, 1.0) * inside
    total = float((parts.charge_As * weight).sum())
    part, least, most = ((shares * weight).sum(axis=1) / total).tolist() if total > 0 else (0.0, 0.0, 0.0)
    return ReturnedFrom(*charge, *_of(back.energy_Wh, part, least, most))


def _of(back: Within, part: float, least: float, most: float) -> tuple[Within, Within]:
    """Return the charger's and the sun's part of an amount; both have their share of the meter's own interval."""
    least, most = min(least, part), max(most, part)
    charger = Within(part * back.value, least * back.low, most * back.high)
    return charger, Within((1 - part) * back.value, (1 - most) * back.low, (1 - least) * back.high)


@dataclass(frozen=True)
class _Back:
    """What came back, with the meter's interval."""

    charge_Ah: Within
    energy_Wh: Within | None

    @staticmethod
    def of(whole: Charge) -> _Back:
        """Return that of a span whose intervals are known."""
        nothing = Within.exactly(0.0)
        energy = None if whole.energy is None else _back(whole.energy)
        return _Back(nothing if whole.charge is None else _back(whole.charge), energy)

    def scaled(self, charge_Ah: float, energy_Wh: float | None) -> _Back:
        """Return as much of it, as sure as all of it is."""
        energy = None if energy_Wh is None or self.energy_Wh is None else _scaled(self.energy_Wh, energy_Wh)
        return _Back(_scaled(self.charge_Ah, charge_Ah), energy)


def _back(amounts: Amounts) -> Within:
    sure = None if amounts.sure is None else amounts.sure.returned
    value = amounts.returned
    return Within.exactly(value) if sure is None else Within(value, max(sure.low, 0.0), sure.high)


def _scaled(whole: Within, value: float) -> Within:
    return whole.scaled(value / whole.value) if whole.value > 0 else Within.exactly(value)


def _paid(
    parts: _ReturnedParts, shares: FloatArray, payback: Payback, back: _Back, last_us: int
) -> ReturnedFrom | None:
    """Return what came back after a demo until it was paid; None where it owed nothing, or has not ended."""
    until_us = last_us if payback.paid_us is None else payback.paid_us
    if until_us <= payback.stop_us:
        return None
    stretch = payback.stop_us, until_us
    inside = parts.within(stretch)
    charge_Ah = float((parts.charge_As * inside).sum()) / SECONDS_PER_HOUR
    energy_Ws = parts.energy_Ws
    energy_Wh = None if energy_Ws is None else float((energy_Ws * inside).sum()) / SECONDS_PER_HOUR
    return _split(parts, shares, stretch, back.scaled(charge_Ah, energy_Wh))


def _assumptions(zone: tzinfo | None, *, sun: bool, undecided: int) -> tuple[str, ...]:
    sentences = ["What a charger adds counts as the charger's as far as it went into the bank, the rest as the sun's."]
    if not sun:
        sentences.append("The site file has no array: all that came back was taken to be the charger's.")
    elif zone is None:
        sentences.append("No clock of the log's tells the night: only steps of about the rated amps tell a charger.")
    else:
        sentences.append(
            f"From {DARK_FROM_H} to {DARK_TO_H} o'clock nothing comes from the sun (up to some 55 degrees from the "
            "equator: common practice, no source)."
        )
    if undecided:
        stretches = "1 stretch" if undecided == 1 else f"{undecided} stretches"
        sentences.append(
            f"In {stretches} by day a charger, a load that stops or the sun would look alike: not counted as the "
            "charger's, but the intervals reach so far."
        )
    return tuple(sentences)
