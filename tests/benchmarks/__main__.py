"""Measure shuntbook beside plain scripts and an earlier version that do the same on the same file, in turns.

Run it from the repository's root, in an environment with ``.[test,bench]``::

    python tests/benchmarks --rows 1,10,100 --log-days 100,1000,10000
    python tests/benchmarks --rows 10 --only convert,charge --beside v0.1.0
    python tests/benchmarks cycles_speed 1000000

Everything is a whole process. ``ours/it`` is the median time of a table's first line over that of the line: 1.2 means
that the first takes a fifth longer. ``CPU`` is the least processor time, all threads and processes together, which
another program's work disturbs less; ``peak`` the most memory of one process; ``net`` the readings a second without
what the same command takes on an hour's log. Nothing is asserted but that a fleet's summary is the same by any number
of workers.

The last form runs the script beside this one by itself, with its own number. What a live capture takes is not among the
tables; see it with ``/usr/bin/time`` before ``shuntbook capture --for 60s --every 100ms`` of two meters.
"""

from __future__ import annotations

import argparse
import importlib
import importlib.metadata
import os
import platform
import sys
import tempfile
import time
from collections.abc import Mapping, Sequence
from pathlib import Path

import contests
from measuring import in_turns, table
from versions import installed

HERE = Path(__file__).parent
#: What the scripts import by its bare name, as pytest does (see pyproject.toml).
PLACES = (HERE.parent / "helpers", HERE.parent / "tools" / "scoring")
LIBRARIES = ("numpy", "pyarrow", "pandas", "polars", "duckdb", "distributed")
SCRIPTS = sorted(path.stem for path in HERE.glob("*_speed.py"))
NAMES = [*contests.BY_ROWS, *contests.ONCE, "fleet"]
#: Longer logs, and larger fleets, are run in a fifth of the rounds; those fleets not by other versions and clusters.
LONG, LARGE = 20_000_000, 1000


def machine() -> str:
    """Return what the figures were taken on."""
    memory_GB = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30
    versions = [f"{name} {_version(name)}" for name in LIBRARIES]
    return (
        f"{os.cpu_count()} cores, {memory_GB:.0f} GB, {platform.system()} {platform.release()}, "
        f"Python {platform.python_version()}; {', '.join(versions)}; load {os.getloadavg()[0]:.1f}"
    )


def _version(name: str) -> str:
    try:
        return importlib.metadata.version(name)
    except importlib.metadata.PackageNotFoundError:
        return "not installed, left out"


def show(tables: contests.Tables, rounds: int, count: float = 0.0, unit: str = "") -> None:
    """Run all tables' contestants in turns, and print the tables."""
    begun = time.perf_counter()
    in_turns([each for contestants in tables.values() for each in contestants], rounds)
    for title, contestants in tables.items():
        say(table(title, contestants, count, unit))
    say([f"({rounds} rounds in {time.perf_counter() - begun:.0f} s; load {os.getloadavg()[0]:.1f})"])


def measure(folder: Path, options: argparse.Namespace, versions: Mapping[str, str]) -> None:
    """Print the tables of what was chosen."""
    hour = contests.Files(folder, contests.AN_HOUR, versions)
    chosen = [name for name in NAMES if name in options.only.split(",")]
    for name, contest in (contests.BY_ROWS | contests.ONCE).items():
        if name in chosen:  # so that modules are compiled and lie in memory
            in_turns([each for contestants in contest(hour).values() for each in contestants], 1)
    by_rows = [name for name in contests.BY_ROWS if name in chosen]
    for rows in (round(float(text) * 1e6) for text in (options.rows.split(",") if by_rows else ())):
        say([f"{rows:,} readings"])
        for name in by_rows:
            rounds = options.times if rows <= LONG else max(1, options.times // 5)
            show(contests.BY_ROWS[name](contests.Files(folder, rows, versions)), rounds, rows / 1e6, "M/s")
    for name in (name for name in contests.ONCE if name in chosen):
        show(contests.ONCE[name](hour), options.times)
    for count in map(int, options.log_days.split(",") if "fleet" in chosen else ()):
        rounds = options.times if count < LARGE else max(1, options.times // 5)
        with contests.fleet(folder, count, versions, LARGE) as tables:
            show(tables, rounds, count, "/s")


def say(lines: Sequence[str]) -> None:
    """Print some lines and an empty one."""
    sys.stdout.write("\n".join([*lines, "", ""]))
    sys.stdout.flush()


def main() -> None:
    """Read the options, measure, and leave nothing behind."""
    parser = argparse.ArgumentParser(prog="tests/benchmarks", description=(__doc__ or "").split("\n", 1)[0])
    parser.add_argument("--rows", default="1,10", help="millions of readings, such as 1,10,100 (default 1,10)")
    parser.add_argument("--log-days", default="100", help="sizes of fleets, such as 100,1000,10000 (default 100)")
    parser.add_argument("--only", default=",".join(NAMES), help=f"some of {','.join(NAMES)}")
    parser.add_argument(
        "--times", type=int, default=5, help="rounds in turns; of 100 million readings or 1,000 log-days a fifth (5)"
    )
    parser.add_argument(
        "--beside", default="0.1.0", help="a commit or tag to install, NAME=INTERPRETER that has it, or none (0.1.0)"
    )
    parser.add_argument("--folder", type=Path, help="where files are written and left (default: a temporary folder)")
    options = parser.parse_args()
    if unknown := set(options.only.split(",")) - set(NAMES):
        parser.error(f"--only: {', '.join(sorted(unknown))} is none of {', '.join(NAMES)}")
    with tempfile.TemporaryDirectory(dir=options.folder) as name:
        folder = Path(name)
        versions = {contests.OURS: sys.executable}
        if options.beside != "none":
            label, _, python = options.beside.partition("=")
            versions[label] = python or installed(label, folder)
        if os.environ.pop("PYTHONDONTWRITEBYTECODE", None):  # start-up as installed, with compiled modules
            os.environ.setdefault("PYTHONPYCACHEPREFIX", name)
        say([machine()])
        measure(folder, options, versions)


if __name__ == "__main__":
    sys.path[1:1] = map(str, PLACES)
    if sys.argv[1:2] and sys.argv[1] in SCRIPTS:
        importlib.import_module(sys.argv[1]).main(*map(float, sys.argv[2:]))
    else:
        main()
