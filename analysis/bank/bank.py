"""What a bank can still give and what it needs back: rate, runtime, recharge, and the size that a load asks for."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite
from typing import Final

from ..equipment.bank_voltage import charging_V
from ..equipment.solar import array_day, charging_A
from ..not_known import Missing, Refusal
from ..site.battery_kinds import COLD_SOURCE, kind_of
from ..site.tables import Array, Bank
from ..stats.interval95 import Within
from ..wording import figure
from .peukert import cold_multiplier, peukert_Ah
from .state_of_charge import charge_efficiency

NOTHING: Final = Within(0.0, 0.0, 0.0)


@dataclass(frozen=True)
class DrawRate:
    """A draw against the bank's size: 0.1 for each hour empties the rated charge in ten hours.

    `rated_A` is the draw at which the capacity was rated: capacity / hour rate.
    """

    current_A: float
    per_h: float
    rated_A: float | None

    @property
    def hours(self) -> float:
        """Hours to the rated charge at this draw, as in "C/10" [h]."""
        return 1 / self.per_h


@dataclass(frozen=True)
class Runtime:
    """How long the bank lasts at a draw, down to the depth its owner allows.

    What remains and its time are by counting; `peukert_h` is a separate estimate for a lead-acid bank at this very
    draw, made with `exponent`, and never more than by counting.
    """

    current_A: float
    counted_Ah: Within
    counted_h: Within
    peukert_h: Within | None
    exponent: float | None
    assumptions: tuple[str, ...]


@dataclass(frozen=True)
class Recharge:
    """What it takes to put back what was taken out. Hours and days are lower bounds, because of the taper near full.

    What is owed is what was taken out over the charge efficiency, and that at charging voltage. `sun_h` are hours of
    full sun with nothing else drawing; `days` are at the site's hours of sun, after what the loads use each day.
    """

    owed_Ah: float
    owed_Wh: float
    sun_h: float
    days: float | Missing
    daily_use_Wh: Within
    assumptions: tuple[str, ...]


@dataclass(frozen=True)
class BankSize:
    """The size a use asks for: over the days, over the usable depth, in the cold; and that over nominal voltage."""

    autonomy_Wh: float
    with_depth_Wh: float
    cold_Wh: float
    capacity_Ah: float


def rate(bank: Bank, current_A: float) -> DrawRate:
    """Return a draw against the bank's size; Refusal if it is not above 0 [A]."""
    _check("the draw", current_A)
    rated_A = None if bank.hour_rate_h is None else bank.capacity_Ah / bank.hour_rate_h
    return DrawRate(current_A, current_A / bank.capacity_Ah, rated_A)


def runtime(bank: Bank, state_pct: Within, current_A: float) -> Runtime | Missing:
    """Return how long the bank lasts at a steady draw, down to its usable depth; Missing where no depth is given.

    For lead-acid Peukert's law and the cold make a separate estimate. The interval is that of the state of charge
    alone. Refusal if the draw is not above 0.
    """
    _check("the draw", current_A)
    if bank.usable_depth_pct is None:
        return Missing("runtime left", ("bank.usable_depth_pct",))
    floor_pct = 100 - bank.usable_depth_pct
    # Below the allowed depth nothing is left; the ends are cut by themselves, so the interval may be lopsided.
    share = Within(*(max(pct - floor_pct, 0.0) / 100 for pct in (state_pct.value, state_pct.low, state_pct.high)))
    counted_Ah = share.scaled(bank.capacity_Ah)
    factor, exponent, assumptions = _gives(bank, current_A)
    return Runtime(
        current_A,
        counted_Ah,
        counted_Ah.scaled(1 / current_A),
        None if factor is None else counted_Ah.scaled(factor / current_A),
        exponent,
        (
            f"The bank may be run down to {floor_pct:g} % of its rated charge (bank.usable_depth_pct).",
            f"The draw stays at {current_A:.4g} A; at falling voltage an inverter takes more amps.",
            *assumptions,
        ),
    )


def _gives(bank: Bank, current_A: float) -> tuple[float | None, float | None, list[str]]:
    """Return which share of the rated charge a lead-acid bank gives at a draw, the exponent, and what it rests on."""
    usual = kind_of(bank.chemistry).peukert_exponent
    if usual is None:
        not_judged = ["No estimate by Peukert's law: it is made for lead-acid (bank.chemistry)."]
        if bank.at_degC is not None and bank.at_degC < 0:
            not_judged.append("What the frost takes from it was not judged: each maker of its kind has other figures.")
        return None, None, not_judged
    if bank.hour_rate_h is None:
        return (
            None,
            None,
            [f"No estimate by Peukert's law{_nor_cold(bank)}: add bank.hour_rate_h, the hours of the rated capacity."],
        )
    exponent = bank.peukert_exponent
    assumptions = []
    if exponent is None:
        exponent = usual
        assumptions.append(
            f"Peukert's exponent was taken as {exponent:g}, usual for its kind (trade pages, a wide range)."
        )
    # Below the rated draw the law promises more than the rated charge, which nobody has measured: cut there.
    share = min(peukert_Ah(bank.capacity_Ah, bank.hour_rate_h, current_A, exponent) / bank.capacity_Ah, 1.0)
    assumptions.append(
        "Peukert's law is made for a steady draw; a bank that rests between runs recovers and gives more."
    )
    # The exponent is that of a warm bank (from memory), so what the cold takes comes on top of it.
    if bank.at_degC is not None and (multiplier := cold_multiplier(bank.at_degC)) > 1:
        share /= multiplier
        cold = bank.shown.of_temperature(bank.at_degC)
        assumptions.append(f"At {cold} it gives 1/{multiplier:.3g} of that ({COLD_SOURCE}).")
    return share, exponent, assumptions


def _nor_cold(bank: Bank) -> str:
    """Say that the cold is left out with the law, where it would take something."""
    if bank.at_degC is None or (multiplier := cold_multiplier(bank.at_degC)) <= 1:
        return ""
    return f", nor of the {bank.shown.of_temperature(bank.at_degC)}, where it gives 1/{multiplier:.3g} of its charge"


def recharge(bank: Bank, array: Array | None, taken_Ah: float, *, daily_use_Wh: Within = NOTHING) -> Recharge | Missing:
    """Return what it takes to put back what was taken out.

    Missing without an array or its performance ratio, and where more came back than was taken out. Refusal if the
    charge is no number, or the use below 0.

    Parameters
    ----------
    bank, array : Bank, Array or None
        The site's.
    taken_Ah : float
        Net charge out of the bank. [Ah]
    daily_use_Wh : Within
        What all loads take each day meanwhile, by night and in the sun. [Wh]
    """
    if not (isfinite(taken_Ah) and isfinite(daily_use_Wh.high) and 0 <= daily_use_Wh.low <= daily_use_Wh.high):
        raise Refusal("a recharge needs the charge taken out, and a daily use of 0 Wh or more")
    if taken_Ah < 0:
        return Missing("time to recharge", (), "more was put in than taken out, so nothing is owed")
    if array is None:
        return Missing("time to recharge", ("array",))
    amps = charging_A(array, bank)
    if isinstance(amps, Missing):
        return amps
    efficiency, _, efficiency_source = charge_efficiency(bank)
    volts, volts_source = charging_V(bank)
    # More must go in than came out; volts do not matter to amp-hours, but they do to the watt-hours of the array.
    owed_Ah = taken_Ah / efficiency
    assumptions = (
        efficiency_source,
        volts_source,
        *amps.assumptions,
        "A lower bound: near full the charger lets less and less in, and the last 10 to 20 % take hours (from memory).",
    )
    owed_Wh = owed_Ah * volts
    sun_h, days = owed_Ah / amps.current_A, _days(array, owed_Wh, daily_use_Wh)
    return Recharge(owed_Ah, owed_Wh, sun_h, days, daily_use_Wh, tuple(dict.fromkeys(assumptions)))


def _days(array: Array, owed_Wh: float, use_Wh: Within) -> float | Missing:
    day = array_day(array)
    if isinstance(day, Missing):
        return Missing("days to recharge", day.add)
    if owed_Wh <= 0:
        return 0.0
    brings = f"the array brings {figure(day.energy_Wh, 'Wh')} on a usual day"
    # What is put back is what the array brings beyond the use, which at either end of the use may be nothing.
    if day.energy_Wh <= use_Wh.low:
        taken = f"the loads take {figure(use_Wh.value, 'Wh')} a day and {brings}"
        return Missing("days to recharge", (), f"{taken}: at this use it never gets full")
    if day.energy_Wh <= use_Wh.high:
        taken = f"the loads take {figure(use_Wh.low, 'Wh')} to {figure(use_Wh.high, 'Wh')} a day and {brings}"
        return Missing("days to recharge", (), f"{taken}: whether it gets full at this use is not known")
    return owed_Wh / (day.energy_Wh - use_Wh.value)


def bank_size(
    daily_use_Wh: float, *, days: float, usable_depth_pct: float, nominal_V: float, multiplier: float = 1.0
) -> BankSize:
    """Return the bank that a daily use asks for at the bank, in the order of a worksheet (after IEEE 1013).

    Refusal if a figure is not above 0, or the depth is over 100 %.

    Parameters
    ----------
    days : float
        Days without sun. [d]
    usable_depth_pct : float
        How far it may be run down. [%]
    multiplier : float
        For the cold, see `cold_multiplier`. [1]
    """
    figures = {"daily use": daily_use_Wh, "days": days, "usable_depth_pct": usable_depth_pct, "nominal_V": nominal_V}
    for what, value in figures.items():
        _check(what, value)
    if usable_depth_pct > 100:
        raise Refusal(f"usable_depth_pct must be at most 100, not {usable_depth_pct:g}")
    # Depth before cold: a cold bank gives a smaller share of its charge, whichever depth is allowed of it.
    autonomy_Wh = daily_use_Wh * days
    with_depth_Wh = autonomy_Wh / (usable_depth_pct / 100)
    cold_Wh = with_depth_Wh * multiplier
    return BankSize(autonomy_Wh, with_depth_Wh, cold_Wh, cold_Wh / nominal_V)


def _check(what: str, value: float) -> None:
    if not (isfinite(value) and value > 0):
        raise Refusal(f"{what} must be a number above 0, not {value:g}")
