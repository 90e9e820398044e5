"""What other processes leave for a capture while it runs: notes, and its end, in a file beside its log."""

from __future__ import annotations

import json
import os
import time
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from ...ingest.errors import InputError
from ...ingest.journal.journal import inbox_path
from ...ingest.safe_files.file_lock import hold, put_away, remove_left_behind

#: As long as a note typed at the keyboard may be. [characters]
MOST_OF_NOTE = 500
#: No line of ours is longer, and no more is read at one look. [bytes]
_LINE_MOST, _READ_MOST = 8_192, 262_144
_AS_BYTES = getattr(os, "O_BINARY", 0)
#: A link is no inbox of ours.
_NO_LINK = getattr(os, "O_NOFOLLOW", 0)


@dataclass(frozen=True)
class LeftNote:
    """A note, and when it was typed by the machine's clock. [us]"""

    text: str
    at_us: int


@dataclass(frozen=True)
class LeftEnd:
    """Somebody wants the capture to end."""


@dataclass(frozen=True)
class DamagedLine:
    """A line that is none of the others."""

    text: str


def leave(log: Path, left: LeftNote | LeftEnd) -> None:
    """Append a line to the inbox of a running capture; `FileNotFoundError` if there is none."""
    content = {"note": left.text[:MOST_OF_NOTE], "at_us": left.at_us} if isinstance(left, LeftNote) else {"end": True}
    # Never made here: what nobody hears must not look as if it had been left. One write, begun on a line of its own, so
    # that what two processes leave at once, or what one left that was killed, garbles nothing else.
    handle = os.open(inbox_path(log), os.O_WRONLY | os.O_APPEND | _AS_BYTES | _NO_LINK)
    try:
        os.write(handle, b"\n" + json.dumps(content).encode() + b"\n")
    finally:
        os.close(handle)


class Inbox:
    """The capture's own end of it: made new and empty, readable by its owner alone, and gone when it is closed.

    `InputError` or `OSError` if it cannot be made there.
    """

    def __init__(self, log: Path) -> None:
        self._path = inbox_path(log)
        self._handle = new_private_file(self._path)
        self._read = 0
        self._rest = b""

    def take(self) -> list[LeftNote | LeftEnd | DamagedLine]:
        """Return what was left since the last call; a line that is not yet finished waits for its end."""
        try:
            size = os.fstat(self._handle).st_size
            if size < self._read:  # somebody emptied it
                self._read, self._rest = 0, b""
            if size == self._read:
                return []
            os.lseek(self._handle, self._read, os.SEEK_SET)
            data = os.read(self._handle, _READ_MOST)
        except OSError:
            return []
        self._read += len(data)
        *lines, self._rest = (self._rest + data).split(b"\n")
        if len(self._rest) > _LINE_MOST:
            lines, self._rest = [*lines, self._rest], b""
        return [_understood(line) for line in lines if line.strip()]

    def close(self) -> None:
        """Remove it."""
        with suppress(OSError):
            put_away(self._handle, self._path)


def new_private_file(path: Path) -> int:
    """Make a file that its owner alone may read, hold it, and return its handle; one that nobody holds makes way.

    Raises
    ------
    InputError
        If a link or no file lies there, or another process holds it.
    OSError
        If nothing can be made there.
    """
    # Whoever looks whether one is held holds it for a moment, and may remove what was just made as left behind.
    until = time.monotonic() + 2.0
    while time.monotonic() < until:
        with suppress(FileNotFoundError, FileExistsError):
            remove_left_behind(path)
            os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
            try:
                handle = hold(path, os.O_RDWR)
            except FileNotFoundError:  # another took it for left behind; what lies there now is not this one's
                raise
            except (InputError, OSError):  # it is nobody's: none else would remove it
                with suppress(OSError):
                    path.unlink()
                raise
            if handle is not None:
                return handle
        time.sleep(0.02)
    raise InputError(f"{path}: another capture uses this file")


def _understood(line: bytes) -> LeftNote | LeftEnd | DamagedLine:
    with suppress(ValueError, RecursionError):
        match json.loads(line):
            case {"end": True}:
                return LeftEnd()
            case {"note": str(text), "at_us": int(at_us)} if text.strip() and not isinstance(at_us, bool):
                return LeftNote(" ".join(text.split())[:MOST_OF_NOTE], at_us)
    return DamagedLine(line[:100].decode("ascii", "backslashreplace"))
