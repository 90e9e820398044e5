"""The reasons for a difference, in plain words: the parts of a decomposition, told by source in Wh and in Ah."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import fsum
from typing import Final

from ..wording import figure
from .decomposition import Basis, Decomposition, Factor, FactorEffect

#: Names of factors. What a log cannot tell apart is one factor, and its name says so.
HOURS: Final = "running time"
DUTY: Final = "duty cycle"
LOAD: Final = "the load's power"
FROM_VA: Final = "power factor"
FROM_HP: Final = "what the motor takes in"
INVERTER: Final = "inverter efficiency"
INVERTER_AND_IDLE: Final = "inverter efficiency and idle draw together"
TOGETHER: Final = "load and inverter together"
ALL_TOGETHER: Final = "load, inverter loss and idle draw together"
IDLE: Final = "idle draw"
STARTS: Final = "starts and uneven running"
VOLTAGE: Final = "bank voltage"


@dataclass(frozen=True)
class Reason:
    """What one source, a factor's name, made of the difference.

    `energy_Wh` and `charge_Ah` are its parts of the two differences, positive for more; `charge_Ah` is None where that
    was not split. `share` [1] is its part over the whole difference in energy: parts of opposite sign cancel, so it may
    be above 1 or below 0. `before` and `after` are the factor's two values in `unit`, and `basis` is that of the
    second. `because` is a clause without the amounts: ``the pump drew less than its plate ...``.
    """

    source: str
    energy_Wh: float
    charge_Ah: float | None
    share: float | None
    before: float
    after: float
    unit: str
    basis: Basis
    because: str


@dataclass(frozen=True)
class Explained:
    """A difference between two sums, and the reasons for it, which add up to it. [Wh], [Ah]."""

    energy: Decomposition
    charge: Decomposition | None
    reasons: tuple[Reason, ...]


def explained(load: str, energy: Decomposition, charge: Decomposition | None, *, on_paper: bool = False) -> Explained:
    """Tell the parts of two decompositions by source, and hand the two on.

    The factors of `charge` are named like those of `energy`. With `on_paper` the first sum is the one on paper and the
    second the estimate; else they are estimate and measurement.
    """
    in_charge = charge.parts if charge is not None else ()
    factors = {part.factor.name: part.factor for part in (*energy.parts, *in_charge)}
    # A source that is in the charge alone (bank voltage) is told as well, with no energy of its own.
    words = _ON_PAPER if on_paper else _MEASURED
    reasons = []
    for name, factor in factors.items():
        energy_Wh = _of(energy.parts, name)
        charge_Ah = None if charge is None else _of(in_charge, name)
        share = energy_Wh / energy.difference + 0.0 if energy.difference else None  # + 0.0: no minus before nothing
        because = _because(words[name], load, factor, more=(energy_Wh or charge_Ah or 0.0) > 0)
        values = factor.estimated, factor.measured, factor.unit, factor.basis
        reasons.append(Reason(name, energy_Wh, charge_Ah, share, *values, because))
    return Explained(energy, charge, tuple(reasons))


def _of(parts: Sequence[FactorEffect], name: str) -> float:
    return fsum(part.effect for part in parts if part.factor.name == name)


def _both(sentence: str) -> tuple[str, str]:
    """Return a sentence for more and for less, which differ in that word alone."""
    return sentence.replace("{more}", "more"), sentence.replace("{more}", "less")


#: For each source what is said where it made more, and where it made less; ``{load}``, ``{before}`` and ``{after}``
#: are filled in.
_MEASURED: Final = {
    HOURS: ("{load} ran longer, {after} instead of {before}", "{load} ran for less time, {after} instead of {before}"),
    DUTY: ("{load} ran {after} of the time, not {before}", "{load} ran only {after} of the time, not {before}"),
    LOAD: _both("{load} drew {more} than its plate, {after} for {before}"),
    INVERTER: _both("the inverter lost {more} than reckoned, its efficiency was {after}, not {before}"),
    INVERTER_AND_IDLE: _both(
        "the inverter lost {more} than reckoned, idle draw included: {after} came through, not {before}"
    ),
    TOGETHER: _both(
        "{load} and its inverter together drew {more} than the plate makes one expect, {after} for {before}"
    ),
    ALL_TOGETHER: _both(
        "{load}, its inverter's loss and idle draw together came to {more} than reckoned, {after} for {before}"
    ),
    IDLE: _both("the inverter's idle draw came to {more} than reckoned"),
    STARTS: (
        "the starts took more than settled running, which no plate tells",
        "the draw sank during the runs by more than the starts took, which no plate tells",
    ),
    VOLTAGE: (
        "the bank stood at {after}, lower than the {before} reckoned with, so the same energy took more amp-hours",
        "the bank stood at {after}, higher than the {before} reckoned with, so the same energy took fewer amp-hours",
    ),
}

_ON_PAPER: Final = _MEASURED | {
    LOAD: _both("a display showed {before}; by its plate {load} takes {after}"),
    DUTY: ("", "the sum on paper has {load} running all the time, the estimate {after} of it"),
    FROM_VA: (
        "the sum on paper leaves out the root of 3 of three phases, and the power factor: watts are {after} of it",
        "the sum on paper takes volt-amperes for watts; the power factor leaves {after} of them",
    ),
    FROM_HP: (
        "horsepower is what the shaft gives, {before}; {load} takes in more, {after}",
        "horsepower is what the shaft gives, {before}; {load} takes in {after}",
    ),
    INVERTER: ("the sum on paper forgets the inverter's loss: only {after} of what it takes comes out", ""),
    IDLE: ("the sum on paper forgets the inverter's idle draw", ""),
    VOLTAGE: (
        "the bank is reckoned at {after} under load, not at its nominal {before}",
        "the bank is stated at {after}, not at its nominal {before}",
    ),
}


def _because(words: tuple[str, str], load: str, factor: Factor, *, more: bool) -> str:
    return words[0 if more else 1].format(
        load=f"the {load}", before=_value(factor.estimated, factor.unit), after=_value(factor.measured, factor.unit)
    )


def _value(x: float, unit: str) -> str:
    return figure(x, unit) if unit else figure(100 * x, "%")
