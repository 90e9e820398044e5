"""What is usual of each kind of battery: the one place for its figures, each with where it is from.

A site file's own figure goes before any of these. Where no maker and no standard can be named for a kind there is no
figure, and what needs it is not judged.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class UsualFigure:
    """A figure that is usual of a kind, how far off it may be, and where it is from."""

    value: float
    off: float
    source: str


@dataclass(frozen=True)
class RestTable:
    """Volts of a 12 V battery after hours of rest, by its state, and how thick its acid is then.

    Parameters
    ----------
    state_pct, volts, gravity : tuple of float
        Rising rows. [%], [V], [1]
    differ_V : float
        How far other published tables lie from this one, for 12 V. [V]
    at_degC : float
        What the table is made for. [degC]
    whose : str
        Where it is from, as it stands at the beginning of a sentence.
    """

    state_pct: tuple[float, ...]
    volts: tuple[float, ...]
    gravity: tuple[float, ...]
    differ_V: float
    at_degC: float
    whose: str


@dataclass(frozen=True)
class DrawOverSize:
    """A draw over the rated capacity: up to what a battery gives it at ease, and what is too much. [1/h]"""

    at_ease: float
    most: float


@dataclass(frozen=True)
class ChargeOverSize:
    """Amps put in over the rated capacity that are usual: from the least to the most, and where from. [1/h]"""

    least: float
    most: float
    source: str


@dataclass(frozen=True)
class BatteryKind:
    """The figures of a kind of battery.

    Parameters
    ----------
    word : str
        What it is called in a sentence; empty where the kind is not known.
    cell_V : float
        Nominal voltage of a cell. [V]
    loaded, charging : UsualFigure
        Voltage of a cell under a running load, and while it is charged. [V]
    charge_efficiency : UsualFigure
        Of the charge put in, how much comes out again. [%]
    rest : RestTable or str
        A string says why its voltage at rest does not tell its state.
    peukert_exponent : float or None
        None where Peukert's law is not made for it.
    charge_over_size : ChargeOverSize or None
        None where nothing is usual of it: then only its maker's limit says how much a charger may put in.
    """

    word: str
    cell_V: float
    loaded: UsualFigure
    charging: UsualFigure
    charge_efficiency: UsualFigure
    rest: RestTable | str
    peukert_exponent: float | None = None
    running: DrawOverSize | None = None
    starting: DrawOverSize | None = None
    empty: UsualFigure | None = None
    charge_over_size: ChargeOverSize | None = None


#: How the voltage of a lead-acid cell at rest follows its temperature, the acid being the same. By the entropies of
#: what reacts in it: 2 F dE/dT = 2 S(PbSO4) + 2 S(H2O) - S(Pb) - S(PbO2) - 2 S(HSO4-) = 40 J/K, so 0.21 mV/K for acid
#: of unit activity; measured 0.21 to 0.32 for acid of 1.12 to 1.28 (Vinal, Storage Batteries; both from memory). A
#: hydrometer's 0.004 for each 10 F is the acid's expansion, which no voltmeter sees. [V/K]
LEAD_CELL_V_PER_K: Final = UsualFigure(0.00025, 0.0001, "electrochemistry: 0.2 to 0.3 mV/K a cell, from memory")

#: Volts of a cell at rest less the specific gravity of its acid: a rule of the trade, from memory. [V]
VOLTS_LESS_GRAVITY: Final = 0.845

#: Specific gravity of sulphuric acid and where it begins to freeze: Vinal, Storage Batteries, from memory. [1], [degC]
ACID_FREEZES: Final = (
    (1.000, 0.0), (1.050, -3.3), (1.100, -7.8), (1.150, -15.0), (1.200, -27.0), (1.250, -52.0), (1.300, -70.0),
)  # fmt: skip
FREEZES_SOURCE: Final = "by Vinal's Storage Batteries, from memory"

#: degF and how much larger a lead-acid bank must be for the same charge: two pages of battery sizing that agree, one
#: of them an inverter's installation manual; from 40 to 70 F they are the factors of IEEE 485, Table 1 (from memory).
COLD_MULTIPLIER: Final = (
    (20.0, 1.59),
    (30.0, 1.40),
    (40.0, 1.30),
    (50.0, 1.19),
    (60.0, 1.11),
    (70.0, 1.04),
    (80.0, 1.00),
)
COLD_SOURCE: Final = "a battery-sizing table of the trade, as IEEE 485 has it from memory"

#: Below it a lithium iron phosphate cell must not be charged, or metal grows in it: makers' data sheets, 0 to 45 degC
#: for charging, from memory. [degC]
LITHIUM_CHARGES_FROM_DEGC: Final = 0.0

_STATE_PCT: Final = (0.0, 25.0, 50.0, 75.0, 100.0)
_LEAD_LOADED: Final = UsualFigure(
    1.9, 0.1, "a running load may be reckoned at 95 % of system voltage (IEEE 1013-2007, 5.2)"
)
# The gravities of the first table are its maker's own; those of sealed batteries, which nobody can measure, follow from
# their volts.
_FLOODED_REST: Final = RestTable(
    _STATE_PCT,
    (11.89, 12.06, 12.24, 12.45, 12.65),
    (1.120, 1.155, 1.190, 1.225, 1.265),
    0.09,
    (80 - 32) / 1.8,
    "A battery maker's table of flooded 12 V batteries",
)


def _sealed(volts: tuple[float, ...], word: str) -> RestTable:
    gravity = tuple(x / 6 - VOLTS_LESS_GRAVITY for x in volts)
    whose = f"A battery maker's table of 12 V {word} batteries (East Penn's manual on sealed batteries, from memory)"
    # Another maker has 12.84, 12.54, 12.24, 11.94 and 11.64 V for both kinds (Trojan's user guide, from memory).
    return RestTable(_STATE_PCT, volts, gravity, 0.16, 25.0, whose)


_FLAT: Final = (
    "the rested voltage of LiFePO4 is nearly flat from 20 to 90 % (from memory): no voltmeter tells the state there"
)
_MEMORY: Final = "usual for its kind, from memory; bank.charge_efficiency_pct says it better"
_LEAD_EMPTY: Final = UsualFigure(1.75, 0.05, "1.75 V a lead-acid cell, common practice, from memory")

#: Where the draws over size below are from; thin plates of AGM give more.
SIZE_SOURCE: Final = "common practice, no source"

#: Less than a tenth takes more than a day to fill a bank; more than a fifth makes liquid acid gas and warms plates.
_LEAD_CHARGE: Final = ChargeOverSize(0.1, 0.2, SIZE_SOURCE)

#: Each kind by the word of the site file. Peukert's exponents are the middle of wide ranges on pages of the trade:
#: flooded 1.2 to 1.6, gel 1.1 to 1.25, AGM 1.05 to 1.15.
KINDS: Final = {
    "flooded_lead_acid": BatteryKind(
        "flooded lead-acid",
        2.0,
        _LEAD_LOADED,
        UsualFigure(2.4, 0.05, "2.35 to 2.45 V a cell by makers' guides, from memory"),
        UsualFigure(90.0, 5.0, _MEMORY),
        _FLOODED_REST,
        1.25,
        DrawOverSize(0.25, 1.0),
        DrawOverSize(1.0, 3.0),
        _LEAD_EMPTY,
        _LEAD_CHARGE,
    ),
    "agm": BatteryKind(
        "AGM",
        2.0,
        _LEAD_LOADED,
        UsualFigure(2.4, 0.05, "2.35 to 2.45 V a cell by makers' guides, from memory"),
        UsualFigure(96.0, 2.0, _MEMORY),
        _sealed((11.80, 12.00, 12.30, 12.60, 12.80), "AGM"),
        1.1,
        DrawOverSize(1 / 3, 1.0),
        DrawOverSize(2.0, 5.0),
        _LEAD_EMPTY,
        ChargeOverSize(0.1, 0.25, SIZE_SOURCE),
    ),
    "gel": BatteryKind(
        "gel",
        2.0,
        _LEAD_LOADED,
        UsualFigure(14.0 / 6, 0.03, "2.3 to 2.35 V a cell by makers' guides, from memory"),
        UsualFigure(96.0, 2.0, _MEMORY),
        _sealed((11.80, 12.00, 12.35, 12.65, 12.85), "gel"),
        1.15,
        DrawOverSize(0.25, 1.0),
        DrawOverSize(1.0, 3.0),
        _LEAD_EMPTY,
        _LEAD_CHARGE,
    ),
    "lifepo4": BatteryKind(
        "LiFePO4",
        3.2,
        # The flat part of its discharge, from some 90 to 20 % full, lies at 3.2 to 3.3 V.
        UsualFigure(3.2, 0.1, "lithium iron phosphate stands at about 3.2 V a cell under load (from memory)"),
        UsualFigure(3.45, 0.1, "3.45 V a cell, from memory"),
        UsualFigure(99.0, 1.0, _MEMORY),
        _FLAT,
        charge_over_size=ChargeOverSize(0.1, 0.5, SIZE_SOURCE),
    ),
}  # fmt: skip

LEAD_ACID: Final = tuple(word for word, kind in KINDS.items() if kind.cell_V == 2.0)

#: Of a kind that is not known: the standard's share of lead-acid, and what goes for most.
OTHER_KIND: Final = BatteryKind(
    "",
    2.0,
    _LEAD_LOADED,
    UsualFigure(2.3, 0.15, "common practice, no source"),
    UsualFigure(90.0, 10.0, _MEMORY),
    "no maker's or standard's table can be named for this kind",
)


def kind_of(chemistry: str | None) -> BatteryKind:
    """Return the figures of the kind that a site file names; what goes for most where it names none of these."""
    return KINDS.get(chemistry or "", OTHER_KIND)
