"""Which logs a fleet has, and which site file belongs to each."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path, PurePosixPath

from ...ingest.find_logs import LOG, SITE, FoundLog, find_fleet, find_sites, meter_of
from .one_log import SiteFile, Task

#: The rule, for the command's help and whoever looks at its results.
SITE_RULE = (
    "A log's site file is the nearest site.toml, in its own folder or one above, up to the fleet's. With --site-dir D "
    "it is D/<path and name of the log>.toml, else D/<name of the log>.toml, else D/<the log's meter>.toml."
)

Sites = Mapping[str, tuple[str, str]]


def tasks_of(
    places: Sequence[str], *, site_dir: str | None = None, load: str | None = None, leave_out: Iterable[Path] = ()
) -> list[Task]:
    """Return what there is to do, in order of the logs' names.

    Raises
    ------
    InputError
        If a place or the folder of site files does not exist, or no log is found.
    """
    fleet = find_fleet(places, leave_out=leave_out)
    if site_dir is None:
        sites: Sites = fleet.sites
        chosen = {name: _nearest(name, sites) for name in fleet.logs}
    else:
        sites = find_sites(site_dir)
        chosen = {name: _by_name(log, sites) for name, log in fleet.logs.items()}
    return [Task(log, _file(chosen[name], sites), load) for name, log in sorted(fleet.logs.items())]


def _nearest(log: str, sites: Sites) -> str | None:
    near = ((folder / f"site{SITE}").as_posix() for folder in PurePosixPath(log).parents)
    return next((name for name in near if name in sites), None)


def _by_name(log: FoundLog, sites: Sites) -> str | None:
    path = log.name.removesuffix(LOG)
    for name in (path, PurePosixPath(path).name):
        if f"{name}{SITE}" in sites:
            return f"{name}{SITE}"
    by_meter = f"{meter_of(log)}{SITE}"
    return by_meter if by_meter in sites else None


def _file(name: str | None, sites: Sites) -> SiteFile | None:
    return None if name is None else SiteFile(name, *sites[name])
