"""Which figure of a log a budget of uncertainty belongs to, so that shares and factor stand under that one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from ..charge.amounts import Amounts, Charge
from ..stats.interval95 import Component, HowSure


@dataclass(frozen=True)
class Budget:
    """What the ± of one figure is made of.

    The figure is what was `part` of the `quantity`: ``charge`` where that is known, else ``energy``. `sure` holds its
    shares and its factor; `charge` and `energy` are the sources of error of both quantities' part, by name.
    """

    quantity: Literal["charge", "energy"]
    part: Literal["drawn", "returned"]
    sure: HowSure
    charge: dict[str, Component]
    energy: dict[str, Component]

    @property
    def sources(self) -> dict[str, Component]:
        """All sources of error, those of the figure itself first: only energy has some of volts."""
        own, other = (self.charge, self.energy) if self.quantity == "charge" else (self.energy, self.charge)
        return own | {name: part for name, part in other.items() if name not in own}

    def share(self, source: str) -> float | None:
        """Return the share of a source in the figure's squared uncertainty; None of one that it does not have. [1]"""
        own = self.charge if self.quantity == "charge" else self.energy
        return self.sure.share(own[source]) if source in own else None


def budget_of(charge: Charge) -> Budget | None:
    """Return the budget of what was drawn; of what was returned where the draw may be nothing. None without intervals.

    The charge has it, and the energy where there is no charge.
    """
    leading = charge.charge or charge.energy
    if leading is None or leading.sure is None:
        return None
    # What its own interval cannot tell from nothing is noise about zero: then what came back is the figure of the log.
    nothing = leading.drawn <= leading.sure.drawn.u95 and leading.returned > leading.drawn
    part: Literal["drawn", "returned"] = "returned" if nothing else "drawn"
    return Budget(
        quantity="charge" if charge.charge is not None else "energy",
        part=part,
        sure=leading.sure.returned if nothing else leading.sure.drawn,
        charge=_components(charge.charge, part),
        energy=_components(charge.energy, part),
    )


def _components(amounts: Amounts | None, part: Literal["drawn", "returned"]) -> dict[str, Component]:
    if amounts is None or amounts.sure is None:
        return {}
    sure = amounts.sure.drawn if part == "drawn" else amounts.sure.returned
    return {component.source: component for component in sure.components}
