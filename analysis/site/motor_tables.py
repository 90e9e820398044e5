"""Published tables of motors: full-load current, code letters, starts per day.

None of these is a measurement. The tables of the NEC are made for sizing conductors and are deliberately on the safe
side; a plate beats the table, and a measured current beats the plate.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt
from typing import Final

from ..not_known import Refusal

#: How long the start of a small motor lasts where the site file does not say: common practice, no source (no standard
#: gives a duration; a lightly loaded submersible usually takes well under a second, from memory). [s]
USUAL_START_S: Final = 0.5
#: What a single-phase motor draws before it turns over what it draws running: pages of the trade give so much for pumps
#: and compressors. [1]
LEAST_AT_START: Final = 3.0
MOST_AT_START: Final = 7.0

FULL_LOAD_SOURCE: Final = "NEC Table 430.248 (single-phase motors)"
FULL_LOAD_3_SOURCE: Final = "NEC Table 430.250 (three-phase motors, from memory)"
CODE_LETTER_SOURCE: Final = "NEC Table 430.7(B)"
STARTS_SOURCE: Final = (
    "a submersible-motor manual's table of starts; Water Well Journal, 'Tank Selection by the Numbers'"
)
#: A note to that table; it names no other size.
REDUCED_SOURCE: Final = f"{STARTS_SOURCE}: its note on a reduced-voltage starter or drive"

# NEC Table 430.248: rated horsepower, and full-load amps at 115, 200, 208 and 230 V.
_FULL_LOAD_A: Final = (
    (1 / 6, (4.4, 2.5, 2.4, 2.2)),
    (1 / 4, (5.8, 3.3, 3.2, 2.9)),
    (1 / 3, (7.2, 4.1, 4.0, 3.6)),
    (1 / 2, (9.8, 5.6, 5.4, 4.9)),
    (3 / 4, (13.8, 7.9, 7.6, 6.9)),
    (1, (16.0, 9.2, 8.8, 8.0)),
    (1.5, (20.0, 11.5, 11.0, 10.0)),
    (2, (24.0, 13.8, 13.2, 12.0)),
    (3, (34.0, 19.6, 18.7, 17.0)),
    (5, (56.0, 32.2, 30.8, 28.0)),
    (7.5, (80.0, 46.0, 44.0, 40.0)),
    (10, (100.0, 57.5, 55.0, 50.0)),
)

# The table's columns, and the system voltages it says they cover: 110 to 120 V and 220 to 240 V.
_COLUMNS: Final = ((110.0, 120.0), (200.0, 200.0), (208.0, 208.0), (220.0, 240.0))

# NEC Table 430.250: rated horsepower, and full-load amps of three phases at 200, 208, 230, 460 and 575 V.
_FULL_LOAD_3_A: Final = (
    (1 / 2, (2.5, 2.4, 2.2, 1.1, 0.9)),
    (3 / 4, (3.7, 3.5, 3.2, 1.6, 1.3)),
    (1, (4.8, 4.6, 4.2, 2.1, 1.7)),
    (1.5, (6.9, 6.6, 6.0, 3.0, 2.4)),
    (2, (7.8, 7.5, 6.8, 3.4, 2.7)),
    (3, (11.0, 10.6, 9.6, 4.8, 3.9)),
    (5, (17.5, 16.7, 15.2, 7.6, 6.1)),
    (7.5, (25.3, 24.2, 22.0, 11.0, 9.0)),
    (10, (32.2, 30.8, 28.0, 14.0, 11.0)),
)
_COLUMNS_3: Final = ((200.0, 200.0), (208.0, 208.0), (220.0, 240.0), (440.0, 480.0), (550.0, 600.0))

# NEC Table 430.7(B): locked-rotor kVA per horsepower, from and to. The last row has no upper end.
# B ends at 3.54, the only figure that joins on to C; some copies print 3.55.
CODE_LETTERS_KVA_PER_HP: Final[dict[str, tuple[float, float | None]]] = {
    "A": (0.0, 3.14),
    "B": (3.15, 3.54),
    "C": (3.55, 3.99),
    "D": (4.0, 4.49),
    "E": (4.5, 4.99),
    "F": (5.0, 5.59),
    "G": (5.6, 6.29),
    "H": (6.3, 7.09),
    "J": (7.1, 7.99),
    "K": (8.0, 8.99),
    "L": (9.0, 9.99),
    "M": (10.0, 11.19),
    "N": (11.2, 12.49),
    "P": (12.5, 13.99),
    "R": (14.0, 15.99),
    "S": (16.0, 17.99),
    "T": (18.0, 19.99),
    "U": (20.0, 22.39),
    "V": (22.4, None),
}


@dataclass(frozen=True)
class LockedRotor:
    """The current of a motor that is switched on and does not turn yet; `high_A` is None for V, which is open above."""

    low_A: float
    high_A: float | None


@dataclass(frozen=True)
class StartsLimit:
    """How often a submersible motor may start in a day, on average and spread evenly: bursts are their own matter."""

    per_day: int
    source: str


def full_load_source(phases: int = 1) -> str:
    """Return which table has the full-load current of a motor of 1 or 3 `phases`."""
    return FULL_LOAD_3_SOURCE if phases == 3 else FULL_LOAD_SOURCE


def full_load_A(hp: float, voltage_V: float, phases: int = 1) -> float:
    """Return the full-load current of NEC Table 430.248, of three phases of Table 430.250. [A]

    It is on the safe side: a sizing value, not what the motor will draw.

    Raises
    ------
    Refusal
        If the table has no row or no column for the motor.
    """
    rows, columns = (_FULL_LOAD_3_A, _COLUMNS_3) if phases == 3 else (_FULL_LOAD_A, _COLUMNS)
    source = full_load_source(phases)
    column = next((i for i, (low, high) in enumerate(columns) if low <= voltage_V <= high), None)
    if column is None:
        *first, last = (f"{low:g}" if low == high else f"{low:g} to {high:g}" for low, high in columns)
        raise Refusal(
            f"{source} has no column for {voltage_V:g} V (it has {', '.join(first)} and {last} V); "
            f"give current_A from the plate"
        )
    # A size between two rows takes the larger row, as sizing does.
    # A third or a sixth of a horsepower is written with few digits on a plate: 0.33 is the row of 1/3.
    row = next((amps for size, amps in rows if size >= hp * 0.98), None)
    if row is None:
        raise Refusal(f"{source} ends at 10 hp, the motor has {hp:g} hp; give current_A from the plate")
    return row[column]


def locked_rotor(code_letter: str, hp: float, voltage_V: float, phases: int = 1) -> LockedRotor:
    """Return the locked-rotor current that a plate's code letter stands for (NEC Table 430.7(B)).

    `voltage_V` is the rated voltage, not that of the supply; `phases` 1 or 3.

    Raises
    ------
    Refusal
        If the table has no such letter.
    """
    if code_letter not in CODE_LETTERS_KVA_PER_HP:
        raise Refusal(f"{CODE_LETTER_SOURCE} has no letter '{code_letter}'; give locked_rotor_A instead")
    low, high = CODE_LETTERS_KVA_PER_HP[code_letter]
    # Three phases share the volt-amperes: the current of each is less by the root of 3.
    amps_per_kVA_per_hp = hp * 1000 / (voltage_V * (sqrt(3) if phases == 3 else 1))
    return LockedRotor(low * amps_per_kVA_per_hp, None if high is None else high * amps_per_kVA_per_hp)


def starts_limit(hp: float, phases: int = 1, *, reduced: bool = False) -> StartsLimit:
    """Return how many starts a day a submersible motor of 1 or 3 `phases` may make on average.

    `reduced`: it is brought up at reduced voltage, by a soft starter or a drive.

    Raises
    ------
    Refusal
        If the table has no row for the motor: single-phase above 30 hp.
    """
    # The table prints no row between 0.75 and 1 hp, between 5.5 and 7.5 hp and between 30 and 40 hp; the stricter
    # neighbour is taken.
    if hp <= 0.75:
        return StartsLimit(300, STARTS_SOURCE)
    if phases == 3 and 5.5 < hp <= 30 and reduced:
        return StartsLimit(200, REDUCED_SOURCE)
    if phases == 3:
        return StartsLimit(300 if hp <= 5.5 else 100, STARTS_SOURCE)
    if hp > 30:
        raise Refusal(f"no limit of starts is published for a single-phase motor of {hp:g} hp; give starts_per_day")
    return StartsLimit(100 if hp <= 5.5 else 50, STARTS_SOURCE)
