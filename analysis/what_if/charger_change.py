"""Another charger beside the sun, as a change of the system."""

from __future__ import annotations

from dataclasses import dataclass

from ..site.tables import Charger
from .changes import Setup


@dataclass(frozen=True)
class ChargerChange:
    """A charger of other amps in the place, and on the cable, of the first that is there; else one more. [A]"""

    text: str
    rated_A: float

    def made_in(self, setup: Setup) -> Setup:
        """Return the setup with that charger."""
        old = setup.site.chargers
        # It keeps the name by which cables know it.
        name, kind = (old[0].name, old[0].kind) if old else ("charger", None)
        return setup.of(chargers=(Charger(name=name, kind=kind, rated_A=self.rated_A), *old[1:]))
