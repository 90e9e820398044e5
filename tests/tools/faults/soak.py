"""Capture three meters for hours, with ten who watch, notes, meters that go and come, and a clock that is set.

Run it at night: ``python tests/tools soak --for 120`` (minutes). Two meters send lines and count upwards, so that their
logs say at the end whether a reading is lost or there twice: all that was sent while a meter was there must be in its
log, in order, and each note once in every log. The third answers by Modbus. What the capture's process holds is printed
as it goes; its clock is set forth and back meanwhile.
"""

from __future__ import annotations

import argparse
import http.client
import random
import re
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from itertools import pairwise
from pathlib import Path

from live_pages import Viewer, ask
from modbus_devices import free_port, tcp_server
from serial_devices import Meter

from shuntbook.ingest.journal.opening import open_log

VIEWERS, EVERY_S, NOTE_EVERY_S, AWAY_EVERY_S, AWAY_S = 10, 0.2, 20.0, 300.0, 8.0
#: After a meter is back its port is sought once in a while: so long nothing counts as lost. [s]
FOUND_AFTER_S = 15.0
PROFILE = '[modbus]\n[modbus.registers.current_A]\naddress = 0\ntype = "uint32"\nscale = 0.01\n'
#: A capture whose machine's clock stands in a file, by so many seconds off.
CHILD = """
import time
from pathlib import Path
machine_ns = time.time_ns
time.time_ns = lambda: machine_ns() + 10**9 * int(Path("clock").read_text() or 0)
from shuntbook.cli.main import main
main()
"""
SITE = 'name = "soak"\n[bank]\nnominal_V = 24\ncapacity_Ah = 420\n'


class Sender:
    """A meter on a port, which counts in hundredths of an amp; it is pulled out and plugged in now and then."""

    def __init__(self, folder: Path, name: str) -> None:
        (folder / name).mkdir()
        self.port, self.name = Meter(folder / name), name
        self.last, self.excused = 0, list[range]()

    def run(self, ended: threading.Event, chance: random.Random) -> None:
        """Send until it is ended."""
        away_s = time.monotonic() + chance.uniform(0.5, 1.0) * AWAY_EVERY_S
        while not ended.wait(EVERY_S):
            if time.monotonic() > away_s:
                # What is still on its way in the port is gone with it.
                first = self.last - round(1 / EVERY_S)
                self.port.pull_out()
                ended.wait(AWAY_S)
                self.port.plug_in()
                self._send(until_s=time.monotonic() + FOUND_AFTER_S, ended=ended)
                self.excused.append(range(first, self.last + 1))
                away_s = time.monotonic() + chance.uniform(0.5, 1.5) * AWAY_EVERY_S
            self._send()

    def _send(self, until_s: float = 0.0, ended: threading.Event | None = None) -> None:
        while True:
            self.last += 1
            with suppress(OSError):
                self.port.send(f"{self.last / 100:.2f}A 25.00V\r\n".encode())
            if ended is None or time.monotonic() > until_s or ended.wait(EVERY_S):
                return


def watched(port: int, link: Callable[[], str], seen: list[int], ended: threading.Event) -> None:
    """Watch the live page, by a link of one's own, until the end; go and come back now and then."""
    while not ended.is_set():
        with suppress(OSError, http.client.HTTPException, KeyError):
            cookie = ask(None, f"/{link()}", port=port)[1]["Set-Cookie"].partition(";")[0]
            with Viewer(port, cookie) as viewer:
                for _ in range(600):
                    if viewer.next() is None:
                        break
                    seen[0] += 1
        ended.wait(1.0)


class Told:
    """What a capture says on standard error: its links, each for one viewer, and everything else."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        self._links, self._more = list[str](), threading.Condition()
        self.others = list[str]()
        threading.Thread(target=self._read, args=(process,), daemon=True).start()

    def _read(self, process: subprocess.Popen[str]) -> None:
        for line in process.stderr or ():
            found = re.search(r"viewer: http://\S+:\d+/(\S+)", line)
            with self._more:
                (self._links if found else self.others).append(found[1] if found else line.rstrip())
                self._more.notify_all()

    def link(self) -> str:
        """Return a link that nobody used yet, and wait for one."""
        with self._more:
            if not self._more.wait_for(lambda: self._links, timeout=60.0):
                raise TimeoutError("no link for another viewer was printed")
            return self._links.pop()


def held_MB(pid: int) -> float:
    """Return what a process holds in memory. [MB]."""
    status = Path(f"/proc/{pid}/status").read_text(encoding="ascii")
    found = re.search(r"VmRSS:\s+(\d+)", status)
    return int(found[1]) / 1024 if found else float("nan")


def missed(log: Path, last: int, excused: list[range]) -> tuple[int, int, int]:
    """Return how many readings a log has, how many are lost, and how many are out of order or there twice."""
    parts = [part.quantities["current_A"] for part in open_log(log).scan(["current_A"])]
    counts = [round(100 * x) for part in parts for x in part.tolist()]
    there = set(counts).union(*excused)
    # What comes before the capture has begun is none of its own, nor what was on its way at the end.
    lost = [k for k in range(min(counts), max(min(counts), last - 10)) if k not in there]
    return len(counts), len(lost), sum(b <= a for a, b in pairwise(counts))


def main() -> int:
    """Run it, and say what was held and what is in the logs."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--for", dest="minutes", type=float, default=120.0)
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        return 0 if soaked(Path(name), options) else 1


def soaked(folder: Path, options: argparse.Namespace) -> bool:
    """Capture, and tell whether all is there."""
    chance, ended = random.Random(options.seed), threading.Event()
    senders = [Sender(folder, "one"), Sender(folder, "two")]
    page, clock = free_port(), folder / "clock"
    clock.write_text("0", encoding="ascii")
    with tcp_server({1: [("holding", 0, [0, 0])]}) as port:
        (folder / "modbus.toml").write_text(PROFILE, encoding="utf-8")
        sources = [(each.name, f"serial:{each.port.path}", "") for each in senders]
        sources.append(("three", f"modbus-tcp:127.0.0.1:{port}?unit=1", 'profile = "modbus.toml"\n'))
        meters = (f'[[meters]]\nname = "{n}"\nside = "dc"\nsource = "{s}"\n{more}' for n, s, more in sources)
        (folder / "site.toml").write_text(SITE + "".join(meters), encoding="utf-8")
        words = ["capture", "--site", "site.toml", "--out", "out.parquet", "--page", f"0.0.0.0:{page}"]
        process = subprocess.Popen(
            [sys.executable, "-c", CHILD, *words, "--page-stays", "0"],
            cwd=folder,
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        told, seen = Told(process), [[0] for _ in range(VIEWERS)]
        jobs = [threading.Thread(target=each.run, args=(ended, chance), daemon=True) for each in senders]
        jobs += [threading.Thread(target=watched, args=(page, told.link, each, ended), daemon=True) for each in seen]
        for job in jobs:
            job.start()
        notes = _kept_busy(process, clock, 60.0 * options.minutes, chance)
        time.sleep(3.0)  # the last note is read
        ended.set()
        process.send_signal(signal.SIGINT)
        # Whoever writes what it says must be read until it ends.
        said = process.stdout.read() if process.stdout else ""
        status = process.wait(120)
        for job in jobs:
            job.join(90)
    print(f"status {status}; updates seen by each viewer: {[each[0] for each in seen]}", said, *told.others, sep="\n")
    return status == 0 and _all_there(folder, senders, notes)


def _kept_busy(process: subprocess.Popen[str], clock: Path, length_s: float, chance: random.Random) -> list[str]:
    """Type notes and set the clock until the end; print what the process holds. Return the notes."""
    begun_s, notes, shown_s = time.monotonic(), list[str](), 0.0
    while (since_s := time.monotonic() - begun_s) < length_s and process.poll() is None:
        time.sleep(NOTE_EVERY_S * chance.uniform(0.5, 1.5))
        notes.append(f"note {len(notes)}")
        with suppress(BrokenPipeError):  # it has ended, and what it said is printed
            _type(process, notes[-1])
        if len(notes) % 30 == 10:
            clock.write_text(chance.choice(["0", "3600", "-1800"]), encoding="ascii")
        if since_s >= shown_s:
            print(f"{since_s / 60:6.1f} min {held_MB(process.pid):7.1f} MB", flush=True)
            shown_s += length_s / 24
    return notes


def _type(process: subprocess.Popen[str], line: str) -> None:
    assert process.stdin is not None
    process.stdin.write(line + "\n")
    process.stdin.flush()


def _all_there(folder: Path, senders: list[Sender], notes: list[str]) -> bool:
    good = True
    for log in sorted(folder.glob("out-*.parquet")):
        markers = [text for _, text in open_log(log).meta.markers]
        twice = len(markers) - len(set(markers))
        lost_notes = len(set(notes) - set(markers))
        good &= not twice and not lost_notes and markers == notes
        print(f"{log.name}: {len(markers)} notes, {lost_notes} lost, {twice} twice", end="")
        for sender in (each for each in senders if log.stem.endswith(each.name)):
            count, lost, disordered = missed(log, sender.last, sender.excused)
            good &= not lost and not disordered
            print(f"; {count} readings, {lost} lost, {disordered} twice or out of order", end="")
        print()
    return good
