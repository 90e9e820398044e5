"""The rejects file: the rows that could not be read, kept beside the log that they are missing from."""

from __future__ import annotations

import csv
import os
from collections.abc import Collection, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from ..errors import InputError
from .whole_file import hidden_beside, named_in_errors, take_place

_HEADER = ["file", "line", "reason", "text"]


@dataclass(frozen=True)
class Reject:
    """A row that could not be read."""

    file: str
    line: int
    reason: str
    text: str

    @property
    def where(self) -> str:
        """Its place, and what is the matter with it."""
        return f"{self.file}, line {self.line}: {self.reason}"


def rejects_path(log: Path) -> Path:
    """Return where a log's unreadable rows are kept."""
    return log.with_name(log.name + ".rejects.csv")


class RejectsFile:
    """Collects unreadable rows in a CSV file, which exists only if there are any; ``count`` says how many.

    Until `finish` the rows wait in a hidden file beside its place.
    """

    def __init__(self, path: Path, hidden: Path) -> None:
        self.path = path
        self.count = 0
        self._hidden = hidden
        self._file: IO[str] | None = None

    def add(self, rejects: Sequence[Reject]) -> None:
        """Keep rows."""
        if not rejects:
            return
        if self._file is None:
            self._file = self._hidden.open("w", encoding="utf-8", newline="")
            csv.writer(self._file).writerow(_HEADER)
        rows = ([reject.file, reject.line, reject.reason, reject.text] for reject in rejects)
        csv.writer(self._file).writerows(rows)
        self.count += len(rejects)

    def finish(self) -> None:
        """Let the file take its name, if there are any rows; the log that lacks them takes its own after that."""
        if self._file is not None:
            self._file.close()
            self._file = None
            take_place(self._hidden, self.path)

    def abandon(self) -> None:
        """Close the file without having finished it."""
        if self._file is not None:
            self._file.close()


@contextmanager
def rejects_file(log: Path, sources: Collection[str]) -> Iterator[RejectsFile]:
    """Open the rejects file of a log; it is kept where the work ends, or is refused in a sentence that names it.

    `sources` are the names that its rejects may give as their file.

    Raises
    ------
    InputError
        If what stands in its place is not this log's to replace.
    """
    refuse_others_rejects(log, sources)
    path = rejects_path(log)
    with ExitStack() as stack:
        with named_in_errors(path, what=None):
            rejects = RejectsFile(path, stack.enter_context(hidden_beside(path)))
        try:
            yield rejects
        except InputError as error:
            # Refused because of its rows, which show the person what to mend; else nobody would know what it is.
            if str(path) in str(error):
                rejects.finish()
            else:
                rejects.abandon()
            raise
        except BaseException:
            rejects.abandon()
            raise
        rejects.finish()
        if not rejects.count:
            path.unlink(missing_ok=True)  # an earlier run's rows are not this log's


def refuse_others_rejects(log: Path, sources: Collection[str]) -> None:
    """Stop before rows are lost that belong to something else.

    A rejects file whose log is there goes with it when that is replaced. Without a log it is either left from a try
    that was refused, and then names the same sources, or the log it belongs to was moved or renamed.

    Raises
    ------
    InputError
        If something that is no rejects file of ours stands in its place, or one that belongs to another log.
    """
    path = rejects_path(log)
    with named_in_errors(path):
        if not os.path.lexists(path):
            return
        log_exists = log.exists()
    if not _is_ours(path):
        raise InputError(
            f"{path}: stands where unreadable rows would be kept and is not ours; move it or choose another --out"
        )
    if not log_exists and not _names_only(path, sources):
        raise InputError(
            f"{path}: holds the unreadable rows of another log, which is no longer beside it; "
            "move it to that log or choose another --out"
        )


def _is_ours(path: Path) -> bool:
    if path.is_symlink() or not path.is_file():
        return False
    try:
        with path.open(encoding="utf-8", newline="") as file:
            return next(csv.reader(file), None) == _HEADER
    except (OSError, UnicodeDecodeError, csv.Error):
        return False


def _names_only(path: Path, sources: Collection[str]) -> bool:
    try:
        with path.open(encoding="utf-8", newline="") as file:
            return all(row["file"] in sources for row in csv.DictReader(file))
    except (OSError, UnicodeDecodeError, csv.Error):  # better a question too many than a row lost
        return False
