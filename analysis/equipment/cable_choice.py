"""The smallest cable of a table that carries what hangs on it without losing too much, and the fuse that fits both.

Like all of conductors a screening against tables for one way of laying: local codes and a licensed electrician decide.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

from ..not_known import Missing
from ..site.conductor_tables import (
    AMPACITY_SOURCE,
    AREA_AMPACITY_A,
    AREA_AMPACITY_SOURCE,
    FUSES_A,
    FUSES_BY_AREA_A,
    FUSES_BY_AREA_SOURCE,
    FUSES_SOURCE,
    GAUGES,
)
from ..site.site import Site
from ..site.tables import Conductor
from .conductor import ADVISED_DROP_PCT, CONTINUOUS_FACTOR, Carried, Drop, currents, drop
from .protection import ampacity

SizeKind = Literal["AWG", "mm2"]
Decisive = Literal["drop", "current", "fuse"]

#: Both tables, gauges first.
SIZE_KINDS: Final[tuple[SizeKind, ...]] = ("AWG", "mm2")


@dataclass(frozen=True)
class CableChoice:
    """The smallest cable that fits, and its fuse.

    Parameters
    ----------
    conductor : Conductor
        As it would stand in the site file.
    size : str
        As it is printed on it: ``70 mm²``.
    ampacity_A, wanted_A : float
        What the table allows it, and 125 % of the greatest lasting current: the fuse lies between the two. [A]
    running : Drop
        What it loses with all that it carries running.
    decided_by : {'drop', 'current', 'fuse'}
        What the size below it fails: more drop than asked, less ampacity than wanted, or no fuse between the two.
    sources : tuple of str
        Of the cable's table, and of the fuse's.
    """

    conductor: Conductor
    size: str
    ampacity_A: float
    wanted_A: float
    running: Drop
    decided_by: Decisive
    sources: tuple[str, str]

    @property
    def kind(self) -> SizeKind:
        """Which of the tables it is from."""
        return "AWG" if self.conductor.gauge_AWG is not None else "mm2"

    @property
    def fuse_A(self) -> float:
        """The smallest usual fuse that lasts at 125 % of the greatest current [A]."""
        assert self.conductor.fuse_A is not None
        return self.conductor.fuse_A


def choose_cable(
    conductor: Conductor, site: Site, kind: SizeKind, *, drop_pct: float = ADVISED_DROP_PCT
) -> CableChoice | Missing:
    """Return the smallest cable of one table in the place of a conductor, as long and carrying the same.

    Missing where what it carries is not known, and where no size of the table does.
    """
    carried = currents(conductor, site)
    if isinstance(carried, Missing):
        return Missing(f"size for '{conductor.name}'", carried.add, carried.because)
    decided: Decisive = "current"
    for size in _sizes(conductor, kind):
        tried = _tried(size, site, carried, kind, drop_pct)
        if isinstance(tried, Drop):
            return _chosen(size, carried, tried, kind, decided)
        decided = tried
    return Missing(f"size for '{conductor.name}'", (), _none_fits(carried, kind, drop_pct))


def _none_fits(carried: Carried, kind: SizeKind, drop_pct: float) -> str:
    last = next(reversed(GAUGES)) + " AWG" if kind == "AWG" else f"{max(AREA_AMPACITY_A):g} mm²"
    return (
        f"no single cable up to {last} carries {CONTINUOUS_FACTOR * carried.greatest_A:.0f} A with at most "
        f"{drop_pct:g} % lost; make it shorter, lay two, or raise the bank's voltage"
    )


def _sizes(conductor: Conductor, kind: SizeKind) -> list[Conductor]:
    """Return the conductor in every size of a table, the smallest first; solid ones end at 8 AWG."""
    sizes: Sequence[dict[str, object]]
    if kind == "AWG":
        sizes = [
            {"gauge_AWG": name, "area_mm2": None}
            for name, row in GAUGES.items()
            if conductor.strands == "stranded" or row.solid_ohm_per_kft is not None
        ]
    else:
        sizes = [{"gauge_AWG": None, "area_mm2": area} for area in AREA_AMPACITY_A]
    return [conductor.model_copy(update={**size, "fuse_A": None}) for size in sizes]


def _tried(size: Conductor, site: Site, carried: Carried, kind: SizeKind, drop_pct: float) -> Drop | Decisive:
    """Return what a size loses where it fits, else what it fails."""
    allowed_A = ampacity(size).low_A
    if allowed_A < CONTINUOUS_FACTOR * carried.greatest_A:
        return "current"
    if _fuse_A(carried, kind) > allowed_A:
        return "fuse"
    lost = drop(size, carried.running_A, site.bank.nominal_V)
    return lost if lost.drop_pct <= drop_pct else "drop"


def _fuse_A(carried: Carried, kind: SizeKind) -> float:
    """Return the smallest usual fuse that lasts; without an end where none does. [A]"""
    wanted_A = CONTINUOUS_FACTOR * carried.greatest_A
    return min((amps for amps in (FUSES_A if kind == "AWG" else FUSES_BY_AREA_A) if amps >= wanted_A), default=1e15)


def _chosen(size: Conductor, carried: Carried, lost: Drop, kind: SizeKind, decided: Decisive) -> CableChoice:
    allowed = ampacity(size)
    sources = (AMPACITY_SOURCE, FUSES_SOURCE) if kind == "AWG" else (AREA_AMPACITY_SOURCE, FUSES_BY_AREA_SOURCE)
    return CableChoice(
        size.model_copy(update={"fuse_A": float(_fuse_A(carried, kind))}),
        allowed.size,
        allowed.low_A,
        CONTINUOUS_FACTOR * carried.greatest_A,
        lost,
        decided,
        sources,
    )
