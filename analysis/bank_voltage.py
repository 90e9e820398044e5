"""At which volts a bank stands under load and while it is charged, by its chemistry, where nothing tells it better."""

from __future__ import annotations

from typing import Final

from .site_parts import Bank

_LEAD_LOADED: Final = 0.95
_LEAD_LOADED_SOURCE: Final = "a running load may be reckoned at 95 % of system voltage (IEEE 1013-2007, 5.2)"
#: On the flat part of its discharge, from some 90 to 20 % full, a lithium iron phosphate cell stands at 3.2 to 3.3 V
#: under load; while it is charged at 3.4 to 3.5 V (both from memory). [V]
_LITHIUM_LOADED_V: Final = 3.2
_LITHIUM_CHARGED_V: Final = 3.45
_LITHIUM_LOADED_SOURCE: Final = "lithium iron phosphate stands at about 3.2 V a cell under load (from memory)"
#: Charging voltage over nominal voltage: common practice, no source.
_CHARGING_OVER_NOMINAL: Final = {"flooded_lead_acid": 14.2 / 12, "agm": 14.2 / 12, "gel": 14.0 / 12}
_OTHER_OVER_NOMINAL: Final = 1.15


def lithium_cells(nominal_V: float) -> int:
    """Return how many lithium iron phosphate cells in a row a bank's nominal voltage stands for.

    Parameters
    ----------
    nominal_V : float
        3.2 V a cell; or the lead-acid voltage it stands in for, 12 V for four. [V]
    """
    fours = nominal_V / 12
    return round(4 * fours) if fours == round(fours) else max(round(nominal_V / 3.2), 1)


def usual_loaded_V(bank: Bank) -> tuple[float, str]:
    """Return the bank's voltage under a running load where nothing was measured [V], and where it is from."""
    if bank.chemistry == "lifepo4":
        return _LITHIUM_LOADED_V * lithium_cells(bank.nominal_V), _LITHIUM_LOADED_SOURCE
    return _LEAD_LOADED * bank.nominal_V, _LEAD_LOADED_SOURCE


def charging_V(bank: Bank) -> tuple[float, str]:
    """Return the voltage the bank is charged at [V], and a plain sentence on where it is from."""
    if bank.charging_V is not None:
        return bank.charging_V, "The charging voltage is the site file's (bank.charging_V)."
    if bank.chemistry == "lifepo4":
        volts = _LITHIUM_CHARGED_V * lithium_cells(bank.nominal_V)
        return volts, f"It charges at about {volts:.3g} V, 3.45 V a cell (from memory; bank.charging_V says it better)."
    volts = bank.nominal_V * _CHARGING_OVER_NOMINAL.get(bank.chemistry or "other", _OTHER_OVER_NOMINAL)
    return volts, f"It charges at about {volts:.3g} V (common practice, no source; bank.charging_V says it better)."
