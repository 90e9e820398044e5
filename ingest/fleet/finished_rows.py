"""What a long run over many logs has finished so far, kept so that the next run need not do it again.

A text file beside the result: a line that says what it is, then a JSON object a line, appended as logs are done. A line
that a crash or a power cut tore is no JSON object and is passed over; what stood before it counts. One process at a
time writes it.
"""

from __future__ import annotations

import json
import os
import time
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, Final

from ..errors import InputError
from ..safe_files.file_lock import OPEN_FILES_KEEP_NAMES, hold
from ..safe_files.whole_file import named_in_errors, whole_file

#: How often what was done is put on the disk: so much a power cut may cost. [s]
_SYNC_S: Final = 5.0
Row = dict[str, Any]


def rows_path(result: Path) -> Path:
    """Return where the finished rows of a result are kept."""
    return result.with_name(result.name + ".rows")


class KeptRows:
    """The finished rows of a result, by name; they lie beside it.

    `kind` says in a word what the rows are: the file of another kind is left alone.

    Raises
    ------
    InputError
        If another process is writing here, the file is not ours, or nothing can be written here.
    """

    def __init__(self, result: Path, kind: str) -> None:
        self.path = rows_path(result)
        self._title = json.dumps({"kept for": result.name, "rows of": kind})
        self._handle = _held(result, self.path)
        self._is_held = True
        try:
            self.rows, self._stale = self._read()
        except BaseException:
            os.close(self._handle)
            raise
        self._synced_s = time.monotonic()

    def __enter__(self) -> KeptRows:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _read(self) -> tuple[dict[str, Row], bool]:
        """Return the rows, and whether lines stand there that are no longer of use."""
        lines = self.path.read_bytes().split(b"\n")
        torn = lines.pop()  # nothing, unless the last line was torn
        if not lines:
            # The title itself may have been torn by a power cut; anything else is somebody's file.
            if torn and not self._title.encode().startswith(torn):
                raise self._foreign()
            os.ftruncate(self._handle, 0)
            self._write(self._title)
            return {}, False
        if lines[0] != self._title.encode():
            raise self._foreign()
        # A line end closes the torn line, so that the next one stands by itself.
        if torn:
            self._write("")
        objects = [row for line in lines[1:] if (row := _object(line)) is not None]
        rows = {str(row["log"]): row for row in objects}
        return rows, bool(torn) or len(rows) != len(lines) - 1

    def _foreign(self) -> InputError:
        return InputError(f"--out: {self.path} is no file of finished rows for this; remove it or choose another name")

    def keep(self, rows: Iterable[Row]) -> None:
        """Keep rows; each has its name under ``log``."""
        for row in rows:
            self._stale |= row["log"] in self.rows
            self.rows[row["log"]] = row
            self._write(json.dumps(row))
        if time.monotonic() - self._synced_s > _SYNC_S:
            os.fsync(self._handle)
            self._synced_s = time.monotonic()

    def tidy(self, wanted: Mapping[str, object]) -> None:
        """Leave only the rows that are wanted, in order of name, whole or not at all; no more can be kept then."""
        # Rewritten only where something is to go: a run that is repeated leaves the file as it is.
        gone = self.rows.keys() - wanted.keys()
        if not gone and not self._stale:
            return
        self.rows = {name: row for name, row in sorted(self.rows.items()) if name in wanted}
        with whole_file(self.path) as hidden:
            with hidden.open("w", encoding="ascii", newline="\n") as file:
                file.writelines(f"{line}\n" for line in (self._title, *map(json.dumps, self.rows.values())))
            if OPEN_FILES_KEEP_NAMES:
                self.close()

    def close(self) -> None:
        """Put all on the disk and let go of it."""
        if not self._is_held:
            return
        self._is_held = False
        try:
            os.fsync(self._handle)
        finally:
            os.close(self._handle)

    def _write(self, line: str) -> None:
        rest = memoryview(f"{line}\n".encode("ascii"))
        while rest:
            rest = rest[os.write(self._handle, rest) :]


def _held(result: Path, path: Path) -> int:
    with named_in_errors(result):
        handle = hold(path, os.O_RDWR | os.O_CREAT | os.O_APPEND)
    if handle is None:
        raise InputError(f"--out: another run is writing {result}; wait for it or choose another name")
    return handle


def _object(line: bytes) -> Row | None:
    try:
        row = json.loads(line)
    except (ValueError, RecursionError):
        return None
    return row if isinstance(row, dict) and "log" in row else None
