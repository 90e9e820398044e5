"""Measure shuntbook beside plain scripts that do the same on the same file, in turns, and print a table.

Run it from the repository's root, in an environment with ``.[bench]``::

    python tests/benchmarks --rows 1,10,100 --only convert,charge
    python tests/benchmarks charge_speed 10 100

The second form runs one of the scripts beside this one by itself, with its own numbers.
Everything is a whole process. ``ours/it`` is our median time over that of the line: 1.2 means that we take a fifth
longer. ``CPU`` is the least processor time, all threads together, which another program's work disturbs less. Rows
called "net" have the time of the same command on an hour's log taken off. Nothing is asserted.

``--only`` also takes the names of those scripts (``cycles_speed``). The processor time of a live capture
is not among the rows; see it with ``/usr/bin/time`` before ``shuntbook capture --for 60s --every 100ms`` of two meters.
"""

from __future__ import annotations

import argparse
import importlib
import importlib.metadata
import importlib.util
import os
import platform
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from exports import DIALECTS
from measuring import Contestant, in_turns, ours, table

HERE = Path(__file__).parent
#: What the scripts import by its bare name, as pytest does (see pyproject.toml).
PLACES = [HERE.parent / "helpers", HERE.parent / "tools" / "scoring"]
#: Readings of the log that start-up is measured with: an hour at one a second.
AN_HOUR = 3600
LIBRARIES = ("numpy", "pyarrow", "pandas", "polars", "duckdb")


def plain(name: str, *arguments: str | Path) -> list[str]:
    """Return the command line of a plain script."""
    return [sys.executable, str(HERE / "plain.py"), name, *map(str, arguments)]


@dataclass(frozen=True)
class Files:
    """Exports and logs of one length in a folder, each written when it is first asked for."""

    folder: Path
    rows: int

    def export(self, dialect: str = "iso") -> Path:
        """Return an export."""
        path = self.folder / f"{dialect}-{self.rows}.csv"
        if not path.exists():
            subprocess.run([sys.executable, HERE / "exports.py", path, str(self.rows), dialect], check=True)
        return path

    def log(self) -> Path:
        """Return a log."""
        path = self.folder / f"log-{self.rows}.parquet"
        if not path.exists():
            Contestant("", [self.convert(out=path)]).run()
        return path

    def hour(self) -> Path:
        """Return an hour's log."""
        return Files(self.folder, AN_HOUR).log()

    def convert(self, dialect: str = "iso", out: Path | None = None) -> list[str]:
        """Return the command that converts an export."""
        out = out or self.folder / "converted.parquet"
        return ours("convert", self.export(dialect), "--out", out, "--zone", "UTC", "--force")


def convert(files: Files) -> Iterator[list[Contestant]]:
    """Converting beside the floor of a typed Parquet file from text, and beside reading the text alone."""
    floor = plain("csv_strings_to_parquet", files.export(), files.folder / "floor.parquet")
    yield [
        Contestant("convert", [files.convert()]),
        Contestant("text cast to Parquet (the floor)", [floor]),
        Contestant("pyarrow.csv.read_csv alone", [plain("csv_read", files.export())]),
    ]


def dialects(files: Files) -> Iterator[list[Contestant]]:
    """Converting the same readings written in other ways."""
    yield [Contestant(f"convert, {dialect}", [files.convert(dialect)]) for dialect in DIALECTS]


def charge(files: Files) -> Iterator[list[Contestant]]:
    """Ah and Wh of a log beside reading its columns alone, net of start-up."""
    start = Contestant("", [ours("charge", files.hour())])
    bare = Contestant("", [plain("columns_read", files.hour())])
    yield [
        Contestant("charge, net", [ours("charge", files.log())], start),
        Contestant("reading its columns alone, net", [plain("columns_read", files.log())], bare),
    ]


def whole(files: Files) -> Iterator[list[Contestant]]:
    """From export to Ah beside plain scripts that only do the trapezoid of the amps."""
    log = files.folder / "whole.parquet"
    scripts = [name for name in ("pandas", "polars", "duckdb") if importlib.util.find_spec(name)]
    yield [
        Contestant("convert, then charge", [files.convert(out=log), ours("charge", log)]),
        *(Contestant(f"{name}, trapezoid", [plain(f"{name}_trapezoid", files.export())]) for name in scripts),
        Contestant("pyarrow.csv.read_csv alone", [plain("csv_read", files.export())]),
    ]


def cycles(files: Files) -> Iterator[list[Contestant]]:
    """Finding cycles in a log beside reading its columns alone, net of start-up."""
    yield from _beside_reading("cycles", [ours("cycles", log) for log in (files.log(), files.hour())], files)


def report(files: Files) -> Iterator[list[Contestant]]:
    """Making the page of a log, net of start-up and of drawing an hour's page."""
    page = files.folder / "page.html"
    commands = [ours("report", log, "--out", page, "--force") for log in (files.log(), files.hour())]
    yield from _beside_reading("report", commands, files)


def _beside_reading(name: str, commands: Sequence[list[str]], files: Files) -> Iterator[list[Contestant]]:
    bare = Contestant("", [plain("columns_read", files.hour())])
    yield [
        Contestant(f"{name}, net", commands[:1], Contestant("", commands[1:])),
        Contestant("reading its columns alone, net", [plain("columns_read", files.log())], bare),
    ]


def capture(files: Files) -> Iterator[list[Contestant]]:
    """A replay at full speed through journal, live figures and compaction, net of start-up."""

    def command(log: Path) -> list[list[str]]:
        out = files.folder / "captured.parquet"
        remove = [sys.executable, "-c", f"import pathlib; pathlib.Path({str(out)!r}).unlink(missing_ok=True)"]
        return [remove, ours("capture", f"replay:{log}?speed=max", "--out", out)]

    few = Files(files.folder, 100_000)
    yield [Contestant("capture of a replay, net", command(few.log()), Contestant("", command(files.hour())))]


def start(files: Files) -> Iterator[list[Contestant]]:
    """Whole commands on an hour's log: what a person waits for."""
    hour = Files(files.folder, AN_HOUR)
    commands = {
        "--help": ours("--help"),
        "convert": hour.convert(),
        "look": ours("look", hour.log()),
        "charge": ours("charge", hour.log()),
        "cycles": ours("cycles", hour.log()),
        "Python alone": plain("nothing"),
    }
    yield [Contestant(name, [command]) for name, command in commands.items()]


#: What is measured at every length, and what only once, whatever the length.
BY_ROWS: dict[str, Callable[[Files], Iterator[list[Contestant]]]] = {
    each.__name__: each for each in (convert, dialects, charge, whole, cycles, report)
}
ONCE: dict[str, Callable[[Files], Iterator[list[Contestant]]]] = {"capture": capture, "start": start}
SCRIPTS = sorted(path.stem for path in HERE.glob("*_speed.py"))


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


def growth(peaks: dict[str, list[tuple[int, float]]]) -> list[str]:
    """Return how the memory of our own commands grows with the rows."""
    lines = []
    for name, lengths in peaks.items():
        first = lengths[0][1]
        more = ", ".join(f"{rows:,}: {peak_MB:.0f} MB ({peak_MB / first - 1:+.0%})" for rows, peak_MB in lengths)
        lines.append(f"  {name:34}{more}")
    return ["memory by rows", *lines] if lines and any(len(lengths) > 1 for lengths in peaks.values()) else []


def warm_up(folder: Path, chosen: Sequence[str]) -> None:
    """Run everything that was chosen once on an hour's log, so that modules are compiled and lie in memory."""
    for name, contest in {**BY_ROWS, **ONCE}.items():
        for contestants in contest(Files(folder, AN_HOUR)) if name in chosen else ():
            in_turns(contestants, 1)


def measure(folder: Path, lengths: Sequence[int], chosen: Sequence[str], times: int) -> None:
    """Print the tables of what was chosen."""
    peaks: dict[str, list[tuple[int, float]]] = {}
    for rows in lengths:
        for name in (name for name in BY_ROWS if name in chosen):
            for contestants in BY_ROWS[name](Files(folder, rows)):
                in_turns(contestants, times)
                say(table(f"{name}, {rows:,} readings", contestants, rows))
                peaks.setdefault(contestants[0].name, []).append((rows, max(contestants[0].peak_MB)))
    say(growth(peaks))
    for name in (name for name in ONCE if name in chosen):
        for contestants in ONCE[name](Files(folder, AN_HOUR)):
            in_turns(contestants, times)
            say(table(name, contestants, 100_000 if name == "capture" else None))


def say(lines: Sequence[str]) -> None:
    """Print some lines and an empty one."""
    if lines:
        sys.stdout.write("\n".join([*lines, "", ""]))
        sys.stdout.flush()


def main() -> None:
    """Read the options, measure, and leave nothing behind."""
    names = [*BY_ROWS, *ONCE, *SCRIPTS]
    parser = argparse.ArgumentParser(prog="tests/benchmarks", description=(__doc__ or "").split("\n", 1)[0])
    parser.add_argument("--rows", default="1,10", help="millions of readings, such as 1,10,100 (default 1,10)")
    parser.add_argument("--only", default=",".join([*BY_ROWS, *ONCE]), help=f"some of {','.join(names)}")
    parser.add_argument("--times", type=int, default=5, help="rounds in turns (default 5)")
    parser.add_argument("--folder", type=Path, help="where files are written and left (default: a temporary folder)")
    options = parser.parse_args()
    chosen = options.only.split(",")
    if unknown := set(chosen) - set(names):
        parser.error(f"--only: {', '.join(sorted(unknown))} is none of {', '.join(names)}")
    with tempfile.TemporaryDirectory(dir=options.folder) as folder:
        os.environ["PYTHONPYCACHEPREFIX"] = folder  # start-up as installed, with compiled modules, and no traces here
        os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
        say([machine()])
        warm_up(Path(folder), chosen)
        lengths = [round(float(text) * 1e6) for text in options.rows.split(",")]
        measure(Path(folder), lengths, chosen, options.times)
        for name in (name for name in SCRIPTS if name in chosen):
            say([name])
            subprocess.run([sys.executable, str(HERE), name], check=True)


def by_itself(name: str, *numbers: str) -> None:
    """Run one script."""
    sys.path[1:1] = [str(place) for place in PLACES]
    importlib.import_module(name).main(*(float(number) for number in numbers))


if __name__ == "__main__":
    if sys.argv[1:2] and sys.argv[1] in SCRIPTS:
        by_itself(*sys.argv[1:])
    else:
        main()
