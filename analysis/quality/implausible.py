"""Figures that can hardly be what they are called: units, sides, dead wires, columns that contradict each other."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final, Literal, NamedTuple

import numpy as np

from ..charge.charge import WORTH_TELLING
from ..charge.instants import Instants
from ..readings.blocks import Piece
from ..readings.chunk import SECONDS_PER_HOUR, FloatArray, Side
from .coverage import QuantityRange
from .past_shunt import SharpChanges
from .power_check import AGREES, Agreement

Grade = Literal["good", "with care", "not"]

#: No bank or inverter of this kind has more volts or amps than this, and no cell less: common practice, no source.
MOST_V, LEAST_V, MOST_A = 1000.0, 0.1, 10_000.0
#: Mains as IEC 60038 and ANSI C84.1 have it (100 to 240 V), with what it may be off; banks of 12 to 48 V nominal, from
#: empty to charging: common practice, no source. [V]
MAINS_V: Final = (90.0, 265.0)
BANK_V: Final = (9.0, 65.0)
#: The voltage jumps where it changes by this share from one reading to the next, and loads are at work where it does so
#: this often: common practice, no source; a bank at rest and one that slowly charges drift, but do not jump. [1]
JUMPS: Final = 0.004
LEAST_JUMPS: Final = 3
#: Within this share of 1000 a factor is one of units. [1]
ROUND: Final = 0.2
#: With an array, something comes back within so much time: a day less what is not measured. [h]
DAY_H: Final = 20.0
#: Beyond so many times its range no meter reads. [1]
BEYOND_RANGE: Final = 1.5


@dataclass(frozen=True)
class Doubt:
    """Something that can hardly be right: a short name that stays, and what is seen and what to do in a plain sentence.

    `spoils` is what the log is good for at best until it is settled, in Ah (behind an inverter: Wh).
    """

    code: str
    text: str
    spoils: Grade


class Ends(NamedTuple):
    """The lowest and the highest reading of a quantity."""

    low: float
    high: float


@dataclass(frozen=True)
class QualityEvidence:
    """What the doubts are judged by.

    `jumps` counts how often the voltage jumped. `most_A` is what all but a thousandth of the readings of the current do
    not exceed, either way: a few false ones do not count. `range_A` is the meter's range, `has_array` whether an array
    is known to charge the bank. `changes_V` are the volts' sharp changes beside the amps, None where one of them is not
    read; `resistance_ohm` is the fall of the volts per amp, None where the amps' steps do not tell it.
    """

    side: Side
    ranges: Mapping[str, QuantityRange]
    agreement: Agreement | None
    jumps: int
    most_A: float | None
    covered_s: float
    range_A: float | None
    has_array: bool
    instants: Instants | None = None
    changes_V: SharpChanges | None = None
    resistance_ohm: float | None = None

    def ends(self, name: str) -> Ends | None:
        """Return the lowest and highest reading of a quantity; None where it was never read."""
        part = self.ranges.get(name)
        return None if part is None or part.low is None or part.high is None else Ends(part.low, part.high)

    def mean(self, name: str) -> float | None:
        """Return the mean reading of a quantity; None where it was never read."""
        part = self.ranges.get(name)
        return None if part is None else part.mean


class JumpPart:
    """Count how often the voltage jumps; it carries one reading."""

    def __init__(self, quantities: tuple[str, ...]) -> None:
        self._sees_volts = "voltage_V" in quantities
        self._last: FloatArray = np.empty(0)
        self._jumps = 0

    def take(self, piece: Piece) -> None:
        """Take the next piece in."""
        if self._sees_volts:
            volts = np.concatenate([self._last, piece.having("voltage_V").new().quantities["voltage_V"]])
            self._last = volts[-1:]
            self._jumps += int((np.abs(np.diff(volts)) > JUMPS * np.abs(volts[1:])).sum())

    def result(self) -> int:
        """Return how often it jumped so far."""
        return self._jumps


def doubts_of(seen: QualityEvidence) -> tuple[Doubt, ...]:
    """Return what can hardly be right in a log."""
    return (
        *_of_units(seen),
        *_of_columns(seen),
        *_of_side(seen),
        *_of_amps(seen),
        *_beyond(seen),
        *_of_volts(seen),
        *_of_instants(seen),
    )


def _of_units(seen: QualityEvidence) -> Iterator[Doubt]:
    mean_V, most_A = seen.mean("voltage_V"), seen.most_A
    if mean_V is not None and abs(mean_V) > MOST_V:
        yield _unit("volts_unit", f"the voltage is {mean_V:,.0f} V on average: probably millivolts read as volts")
    elif mean_V is not None and seen.side == "dc" and 0 < abs(mean_V) < LEAST_V:
        yield _unit("volts_unit", f"the voltage is {mean_V:.2g} V on average: probably kilovolts read as volts")
    if most_A is None:
        return
    # A stated range says more than what is usual of any meter, so it is asked first.
    if seen.range_A is not None and most_A > BEYOND_RANGE * seen.range_A:
        text = f"the current reaches {most_A:,.0f} A with a meter of {seen.range_A:g} A: milliamps, or a wrong factor"
        yield _unit("amps_unit", text)
    elif most_A > MOST_A:
        yield _unit("amps_unit", f"the current reaches {most_A:,.0f} A: probably milliamps read as amps")


def _unit(code: str, text: str) -> Doubt:
    return Doubt(code, f"{text}; convert again with a profile that names the unit", "not")


def _of_columns(seen: QualityEvidence) -> Iterator[Doubt]:
    agreement = seen.agreement
    if agreement is None or agreement.agrees:
        return
    size = abs(agreement.ratio)
    product = "volts x amps" if seen.side == "dc" else "volts x amps x power factor"
    if agreement.opposite > WORTH_TELLING:
        share = f"{100 * agreement.opposite:.0f} %"
        yield Doubt("power_sign", f"the power's sign is not the current's for {share} of the power", "with care")
    # Only columns that follow each other have one ratio: a scatter says that there is none to name.
    if agreement.scatter > 2 * AGREES:
        yield Doubt("columns_disagree", f"the power column does not follow {product}", "with care")
    # A ratio near a thousand is a unit; any other may be a shunt rated wrong.
    elif any(abs(size / factor - 1) < ROUND for factor in (1000.0, 0.001)):
        times = "1000 times" if size > 1 else "a thousandth of"
        text = f"the power is {times} {product}: one of the columns is not in the unit it is taken for"
        yield _unit("power_unit", text)
    elif abs(size - 1) > AGREES:
        text = f"the power column is {size:.3g} times {product}: check the meter's shunt rating or factor"
        yield Doubt("columns_disagree", text, "with care")


def _of_side(seen: QualityEvidence) -> Iterator[Doubt]:
    mean_V = abs(seen.mean("voltage_V") or 0.0)
    if seen.side == "dc" and MAINS_V[0] <= mean_V <= MAINS_V[1]:
        text = f"{mean_V:.0f} V is mains and hardly a bank: if the meter sits behind an inverter, its side is 'ac'"
        yield Doubt("mains_on_dc", text, "not")
    if seen.side == "ac" and BANK_V[0] <= mean_V <= BANK_V[1]:
        text = f"{mean_V:.1f} V is a bank's and no inverter's output: if the meter sits at the bank, its side is 'dc'"
        yield Doubt("bank_on_ac", text, "with care")
    if seen.side == "dc" and seen.mean("power_factor") is not None:
        text = "there is a power factor, which direct current has not: is the meter behind an inverter (side 'ac')?"
        yield Doubt("power_factor_on_dc", text, "with care")


def _of_amps(seen: QualityEvidence) -> Iterator[Doubt]:
    amps, volts = seen.ends("current_A"), seen.ends("voltage_V")
    if amps is None:
        return
    # Volts that jump say that loads are at work, so that amps which never move are not read at all.
    if volts is not None and amps.low == amps.high and seen.jumps >= LEAST_JUMPS:
        text = (
            f"the current is {amps.low:g} A all along while the voltage jumps between {volts.low:.4g} and "
            f"{volts.high:.4g} V: check the shunt's leads and the meter's input"
        )
        yield Doubt("dead_current", text, "not")
    elif seen.side == "dc" and seen.has_array and amps.low >= 0 and seen.covered_s > DAY_H * SECONDS_PER_HOUR:
        text = (
            f"in {seen.covered_s / SECONDS_PER_HOUR:.0f} h nothing ever came back from the array: the amps may have "
            "lost their sign, or the meter sits where the array's current does not pass"
        )
        yield Doubt("never_returned", text, "with care")


def _beyond(seen: QualityEvidence) -> Iterator[Doubt]:
    """Yield that a few readings are of no current: so few that the unit is right, and each worth as much as hours."""
    amps, most_A = seen.ends("current_A"), seen.most_A
    size = 0.0 if amps is None else max(abs(amps.low), abs(amps.high))
    if most_A is None or size <= MOST_A or most_A > MOST_A:
        return
    text = (
        f"a reading of the current is {size:,.0f} A, which no bank gives, and nearly all others are within "
        f"{most_A:,.3g} A: what such a reading adds is false. Take its row out of the export and convert it again"
    )
    yield Doubt("amps_beyond", text, "not")


def _of_volts(seen: QualityEvidence) -> Iterator[Doubt]:
    ohm, amps = seen.resistance_ohm, seen.ends("current_A")
    alone = seen.changes_V.alone(ohm) if seen.changes_V is not None else None
    if alone is None or amps is None or amps.low == amps.high:  # amps that never move are told by themselves
        return
    takes = f" (about {alone.fall_V / ohm:.2g} A by the resistance of the other steps)" if ohm else ""
    text = (
        f"the volts fall by about {alone.fall_V:.2g} V and come back, {alone.falls} times, while the amps do not move: "
        f"a load{takes} may be wired past the shunt, so that what it takes is not in this log; or the volts' lead has "
        "a bad contact. Check that nothing but the shunt hangs on its terminal of the bank"
    )
    yield Doubt("past_the_shunt", text, "with care")


def _of_instants(seen: QualityEvidence) -> Iterator[Doubt]:
    ripple, in_step = (seen.instants.ripple, seen.instants.in_step) if seen.instants else (None, None)
    if ripple is not None:
        share = f"{100 * ripple.amplitude:.2g} % of itself"
        how = f"scatters by about {share}" if ripple.scatters else f"goes slowly up and down by {share} or more"
        text = (
            f"the draw {how}: an inverter's ripple (100 or 120 Hz), read at single instants, does that. "
            f"{_HELPS[ripple.slow]}; a meter must average over the ripple"
        )
        yield Doubt("ripple", text, "with care")
    if in_step is not None:
        text = (
            f"a load switches in step with the readings: its pattern repeats every {in_step.readings} of them, so what "
            f"is drawn is known only to within {100 * in_step.share:.2g} %; read faster, at a spacing that is no whole "
            "part of the load's period, or take means"
        )
        yield Doubt("in_step", text, "with care")


#: What readings in step with a ripple come to.
_HELPS: Final = {
    True: "What is read so may be off by as much for as long as it is in step, and more readings do not help",
    False: "Here it falls on all of the wave, and evens out for the most part",
}
