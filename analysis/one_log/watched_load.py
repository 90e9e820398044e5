"""The load whose runs are sought in a log."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ..cycles.cycles import CycleFold
from ..not_known import Refusal
from ..signal_levels.steps import signal_of

if TYPE_CHECKING:
    from ..cycles.cycle import Cycles
    from ..readings.chunk import Fold
    from ..readings.measured_span import HowRead
    from ..site.site import Load, Site


@dataclass(frozen=True)
class Watched:
    """The load whose runs are sought, and its draw by the plate in the unit of the log's signal."""

    load: Load | None
    expected: float | None

    @property
    def name(self) -> str | None:
        """What the load is called."""
        return self.load.name if self.load is not None else None

    @property
    def drive(self) -> bool:
        """Whether its owner says that it runs at any speed."""
        return self.load is not None and self.load.start == "drive"


def watched_load(site: Site | None, name: str | None, how: HowRead, quantities: set[str]) -> Watched:
    """Return the load to look for: the named one, else the site's main pump.

    Raises
    ------
    Refusal
        If a load is named that the site does not have, or there is no site.
    """
    if site is None:
        if name is not None:
            raise Refusal(f"--load {name}: loads are named in a site file; give it with --site")
        return Watched(None, None)
    load = site.load(name) if name is not None else site.main_pump()
    if load is None:
        return Watched(None, None)
    from ..nameplate.estimate import estimate  # without a site there is no plate to work out

    # A plate that says too little is no error here: runs are then those of the largest load that was seen.
    try:
        plate = estimate(site, load.name, hours=1.0)
    except Refusal:
        return Watched(load, None)
    # Where two loads draw alike the plate decides which runs are sought, so its draw must be that at the meter.
    signal = signal_of(how, quantities)
    by_signal = {
        "current_A": plate.dc_A if how.side == "dc" else None,
        "power_W": plate.dc_W if how.side == "dc" else plate.ac_W,
    }
    return Watched(load, by_signal.get(signal or ""))


def cycle_fold(
    watched: Watched, how: HowRead, quantities: set[str], notes: Sequence[tuple[int, str]] = ()
) -> Fold[Cycles]:
    """Return what finds the runs of a load; in what a person noted down, by the notes [us] as well."""
    levels = CycleFold(how, quantities, load=watched.name, expected=watched.expected, drive=watched.drive)
    if not how.noted:
        return levels
    from ..cycles.noted_runs import NotedRunsFold

    return NotedRunsFold(levels, levels.signal, notes)
