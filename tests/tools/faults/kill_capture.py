"""Kill a capture at random moments and look at what is left of it.

Run it by hand or nightly: ``python tests/tools kill_capture 100``. Each time a child process appends readings at 200 a
second, syncs every 0.2 s and prints how many it has synced; it is killed with SIGKILL while it starts, reads or writes
its log. Then the log is opened, and must hold every reading that was acknowledged, and every one whose line stood in
the journal: in order, none twice, none made up.

The command itself is tried with ``--child``; in its words ``{log}`` becomes the log's place, ``{counters}`` an export
whose current counts 0, 1, 2, ... A, 200 rows a second, and ``{length_s}`` how long to capture::

    python tests/tools kill_capture 100 --child 'shuntbook capture replay:{counters} --out {log} --for {length_s}s'
"""

from __future__ import annotations

import argparse
import random
import shlex
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from shuntbook.ingest.events import Reading
from shuntbook.ingest.journal.compaction import NothingCaptured, finish, settle_unfinished
from shuntbook.ingest.journal.journal import Journal, journal_path
from shuntbook.ingest.journal.opening import open_log
from shuntbook.ingest.live.source import SteadyClock
from shuntbook.ingest.log.meta import LogMeta

RATE_HZ, SYNC_S, LONGEST_S = 200, 0.2, 1.5
PATIENCE_S = 120.0  # a busy machine may take long to start a child
OWN_CHILD = f"{shlex.quote(sys.executable)} {shlex.quote(__file__)} --be-child {{log}} --length-s {{length_s}}"


@dataclass(frozen=True)
class Outcome:
    """One kill: readings acknowledged, standing in the journal when it came, and in the log afterwards."""

    acknowledged: int
    standing: int
    read: int
    where: str


def be_child(log: Path, length_s: float) -> None:
    """Capture a counter; print how many readings are on the disk."""
    clock = SteadyClock()
    journal = Journal(log, LogMeta(), ("current_A", "voltage_V"), flush_s=SYNC_S)
    start_us = synced_us = clock.now_us()
    for n in range(round(length_s * RATE_HZ)):
        clock.sleep((start_us - clock.now_us()) / 1e6 + n / RATE_HZ)
        journal.append_reading(Reading(clock.now_us(), {"current_A": n, "voltage_V": 24.0 + n / 1000}))
        if clock.now_us() - synced_us >= SYNC_S * 1e6:
            journal.sync()
            synced_us = clock.now_us()
            _say(str(n + 1))
    finish(journal)


def kill_once(child: str, chance: random.Random) -> Outcome:
    """Start a child, kill it at a random moment, open what it left and check it.

    Raises
    ------
    AssertionError
        If anything is lost, there twice, or made up.
    """
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        log = folder / "pump.parquet"
        length_s = round(chance.uniform(0.3, LONGEST_S), 2)
        command = _words(child, log, folder / "counters.csv", length_s)
        with (folder / "output").open("wb") as output:
            process = subprocess.Popen(command, stdout=output, stderr=subprocess.STDOUT, stdin=subprocess.DEVNULL)
            try:
                _wait_for_journal(log, process, folder / "output")
                # a third of the kills come while it begins, the others until a little after its end
                time.sleep(chance.uniform(0, 0.01 if chance.random() < 1 / 3 else length_s + 0.1))
                process.kill()
            finally:
                process.kill()
                process.wait()
        acknowledged = [
            int(line) for line in (folder / "output").read_text(errors="replace").split("\n")[:-1] if line.isdigit()
        ]
        return _checked(log, max(acknowledged, default=0))


def _say(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def _words(child: str, log: Path, counters: Path, length_s: float) -> list[str]:
    if "{counters}" in child:
        rows = (f"2026-06-13T10:{n // 12000:02}:{n / RATE_HZ % 60:06.3f}Z,{n},24.5\n" for n in range(20 * RATE_HZ))
        counters.write_text("time,current [A],voltage [V]\n" + "".join(rows), encoding="utf-8")
    places = {"log": str(log), "counters": str(counters), "length_s": str(length_s)}
    return [word.format(**places) for word in shlex.split(child)]


def _wait_for_journal(log: Path, process: subprocess.Popen[bytes], output: Path) -> None:
    until = time.monotonic() + PATIENCE_S
    while not journal_path(log).exists() and not log.exists():
        if process.poll() is not None or time.monotonic() > until:
            raise AssertionError(f"the child never began to capture; it said: {output.read_text(errors='replace')}")
        time.sleep(0.001)


def _checked(log: Path, acknowledged: int) -> Outcome:
    standing = 0
    if journal_path(log).exists():
        lines = journal_path(log).read_bytes().split(b"\n")[:-1]
        standing = sum(line.startswith(b'["reading"') for line in lines)
    where = "while reading" if standing else "before the first reading"
    if log.exists():
        where = "after its end"
    elif any(log.parent.glob(f".{log.name}.*")):
        where = "while writing the log"
    read = _count_in_order(log)
    assert read >= max(acknowledged, standing), f"{acknowledged} acknowledged, {standing} standing, {read} kept"
    assert not journal_path(log).exists()
    assert settle_unfinished(log) is None
    return Outcome(acknowledged, standing, read, where)


def _count_in_order(log: Path) -> int:
    """Return how many readings there are; they must count 0, 1, 2, ... and be ever later."""
    try:
        settle_unfinished(log)
    except NothingCaptured:
        return 0
    parts = list(open_log(log).scan(["current_A"]))  # scan itself refuses times that do not increase
    current_A = np.concatenate([part.quantities["current_A"] for part in parts])
    np.testing.assert_array_equal(current_A, np.arange(len(current_A)))
    return len(current_A)


def main() -> int:
    """Kill as many captures as asked, and print what became of them."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("count", type=int, nargs="?", default=100)
    options.add_argument("--child", default=OWN_CHILD, help="the command that captures")
    options.add_argument("--seed", type=int, default=None, help="for the same moments again")
    options.add_argument("--be-child", type=Path, help=argparse.SUPPRESS)
    options.add_argument("--length-s", type=float, default=LONGEST_S, help=argparse.SUPPRESS)
    stated = options.parse_args()
    if stated.be_child:
        be_child(stated.be_child, stated.length_s)
        return 0
    seed = random.randrange(1 << 30) if stated.seed is None else stated.seed
    chance = random.Random(seed)
    outcomes = [kill_once(stated.child, chance) for _ in range(stated.count)]
    _say(f"{len(outcomes)} captures killed (seed {seed}); every log opened, nothing lost, nothing twice")
    for where in sorted({outcome.where for outcome in outcomes}):
        _say(f"  {sum(outcome.where == where for outcome in outcomes):4} {where}")
    for what in ("acknowledged", "standing", "read"):
        _say(f"{sum(getattr(outcome, what) for outcome in outcomes):6} readings {what}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
