"""Find the logs of a fleet below a folder or by a pattern, here or in a store that fsspec reaches.

A log is a file ``NAME.parquet``, or a folder of that name with the files of one log in it; any other folder is looked
into. What cannot be a log is found as well, with the reason, so that it is told rather than passed over. Hidden files
are left out. Links to files are followed, links to folders are not: no loop, and nothing twice.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from glob import has_magic
from pathlib import Path, PurePosixPath
from typing import Final, Literal

import pyarrow as pa

from ..errors import InputError
from ..log.arrow import stored_notes
from ..log.meta import METADATA_KEY, meta_from
from . import remote

LOG, JOURNAL, SITE = ".parquet", ".parquet.journal", ".toml"
#: ``log``: to be read; ``unfinished``: a capture that was not ended; ``not read``: no log, for a reason.
LogKind = Literal["log", "unfinished", "not read"]
_UNFINISHED: Final = (
    "an unfinished capture lies here ({name}); it is left alone, as it may still be running: end it, or complete it "
    "with 'shuntbook look {log}'"
)


@dataclass(frozen=True)
class FoundLog:
    """A log of the fleet, or what stands in the place of one.

    ``name`` is its path from the fleet's folder, with ``/``; ``place`` a path or a URL. ``stamp`` changes when the log
    does: size and time of the last change, of all its files. ``reason``: why it cannot be read.
    """

    name: str
    place: str
    stamp: str = ""
    kind: LogKind = "log"
    reason: str | None = None


@dataclass
class Fleet:
    """What was found: logs by name, and site files by theirs, each with its stamp."""

    logs: dict[str, FoundLog] = field(default_factory=dict)
    sites: dict[str, tuple[str, str]] = field(default_factory=dict)

    def add(self, log: FoundLog) -> None:
        """Take a log in; an unfinished capture stands before the log that it is to replace."""
        known = self.logs.get(log.name)
        if known is None or known.kind != "unfinished":
            self.logs[log.name] = log


def find_fleet(places: Sequence[str], *, leave_out: Iterable[Path] = ()) -> Fleet:
    """Find all logs in folders, logs, patterns such as ``logs/*/pump.parquet``, or a URL of these.

    Names count from the folder that all places have in common. `leave_out` are files of ours that may lie among them.

    Raises
    ------
    InputError
        If a place does not exist, or none holds anything that could be a log.
    """
    fleet = Fleet()
    urls = [place for place in places if remote.is_url(place)]
    if urls and len(places) > 1:
        raise InputError("name one URL alone, or folders of this computer: their names would not be told apart")
    if urls:
        _find_remote(fleet, urls[0])
    else:
        _find_here(fleet, [Path(place) for place in places], set(map(os.path.realpath, leave_out)))
    if not fleet.logs:
        raise InputError(f"{', '.join(places)}: no log (*{LOG}) is found there; make logs with 'shuntbook convert'")
    return fleet


def find_sites(folder: str) -> dict[str, tuple[str, str]]:
    """Return the site files below a folder: their place and stamp, by path from there.

    Raises
    ------
    InputError
        If there is no such folder.
    """
    if remote.is_url(folder):
        return {name: (url, stamp) for name, url, stamp in remote.listing(folder) if name.endswith(SITE)}
    root = Path(folder).absolute()
    if not root.is_dir():
        raise InputError(f"--site-dir: there is no folder {folder}")
    fleet = Fleet()
    _walk(fleet, root, root, set())
    return fleet.sites


def meter_of(log: FoundLog) -> str | None:
    """Return the meter that a log of this computer names; None where it names none or cannot be read."""
    if log.kind != "log" or remote.is_url(log.place):
        return None
    path = Path(log.place)
    try:
        first = min(path.glob(f"*{LOG}")) if path.is_dir() else path
        return meta_from(path, stored_notes(first).get(METADATA_KEY)).meter
    except (InputError, pa.ArrowException, OSError, ValueError):
        return None  # whoever reads it will say why


def _find_remote(fleet: Fleet, url: str) -> None:
    for name, place, stamp in remote.listing(url):
        if name.endswith(LOG):
            fleet.add(FoundLog(name, place, stamp))
        elif name.endswith(JOURNAL):
            fleet.add(_unfinished(name.removesuffix(".journal"), place.removesuffix(".journal")))
        elif name.endswith(SITE):
            fleet.sites[name] = (place, stamp)


def _find_here(fleet: Fleet, places: list[Path], leave_out: set[str]) -> None:
    starts = [start for place in places for start in _starts(place)]
    root, alone = _common(starts), set()
    for start in starts:
        if start.is_dir() and start.suffix != LOG:
            _walk(fleet, start, root, leave_out)
        else:
            _look_at(fleet, start, root, leave_out)
            alone.add(start.parent)
    # A log named by itself brings the site files of its folder and of those above; a walk has met them on its way.
    for folder in sorted(alone):
        _sites_above(fleet, folder, root)


def _starts(named: Path) -> list[Path]:
    """Return where to begin, from the root on: the place itself, or what its pattern stands for."""
    place = named.absolute()
    # A name as it stands goes first: brackets may be part of it.
    if os.path.lexists(place):
        return [place]
    first = next((k for k, part in enumerate(place.parts) if has_magic(part)), None)
    if first is None:
        raise InputError(f"{named}: there is no such folder or log")
    places = sorted(Path(*place.parts[:first]).glob("/".join(place.parts[first:])))
    if not places:
        raise InputError(f"{named}: nothing is called so")
    return places


def _common(starts: list[Path]) -> Path:
    """Return the folder from which names count."""
    folders = [start if start.is_dir() and start.suffix != LOG else start.parent for start in starts]
    return Path(os.path.commonpath(folders))


def _walk(fleet: Fleet, start: Path, root: Path, leave_out: set[str]) -> None:
    def closed(error: OSError) -> None:
        path = Path(error.filename or start)
        fleet.add(
            FoundLog(
                _name(path, root), str(path), kind="not read", reason=f"this folder cannot be opened ({error.strerror})"
            )
        )

    for folder, folders, files in os.walk(start, onerror=closed):
        here = Path(folder)
        for name in sorted([*files, *(f for f in folders if f.endswith(LOG))]):
            if not name.startswith("."):
                _look_at(fleet, here / name, root, leave_out)
        # In place: `os.walk` goes only into what is left in the list.
        folders[:] = sorted(f for f in folders if not f.startswith(".") and not f.endswith(LOG))


def _look_at(fleet: Fleet, path: Path, root: Path, leave_out: set[str]) -> None:
    """Take in a file or folder, if its name is that of something of the fleet's."""
    name = _name(path, root)
    if path.name.endswith(JOURNAL):
        fleet.add(_unfinished(name.removesuffix(".journal"), str(path).removesuffix(".journal")))
    elif path.suffix == LOG and os.path.realpath(path) not in leave_out:
        fleet.add(_log_at(path, name))
    elif path.suffix == SITE and path.is_file():
        fleet.sites[name] = (str(path), _stamp([path]))


def _log_at(path: Path, name: str) -> FoundLog:
    try:
        if path.is_dir():
            # The folder of a log is one log: while a capture writes a part of it, the whole is unfinished.
            if journals := sorted(path.glob(f"*{JOURNAL}")):
                return _unfinished(name, str(path), journals[0].name)
            return FoundLog(name, str(path), _stamp(sorted(path.glob(f"*{LOG}"))))
        if not stat.S_ISREG(path.stat().st_mode):
            return FoundLog(name, str(path), kind="not read", reason="is neither a file nor a folder")
        return FoundLog(name, str(path), _stamp([path]))
    except OSError as error:
        return FoundLog(name, str(path), kind="not read", reason=f"cannot be read ({error.strerror})")


def _unfinished(name: str, place: str, journal: str | None = None) -> FoundLog:
    reason = _UNFINISHED.format(name=journal or f"{PurePosixPath(name).name}.journal", log=PurePosixPath(name).name)
    return FoundLog(name, place, kind="unfinished", reason=reason)


def _sites_above(fleet: Fleet, folder: Path, root: Path) -> None:
    """Take in the site files of a folder and of those above it, up to the fleet's own."""
    for above in (folder, *folder.parents):
        for path in sorted(above.glob(f"*{SITE}")):
            _look_at(fleet, path, root, set())
        if above == root:
            return


def _name(path: Path, root: Path) -> str:
    name = path.relative_to(root).as_posix()
    return os.fsencode(name).decode("utf-8", "backslashreplace")  # a name need not be text


def _stamp(files: Iterable[Path]) -> str:
    return " ".join(_stamps(files))


def _stamps(files: Iterable[Path]) -> Iterator[str]:
    for path in files:
        state = path.stat()
        yield f"{path.name}:{state.st_size}:{state.st_mtime_ns}"
