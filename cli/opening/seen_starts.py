"""Starts of the site's pump, looked for where its surges may fall between two readings."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from shuntbook.analysis.cycles.cycles import CycleFold
    from shuntbook.analysis.site.site import Site
    from shuntbook.analysis.sureness.signal_errors import UnseenStarts

    from .prepared_log import Prepared


@dataclass(frozen=True)
class StartsFold:
    """A fold that finds the starts, and what each may have drawn unseen."""

    fold: CycleFold
    each: UnseenStarts
    interval_s: float | None

    def found(self) -> tuple[UnseenStarts | None, list[int]]:
        """Return what a start may have drawn, None where none was caught; and when there was one [us]."""
        from shuntbook.analysis.forecast.unseen_starts import caught_starts

        cycles = self.fold.result().cycles
        return caught_starts(self.each, cycles, self.interval_s), [cycle.start_us for cycle in cycles]


def seen_starts(ready: Prepared, site: Site | None) -> StartsFold | None:
    """Return what finds the starts of a site's pump; None where no surge of it can fall between readings."""
    if site is None or not {"current_A", "power_W"} & ready.quantities:
        return None
    from shuntbook.analysis.cycles.cycles import CycleFold
    from shuntbook.analysis.forecast.unseen_starts import unseen_starts
    from shuntbook.analysis.one_log.watched_load import watched_load

    watched = watched_load(site, None, ready.how, ready.quantities)
    each = unseen_starts(site, watched.load, 1, ready.how) if watched.load is not None else None
    if each is None or (ready.how.usual_interval_s or 0.0) <= each.lasts_s:
        return None
    return StartsFold(
        CycleFold(ready.how, ready.quantities, load=watched.name, expected=watched.expected),
        each,
        ready.how.usual_interval_s,
    )
