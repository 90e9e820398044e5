"""At which volts a bank stands under load and while it is charged, and below which a load is switched off."""

from __future__ import annotations

from dataclasses import dataclass

from ..not_known import Missing
from ..site.battery_kinds import UsualFigure, kind_of
from ..site.site import Load, Site
from ..site.tables import Bank


def lithium_cells(nominal_V: float) -> int:
    """Return how many lithium iron phosphate cells in a row a bank's nominal voltage stands for.

    That is 3.2 V a cell, or the lead-acid voltage it stands in for: 12 V for four.
    """
    # A name plate says 12, 24 or 48 V also of four, eight or sixteen cells, which stand at 12.8 V and so on.
    fours = nominal_V / 12
    return round(4 * fours) if fours == round(fours) else max(round(nominal_V / 3.2), 1)


def usual_loaded_V(bank: Bank) -> tuple[float, str]:
    """Return the bank's voltage under a running load where nothing was measured [V], and where it is from."""
    loaded = kind_of(bank.chemistry).loaded
    # A lead-acid bank's voltage moves with state and draw; the standard's one share stands for both.
    return _of_cells(bank, loaded), loaded.source


def charging_V(bank: Bank) -> tuple[float, str]:
    """Return the voltage the bank is charged at [V], and a plain sentence on where it is from."""
    if bank.charging_V is not None:
        return bank.charging_V, "The charging voltage is the site file's (bank.charging_V)."
    charging = kind_of(bank.chemistry).charging
    volts = _of_cells(bank, charging)
    return volts, f"It charges at about {volts:.3g} V ({charging.source}; bank.charging_V says it better)."


def _of_cells(bank: Bank, cell_V: UsualFigure) -> float:
    """Return the bank's volts from those of a cell."""
    if bank.chemistry == "lifepo4":
        return cell_V.value * lithium_cells(bank.nominal_V)
    # A nominal voltage that is no whole number of cells, as a slip makes it, is taken as it stands.
    return cell_V.value * bank.nominal_V / kind_of(bank.chemistry).cell_V


@dataclass(frozen=True)
class VoltageFloor:
    """A voltage of the bank, and what happens below it, as it stands in a sentence. [V]"""

    V: float
    below: str


def voltage_floor(site: Site, load: Load | None) -> VoltageFloor | Missing:
    """Return the cut-off that a start of a load must stay above; without a load, as for one on the bank.

    It is that of the load's inverter, which switches off at once, and the bank's own for a load on the bank. The bank's
    counts beside the inverter's where its protection acts as fast (lithium), whichever is higher; elsewhere
    ``bank.cut_off_V`` says when it is empty, which the dip of a start does not.
    """
    bank, inverter = site.bank, None if load is None else site.inverter_of(load)
    of_bank = None if bank.cut_off_V is None else VoltageFloor(bank.cut_off_V, "the bank is not to go")
    if inverter is None:
        return of_bank or Missing("word on the sag at start", ("bank.cut_off_V",), "the bank's cut-off is not known")
    # Lithium protection opens within a moment, as an inverter does; a lead-acid bank bears a dip.
    floors = [of_bank] if of_bank is not None and bank.chemistry == "lifepo4" else []
    if inverter.cut_off_V is not None:
        floors.append(VoltageFloor(inverter.cut_off_V, "the inverter switches off"))
    if not floors:
        because = "the inverter's cut-off is not known"
        return Missing("word on the sag at start", ("inverters.cut_off_V",), because)
    return max(floors, key=lambda floor: floor.V)
