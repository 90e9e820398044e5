"""What a bank's voltage after hours of rest tells of its state, by its kind's table; and where its acid freezes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from ..not_known import Missing
from ..site.battery_kinds import (
    ACID_FREEZES,
    FREEZES_SOURCE,
    LEAD_CELL_V_PER_K,
    VOLTS_LESS_GRAVITY,
    RestTable,
    kind_of,
)
from ..stats.interval95 import Within, combine, limit

if TYPE_CHECKING:
    from ..site.tables import Bank

#: Limit of error of a voltmeter nothing is known of: common practice, no source. A page of the trade reckons 1 % as
#: 15 % of state. [% of reading]
USUAL_VOLTMETER_PCT: Final = 0.5
#: Above full by more than this, the bank was not at rest: common practice, no source. [V for 12 V]
SURFACE_CHARGE_V: Final = 0.2
#: How far a bank that nothing is known of may be from the table's temperature: common practice, no source. [K]
USUAL_WARMTH_K: Final = 20.0

#: Every table is of six cells, 12 V of lead-acid.
_CELLS: Final = 6


@dataclass(frozen=True)
class RestedState:
    """State of charge from a rested voltage, cut to 0 and 100 [%].

    `in_table_V` is that voltage as it would be at the table's temperature, of 12 V nominal. [V]
    """

    state_pct: Within
    in_table_V: float
    assumptions: tuple[str, ...]


@dataclass(frozen=True)
class Freezing:
    """Where a lead-acid battery's acid begins to freeze [degC], at a state of charge. [%]"""

    state_pct: float
    gravity: float
    at_degC: float
    source: str


def rested_state(bank: Bank, rested_V: float, *, voltmeter_pct: float = USUAL_VOLTMETER_PCT) -> RestedState | Missing:
    """Return the state of charge that a bank's voltage stands for after hours without charge and without load.

    `voltmeter_pct` is the limit of error of the voltmeter, of its reading. Rough: published tables alone differ by 5 to
    15 % of state. Missing for a kind without a table.
    """
    what = "state of charge from a rested voltage"
    if bank.chemistry is None:
        return Missing(what, ("bank.chemistry",), "the table to read depends on the chemistry")
    table = kind_of(bank.chemistry).rest
    if not isinstance(table, RestTable):
        return Missing(what, ("bank.start_state_pct",), table)
    scale = 12.0 / bank.nominal_V
    # A cold cell at rest stands a little lower at the same state: by what reacts in it, not by how its acid shrinks.
    warmer_K = 0.0 if bank.at_degC is None else table.at_degC - bank.at_degC
    in_table_V = rested_V * scale + _CELLS * LEAD_CELL_V_PER_K.value * warmer_K
    if in_table_V > table.volts[-1] + SURFACE_CHARGE_V:
        return Missing(what, (), f"{rested_V:g} V is above that of a full bank at rest: it was charging, or just had")
    if in_table_V < table.volts[0] - 1:
        return Missing(what, (), f"{rested_V:g} V is far below that of an empty bank at rest; check the volts")
    # The voltmeter is off in its own volts, the tables in those of a 12 V battery: both in the latter.
    errors = [limit("tables", table.differ_V), limit("voltmeter", voltmeter_pct / 100 * rested_V * scale)]
    errors.append(limit("warmth", _warmth_V(bank, warmer_K)))
    half_V = combine(errors).half
    return RestedState(
        Within(*(_state_pct(table, in_table_V + side * half_V) for side in (0, -1, 1))),
        in_table_V,
        _assumptions(bank, table, voltmeter_pct),
    )


def _state_pct(table: RestTable, volts: float) -> float:
    return float(np.interp(volts, table.volts, table.state_pct))


def _warmth_V(bank: Bank, warmer_K: float) -> float:
    """Return how far the correction for the bank's temperature may be off, for 12 V. [V]"""
    per_K = LEAD_CELL_V_PER_K.value * USUAL_WARMTH_K if bank.at_degC is None else LEAD_CELL_V_PER_K.off * abs(warmer_K)
    return _CELLS * per_K


def _assumptions(bank: Bank, table: RestTable, voltmeter_pct: float) -> tuple[str, ...]:
    shown = bank.shown
    ten_K_V = 10 * _CELLS * LEAD_CELL_V_PER_K.value
    ten_K = f"{1000 * ten_K_V:.0f} mV belong to each {shown.of_warming(10)} (12 V battery; {LEAD_CELL_V_PER_K.source})"
    warmth = (
        f"The bank's temperature is not given; it was taken as {shown.of_temperature(table.at_degC)}, that of the "
        f"table, give or take {shown.of_warming(USUAL_WARMTH_K)}."
        if bank.at_degC is None
        else f"The bank's temperature was taken as {shown.of_temperature(bank.at_degC)}; {ten_K}."
    )
    return (
        "The bank had rested for hours without charge and without load; under load or after charging, volts mislead.",
        f"{table.whose}; others differ by up to {table.differ_V:g} V.",
        warmth,
        f"The voltmeter is within {voltmeter_pct:g} % of what it shows (common practice, no source, unless you know).",
    )


def freezing(bank: Bank, state_pct: float) -> Freezing | Missing:
    """Return where a bank's acid begins to freeze at a state of charge [%]; Missing of a kind without such acid.

    The emptier, the thinner the acid, and the sooner it freezes.
    """
    table = kind_of(bank.chemistry).rest
    if not isinstance(table, RestTable):
        keys = () if bank.chemistry else ("bank.chemistry",)
        return Missing("word on freezing", keys, "only the acid of lead-acid is known to freeze by its state")
    gravity = float(np.interp(state_pct, table.state_pct, table.gravity))
    rows, degC = zip(*ACID_FREEZES, strict=True)
    source = FREEZES_SOURCE
    if bank.chemistry != "flooded_lead_acid":
        source += f"; its acid by its volts at rest, less {VOLTS_LESS_GRAVITY:g} V a cell"
    return Freezing(state_pct, gravity, float(np.interp(gravity, rows, degC)), source)


def lowest_pct(bank: Bank) -> float:
    """Return how far down its owner runs a bank; to nothing where no depth is given. [%]"""
    return 0.0 if bank.usable_depth_pct is None else 100 - bank.usable_depth_pct
