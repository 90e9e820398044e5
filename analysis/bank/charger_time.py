"""How long a charger takes to put back what was taken, and whether its amps suit the bank."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite
from typing import Final

from ..equipment.judged import Judgement
from ..site.battery_kinds import kind_of
from ..site.tables import Bank, Charger
from ..stats.interval95 import Within
from ..wording import figure
from .state_of_charge import charge_efficiency

#: Plates and rules of thumb are round: C/10.5 is about C/10. [1]
_ABOUT: Final = 0.9
#: What every time by a charger leaves out; its rated amps are those of the bulk of a charge.
TAPER_LEFT_OUT: Final = (
    "The charger was taken to give its rated amps all along, with nothing else drawing: that it tapers near full was "
    "left out, and the last 10 to 20 % take hours more (from memory)."
)


@dataclass(frozen=True)
class ChargerTime:
    """How long a charger takes to put back what was taken, a lower bound.

    ``current_A`` is its rated amps, or the most that the bank takes in. The interval of ``hours`` is that of what was
    taken and of how much of it comes out again.
    """

    charger: str
    current_A: float
    hours: Within
    assumptions: tuple[str, ...]


@dataclass(frozen=True)
class ChargerFit:
    """Whether a charger's amps suit the bank: ``doubtful`` above what is usual, ``fails`` above its maker's limit.

    ``per_h`` are its amps over the bank's rated charge [1/h].
    """

    charger: str
    per_h: float
    verdict: Judgement
    sentence: str


def charger_times(bank: Bank, chargers: Sequence[Charger], taken_Ah: Within) -> tuple[ChargerTime, ...]:
    """Return how long each charger takes, by itself, for what was taken; nothing where nothing is owed. [Ah]"""
    if not (isfinite(taken_Ah.value) and taken_Ah.value >= 0):
        return ()
    efficiency, off, source = charge_efficiency(bank)
    owed_Ah = Within(
        taken_Ah.value / efficiency,
        max(taken_Ah.low, 0.0) / min(efficiency + off, 1.0),
        taken_Ah.high / max(efficiency - off, 0.01),
    )
    times = []
    for charger in chargers:
        limit_A = bank.max_charge_A
        amps = charger.rated_A if limit_A is None else min(charger.rated_A, limit_A)
        held = (f"The bank takes in {amps:g} A at most (bank.max_charge_A).",) if amps < charger.rated_A else ()
        times.append(ChargerTime(charger.name, amps, owed_Ah.scaled(1 / amps), (source, *held, TAPER_LEFT_OUT)))
    return tuple(times)


def charger_fits(bank: Bank, charger: Charger) -> ChargerFit:
    """Return whether a charger's amps suit the bank: by its maker's limit, else by what is usual of its kind."""
    kind, per_h = kind_of(bank.chemistry), charger.rated_A / bank.capacity_Ah
    amps = f"{figure(charger.rated_A, 'A')} is {over_size(per_h)} of the bank"
    if bank.max_charge_A is not None:
        verdict: Judgement = "holds" if charger.rated_A <= bank.max_charge_A else "fails"
        within = "within" if verdict == "holds" else "above"
        limit = f"{within} the {figure(bank.max_charge_A, 'A')} that it takes in (bank.max_charge_A)"
        return ChargerFit(charger.name, per_h, verdict, f"{amps}, {limit}")
    usual = kind.charge_over_size
    if usual is None:
        unknown = "whether that is too much was not judged; add bank.chemistry or bank.max_charge_A to the site file"
        return ChargerFit(charger.name, per_h, "doubtful", f"{amps}; {unknown}")
    usually = f"{over_size(usual.least)} to {over_size(usual.most)} is usual of {kind.word} ({usual.source})"
    if per_h > usual.most:
        return ChargerFit(charger.name, per_h, "doubtful", f"{amps}, more than usual: {usually}")
    slow = ", less than usual and slow: " if per_h < _ABOUT * usual.least else "; "
    return ChargerFit(charger.name, per_h, "holds", f"{amps}{slow}{usually}")


def over_size(per_h: float) -> str:
    """Return amps over the bank's charge as the trade writes it: ``C/10``."""
    return f"C/{1 / per_h:.3g}"
