"""The file beside a log that says who captures it: whoever comes later finds the capture by it, and its page."""

from __future__ import annotations

import json
import os
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from ...ingest.errors import InputError
from ...ingest.journal.journal import STATE_BEGINS, STATE_ENDS, inbox_path, journal_path, state_path
from ...ingest.safe_files.file_lock import hold, put_away, remove_left_behind
from .inbox import new_private_file

#: Of the file's content; another one is not understood.
_FORMAT = 1
#: Far more than any of ours. [bytes]
_MOST = 65_536


@dataclass(frozen=True)
class CaptureState:
    """A capture, as its file tells of it.

    ``log`` is the log that the file lies beside, ``logs`` are those of all its meters. ``page`` is the link of its live
    page, which lets in whoever may read the file, as often as they like; None without one. ``since_us`` is when it
    began [us]. ``process`` is for a person to know; that it runs is told by the file being held, since a process id
    may be another's by now.
    """

    log: Path
    logs: tuple[Path, ...]
    source: str
    title: str
    page: str | None
    since_us: int
    process: int


@dataclass(frozen=True)
class FoundCapture:
    """A capture that was found beside its log: it is ``running``, or was cut off and left its journal."""

    state: CaptureState
    running: bool


class StateFile:
    """The capture's own end of it: held as long as it runs, and gone when it is closed.

    Raises
    ------
    InputError, OSError
        If it cannot be made there.
    """

    def __init__(self, state: CaptureState) -> None:
        self._path = state_path(state.log)
        self._handle = new_private_file(self._path)
        content = asdict(state) | {"log": state.log.name, "logs": [log.name for log in state.logs]}
        try:
            os.write(self._handle, json.dumps({"shuntbook_capture": _FORMAT, **content}, indent=1).encode())
        except OSError:
            self.close()
            raise

    def close(self) -> None:
        """Remove it."""
        with suppress(OSError):
            put_away(self._handle, self._path)


def find_captures(folder: Path) -> list[FoundCapture]:
    """Return the captures of a folder, the longest running first; what a killed one left and nobody needs is removed.

    One that was cut off is told of as long as its journal waits to become the log, which any command does that opens
    it. What another user's capture wrote is passed over.
    """
    captures = filter(None, map(_found, sorted(folder.glob(f"{STATE_BEGINS}*{STATE_ENDS}"))))
    return sorted(captures, key=lambda capture: (not capture.running, capture.state.since_us))


def find_capture(log: Path) -> FoundCapture | None:
    """Return the capture that a log's own file tells of."""
    return _found(state_path(log))


def _found(path: Path) -> FoundCapture | None:
    # Held before it is read: only a file can be, and no link, and no pipe, at which a reader would wait.
    try:
        handle = hold(path, os.O_RDWR)
    except (OSError, InputError):
        return None
    state = _read(path)
    if handle is None:
        return None if state is None else FoundCapture(state, running=True)
    if state is None or any(journal_path(log).exists() for log in state.logs):
        os.close(handle)
        return None if state is None else FoundCapture(state, running=False)
    with suppress(OSError):
        put_away(handle, path)
        remove_left_behind(inbox_path(state.log))
    return None


def _read(path: Path) -> CaptureState | None:
    """Return what a file says; None where it is just being made, another user's, or none of ours."""
    with suppress(OSError, ValueError, TypeError, KeyError, OverflowError, RecursionError):
        return _understood(path)
    return None


def _understood(path: Path) -> CaptureState:
    with path.open("rb") as file:
        owner = os.fstat(file.fileno()).st_uid
        stated: dict[str, Any] = json.loads(file.read(_MOST))
    # What another user left there could lead the browser anywhere.
    if hasattr(os, "getuid") and owner != os.getuid():
        raise ValueError
    if stated["shuntbook_capture"] != _FORMAT:
        raise ValueError
    names = [str(name) for name in stated["logs"]]
    # Names alone: the file speaks of what lies beside it.
    if any(Path(name).name != name for name in names):
        raise ValueError
    page = stated["page"]
    return CaptureState(
        path.with_name(path.name.removeprefix(STATE_BEGINS).removesuffix(STATE_ENDS)),
        tuple(path.with_name(name) for name in names),
        str(stated["source"]),
        str(stated["title"]),
        None if page is None else str(page),
        int(stated["since_us"]),
        int(stated["process"]),
    )
