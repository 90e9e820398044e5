"""Another cable for a load: one that is named, or the smallest of each table that fits, with its fuse."""

from __future__ import annotations

from dataclasses import dataclass

from ..equipment.cable_choice import SIZE_KINDS, CableChoice, SizeKind, choose_cable
from ..equipment.conductor import ADVISED_DROP_PCT
from ..equipment.protection import SCREENING
from ..not_known import Missing
from ..site.tables import Conductor
from .changes import Setup


@dataclass(frozen=True)
class CableChange:
    """Another cable; without a size the smallest that keeps `drop_pct`, with its fuse. [mm2], [%]"""

    text: str
    area_mm2: float | None = None
    gauge_AWG: str | None = None
    drop_pct: float = ADVISED_DROP_PCT

    def made_in(self, setup: Setup) -> Setup | Missing:
        """Return the setup with that cable where the load's supply runs."""
        old = cable_of(setup)
        if isinstance(old, Missing):
            return old
        if self.area_mm2 is None and self.gauge_AWG is None:
            # In sizes of its own kind where one of them fits, else in those of the other table.
            own: SizeKind = "mm2" if old.area_mm2 is not None else "AWG"
            choices = sorted(self.choices(setup), key=lambda each: 2 if isinstance(each, Missing) else each.kind != own)
            if isinstance(choices[0], Missing):
                return choices[0]
            # The fuse's size is chosen with the cable; what it can break is its kind's, and stays.
            new = choices[0].conductor.model_copy(update={"fuse_kA": old.fuse_kA})
        else:
            new = old.model_copy(update={"area_mm2": self.area_mm2, "gauge_AWG": self.gauge_AWG})
        return setup.of(conductors=tuple(new if each is old else each for each in setup.site.conductors))

    def choices(self, setup: Setup) -> tuple[CableChoice | Missing, ...]:
        """Return the smallest cable that fits by each table; none where the load's cable is not known."""
        old = cable_of(setup)
        if isinstance(old, Missing):
            return ()
        return tuple(choose_cable(old, setup.site, kind, drop_pct=self.drop_pct) for kind in SIZE_KINDS)

    def answer(self, setup: Setup) -> str:
        """Say which cable and fuse the tables ask for; empty where they do not tell."""
        choices = self.choices(setup)
        fitting = [_chosen(each) for each in choices if isinstance(each, CableChoice)]
        others = [each.because for each in choices if isinstance(each, Missing)]
        smallest = [f"The smallest that fits: {', or '.join(fitting)}."] if fitting else []
        return " ".join([*smallest, *(f"{text[0].upper()}{text[1:]}." for text in others if fitting)])

    def reasons(self, setup: Setup) -> tuple[str, ...]:
        """Return by which tables, and what the next smaller fails."""
        return tuple(_why(each, self.drop_pct) for each in self.choices(setup) if isinstance(each, CableChoice))


def _chosen(choice: CableChoice) -> str:
    return f"{choice.size} with a {choice.fuse_A:g} A fuse (loses {choice.running.drop_pct:.2g} %)"


def _why(choice: CableChoice, drop_pct: float) -> str:
    """Say what the next smaller size fails, and which tables say so."""
    why = {
        "drop": f"the next smaller loses more than {drop_pct:g} %",
        "current": f"the next smaller is allowed less than {choice.wanted_A:.0f} A, 125 % of the greatest current",
        "fuse": "no usual fuse fits the next smaller",
    }[choice.decided_by]
    by = f"{choice.sources[0]}; fuse by {choice.sources[1]}"
    return f"{choice.size} is allowed {choice.ampacity_A:g} A ({by}); {why}. {SCREENING}"


def cable_of(setup: Setup) -> Conductor | Missing:
    """Return the cable through which the load is fed from the bank."""
    feeds = setup.load.inverter or setup.load.name
    cables = [each for each in setup.site.conductors if feeds in each.carries]
    if len(cables) == 1:
        return cables[0]
    because = f"{len(cables)} cables carry '{feeds}'" if cables else f"no cable of the site file carries '{feeds}'"
    return Missing("word on another cable", ("conductors.carries",), because)
