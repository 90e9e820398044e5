"""What the array brings: a day's energy, its losses, the amps it charges with, and how it stands to the load."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite, prod

from ..not_known import Missing, Refusal
from ..site.tables import Array, Bank
from .bank_voltage import charging_V


@dataclass(frozen=True)
class Ratio:
    """A performance ratio, from 0 to 1, and where it is from in plain sentences."""

    value: float
    assumptions: tuple[str, ...]


@dataclass(frozen=True)
class Charging:
    """Amps that the array puts into the bank in full sun [A], and what that rests on."""

    current_A: float
    assumptions: tuple[str, ...]


@dataclass(frozen=True)
class ArrayDay:
    """What the array brings on a usual day: peak power x hours of full sun x performance ratio [Wh].

    `to_load` is that over the loads' daily use; None where no use is known. [1]
    """

    energy_Wh: float
    to_load: float | None
    assumptions: tuple[str, ...]


def array_day_Wh(power_W: float, sun_hours_h: float, performance_ratio: float) -> float:
    """Return a day's energy of an array. [Wh]

    Hours of full sun are as many as the day's light has kWh/m2 (PVEducation); the ratio is what arrives of the rated
    power.
    """
    return power_W * sun_hours_h * performance_ratio


def performance_ratio(energy_Wh: float, power_W: float, sun_hours_h: float) -> float:
    """Return the share of the rated power that arrived: PR = (E / P) / hours of full sun (IEC 61724-1, from memory).

    Refusal if the power or the hours are not above 0.
    """
    if not (power_W > 0 and sun_hours_h > 0):
        raise Refusal("a performance ratio needs a peak power and hours of sun above 0")
    return energy_Wh / power_W / sun_hours_h


def compounded_loss_pct(losses_pct: Sequence[float]) -> float:
    """Return what losses one after another come to: what is kept multiplies, so it is less than their sum [%].

    Refusal if a loss is below 0 or is everything.
    """
    if not all(0 <= loss < 100 for loss in losses_pct):
        raise Refusal("each loss must be from 0 to under 100 %; correct losses_pct")
    return 100 * (1 - prod(1 - loss / 100 for loss in losses_pct))


def array_to_load(sun_hours_h: float, peak_A: float, daily_use_Ah: float) -> float:
    """Return array over load amp-hours a day: average kWh/m2 a day x amps at peak / use (IEEE 1013-2000, 3.1).

    Refusal if the use is not above 0.
    """
    if not (isfinite(daily_use_Ah) and daily_use_Ah > 0):
        raise Refusal("an array-to-load ratio needs a daily use above 0 Ah")
    return sun_hours_h * peak_A / daily_use_Ah


def performance_ratio_of(array: Array) -> Ratio | Missing:
    """Return the array's performance ratio: as given, or from its losses."""
    if array.performance_ratio is not None:
        return Ratio(array.performance_ratio, ("The performance ratio is the site file's (array.performance_ratio).",))
    if array.losses_pct is None:
        return Missing("yield of the array", ("array.performance_ratio", "array.losses_pct"))
    loss_pct = compounded_loss_pct(array.losses_pct)
    assumptions = (
        f"The losses of array.losses_pct, one after another, come to {loss_pct:.4g} %; the controller's and the bank's "
        "are not among them unless you listed them.",
    )
    return Ratio(1 - loss_pct / 100, assumptions)


def charging_A(array: Array, bank: Bank) -> Charging | Missing:
    """Return the amps the array puts into the bank in full sun.

    A PWM controller passes on the array's own amps at peak power (``array.current_A``); any other turns watts into
    amps at the charging voltage. Both times the performance ratio.
    """
    ratio = performance_ratio_of(array)
    if isinstance(ratio, Missing):
        return ratio
    # A PWM controller only connects panel and bank: amps stay as they are and the volts between are lost.
    if array.controller == "pwm" and array.current_A is not None:
        return Charging(
            array.current_A * ratio.value, (*ratio.assumptions, "A PWM controller passes on array.current_A.")
        )
    volts, source = charging_V(bank)
    pwm = array.controller == "pwm"
    more = ("A PWM controller passes on less than the watts say: add array.current_A, the amps at peak power.",)
    return Charging(array.power_W * ratio.value / volts, (*ratio.assumptions, source, *(more if pwm else ())))


def array_day(array: Array | None, *, daily_use_Wh: float | None = None) -> ArrayDay | Missing:
    """Return what the array brings on a usual day, and how it stands to what the loads take a day, at the bank. [Wh]

    Missing where there is no array, or its hours of sun or performance ratio are not given.
    """
    if array is None:
        return Missing("yield of the array", ("array",))
    ratio = performance_ratio_of(array)
    if isinstance(ratio, Missing):
        return ratio
    if array.sun_hours_h is None:
        return Missing("yield of the array", ("array.sun_hours_h",))
    energy_Wh = array_day_Wh(array.power_W, array.sun_hours_h, ratio.value)
    assumptions = (
        *ratio.assumptions,
        f"{array.sun_hours_h:g} h of full sun a day (array.sun_hours_h); a day under cloud brings far less.",
    )
    return ArrayDay(energy_Wh, energy_Wh / daily_use_Wh if daily_use_Wh else None, assumptions)
