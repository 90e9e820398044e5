"""Whether a fuse protects its conductor: the first question of a screening, since a wrong answer ends in a fire."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from typing import Final

from ..site.conductor_tables import AMPACITY_SOURCE, AREA_AMPACITY_A, AREA_AMPACITY_SOURCE, GAUGES
from ..site.site import Site
from ..site.tables import Conductor
from .judged import Judgement, above

FUSE_SOURCE: Final = "a fuse near the bank for each conductor on it: 'Suggested Practices', Sandia/NMSU"
SCREENING: Final = "This is a screening; local codes and a licensed electrician decide."
#: All conductors of a site file are of direct current.
MAINS_SIDE: Final = "Cables behind an inverter are not judged: the mains side is for the electrician."
#: What a fuse is held against, said with every conductor.
PLAIN_RULE: Final = (
    "A fuse may be no larger than the table allows its conductor; that some codes allow the next standard size is not "
    "reckoned with, nor are warmer surroundings, bundles and better insulation."
)


@dataclass(frozen=True)
class Screened:
    """One comparison of a screening: the word on it, a plain sentence, and the source of its limit."""

    verdict: Judgement
    sentence: str
    source: str


@dataclass(frozen=True)
class Ampacity:
    """What a table allows a conductor: between `low_A` and `high_A` where its size lies between two rows. [A]"""

    size: str
    low_A: float
    high_A: float
    source: str

    @property
    def words(self) -> str:
        """The allowance as it stands in a sentence: ``65 A (6 AWG)``."""
        if self.low_A == self.high_A:
            return f"{self.low_A:g} A ({self.size})"
        if self.high_A == inf:
            return f"{self.low_A:g} A or more ({self.size}, above its last size)"
        if self.low_A <= 0:
            return f"less than {self.high_A:g} A ({self.size}, below its first size)"
        return f"{self.low_A:g} to {self.high_A:g} A ({self.size}, between two sizes)"


def ampacity(conductor: Conductor) -> Ampacity:
    """Return what the table of its kind of size allows a conductor: gauges by one, square millimetres by another."""
    if conductor.gauge_AWG is not None:
        gauge = GAUGES.get(conductor.gauge_AWG)
        # The site file takes no gauge above the table's; a thinner one is allowed less than its thinnest.
        low_A, high_A = (gauge.ampacity_A,) * 2 if gauge else (0.0, min(row.ampacity_A for row in GAUGES.values()))
        return Ampacity(f"{conductor.gauge_AWG} AWG", low_A, high_A, AMPACITY_SOURCE)
    area_mm2 = conductor.area_mm2
    assert area_mm2 is not None  # the site file takes no conductor without a size
    # Between two rows of the table it is allowed what the thinner has for sure, and no more than the thicker.
    low_A = max((amps for area, amps in AREA_AMPACITY_A.items() if area <= area_mm2), default=0.0)
    high_A = min((amps for area, amps in AREA_AMPACITY_A.items() if area >= area_mm2), default=inf)
    return Ampacity(f"{area_mm2:g} mm²", low_A, high_A, AREA_AMPACITY_SOURCE)


def protection(conductor: Conductor, site: Site) -> Screened:
    """Judge whether a fuse protects a conductor, whatever flows in it.

    ``fails`` for a fuse above what the table allows, and for none on a conductor that hangs on the bank by the site
    file.
    """
    if conductor.fuse_A is None:
        return _without_fuse(conductor, site)
    allowed = ampacity(conductor)
    verdict = above(allowed.low_A, allowed.high_A, conductor.fuse_A)
    fuse = f"{conductor.fuse_A:g} A fuse"
    sentence = {
        "holds": f"The {fuse} is no larger than what the table allows, {allowed.words}.",
        "doubtful": f"Whether the {fuse} is too large is not known: allowed is {allowed.words}.",
        "fails": f"The {fuse} is larger than what the table allows, {allowed.words}: the cable may burn before the "
        "fuse opens.",
    }
    return Screened(verdict, sentence[verdict], allowed.source)


def _without_fuse(conductor: Conductor, site: Site) -> Screened:
    none = "No fuse is given (conductors.fuse_A)"
    # Into a short circuit a bank gives thousands of amps, an array hardly more than it is rated for (from memory).
    if _on_the_bank(conductor, site):
        return Screened(
            "fails",
            f"{none}: in a short circuit all that the bank can give flows in it. Where a fuse nearer to the bank "
            "protects it, write that one's amps.",
            FUSE_SOURCE,
        )
    return Screened("doubtful", f"{none}; if either end is on the bank, it needs one there.", FUSE_SOURCE)


def _on_the_bank(conductor: Conductor, site: Site) -> bool:
    """Return whether a conductor feeds an inverter or a load on the DC side; an array's may end at its controller."""
    fed = {inverter.name for inverter in site.inverters} | {load.name for load in site.loads if load.inverter is None}
    return not fed.isdisjoint(conductor.carries)
