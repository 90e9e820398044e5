"""Below which voltage of the bank a load is switched off, and by what."""

from __future__ import annotations

from dataclasses import dataclass

from .missing import Missing
from .site import Load, Site


@dataclass(frozen=True)
class VoltageFloor:
    """A voltage of the bank, and what happens below it, as it stands in a sentence. [V]"""

    V: float
    below: str


def voltage_floor(site: Site, load: Load | None) -> VoltageFloor | Missing:
    """Return the cut-off that a start of a load must stay above.

    Parameters
    ----------
    site : Site
        The site.
    load : Load or None
        The load; None where none was looked for, which stands for one on the bank.

    Returns
    -------
    VoltageFloor or Missing
        That of the load's inverter, which switches off at once; the bank's own for a load on the bank. The bank's
        counts beside the inverter's where its protection acts as fast (lithium), whichever is higher; elsewhere
        ``bank.cut_off_V`` says when it is empty, which the dip of a start does not.
    """
    bank, inverter = site.bank, None if load is None else site.inverter_of(load)
    of_bank = None if bank.cut_off_V is None else VoltageFloor(bank.cut_off_V, "the bank is not to go")
    if inverter is None:
        return of_bank or Missing("word on the sag at start", ("bank.cut_off_V",), "the bank's cut-off is not known")
    floors = [of_bank] if of_bank is not None and bank.chemistry == "lifepo4" else []
    if inverter.cut_off_V is not None:
        floors.append(VoltageFloor(inverter.cut_off_V, "the inverter switches off"))
    if not floors:
        because = "the inverter's cut-off is not known"
        return Missing("word on the sag at start", ("inverters.cut_off_V",), because)
    return max(floors, key=lambda floor: floor.V)
