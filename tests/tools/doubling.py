"""What each command costs as what it is given doubles: readings, days, notes, runs, logs, loads, bytes, rows.

``python tests/tools doubling`` makes logs of one, two and four times a size, runs the commands on them in processes of
their own, and prints seconds of work and megabytes at most, then a table of what one more of each costs. It ends with
1 where the second doubling adds more than linear growth, times a logarithm, allows over the first. ``--steps`` counts
steps of the interpreter and bytes that Python asked for in place of both: slower, and the same on any machine.
"""

from __future__ import annotations

import argparse
import contextlib
import gc
import io
import os
import subprocess
import sys
import tempfile
import threading
import time
import tracemalloc
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NamedTuple

import numpy as np
from places import SAMPLES

from shuntbook.cli.main import run
from shuntbook.cli.parallel import two_threads
from shuntbook.ingest.log.log import Readings, new_log, to_batch
from shuntbook.ingest.log.meta import LogMeta

MAIN = "from shuntbook.cli.main import main; main()"
T0_US = 1_750_000_000_000_000
AT_ONCE = 1 << 18
#: How much more the second doubling may add than the first: linear growth gives 2, with a logarithm a little more,
#: squares 4. What it adds counts from this share of the whole on: less is noise of the machine.
MOST_GROWTH, COUNTS = 3.0, 0.15
SITE = SAMPLES / "site.toml"
#: By so much one run differs from the next on a busy machine, as measured: seconds of work, MB.
NOISE = (0.3, 10.0)


class Cost(NamedTuple):
    """What one run took: seconds and megabytes, or steps and bytes."""

    work: float
    memory: float


def write_log(path: Path, count: int, every_s: float = 1.0, runs: int = 0, **meta: object) -> Path:
    """Write a log of a steady draw with noise, and with so many runs of a pump, spread evenly."""
    rng = np.random.default_rng(5)
    period = count // runs if runs else 0
    with new_log(path, ("current_A", "voltage_V")) as writer:
        for first in range(0, count, AT_ONCE):
            k = np.arange(first, min(first + AT_ONCE, count))
            amps = 2 + rng.normal(0, 0.05, len(k)).round(2)
            if period:
                amps += 20.0 * (k % period < period // 4)
            quantities = {"current_A": amps, "voltage_V": (25 - 0.02 * amps).round(2)}
            writer.write(to_batch(Readings(T0_US + (k * every_s * 1e6).astype(np.int64), quantities)))
        known = {"gap_limit_s": 10 * every_s, "usual_interval_s": every_s, "zone": "UTC"}
        writer.finish(LogMeta(**known, rows_read=count, rows_kept=count, **meta))
    return path


def of_readings(folder: Path, size: int) -> list[Path]:
    """So many readings, a second apart."""
    return [write_log(folder / "a.parquet", size, runs=20)]


def of_days(folder: Path, size: int) -> list[Path]:
    """So many days of a reading an hour."""
    return [write_log(folder / "a.parquet", 24 * size, 3600.0, runs=size)]


def of_notes(folder: Path, size: int) -> list[Path]:
    """So many notes over one log."""
    count = 20_000
    notes = [(T0_US + k * count * 1_000_000 // size, f"note {k}") for k in range(size)]
    return [write_log(folder / "a.parquet", count, markers=notes)]


def of_runs(folder: Path, size: int) -> list[Path]:
    """So many runs in one log."""
    return [write_log(folder / "a.parquet", 100_000, runs=size)]


def of_logs(folder: Path, size: int) -> list[Path]:
    """So many logs of an hour each."""
    return [write_log(folder / f"{k:05}.parquet", 3600, runs=2) for k in range(size)]


def of_metadata(folder: Path, size: int) -> list[Path]:
    """So many bytes in what one log says of itself."""
    return [write_log(folder / "a.parquet", 3600, runs=4, remarks=["x" * size])]


def of_export(folder: Path, size: int) -> list[Path]:
    """So many rows of an export."""
    path = folder / "a.csv"
    with path.open("w", encoding="utf-8") as file:
        file.write("time,current [A],voltage [V]\n")
        file.writelines(f"{1_750_000_000 + k},{2 + k % 7 / 10},{25 - k % 7 / 500}\n" for k in range(size))
    return [path]


def of_loads(folder: Path, size: int) -> list[Path]:
    """So many loads more in a site file."""
    path = folder / "a.toml"
    more = (f'\n[[loads]]\nname = "lamp {k}"\nkind = "lights"\nvoltage_V = 24\ncurrent_A = 2.1\n' for k in range(size))
    path.write_text(SITE.read_text(encoding="utf-8") + "".join(more), encoding="utf-8")
    return [path]


ONE_LOG = {
    "look": ["look", "{log}"],
    "charge": ["charge", "{log}"],
    "cycles": ["cycles", "{log}"],
    "report --json": ["report", "{log}", "--site", str(SITE), "--json"],
    "report --out": ["report", "{log}", "--site", str(SITE), "--out", "{new}"],
    "compare": ["compare", "{log}", "{log}"],
    "forecast": ["forecast", "--site", str(SITE), "--load", "well pump", "--for", "1h", "--measured", "{log}"],
}
#: A log without runs tells nothing of what a load will take.
WITHOUT_RUNS = {name: command for name, command in ONE_LOG.items() if name != "forecast"}
MANY_LOGS = {
    "report --json": ["report", "{logs}", "--json"],
    "report --out": ["report", "{logs}", "--out", "{new}"],
    "fleet": ["fleet", "{folder}", "--out", "{new}"],
}
SITE_FILE = {"check-site": ["check-site", "{log}"]}
EXPORT = {"convert": ["convert", "{log}", "--zone", "UTC", "--out", "{new}"]}


class Kind(NamedTuple):
    """What is doubled: the smallest size, in the suite and by hand, what makes it, and the commands it is given to.

    So many at once are `one more` of it in the table.
    """

    few: int
    size: int
    made: Callable[[Path, int], list[Path]]
    commands: dict[str, list[str]]
    at_once: int = 1


KINDS = {
    # So few that no second process reads a log beside: it would read all of it once more.
    "readings": Kind(20_000, 200_000, of_readings, ONE_LOG, 1000),
    "days": Kind(15, 250, of_days, ONE_LOG),
    # So many that their own memory, some 15 kB each, is more than what a report of none of them takes.
    "notes": Kind(100, 1000, of_notes, WITHOUT_RUNS),
    "runs": Kind(50, 1500, of_runs, ONE_LOG),
    "logs": Kind(2, 10, of_logs, MANY_LOGS),
    "metadata": Kind(5_000, 20_000, of_metadata, ONE_LOG, 1000),
    "loads": Kind(10, 500, of_loads, SITE_FILE),
    "rows": Kind(5_000, 200_000, of_export, EXPORT, 1000),
}


def words(command: list[str], paths: list[Path]) -> list[str]:
    """Return a command with its places filled in."""
    new = paths[0].with_name("new")
    for old in new.parent.glob("new*"):  # what a fleet keeps would spare it the work
        old.unlink()
    if command[1] == "{logs}":
        command = [command[0], *map(str, paths), *command[2:]]
    return [part.format(log=paths[0], folder=paths[0].parent, new=new) for part in command]


def measured(argv: list[str]) -> Cost:
    """Run a command in a process of its own: seconds of work on all processors [s], most memory at once [MB]."""
    child = subprocess.Popen(
        [sys.executable, "-c", MAIN, *argv], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, text=True
    )
    _, status, used = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode:
        raise SystemExit(f"{' '.join(argv)}: ended with {child.returncode}")
    return Cost(used.ru_utime + used.ru_stime, used.ru_maxrss / 1024)


def counted(argv: list[str]) -> Cost:
    """Run a command in this process: calls made in all its threads [1], most memory asked for at once [byte]."""
    calls = 0
    # A piece that is asked for and never touched costs nothing, and would hide all else.
    two_threads._LARGE_PIECE = 0

    def count(_frame: object, event: str, _argument: object) -> None:
        nonlocal calls
        calls += event in {"call", "c_call"}

    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        # When garbage is collected is chance, and a peak would be with it or without.
        gc.collect()
        gc.disable()
        tracemalloc.start()
        threading.setprofile(count)
        sys.setprofile(count)
        try:
            status = run(argv)
        finally:
            sys.setprofile(None)
            threading.setprofile(None)
            memory = tracemalloc.get_traced_memory()[1]
            tracemalloc.stop()
            gc.enable()
    if status:
        raise SystemExit(f"{' '.join(argv)}: ended with {status}")
    return Cost(calls, memory)


def is_worse_than_linear(costs: tuple[float, float, float], noise: float = 0.0) -> bool:
    """Tell whether what was added by the second doubling is out of proportion to the first, and no mere noise."""
    once, twice, four_times = costs
    added = four_times - twice
    counts = added > max(COUNTS * four_times, noise)
    return counts and added > MOST_GROWTH * max(twice - once, COUNTS / 4 * four_times)


Costs = dict[str, list[Cost]]


def doubled(kind: str, commands: list[str], size: int, cost: Callable[[list[str]], Cost]) -> Costs:
    """Return what each command costs on one, two and four times a size."""
    costs: Costs = {command: [] for command in commands}
    for times in (1, 2, 4):
        with tempfile.TemporaryDirectory() as folder:
            paths = KINDS[kind].made(Path(folder), times * size)
            for command in commands:
                argv = KINDS[kind].commands[command]
                # The first is run twice: in one process it loads modules, and on any machine it finds the disk cold.
                if times == 1:
                    cost(words(argv, paths))
                costs[command].append(cost(words(argv, paths)))
    return costs


class OneMore(NamedTuple):
    """What one more of a kind costs a command: milliseconds and kilobytes, or steps and bytes, by a thousandth."""

    kind: str
    command: str
    cost: Cost

    @classmethod
    def of(cls, kind: str, command: str, size: int, costs: list[Cost]) -> OneMore:
        """Return it from the costs of one and of four times a size."""
        added = (max(last - first, 0.0) for first, last in zip(costs[0], costs[2], strict=True))
        at_once = KINDS[kind].at_once
        name = kind if at_once == 1 else f"{at_once:,} {kind}"
        return cls(name, command, Cost(*(1000 * at_once * each / (3 * size) for each in added)))


def in_short(x: float) -> str:
    """Return two digits of a number."""
    return f"{x:,.0f}" if x >= 10 else f"{x:.1g}" if x < 1 else f"{x:.1f}"


def table(all_costs: list[OneMore]) -> Iterator[str]:
    """Yield the lines of a table in Markdown: a row for each kind, a column for each command."""
    kinds, commands = (list(dict.fromkeys(getattr(each, name) for each in all_costs)) for name in ("kind", "command"))
    cells = {(each.command, each.kind): " / ".join(map(in_short, each.cost)) for each in all_costs}
    yield f"| one more, ms / kB | {' | '.join(f'`{command}`' for command in commands)} |"
    yield "| --- " * (len(commands) + 1) + "|"
    for kind in kinds:
        yield f"| {kind} | {' | '.join(cells.get((command, kind), '') for command in commands)} |"


def rows(kinds: list[str], only: list[str], *, steps: bool, times: float) -> Iterator[tuple[str, bool, OneMore]]:
    """Yield a line for each command and what is doubled, whether it keeps the law, and what one more costs."""
    for kind in kinds:
        size = max(round(times * (KINDS[kind].few if steps else KINDS[kind].size)), 1)
        chosen = [command for command in KINDS[kind].commands if not only or command.split()[0] in only]
        for command, costs in doubled(kind, chosen, size, counted if steps else measured).items():
            work, memory = (tuple(cost[k] for cost in costs) for k in (0, 1))
            noise = (0.0, 0.0) if steps else NOISE
            named = zip(("work", "memory"), (work, memory), noise, strict=True)
            bad = [what for what, x, least in named if is_worse_than_linear(x, least)]
            unit = "{:>12,.0f}" if steps else "{:>8.1f}"
            figures = " ".join(unit.format(x) for x in (*work, *memory))
            yield (
                f"{kind:<10}{size:>9,} {command:<15}{figures}  {', '.join(bad) or 'linear'}",
                not bad,
                OneMore.of(kind, command, size, costs),
            )


def main() -> int:
    """Measure what was asked for and print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kinds", default=",".join(KINDS), help="what is doubled, separated by commas")
    parser.add_argument("--commands", default="", help="only these commands, separated by commas")
    parser.add_argument("--times", type=float, default=1.0, help="so many times the usual sizes")
    parser.add_argument("--steps", action="store_true", help="count steps and bytes, at small sizes")
    options = parser.parse_args()
    began, kept = time.monotonic(), True
    unit = "calls and bytes" if options.steps else "seconds of work and MB"
    print(f"{'doubled':<10}{'from':>9} {'command':<15}{unit} at one, two and four times that")
    only = [name for name in options.commands.split(",") if name]
    one_more = []
    for line, keeps, more in rows(options.kinds.split(","), only, steps=options.steps, times=options.times):
        print(line, flush=True)
        kept = kept and keeps
        one_more.append(more)
    print("\n".join(["", *table(one_more), ""]))
    print(f"{time.monotonic() - began:.0f} s")
    return int(not kept)
