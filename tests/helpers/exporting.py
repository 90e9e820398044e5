"""What the tests of convert share: run it on bytes or text in a folder of its own, and look at what comes out."""

from __future__ import annotations

import contextlib
import csv
import io
import itertools
import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from shuntbook.cli.main import run
from shuntbook.ingest.journal.opening import open_log
from shuntbook.ingest.log.log import Log

_NUMBERS = itertools.count(1)


@dataclass
class Outcome:
    """How one conversion ended."""

    status: int
    said: str
    error: str
    log_path: Path

    @property
    def log(self) -> Log:
        """The log that was written."""
        assert self.status == 0, self.error
        return open_log(self.log_path)

    @property
    def time_us(self) -> NDArray[np.int64]:
        """All instants."""
        return np.concatenate([part.time_us for part in self.log.scan([])])

    @property
    def stamps(self) -> list[str]:
        """All instants, as ISO 8601 in UTC without the offset."""
        return [str(t) for t in self.time_us.astype("datetime64[us]")]

    def __getitem__(self, quantity: str) -> NDArray[np.float64]:
        """Return all readings of a quantity."""
        return np.concatenate([part.quantities[quantity] for part in self.log.scan([quantity])])

    @property
    def rejects(self) -> list[tuple[int, str, str]]:
        """Line number, reason and text of each rejected row."""
        path = self.log_path.with_name(self.log_path.name + ".rejects.csv")
        if not path.exists():
            return []
        with path.open(encoding="utf-8", newline="") as file:
            return [(int(row["line"]), row["reason"], row["text"]) for row in csv.DictReader(file)]

    @property
    def reject_lines(self) -> list[int]:
        """The line numbers of the rejected rows."""
        return [line for line, _, _ in self.rejects]


def shuntbook(*arguments: str) -> tuple[int, str, str]:
    """Run a command; return its exit status and what it wrote to stdout and stderr."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = run(list(arguments))
    return status, out.getvalue(), err.getvalue()


def convert(
    folder: Path, *contents: str | bytes, options: tuple[str, ...] = ("--zone", "UTC"), profile: str = ""
) -> Outcome:
    """Write each of `contents` to a file in `folder` and convert them, in order, to one log."""
    number = next(_NUMBERS)
    paths = []
    for k, content in enumerate(contents):
        path = folder / f"export_{number}_{k}.csv"
        path.write_bytes(content if isinstance(content, bytes) else content.encode())
        paths.append(str(path))
    if profile:
        settings = folder / f"profile_{number}.toml"
        settings.write_text(profile, encoding="utf-8")
        options = (*options, "--profile", str(settings))
    log = folder / f"log_{number}.parquet"
    status, out, err = shuntbook("convert", *paths, "--out", str(log), *options)
    return Outcome(status, out, err, log)


def document(folder: Path, content: str | bytes, *options: str) -> dict[str, object]:
    """Convert and return the JSON document."""
    done = convert(folder, content, options=("--zone", "UTC", "--json", *options))
    assert done.status == 0, done.error
    return dict(json.loads(done.said))


def us(text: str) -> int:
    """Return an ISO 8601 time in UTC as microseconds since 1970."""
    return int(np.datetime64(text, "us").astype(np.int64))
