"""Which signals energy is integrated from, and how: power where it can be trusted, else volts times amps."""

from __future__ import annotations

from collections.abc import Mapping, Set

import numpy as np

from .chunk import FloatArray, Side, has_missing
from .integral import linear_split, product_split
from .intervals import Intervals

POWER = "the power column"
VOLTS_AMPS = "volts x amps"
VOLTS_AMPS_FACTOR = "volts x amps x power factor"


def energy_source(side: Side, quantities: Set[str]) -> str | None:
    """Return in words what energy is computed from, or None where nothing allows it.

    Volts times amps behind an inverter are VA, so there a power factor is needed as well.
    """
    if "power_W" in quantities:
        return POWER
    if not {"voltage_V", "current_A"} <= quantities:
        return None
    if side == "dc":
        return VOLTS_AMPS
    return VOLTS_AMPS_FACTOR if "power_factor" in quantities else None


def energy_signals(side: Side, source: str, q: Mapping[str, FloatArray]) -> dict[str, FloatArray]:
    """Return the signals that energy is integrated from; NaN where a reading lacks them.

    Parameters
    ----------
    side : {'dc', 'ac'}
        Where the meter sits.
    source : str
        What `energy_source` said.
    q : mapping of str to array, shape (n,)
        The readings by quantity.

    Returns
    -------
    dict of str to array, shape (n,)
        Power ``p`` [W], current ``i`` [A] and voltage ``v`` [V], as far as they are needed.
    """
    if source == VOLTS_AMPS_FACTOR:
        return {"p": q["voltage_V"] * q["current_A"] * q["power_factor"]}
    if source == VOLTS_AMPS:
        return {"i": q["current_A"], "v": q["voltage_V"]}
    if side == "ac" or "current_A" not in q:
        return {"p": q["power_W"]}
    return _checked_power(q["power_W"], q["current_A"], q.get("voltage_V"))


def _checked_power(p: FloatArray, i: FloatArray, v: FloatArray | None) -> dict[str, FloatArray]:
    """Return power with what can stand in for it where its sign contradicts the current's.

    A voltage that is missing beside a power that can be trusted is the one the power implies; it is not used then.
    """
    if v is not None and not any(has_missing(x) for x in (p, i, v)):
        return {"p": p, "i": i, "v": v}
    trusted = ~contradicts(p, i)
    if v is None:
        return {"p": np.where(trusted, p, np.nan)}
    with np.errstate(divide="ignore", invalid="ignore"):
        implied_V = np.where(i == 0, 0.0, p / i)
    return {
        "p": np.where(np.isnan(p), v * i, p),
        "i": np.where(np.isnan(i) & ~np.isnan(p), 0.0, i),
        "v": np.where(np.isnan(v) & trusted, np.where(np.isnan(i), 0.0, implied_V), v),
    }


def contradicts(p: FloatArray, i: FloatArray) -> np.ndarray:
    """Return where a power's sign is not the current's; shapes (n,), in W and A."""
    return np.asarray(p * i < 0)


def energy_of(pieces: Intervals) -> tuple[FloatArray, FloatArray]:
    """Integrate power where it is given and agrees in sign with the current, else the product of volts and amps.

    Returns
    -------
    drawn, returned : array, shape (n,)
        Both positive. [W s]
    """
    first, last, length_s = pieces.first, pieces.last, pieces.length_s
    if "i" not in first:
        return linear_split(first["p"], last["p"], length_s)
    if "p" not in first:
        return product_split(first["v"], last["v"], first["i"], last["i"], length_s)
    above, below = linear_split(first["p"], last["p"], length_s)
    wrong = np.flatnonzero(contradicts(first["p"], first["i"]) | contradicts(last["p"], last["i"]))
    if len(wrong):
        v0, v1, i0, i1 = (end[name][wrong] for name in ("v", "i") for end in (first, last))
        above[wrong], below[wrong] = product_split(v0, v1, i0, i1, length_s[wrong])
    return above, below


def power_at(values: Mapping[str, FloatArray]) -> FloatArray:
    """Return power at one end of intervals, of the signals that `energy_signals` gave; shape (n,). [W]"""
    if "i" not in values:
        return values["p"]
    if "p" not in values:
        return values["v"] * values["i"]
    wrong = contradicts(values["p"], values["i"])
    return np.where(wrong, values["v"] * values["i"], values["p"]) if wrong.any() else values["p"]


def why_nothing(side: Side, quantities: Set[str]) -> str:
    """Return in a sentence why neither charge nor energy can be had, and what to add."""
    if side == "ac" and {"voltage_V", "current_A"} <= quantities:
        return (
            "volts times amps behind an inverter are VA, not watts: this log needs a power column (power_W) or a "
            "power factor beside volts and amps before energy can be worked out"
        )
    if side == "ac" and "current_A" in quantities:
        return "amps behind an inverter are no charge out of the bank: this log needs a power column (power_W)"
    return "this log has neither current (current_A) nor power (power_W), so there is nothing to integrate"
