"""What is measured beside what: tables of contestants that are run in turns."""

from __future__ import annotations

import importlib.util
import shutil
import subprocess
import sys
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path

from exports import DIALECTS
from measuring import Contestant, Part, command
from plain import LIBRARIES

HERE = Path(__file__).parent
#: Readings of the log that start-up is measured with: an hour at one a second; of a day's; and of a capture's replay.
AN_HOUR, A_DAY, CAPTURED = 3600, 86_400, 100_000
#: What a clone has is called so in tables, beside other versions by their names.
OURS = "shuntbook"
#: Stands for the log that a version's own `convert` wrote.
LOG = Path("its own log")
SUMMARY = "summary.parquet"

Tables = dict[str, list[Contestant]]


def plain(name: str, *arguments: str | Path) -> list[str]:
    """Return the command line of a plain script."""
    return [sys.executable, str(HERE / "plain.py"), name, *map(str, arguments)]


@dataclass(frozen=True)
class Files:
    """Exports and logs of one length in a folder, each written when it is first asked for.

    `versions` has the interpreter of each version by its name; each has the logs that its own `convert` wrote.
    """

    folder: Path
    rows: int
    versions: Mapping[str, str]

    def export(self, dialect: str = "iso", quantities: int = 2) -> Path:
        """Return an export."""
        path = self.folder / f"{dialect}-{self.rows}-{quantities}.csv"
        if not path.exists():
            write = [sys.executable, HERE / "exports.py", path, str(self.rows), dialect, str(quantities)]
            subprocess.run(write, check=True)
        return path

    def log(self, version: str = OURS, quantities: int = 2) -> Path:
        """Return a log."""
        path = self.folder / f"{version}-{self.rows}-{quantities}.parquet"
        if not path.exists():
            export = self.export(quantities=quantities)
            Contestant("", [command(*_convert(export, path), python=self.versions[version])]).run()
        return path

    def hour(self) -> Files:
        """Return those of an hour."""
        return Files(self.folder, AN_HOUR, self.versions)


def _convert(export: Path, out: Path) -> tuple[str | Path, ...]:
    return "convert", export, "--out", out, "--zone", "UTC", "--force"


def convert(files: Files) -> Tables:
    """CSV to Parquet and Ah, beside plain scripts; convert alone, beside casting text to Parquet."""
    out, floor = files.folder / "converted.parquet", files.folder / "plain.parquet"

    def own(python: str) -> list[list[str]]:
        return [command(*_convert(files.export(), out), python=python), command("charge", out, python=python)]

    whole = [Contestant(f"{name}: convert, charge", own(python)) for name, python in files.versions.items()]
    alone = [Part(f"{each.name.split(':')[0]}: convert", [], whole=each) for each in whole]
    cast = Contestant("text cast to Parquet (the floor)", [plain("text_cast_to_parquet", files.export(), floor)])
    return {
        "CSV to Parquet and Ah": [*whole, *_scripts("export", files.export(), floor)],
        "CSV to Parquet": [*alone, cast],
    }


def _scripts(job: str, *paths: Path, hour: Path | None = None) -> list[Contestant]:
    """Return the plain scripts whose library is there, each with its start-up where an hour's file is given."""
    scripts = []
    for module, name in LIBRARIES.items():
        if importlib.util.find_spec(module):
            start = Contestant("", [plain(f"{module}_{job}", hour)]) if hour else None
            scripts.append(Contestant(name, [plain(f"{module}_{job}", *paths)], start))
    return scripts


def dialects(files: Files) -> Tables:
    """Converting the same readings, and watts, written in other ways."""
    out = files.folder / "converted.parquet"
    exports = {dialect: files.export(dialect, 3) for dialect in DIALECTS}
    return {"convert by dialect": [Contestant(name, [command(*_convert(at, out))]) for name, at in exports.items()]}


def amps(files: Files) -> Tables:
    """Parquet to Ah."""
    return {"charge: Parquet to Ah": _charge(files, 1)}


def charge(files: Files) -> Tables:
    """Parquet to Ah and energy."""
    return {"charge: Parquet to Ah and Wh": _charge(files, 2)}


def _charge(files: Files, quantities: int) -> list[Contestant]:
    logs = [each.log(quantities=quantities) for each in (files, files.hour())]
    return [*_own(files, "charge", quantities=quantities), *_scripts("log", logs[0], hour=logs[1])]


def _own(files: Files, name: str, *options: str | Path, quantities: int = 2) -> list[Contestant]:
    """Return a command on a log, and on an hour's, by each version."""

    def on(each: Files, version: str) -> list[list[str]]:
        return [command(name, each.log(version, quantities), *options, python=files.versions[version])]

    return [Contestant(v, on(files, v), Contestant("", on(files.hour(), v))) for v in files.versions]


def cycles(files: Files) -> Tables:
    """Finding the runs of a load."""
    return {"cycles": _own(files, "cycles")}


def report(files: Files) -> Tables:
    """Making the page of a log."""
    return {"report": _own(files, "report", "--out", files.folder / "page.html", "--force")}


def capture(files: Files) -> Tables:
    """A replay at full speed through journal, live figures and compaction."""
    out = files.folder / "captured.parquet"

    def by(rows: int, python: str, start: Contestant | None = None) -> Contestant:
        log = Files(files.folder, rows, files.versions).log()
        captured = command("capture", f"replay:{log}?speed=max", "--out", out, python=python)
        return Contestant("", [captured], start, lambda: out.unlink(missing_ok=True))

    replays = {v: by(CAPTURED, python, by(AN_HOUR, python)) for v, python in files.versions.items()}
    for name, each in replays.items():
        each.name = name
    return {f"capture of {CAPTURED:,} readings": list(replays.values())}


def day(files: Files) -> Tables:
    """Whole commands on a day's log, what a person waits for; also the first time, with no cache filled."""
    log, page = Files(files.folder, A_DAY, files.versions), files.folder / "page.html"
    return {
        "--help": [*_each(log, "--help"), Contestant("Python alone", [plain("nothing")])],
        "convert of a day": _each(log, *_convert(log.export(), files.folder / "converted.parquet")),
        "look at a day": _each(log, "look", LOG),
        "charge of a day": _each(log, "charge", LOG),
        "report of a day": _each(log, "report", LOG, "--out", page, "--force"),
        "demo": _each(log, "demo", "--out", files.folder / "demo"),
    }


def _each(files: Files, *arguments: str | Path) -> list[Contestant]:
    """Return a command by each version, and ours as if it were run for the first time."""

    def by(version: str) -> list[list[str]]:
        own = [files.log(version) if each is LOG else each for each in arguments]
        return [command(*own, python=files.versions[version])]

    whole = [Contestant(version, by(version)) for version in files.versions]
    return [*whole, Contestant("the first time, nothing in caches", by(OURS), first=True)]


#: What is measured at every length, and what only once, whatever the length.
BY_ROWS = {each.__name__: each for each in (amps, charge, cycles, report, convert, dialects)}
ONCE = {each.__name__: each for each in (capture, day)}


@contextmanager
def fleet(folder: Path, count: int, versions: Mapping[str, str], most: int) -> Iterator[Tables]:
    """Many log-days by one process, two, and Dask clusters of one and of four workers; beyond `most` by processes."""
    logs = folder / f"fleet-{count}"
    subprocess.run([sys.executable, HERE / "fleet_days.py", logs, str(count)], check=True)
    own = list[Path]()

    def by(name: str, *options: str, version: str = OURS) -> Contestant:
        place = folder / f"{name.replace(' ', '-')}-{count}"
        run = command("fleet", logs, "--out", place / SUMMARY, *options, python=versions[version])

        # What was read before is not read again: each run begins with an empty folder.
        def empty() -> None:
            shutil.rmtree(place, ignore_errors=True)
            place.mkdir()

        own.extend([place / SUMMARY] if version == OURS else ())
        return Contestant(name, [run], prepare=empty)

    with ExitStack() as clusters:
        ways = [by("1 process", "--workers", "1"), by("2 processes", "--workers", "2")]
        if count < most:
            others = [version for version in versions if version != OURS]
            ways += [by(f"{version} in 2 processes", "--workers", "2", version=version) for version in others]
        if count <= most and importlib.util.find_spec("distributed"):
            from dask_cluster import workers

            for size in (1, 4):
                place = folder / f"cluster-{count}-{size}"
                place.mkdir()
                address = clusters.enter_context(workers(place, size))
                ways.append(by(f"Dask workers {size}", "--scheduler", address))
        yield {f"fleet of {count:,} log-days": ways}
        assert len({path.read_bytes() for path in own}) == 1, "the summary depends on how many workers there are"
    shutil.rmtree(logs)
