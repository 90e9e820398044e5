"""What energy is integrated from: a power column, or volts times amps, and which of them can be trusted."""

from __future__ import annotations

from collections.abc import Mapping, Set

import numpy as np

from .chunk import BoolArray, FloatArray, Side, has_missing

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
    """Return power ``p`` [W], current ``i`` [A] and voltage ``v`` [V], as far as energy is integrated from them.

    NaN where a reading lacks them; `source` is what `energy_source` gave.
    """
    if source == VOLTS_AMPS_FACTOR:
        return {"p": q["voltage_V"] * q["current_A"] * q["power_factor"]}
    if source == VOLTS_AMPS:
        return {"i": q["current_A"], "v": q["voltage_V"]}
    if side == "ac" or "current_A" not in q:
        return {"p": q["power_W"]}
    return _checked_power(q["power_W"], q["current_A"], q.get("voltage_V"))


def _checked_power(p: FloatArray, i: FloatArray, v: FloatArray | None) -> dict[str, FloatArray]:
    """Return power with what can stand in for it where its sign contradicts the current's."""
    if v is not None and not any(has_missing(x) for x in (p, i, v)):
        return {"p": p, "i": i, "v": v}
    trusted = ~contradicts(p, i)
    if v is None:
        return {"p": np.where(trusted, p, np.nan)}
    with np.errstate(divide="ignore", invalid="ignore"):
        implied_V = np.where(i == 0, 0.0, p / i)
    # Volts or amps that are missing beside a power to be trusted must not make the reading count as missing: any number
    # will do, since it is not used, and the one that the power implies keeps the mean of the volts.
    return {
        "p": np.where(np.isnan(p), v * i, p),
        "i": np.where(np.isnan(i) & ~np.isnan(p), 0.0, i),
        "v": np.where(np.isnan(v) & trusted, np.where(np.isnan(i), 0.0, implied_V), v),
    }


def contradicts(p: FloatArray, i: FloatArray) -> BoolArray:
    """Return where a power's sign is not the current's; shapes (n,), in W and A."""
    return np.asarray(p * i < 0)


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
