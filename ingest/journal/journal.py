"""The live log: a journal that holds every reading from the moment it was written, whatever happens to the program."""

from __future__ import annotations

import os
import secrets
import threading
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from math import isnan
from pathlib import Path
from typing import Final

from ..errors import InputError
from ..events import Reading, Refused, Remark
from ..log.log import JOURNAL_SUFFIX
from ..log.meta import LogMeta
from ..safe_files.file_lock import hold, put_away
from ..safe_files.rejects import refuse_others_rejects
from ..safe_files.whole_file import named_in_errors, sync_path
from .lines import header, plain, seal

FLUSH_S: Final = 1.0
STATE_BEGINS: Final = "."
STATE_ENDS: Final = ".capture.json"
#: Share of the flush interval after which a flush is due: the next chance may come only when the interval is over.
_DUE = 0.75


def journal_path(log: Path) -> Path:
    """Return where the journal of a log lies while it is captured."""
    return log.with_name(log.name + JOURNAL_SUFFIX)


def inbox_path(log: Path) -> Path:
    """Return where others leave notes for a log's capture while it runs."""
    return log.with_name(f".{log.name}.inbox")


def state_path(log: Path) -> Path:
    """Return where it stands who captures a log."""
    return log.with_name(f"{STATE_BEGINS}{log.name}{STATE_ENDS}")


def refuse_captured(log: Path) -> None:
    """Stop before a result takes the place of a log that is being captured, or whose capture is unfinished.

    Raises
    ------
    InputError
        If its journal lies there.
    """
    path = journal_path(log)
    try:
        handle = hold(path, os.O_RDONLY)
    except FileNotFoundError:
        return
    if handle is None:
        raise InputError(f"{log}: is still being captured; stop it first or choose another --out")
    os.close(handle)
    raise _unfinished(log)


class Journal:
    """The journal of one log, from a capture's first reading to its last; threads may share it.

    What was appended survives the end of the program, however it ends; what was synced survives a power cut, which may
    cost `flush_s` at most if `flush_due` is called often enough. ``meta`` is what is known beforehand; its
    `gap_limit_s` is given only where it was stated.

    Raises
    ------
    InputError
        If another capture is writing here, an unfinished one or another log's rejects lie here, or nothing can be
        written here.
    OSError
        If the disk is full or cannot be written to; nothing is left behind then.
    """

    def __init__(self, log: Path, meta: LogMeta, quantities: Sequence[str], *, flush_s: float = FLUSH_S) -> None:
        self.log = log
        self.path = journal_path(log)
        self.quantities = tuple(quantities)
        self._flush_us = flush_s * 1e6
        self._guard = threading.Lock()
        self._end = self._key = self._synced_us = 0
        self._torn = self._unsynced = False
        self._handle = _new_file(log)
        try:
            # A mark of its own tells this capture's log from any other that may come to lie there.
            meta = replace(meta, capture_id=secrets.token_hex(16))
            self._key = self._append(header(meta, self.quantities, replaces=log.exists()))
            self.sync()
            sync_path(self.path.parent)
        except BaseException:
            put_away(self.detach(), self.path)
            raise

    def __enter__(self) -> Journal:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def append_reading(self, reading: Reading) -> None:
        """Keep a reading.

        Raises
        ------
        ValueError
            If it holds a quantity that the journal was not made for.
        OSError
            If it could not be written; what was kept before stays readable, and the next may be tried.
        """
        if strange := reading.values.keys() - set(self.quantities):
            raise ValueError(f"{self.path}: no place for {', '.join(sorted(strange))} was made in this journal")
        values = [reading.values.get(name) for name in self.quantities]
        self._append(["reading", int(reading.time_us), [_number(x) for x in values]])

    def append_marker(self, time_us: int, text: str) -> None:
        """Keep a marker, on the disk at once: a person typed it."""
        self._append(["marker", int(time_us), plain(text)])
        self.sync()

    def append_event(self, event: Refused | Remark) -> None:
        """Keep what was refused, or happened; the latter on the disk at once, as a long silence may follow."""
        if isinstance(event, Refused):
            self._append(["refused", int(event.time_us), plain(event.kind), plain(event.text), plain(event.reason)])
            return
        self._append(["remark", int(event.time_us), plain(event.kind), plain(event.text)])
        self.sync()

    def append_clock_step(self, time_us: int, step_s: float) -> None:
        """Keep by how much the machine's clock was set forward [s], and when [us]."""
        self._append(["clock step", int(time_us), float(step_s)])

    def flush_due(self, now_us: int) -> None:
        """Put what was appended on the disk if that is due; to be called each quarter of the interval at least."""
        if self._unsynced and now_us - self._synced_us >= _DUE * self._flush_us:
            self.sync()
            self._synced_us = now_us

    def sync(self) -> None:
        """Put everything that was appended on the disk. Appending goes on meanwhile."""
        # Before the disk is asked: a line that another thread appends meanwhile is not yet safe.
        self._unsynced = False
        try:
            getattr(os, "fdatasync", os.fsync)(self._handle)
        except OSError as error:
            self._unsynced = True
            raise _named(error, self.path) from error

    def close(self) -> None:
        """Sync and let go of the journal; it stays where it is. Closing it again does nothing."""
        if self._handle < 0:
            return
        try:
            self.sync()
        finally:
            os.close(self.detach())

    def detach(self) -> int:
        """Hand over the held file; the journal is closed from here on."""
        handle, self._handle = self._handle, -1
        return handle

    def _append(self, record: object) -> int:
        """Write a whole line or none; return its checksum."""
        with self._guard:
            try:
                self._drop_torn_line()
                line, checksum = seal(record, self._end, self._key)
                # Until all of it is written, the file may end with half a line; the next line must not begin behind
                # that.
                self._torn = True
                _write_all(self._handle, line)
            except OSError as error:
                with suppress(OSError):  # else before the next line
                    self._drop_torn_line()
                raise _named(error, self.path) from error
            self._torn, self._unsynced = False, True
            self._end += len(line)
        return checksum

    def _drop_torn_line(self) -> None:
        if self._torn:
            os.ftruncate(self._handle, self._end)
            self._torn = False


def _new_file(log: Path) -> int:
    path = journal_path(log)
    refuse_others_rejects(log, {path.name})  # now, not when the capture ends
    with named_in_errors(log):
        handle = hold(path, os.O_RDWR | os.O_CREAT | os.O_APPEND)
    if handle is None:
        raise InputError(f"{log}: another capture is writing here; stop it first or choose another --out")
    if os.fstat(handle).st_size:
        os.close(handle)
        raise _unfinished(log)
    return handle


def _unfinished(log: Path) -> InputError:
    return InputError(
        f"{log}: an unfinished capture lies here ({journal_path(log).name}); complete it with 'shuntbook look {log}', "
        "or choose another --out"
    )


def _write_all(handle: int, line: bytes) -> None:
    rest = memoryview(line)
    while rest:
        rest = rest[os.write(handle, rest) :]


def _number(x: float | None) -> float | None:
    return None if x is None or isnan(x) else float(x)


def _named(error: OSError, path: Path) -> OSError:
    """Return the error with the file's name, which those of an open file's handle lack."""
    return OSError(error.errno, error.strerror, str(path))
