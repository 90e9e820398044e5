"""Whether a change to the code changed anything that a user sees: every result of a dozen logs and of the demo.

``python tests/tools unchanged FOLDER`` makes the logs and keeps their results by the code as it is, if FOLDER is not
there yet; after that it compares with them byte for byte, says what differs, and ends with 1 where something does. The
logs are of seeded scenes and need nothing but this repository.
"""

import argparse
import csv
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path

from places import SAMPLES
from scenes import make

from shuntbook.ingest.quantities import QUANTITIES

SCENES = (
    *("clean", "noisy", "clouds", "every_10s", "every_60s", "irregular", "gaps", "means", "spikes", "drift"),
    *("fridge_alone", "behind_inverter", "waterlogged", "prime_lost"),
)
SEED = 7
SITE = SAMPLES / "site.toml"
#: How long work took is no result.
TIMES = re.compile(r'"worker_s": [\d.]+|[\d.]+ s of work')
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def make_exports(folder: Path) -> None:
    """Write the scenes as CSV exports, so that reading them is compared as well."""
    folder.mkdir(parents=True)
    for name in SCENES:
        chunk = make(name, SEED).chunk
        columns = [column for column in QUANTITIES if column in chunk.quantities]
        with (folder / f"{name}.csv").open("w", newline="", encoding="utf-8") as file:
            rows = csv.writer(file)
            rows.writerow(["time", *columns])
            for i, us in enumerate(chunk.time_us):
                stamp = (EPOCH + timedelta(microseconds=int(us))).isoformat().replace("+00:00", "Z")
                rows.writerow([stamp, *(repr(float(chunk.quantities[column][i])) for column in columns)])


def commands(export: Path) -> Iterator[tuple[str, list[str]]]:
    """Yield the name of each result of one export, and the command that gives it."""
    log, at = f"{export.stem}.parquet", ["--site", str(SITE)]
    yield "convert", ["convert", str(export), "--zone", "Europe/Lisbon", "--out", log]
    yield "look.json", ["look", log, "--json"]
    yield "look", ["look", log]
    yield "charge.json", ["charge", log, "--json", *at]
    yield "charge", ["charge", log]
    yield "cycles.json", ["cycles", log, "--json", *at]
    yield "cycles", ["cycles", log]
    yield "report.json", ["report", log, "--json", *at]
    yield "forecast", ["forecast", *at, "--load", "well pump", "--for", "15m", "--measured", log]


def of_all(names: list[str]) -> Iterator[tuple[str, list[str]]]:
    """Yield what is asked of several logs, and of none."""
    first, second = (f"{name}.parquet" for name in names[:2])
    yield "compare.json", ["compare", first, second, "--json", "--site", str(SITE)]
    yield "compare", ["compare", first, second]
    yield "fleet.json", ["fleet", ".", "--json"]
    yield "several.json", ["report", first, second, "--json", "--site", str(SITE)]
    yield "forecast.json", ["forecast", "--site", str(SITE), "--load", "well pump", "--for", "15m", "--json"]
    yield "check-site", ["check-site", str(SITE)]
    yield "demo", ["demo", "--out", "demo"]
    yield "demo.json", ["report", "demo/open_day.parquet", "--json", "--site", str(SITE)]


def run(command: list[str], folder: Path) -> str:
    """Run one command in a folder of its own, and return what it printed and how it ended."""
    code = "import sys; from shuntbook.cli.main import main; sys.exit(main())"
    done = subprocess.run(
        [sys.executable, "-c", code, *command],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "COLUMNS": "100", "NO_COLOR": "1"},
    )
    return TIMES.sub("", f"{done.stdout}{done.stderr}\nstatus {done.returncode}\n")


def results(exports: Path, folder: Path) -> dict[str, str]:
    """Return every result by its name."""
    made = {}

    def of_one(export: Path) -> None:
        for name, command in commands(export):
            made[f"{export.stem}.{name}"] = run(command, folder)

    with ThreadPoolExecutor(os.cpu_count()) as pool:
        list(pool.map(of_one, sorted(exports.glob("*.csv"))))
    for name, command in of_all(sorted(export.stem for export in exports.glob("*.csv"))):
        made[f"all.{name}"] = run(command, folder)
    made |= {f"demo.{page.name}": page.read_text(encoding="utf-8") for page in sorted((folder / "demo").glob("*.html"))}
    return made


def main() -> int:
    """Keep the results, or compare with those that are kept."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("folder", type=Path, help="where the results are kept")
    folder = options.parse_args().folder.resolve()
    baseline, exports = folder / "results", folder / "exports"
    if not exports.exists():
        make_exports(exports)
    work = folder / "work"  # always the same, since results name their files
    shutil.rmtree(work, ignore_errors=True)
    work.mkdir()
    made = results(exports, work)
    if not baseline.exists():
        baseline.mkdir()
        for name, text in made.items():
            (baseline / name).write_text(text, encoding="utf-8")
        print(f"{len(made)} results kept in {baseline}")
        return 0
    before = {path.name: path.read_text(encoding="utf-8") for path in baseline.iterdir()}
    differing = sorted(name for name in before.keys() | made.keys() if before.get(name) != made.get(name))
    for name in differing:
        print(f"differs: {name}")
        (folder / "differing").mkdir(exist_ok=True)
        (folder / "differing" / name).write_text(made.get(name, ""), encoding="utf-8")
    print(f"{len(before) - len(differing)} of {len(before)} results the same")
    return bool(differing)
