"""What changes would do to the load of a report, by the one log that it is of."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from ...analysis.health.finding import is_swapped
from ...analysis.one_log.watched_load import watched_load
from ...analysis.what_if.what_if import what_if
from ...ingest.errors import InputError
from .changes_asked import changes_of
from .forecast_asked import behaviour_in, refusal_of_swapped

if TYPE_CHECKING:
    from pathlib import Path

    from ...analysis.one_log.log_report import LogReport
    from ...analysis.site.site import Site
    from ...analysis.what_if.what_if import WhatIf
    from ..opening.prepared_log import Prepared

#: A report's changes are told for a day: a use is one of a day, and so are most limits. [h]
_DAY_H: Final = 24.0


def refuse_changes(changes: Sequence[str], logs: Sequence[Path], site: Site | None) -> None:
    """Stop before a log is read where changes cannot be asked of a report.

    Raises
    ------
    InputError
        If it is of several logs, of no system, or a change is none.
    """
    if site is None:
        raise InputError("--with: a change is one of a system; name its site file as well (--site SITE)")
    if len(logs) > 1:
        raise InputError(f"--with: a change is told by one log, and {len(logs)} are named; name the one to tell it by")
    changes_of(tuple(changes))


def what_if_by_log(changes: Sequence[str], log: LogReport, ready: Prepared, site: Site, load: str | None) -> WhatIf:
    """Return what changes would do in a day to the load whose runs were found in a log.

    Raises
    ------
    InputError, Refusal
        If draw and return seem swapped, the site names no load to look for, or the log shows no whole run of it.
    """
    if is_swapped(log.findings):
        raise refusal_of_swapped("--with", ready.log.path)
    watched = watched_load(site, load, ready.how, ready.quantities)
    if watched.name is None:
        raise InputError("--with: the site file has no pump; say which load is asked about (--load NAME)")
    seen = behaviour_in(log.cycles, watched.name, ready, site)
    return what_if(site, watched.name, changes_of(tuple(changes)), hours=_DAY_H, measured=seen)
