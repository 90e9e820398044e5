"""What a conductor is and what was judged of it, in sentences."""

from __future__ import annotations

from ..equipment.conductor import ADVISED_DROP_PCT, ConductorCheck
from ..equipment.protection import SCREENING, Screened, ampacity
from ..not_known import Missing
from ..site.site import Conductor
from ..wording import number


def conductor_said(conductor: Conductor, check: ConductorCheck) -> list[str]:
    """Say what a conductor is, what is doubtful of it, and how its fuse must be."""
    size = f"{conductor.gauge_AWG} AWG" if conductor.gauge_AWG else f"{number(conductor.area_mm2)} mm2"
    fuse = f"fuse {number(conductor.fuse_A)} A" if conductor.fuse_A else "no fuse given"
    fuse += f" that can break {number(conductor.fuse_kA)} kA" if conductor.fuse_A and conductor.fuse_kA else ""
    carries = f"; carries {', '.join(conductor.carries)}" if conductor.carries else ""
    length = f"{conductor.shown.of_length(conductor.one_way_m)} one way"
    size += ", solid" if conductor.strands == "solid" else ""
    if conductor.temperature_degC is not None:
        size += f", at {conductor.shown.of_temperature(conductor.temperature_degC)}"
    plain = f"Conductor '{conductor.name}': {size}, {length}, {fuse}{carries}."
    doubtful = [each.sentence for each in check.screened if each.verdict == "doubtful"]
    # What fails is among the things to look at again; of doubts the first stands for all.
    doubt = [f"Conductor '{conductor.name}' is doubtful: {doubtful[0][0].lower()}{doubtful[0][1:]}"] if doubtful else []
    return [plain, *(doubt if check.verdict == "doubtful" else []), _cable_and_fuse(conductor, check)]


def _cable_and_fuse(conductor: Conductor, check: ConductorCheck) -> str:
    """Say what it loses, between which amps its fuse belongs, and what a short circuit is to the fuse."""
    allowed = ampacity(conductor)
    words = [f"By {allowed.source} '{conductor.name}' may carry {allowed.words}"]
    if not isinstance(check.running, Missing):
        words.append(f"it loses {check.running.drop_pct:.2g} % running, of {ADVISED_DROP_PCT:g} % that are advised")
    # Above what flows for good, so that it lasts; within what the cable bears, so that it opens before that burns.
    if check.wanted_A is not None:
        low, high = f"{check.wanted_A:.0f} A (125 % of the greatest current)", f"{allowed.low_A:g} A"
        between = f"its fuse belongs between {low} and {high}"
        if f"{check.wanted_A:.0f} A" == high:
            between = f"its fuse is to be {high}: 125 % of the greatest current, and all that the cable may carry"
        fits = check.wanted_A <= allowed.low_A
        words.append(between if fits else f"no fuse is both above {low} and within {high}")
    if isinstance(check.breaking, Screened):
        words.append(check.breaking.sentence.rstrip("."))
    elif check.breaking is not None:
        words.append(f"whether its fuse can break a short circuit was {check.breaking.not_judged}")
    return f"{'; '.join(words)}. {SCREENING}"
