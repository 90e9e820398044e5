"""The usual cautions wherever a result could lead to work on mains, batteries, pressure vessels or wells."""

from __future__ import annotations

from typing import Final

BANK: Final = (
    "A battery bank delivers thousands of amps into a short. Take off rings and watches, use insulated tools, cover "
    "the terminals, and have a fuse made for direct current near the bank's terminal."
)
MAINS: Final = (
    "An inverter's output is mains and can kill, and it can start by itself. Switch it off, isolate it from the bank, "
    "lock it off, and prove the wires dead before you touch them."
)
TANK: Final = (
    "Before you open a tank, a pipe or a pressure switch, switch the pump off, lock it off and let the pressure down "
    "to nothing. A switch that sticks can burst a tank that has no relief valve."
)
CODES: Final = (
    "Local codes and a licensed electrician or pump installer decide. Where they differ from what stands here, they "
    "are right."
)
CAUTIONS: Final[tuple[str, ...]] = (
    BANK,
    "The thin wires from a shunt to its meter can carry the whole bank's current: give each a small fuse at the shunt.",
    "Lead-acid batteries give off hydrogen while they charge. Keep air moving, and flames, sparks and cigarettes "
    "away; the acid burns, so wear eye protection.",
    MAINS,
    "A direct-current arc does not put itself out. Do not pull a cable, a fuse or a plug of the bank under load.",
    TANK,
    "Work in or over a well is for people who are trained and equipped for it.",
    "A check of a conductor, a fuse or an inverter here is a screening against the figures entered. It is not a "
    "design, and it does not replace the makers' instructions.",
    CODES,
)
"""Plain sentences, in the order in which they are read."""
