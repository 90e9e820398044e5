"""State of charge from a rested voltage, for the chemistry that has a published table; rough, and said so."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from .distribution import combine
from .missing import Missing
from .within import Within, limit

if TYPE_CHECKING:
    from .site_parts import Bank

#: Rested volts of a 12 V flooded battery at 80 F and its state: a battery maker's published table. [%], [V]
RESTED_STATE_PCT: Final = (0.0, 25.0, 50.0, 75.0, 100.0)
RESTED_12V: Final = (11.89, 12.06, 12.24, 12.45, 12.65)
#: The same source: 0.024 V less for each 10 F below 80 F, for six cells.
VOLTS_PER_DEGF: Final = 0.0024
TABLE_DEGF: Final = 80.0
#: Published tables differ by 0.04 to 0.09 V from one another at the same state. [V for 12 V]
TABLES_DIFFER_V: Final = 0.09
#: Limit of error of a voltmeter nothing is known of: common practice, no source. A page of the trade reckons 1 % as
#: 15 % of state. [% of reading]
USUAL_VOLTMETER_PCT: Final = 0.5
#: Above full by more than this, the bank was not at rest: common practice, no source. [V for 12 V]
SURFACE_CHARGE_V: Final = 0.15

_FLAT: Final = (
    "the rested voltage of LiFePO4 is nearly flat from 20 to 90 % (from memory): no voltmeter tells the state there"
)


@dataclass(frozen=True)
class RestedState:
    """State of charge read from a rested voltage.

    Parameters
    ----------
    state_pct : Within
        State of charge and its 95 % interval, cut to 0 and 100. [%]
    at_80F_V : float
        The voltage carried to the table's temperature and to 12 V. [V]
    assumptions : tuple of str
        What it rests on, in plain sentences.
    """

    state_pct: Within
    at_80F_V: float
    assumptions: tuple[str, ...]


def rested_state(bank: Bank, rested_V: float, *, voltmeter_pct: float = USUAL_VOLTMETER_PCT) -> RestedState | Missing:
    """Return the state of charge that a rested voltage stands for.

    Parameters
    ----------
    bank : Bank
        Its chemistry, nominal voltage and temperature are used.
    rested_V : float
        Voltage of the whole bank after hours without charge and without load. [V]
    voltmeter_pct : float
        Limit of error of the voltmeter. [% of reading]

    Returns
    -------
    RestedState or Missing
        Rough: published tables alone differ by 5 to 13 % of state. Missing for any chemistry but flooded lead-acid.
    """
    what = "state of charge from a rested voltage"
    if bank.chemistry == "lifepo4":
        return Missing(what, ("bank.start_state_pct",), _FLAT)
    if bank.chemistry is None:
        return Missing(what, ("bank.chemistry",), "the table to read depends on the chemistry")
    if bank.chemistry != "flooded_lead_acid":
        return Missing(what, ("bank.start_state_pct",), "only flooded lead-acid has a published table here")
    scale = 12.0 / bank.nominal_V
    celsius = bank.at_degC
    warmer_F = 0.0 if celsius is None else TABLE_DEGF - (celsius * 1.8 + 32)
    at_80F_V = rested_V * scale + VOLTS_PER_DEGF * warmer_F
    if at_80F_V > RESTED_12V[-1] + SURFACE_CHARGE_V:
        return Missing(what, (), f"{rested_V:g} V is above that of a full bank at rest: it was charging, or just had")
    if at_80F_V < RESTED_12V[0] - 1:
        return Missing(what, (), f"{rested_V:g} V is far below that of an empty bank at rest; check the volts")
    errors = [limit("tables", TABLES_DIFFER_V), limit("voltmeter", voltmeter_pct / 100 * rested_V * scale)]
    half_V = combine(errors).half
    return RestedState(
        Within(_state_pct(at_80F_V), _state_pct(at_80F_V - half_V), _state_pct(at_80F_V + half_V)),
        at_80F_V,
        _assumptions(bank, voltmeter_pct),
    )


def _state_pct(volts: float) -> float:
    return float(np.interp(volts, RESTED_12V, RESTED_STATE_PCT))


def _assumptions(bank: Bank, voltmeter_pct: float) -> tuple[str, ...]:
    shown = bank.shown
    ten_F = f"{10 * VOLTS_PER_DEGF:.3f} V belongs to each {shown.of_warming(10 / 1.8)} (12 V battery)"
    warmth = (
        f"The bank's temperature is not given; it was taken as {shown.of_temperature((TABLE_DEGF - 32) / 1.8)}, that "
        "of the table."
        if bank.at_degC is None
        else f"The bank's temperature was taken as {shown.of_temperature(bank.at_degC)}; {ten_F}."
    )
    return (
        "The bank had rested for hours without charge and without load; under load or after charging, volts mislead.",
        f"A battery maker's table of flooded 12 V batteries; others differ by up to {TABLES_DIFFER_V:g} V.",
        warmth,
        f"The voltmeter is within {voltmeter_pct:g} % of what it shows (common practice, no source, unless you know).",
    )
