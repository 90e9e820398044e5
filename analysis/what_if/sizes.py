"""Changes that ask for a size: the tank for runs so long, the bank for so many days without sun."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from ..bank.bank import bank_size
from ..bank.peukert import cold_multiplier
from ..equipment.water import tank_plan, tank_volume_L
from ..not_known import Missing
from ..site.battery_kinds import LEAD_ACID
from ..wording import figure
from .changes import BankChange, Setup, TankChange

#: Below so little of a tank no pump is served.
_LEAST_SHARE: Final = 1e-6


@dataclass(frozen=True)
class TankFor:
    """The smallest tank that lets the pump run so long when no water is drawn. [s]"""

    text: str
    run_s: float

    def made_in(self, setup: Setup) -> Setup | Missing:
        """Return the setup with that tank."""
        volume_L = self.size_L(setup)
        return volume_L if isinstance(volume_L, Missing) else TankChange(self.text, volume_L).made_in(setup)

    def size_L(self, setup: Setup) -> float | Missing:
        """Return its volume: flow times time, over the share of a tank that is water from cut-out to cut-in. [L]"""
        water = setup.site.water
        plan = tank_plan(water)
        if isinstance(plan, Missing) or water is None:
            return plan if isinstance(plan, Missing) else Missing("size of tank", ("water",))
        if water.pump_L_per_min is None:
            return Missing("size of tank", ("water.flow_L_per_min", "water.flow_gal_per_min"))
        # The same air and pressures in a tank of another size: the share of it that is water is the same.
        share = plan.drawdown_L / water.volume_L
        if share < _LEAST_SHARE:
            return Missing("size of tank", (), "with that pre-charge a tank takes in no water at all")
        return tank_volume_L(water.pump_L_per_min, self.run_s, share)

    def answer(self, setup: Setup) -> str:
        """Say which size that is; empty where it is not known."""
        size_L = self.size_L(setup)
        if isinstance(size_L, Missing) or setup.site.water is None:
            return ""
        return f"For runs of {self.run_s:g} s the tank is to hold {setup.site.water.shown.of_volume(size_L)} or more."


@dataclass(frozen=True)
class BankFor:
    """The smallest bank that carries the load for so many days without sun. [d]"""

    text: str
    days: float

    def made_in(self, setup: Setup) -> Setup | Missing:
        """Return the setup with that bank."""
        size_Ah = self.size_Ah(setup)
        if isinstance(size_Ah, Missing):
            return size_Ah
        return BankChange(self.text, capacity_Ah=size_Ah).made_in(setup)

    def size_Ah(self, setup: Setup) -> float | Missing:
        """Return its charge: the days' use over the depth that is allowed, and more in the cold (IEEE 1013). [Ah]"""
        bank = setup.site.bank
        if bank.usable_depth_pct is None:
            return Missing("size of bank", ("bank.usable_depth_pct",))
        if not setup.day_Wh:
            because = "how much of the day the load runs is not known: name a log (--measured) or its use a day"
            return Missing("size of bank", ("loads.duty_pct",), because)
        # Only lead-acid has a published table of what the cold takes.
        cold = bank.at_degC is not None and bank.chemistry in LEAD_ACID
        multiplier = cold_multiplier(bank.at_degC or 0.0) if cold else 1.0
        depth_pct, nominal_V = bank.usable_depth_pct, bank.nominal_V
        return bank_size(
            setup.day_Wh, days=self.days, usable_depth_pct=depth_pct, nominal_V=nominal_V, multiplier=multiplier
        ).capacity_Ah

    def answer(self, setup: Setup) -> str:
        """Say which size that is; empty where it is not known."""
        size_Ah = self.size_Ah(setup)
        if isinstance(size_Ah, Missing):
            return ""
        days = f"{self.days:g} day{'s' if self.days != 1 else ''}"
        return f"For {days} without sun the bank is to hold {figure(size_Ah, 'Ah')} or more, for this load alone."
