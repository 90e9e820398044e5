"""What a capture is to read, and where each log goes."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from ... import __version__
from ...ingest.durations import seconds
from ...ingest.errors import InputError
from ...ingest.journal.compaction import settle_unfinished
from ...ingest.live.address import make_source
from ...ingest.live.source import LiveSource, SteadyClock
from ...ingest.log.gap_limit import ALWAYS_ONE_S, GAP_TIMES
from ...ingest.log.meta import HAND, LogMeta
from ...ingest.safe_files.whole_file import refuse_existing, refuse_no_text
from ...ingest.zone import zone_of_computer
from ..door import tell
from ..opening.prepared_log import meter_of, read_site

if TYPE_CHECKING:
    from ...analysis.site.site import Meter as SiteMeter
    from ...analysis.site.site import Site
    from ...ingest.profiles.model import Profile

_DEFAULT_EVERY_S = 1.0
_LOG = ".parquet"
#: A file's name holds 255 bytes as a rule; what stands beside a log while it is written needs a good part of them.
_NAME_BYTES = 120
#: Names that Windows keeps for devices, whatever follows the dot (Microsoft, "Naming Files, Paths, and Namespaces").
_OF_DEVICES = re.compile(r"con|prn|aux|nul|(com|lpt)[0-9¹²³]", re.IGNORECASE)

_ADD_SOURCE = 'add a line such as source = "serial:PORT?baud=19200"'


@dataclass(frozen=True)
class Wanted:
    """What the command line states for every meter; None leaves it to the profile or site file."""

    profile: str | None
    every_s: float | None
    side: str | None
    zone: str | None = None


@dataclass
class Plan:
    """One meter to be captured: where from, where to, and what to look for in it.

    Clock times are those of ``zone``, which ``zone_stated`` tells goes before that of a recording.
    """

    name: str
    source: LiveSource
    log: Path
    every_s: float
    gap_s: float | None
    profile: Profile | None = None
    site: Site | None = None
    zone: str = field(default_factory=zone_of_computer)
    zone_stated: bool = False

    @property
    def gap_limit_s(self) -> float:
        """Longest spacing that is still one measurement while it runs. [s]"""
        return self.gap_s if self.gap_s is not None else max(GAP_TIMES * self.every_s, ALWAYS_ONE_S)


def plan_for_source(
    source: str, out: Path, wanted: Wanted, clock: SteadyClock, *, site: Path | None = None, names: Sequence[str] = ()
) -> Plan:
    """Return the plan for one source that the command line names, at a site where one is given.

    It is read as the site's meter that is named; without a name, its figures are those of the only meter on its side.

    Raises
    ------
    InputError, Refusal
        If there are several names or no such meter, or the log exists already.
    """
    known = None if site is None else read_site(site)
    if site is not None and known is not None and names:
        if len(names) > 1:
            raise InputError("--meter: one SOURCE is one meter; name one of the site file's")
        stated = known.meter(names[0]).model_copy(update={"source": source})
        return _plan_for_meter(stated, site, known, out, wanted, clock)
    _free(out)
    profile = _profile(wanted.profile)
    made = make_source(source, profile, clock, side=wanted.side)
    beside = meter_of(known, out.stem, made.side)
    every_s = wanted.every_s or _DEFAULT_EVERY_S
    return Plan(
        beside.name if beside else out.stem,
        made,
        out,
        every_s,
        _gap_s(profile),
        profile,
        known,
        _zone(wanted, known),
        wanted.zone is not None,
    )


def _zone(wanted: Wanted, site: Site | None) -> str:
    """Return the zone of the log's clock times: the command line's, else the site's, else this computer's."""
    if wanted.zone is not None:
        return wanted.zone
    return site.zone if site is not None and site.zone else zone_of_computer()


def plans_for_site(path: Path, names: Sequence[str], out: Path, wanted: Wanted, clock: SteadyClock) -> list[Plan]:
    """Return a plan for each meter of a site file, or for those that are named.

    `InputError` or `Refusal` if the site has no such meter, one has no source, or a log exists already.
    """
    site = read_site(path)
    chosen = [site.meter(name) for name in names] or [meter for meter in site.meters if meter.source is not None]
    if not chosen:
        raise InputError(f"{path}: none of its meters says how to read it; {_ADD_SOURCE}")
    for meter in chosen:
        if meter.source is None:
            raise InputError(f"{path}: the meter '{meter.name}' does not say how to read it; {_ADD_SOURCE}")
    # One meter's log is the file that was named; of several the place is a folder, or what their names begin with.
    if len(chosen) == 1:
        return [_plan_for_meter(chosen[0], path, site, out, wanted, clock)]
    beside = out.suffix.lower() == _LOG and not out.is_dir()
    logs = [_log_of(meter.name, out, beside=beside) for meter in chosen]
    # Many file systems take "Pump" and "pump" for one file.
    if len({log.name.casefold() for log in logs}) < len(logs):
        raise InputError(f"{path}: two of the meters would get the same log; give them names that differ in letters")
    refuse_no_text(out)
    (out.parent if beside else out).mkdir(parents=True, exist_ok=True)
    return [_plan_for_meter(m, path, site, log, wanted, clock) for m, log in zip(chosen, logs, strict=True)]


def _log_of(meter: str, out: Path, *, beside: bool) -> Path:
    """Return where one of several meters' logs goes: into the folder, or beside it as ``open-day-pump.parquet``."""
    name = f"{file_name(meter)}{_LOG}"
    return out.with_name(f"{out.stem}-{name}") if beside else out / name


def _plan_for_meter(meter: SiteMeter, path: Path, site: Site, log: Path, wanted: Wanted, clock: SteadyClock) -> Plan:
    _free(log)
    # The command line goes before the site file, and that before the profile.
    profile = _profile(wanted.profile or (_beside(path, meter.profile) if meter.profile else None))
    source = make_source(meter.source or "", profile, clock, side=wanted.side or meter.side, sampling=meter.sampling)
    every_s = wanted.every_s or meter.every_s or _DEFAULT_EVERY_S
    gap_s = meter.gap_s or _gap_s(profile)
    zone = _zone(wanted, site)
    return Plan(meter.name, source, log, every_s, gap_s, profile, site, zone, wanted.zone is not None)


def _beside(site: Path, profile: str) -> str:
    """Return a profile that a site file names: a file beside it, or one that comes with shuntbook."""
    file = site.parent / profile
    return str(file) if file.exists() else profile


def _profile(name: str | None) -> Profile | None:
    if name is None:
        return None
    from ...ingest.profiles.model import load_profile

    return load_profile(name)


def _gap_s(profile: Profile | None) -> float | None:
    return seconds(profile.gap, what="the profile's gap") if profile is not None and profile.gap is not None else None


def _free(log: Path) -> None:
    """Complete an unfinished capture that lies in the place of a log, and refuse to write over any log."""
    if (note := settle_unfinished(log)) is not None:
        tell(f"note: {note}")
    refuse_existing(log, force=None)


def file_name(name: str) -> str:
    """Return a meter's name as that of a file: letters and digits only, so that it leads nowhere else."""
    plain = "".join(c if c.isalnum() or c in "-_" else "_" for c in name.strip()) or "meter"
    # By bytes, as file systems count, and never through the middle of a letter.
    plain = plain.encode()[:_NAME_BYTES].decode(errors="ignore")
    return f"_{plain}" if _OF_DEVICES.fullmatch(plain) else plain


def first_meta(plan: Plan, title: str | None = None) -> LogMeta:
    """Return the log's metadata, its title among it; a recording that is replayed brings most of it along."""
    if (recorded := plan.source.meta) is not None:
        named = replace(recorded, title=title or recorded.title, meter=recorded.meter or plan.name)
        meta = replace(named, tool_version=__version__)
        return replace(meta, zone=plan.zone, zone_assumed=False) if plan.zone_stated else meta
    # The sampling tells typed readings from a meter's, which need no profile: they stand until the next.
    return LogMeta(
        title=title,
        meter=plan.name,
        side=plan.source.side,
        sampling=plan.source.sampling,
        counter_kind=(plan.profile.counter if plan.profile else None) or "net",
        profile=plan.profile.name if plan.profile else HAND if plan.source.sampling == "held" else None,
        zone=plan.zone,
        gap_limit_s=plan.gap_s,
        usual_interval_s=plan.every_s,
        tool_version=__version__,
    )
