"""Commands to be hurt, each in a folder of its own: what is there before, what they write, what whole means."""

from __future__ import annotations

import itertools
import re
import subprocess
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq

from shuntbook.ingest.events import Reading, Refused
from shuntbook.ingest.journal.journal import Journal
from shuntbook.ingest.log.meta import LogMeta

Files = Mapping[str, bytes]
_COUNT = 700


@dataclass(frozen=True)
class Job:
    """A command and its folder.

    Attributes
    ----------
    name : str
        What it is called.
    words : tuple of str
        The command, to be run in the folder.
    make : callable
        Fills the folder with what is there before.
    again : tuple of str
        What is run afterwards, unhurt; the same command by default.
    counted : str or None
        A log whose current counts 0, 1, 2, ... A: what a capture must have kept is the beginning of that, not all.
    slow : bool
        It takes seconds, so it is hurt less often.
    """

    name: str
    words: tuple[str, ...]
    make: Callable[[Path], None]
    again: tuple[str, ...] = ()
    counted: str | None = None
    slow: bool = False


def files_in(folder: Path) -> dict[str, bytes]:
    """Return every file below a folder by its name from there, links as what they point to."""
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def same(name: str, one: bytes, other: bytes) -> bool:
    """Tell whether two results are the same, but for what differs from run to run."""
    if name.endswith(".pdf"):
        varies = re.compile(rb"/ID ?\[.*?\]|/CreationDate.*?\)|/ModDate.*?\)", re.DOTALL)
        return varies.sub(b"", one) == varies.sub(b"", other)
    if name.endswith(".rows"):
        varies = re.compile(rb'"(of|took_s)": ("[^"]*"|[0-9.e-]+)')
        return varies.sub(b"", one) == varies.sub(b"", other)
    return one == other


def kept_count(log: Path) -> int:
    """Return how many readings a counted log holds.

    Raises
    ------
    AssertionError
        If they do not count 0, 1, 2, ... A.
    """
    current_A = pq.read_table(log, columns=["current_A"])["current_A"].to_numpy()
    np.testing.assert_array_equal(current_A, np.arange(len(current_A)))
    return len(current_A)


def _export(folder: Path, name: str = "export.csv", *, late: bool = False, bad: int = 3) -> None:
    times = [f"2026-06-13T10:{n // 60:02}:{n % 60:02}Z" for n in range(_COUNT)]
    if late:
        times[100], times[101] = times[101], times[100]
    rows = [f"{time},{n},24.5\n" for n, time in enumerate(times)]
    rows[50 : 50 + bad] = ["2026-06-13T10:00:50Z,torn\n"] * bad
    (folder / name).write_text("time,current [A],voltage [V]\n" + "".join(rows), encoding="utf-8")


def _old_log(folder: Path) -> None:
    """Leave what an earlier conversion of something else wrote."""
    _export(folder, "older.csv", bad=5)
    _run(folder, "convert", "older.csv", "--out", "pump.parquet", "--zone", "UTC")


def _run(folder: Path, *words: str) -> None:
    command = [sys.executable, "-c", "from shuntbook.cli.main import main; main()", *words]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def _convert_anew(folder: Path) -> None:
    _export(folder)


def _convert_over(folder: Path) -> None:
    _old_log(folder)
    _export(folder)


def _convert_late(folder: Path) -> None:
    _old_log(folder)
    _export(folder, late=True)


def _report_over(folder: Path) -> None:
    _old_log(folder)
    (folder / "page.html").write_text("an older page", encoding="utf-8")
    (folder / "page.pdf").write_bytes(b"an older paper")


def _tables_over(folder: Path) -> None:
    """Tables of another log, as they were written."""
    _old_log(folder)
    _export(folder, "short.csv", bad=0)
    text = (folder / "short.csv").read_text(encoding="utf-8")
    (folder / "short.csv").write_text("".join(itertools.islice(text.splitlines(keepends=True), 200)), encoding="utf-8")
    _run(folder, "convert", "short.csv", "--out", "short.parquet", "--zone", "UTC")
    _run(folder, "report", "short.parquet", "--csv", "tables")


def _unfinished(folder: Path) -> None:
    """Leave a capture that was cut off, with something refused."""
    with Journal(folder / "pump.parquet", LogMeta(zone="UTC"), ("current_A",)) as journal:
        for n in range(_COUNT):
            journal.append_reading(Reading(1_781_000_000_000_000 + n * 1_000_000, {"current_A": float(n)}))
        journal.append_event(Refused(1_781_000_000_000_000, "not readable", "1,,2", "is no number"))


def _recording(folder: Path) -> None:
    _export(folder, bad=0)


def _film(folder: Path) -> None:
    """Stills of a display, what says where it stands in them, and what an earlier reading wrote."""
    from film_drawing import one_display_toml, stills_of
    from film_plans import demo_plan

    (folder / "stills").mkdir()
    for name, still in stills_of(demo_plan(), 4, 2.0).items():
        (folder / "stills" / name).write_bytes(still)
    (folder / "display.toml").write_text(one_display_toml(demo_plan()), encoding="utf-8")
    _old_log(folder)
    (folder / "boxes.png").write_bytes(b"an older picture")


def _fleet(folder: Path) -> None:
    (folder / "logs").mkdir()
    for name in ("east", "west"):
        _export(folder, f"{name}.csv", bad=0)
        _run(folder, "convert", f"{name}.csv", "--out", f"logs/{name}.parquet", "--zone", "UTC")
    _run(folder, "fleet", "logs/east.parquet", "--out", "fleet.parquet", "--page", "fleet.html", "--workers", "1")


_OUT = ("--out", "pump.parquet")
_OF_STILLS = ("stills", "--display", "display.toml", "--every", "2s")
_FROM_EXPORT = ("convert", "export.csv", *_OUT, "--zone", "UTC")
JOBS = (
    Job("convert anew", _FROM_EXPORT, _convert_anew, again=(*_FROM_EXPORT, "--force")),
    Job("convert over a log", (*_FROM_EXPORT, "--force"), _convert_over),
    Job("convert out of order", (*_FROM_EXPORT, "--force"), _convert_late),
    Job("compaction", ("charge", "pump.parquet"), _unfinished, counted="pump.parquet"),
    Job(
        "capture",
        (
            "capture",
            "replay:export.csv?speed=max&zone=UTC",
            *_OUT,
            "--mark",
            "2026-06-13T10:05:00Z=half",
            "--quiet",
        ),
        _recording,
        again=("look", "pump.parquet"),
        counted="pump.parquet",
    ),
    Job(
        "film",
        ("convert", *_OF_STILLS, "--start", "2026-06-13T10:30:05", "--zone", "UTC", *_OUT, "--force"),
        _film,
        slow=True,
    ),
    Job("film's boxes", ("look", *_OF_STILLS, "--out", "boxes.png", "--force"), _film, slow=True),
    Job(
        "report --out --pdf",
        ("report", "pump.parquet", "--out", "page.html", "--pdf", "page.pdf", "--force"),
        _report_over,
        slow=True,
    ),
    Job("report --csv anew", ("report", "pump.parquet", "--csv", "tables"), _old_log),
    Job("report --csv over tables", ("report", "pump.parquet", "--csv", "tables"), _tables_over),
    Job("demo", ("demo", "--out", "demo"), lambda _folder: None, slow=True),
    Job(
        "fleet",
        ("fleet", "logs", "--out", "fleet.parquet", "--page", "fleet.html", "--force", "--workers", "1"),
        _fleet,
        slow=True,
    ),
)
