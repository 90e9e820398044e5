"""Hurt commands in every way that a disk, a person or a power switch can, and look at what is left.

Run it by hand or nightly: ``python tests/tools faults``; ``--jobs convert,fleet`` and ``--ways kill,disk`` name some,
``--seed`` gives the same moments again. Every job is run in a folder of its own and hurt once a run: at every step it
takes on the disk (killed, refused, out of space, interrupted, terminated), at random moments (these, and its folder
closed to writing), with files that may not grow beyond a size, and, as
root on Linux, on a small disk of its own that is full but for so many bytes.

The law: what was there before and is not the result is as it was; a result is the old one, the new one, or absent,
never half of one; the status is that of the contract, and one sentence says why; and when the command is run again,
unhurt, it ends well and leaves nothing that a run without faults would not.
"""

from __future__ import annotations

import argparse
import codecs
import errno
import importlib
import os
import pkgutil
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

from fault_jobs import JOBS, Files, Job, files_in, kept_count, same
from fault_ways import Ended, Steps, be_nobody, give_to_nobody, kill, limit_files, refuse, run_hurt, run_unhurt, send

from shuntbook.ingest.safe_files.rejects import rejects_path
from shuntbook.ingest.safe_files.whole_file import hidden_beside

#: What a command may end with, by what was done to it.
_ALLOWED = {
    "kill": {0, -signal.SIGKILL},
    "disk": {0, 3},
    "refused": {0, 2, 3},
    "closed": {0, 2, 3},
    "full": {0, 3},
    "interrupted": {0, 130},
    "terminated": {0, 143},
}
#: A disk in memory gives room by the page. [bytes]
_PAGE = os.sysconf("SC_PAGESIZE")
#: What a command says goes to a file too, which is not to be cut short with the others. [bytes]
_ROOM_TO_SAY = 2000


@dataclass
class Bench:
    """A job with its folder as it is before, and as an unhurt run leaves it."""

    job: Job
    work: Path
    before: Path = field(init=False)
    old: Files = field(init=False)
    new: Files = field(init=False)
    steps: int = field(init=False)
    took_s: float = field(init=False)

    def __post_init__(self) -> None:
        """Make the folder, and run the command in a copy of it to its end."""
        self.before = self.work / "before"
        self.before.mkdir()
        self.job.make(self.before)
        folder, began = self.fresh(), time.monotonic()
        ended = run_unhurt(folder, self.job.words)
        self.took_s, self.steps = time.monotonic() - began, ended.steps
        assert ended.status == 0, f"{self.job.name} fails unhurt: {ended.output}"
        self.old, self.new = files_in(self.before), files_in(folder)

    def fresh(self) -> Path:
        """Return a new folder with what is there before."""
        folder = self.work / "hurt"
        shutil.rmtree(folder, ignore_errors=True)
        shutil.copytree(self.before, folder)
        return folder

    def check(self, folder: Path, ended: Ended, allowed: set[int]) -> None:
        """Hold what is left against the law, before and after the command is run again."""
        assert ended.status in allowed, f"status {ended.status}"
        assert "Traceback" not in ended.output, "a traceback was shown"
        assert "Exception ignored" not in ended.output, "a traceback was shown"
        if ended.status in (2, 3):
            sentences = [line for line in ended.output.splitlines() if line.startswith("shuntbook: ")]
            assert len(sentences) == 1, f"{len(sentences)} sentences"
        self._check_left(files_in(folder))
        again = run_unhurt(folder, self.job.again or self.job.words)
        if self.job.counted is None:
            assert again.status == 0, f"run again, it ends with {again.status}: {again.output}"
            self._check_after(files_in(folder))
            return
        self._check_counted(folder, ended, again)

    def _check_left(self, left: Files) -> None:
        changed = {name for name in self.new if self.old.get(name) != self.new[name]}
        is_new = all(name in left and same(name, left[name], self.new[name]) for name in changed)
        for name, content in self.old.items():
            # What goes with an old result stays as long as that does.
            goes = name not in self.new and name not in left and is_new
            if name not in changed and not name.endswith(".journal") and not goes:
                assert left.get(name) == content, f"{name} was lost or changed"
        if self.job.counted is not None:
            return
        for name in changed:
            whole = name not in left and name not in self.old
            whole = whole or (name in left and self._is_whole(name, left[name]))
            assert whole, f"{name} is neither the old one nor the new one"

    def _is_whole(self, name: str, content: bytes) -> bool:
        if name.endswith((".rows", "written-by-shuntbook.txt")):
            return True  # lists that grow; the run that follows tells whether they are of use
        return content == self.old.get(name) or same(name, content, self.new[name])

    def _check_after(self, left: Files) -> None:
        assert left.keys() == self.new.keys(), f"left behind: {left.keys() ^ self.new.keys()}"
        for name, content in left.items():
            assert same(name, content, self.new[name]), f"{name} is not that of an unhurt run"

    def _check_counted(self, folder: Path, ended: Ended, again: Ended) -> None:
        """A capture's log may be shorter, or absent where nothing was read; a journal's may not."""
        log = folder / str(self.job.counted)
        if not ended.status:
            _be_next_writer(log)
        left = files_in(folder)
        hidden = [name for name in left if name.startswith(".")]
        assert not hidden, f"left behind: {hidden}"
        assert not left.keys() - self.new.keys() - self.old.keys(), "left behind: more than an unhurt run leaves"
        if not log.exists():
            assert self.job.name == "capture", again.output
            assert again.status == 2, f"status {again.status}"
            return
        assert again.status == 0, again.output
        count = kept_count(log)
        assert count == kept_count_of(self.new, self.job, self.work) or self.job.name == "capture", f"{count} kept"


def _be_next_writer(log: Path) -> None:
    """Remove what is left where only the removal of an empty hidden file was refused, as the next that writes does."""
    for path in (log, rejects_path(log)):
        assert not any(left.stat().st_size for left in log.parent.glob(f".{path.name}.*.part")), "more is left"
        with hidden_beside(path):
            pass


def kept_count_of(files: Files, job: Job, work: Path) -> int:
    """Return how many readings the log of an unhurt run holds."""
    place = work / "unhurt.parquet"
    place.write_bytes(files[str(job.counted)])
    return kept_count(place)


Fault = tuple[str, str, Callable[[Path], Ended]]


def faults_of(bench: Bench, chance: random.Random, ways: set[str], *, most: int) -> Iterator[Fault]:
    """Yield a way, where it strikes, and what does it; not more than about `most` of a way."""
    words = bench.job.words

    def at_step(n: int, do: Callable[[], None], folder: Path) -> Ended:
        return run_hurt(folder, words, Steps(folder, n, do))

    strikes = {
        "kill": [kill],
        "disk": [refuse(errno.ENOSPC), refuse(errno.EIO)],
        "refused": [refuse(errno.EACCES)],
        "interrupted": [send(signal.SIGINT)],
        "terminated": [send(signal.SIGTERM)],
    }
    for way in (way for way in strikes if way in ways):
        for do in strikes[way]:
            for n in _some(range(1, bench.steps + 1), most, chance):
                yield way, f"at step {n} of {bench.steps}", partial(at_step, n, do)
    if "disk" in ways:
        largest = max(len(content) for name, content in bench.new.items() if bench.old.get(name) != content)
        for size in _some(range(_ROOM_TO_SAY, largest, max(largest // 200, 1)), most, chance):
            yield "disk", f"files below {size} bytes", partial(_limited, words, size)
    for way, number in (("kill", signal.SIGKILL), ("interrupted", signal.SIGINT), ("terminated", signal.SIGTERM)):
        if way in ways:
            for _ in range(min(most, 60)):
                after_s = chance.uniform(0, 1.1 * bench.took_s)
                yield way, f"after {after_s:.3f} s", partial(_signalled, words, number, after_s)

    if "full" in ways and small_disk_can_be():
        largest = sum(len(content) for name, content in bench.new.items() if bench.old.get(name) != content)
        for pages in _some(range(largest // _PAGE + 12), most, chance):
            yield "full", f"with {pages * _PAGE} bytes left", partial(_on_full_disk, words, pages * _PAGE)
    if "closed" in ways:
        for _ in range(min(most, 60)):
            after_s = chance.uniform(0, 1.1 * bench.took_s)
            yield "closed", f"after {after_s:.3f} s", partial(_closed, words, after_s)


def _some(numbers: range, most: int, chance: random.Random) -> list[int]:
    return sorted(chance.sample(numbers, min(most, len(numbers))))


def _limited(words: tuple[str, ...], size: int, folder: Path) -> Ended:
    return run_hurt(folder, words, Steps(folder), before=limit_files(size))


def small_disk_can_be() -> bool:
    """Tell whether a disk of a few megabytes in memory may be made here: by root on Linux."""
    return sys.platform == "linux" and not os.geteuid()


def _on_full_disk(words: tuple[str, ...], left: int, folder: Path) -> Ended:
    """Run a command on a disk of its own, filled but for so many bytes; then give it room and bring what is left."""
    disk = folder.with_name("disk")
    disk.mkdir(exist_ok=True)
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=64m", "none", str(disk)], check=True)
    try:
        place = disk / "hurt"
        shutil.copytree(folder, place)
        room = os.statvfs(disk).f_bavail * os.statvfs(disk).f_frsize
        with (disk / "filler").open("wb") as filler:
            os.posix_fallocate(filler.fileno(), 0, room - left)
        ended = run_hurt(place, words, Steps(place), output_in=folder.parent)
        shutil.rmtree(folder)
        shutil.copytree(place, folder)
        return ended
    finally:
        subprocess.run(["umount", "-l", str(disk)], check=True)  # a second process may still be about to end


def _closed(words: tuple[str, ...], after_s: float, folder: Path) -> Ended:
    """Take the right to write in its folders from a command that is at work, and give it back when it has ended."""

    def later(_process: int) -> None:
        time.sleep(after_s)
        for path in (folder, *(path for path in folder.rglob("*") if path.is_dir())):
            with suppress(FileNotFoundError):
                path.chmod(0o555)

    give_to_nobody(folder)
    ended = run_hurt(folder, words, Steps(folder), before=be_nobody, meanwhile=later)
    for path in (folder, *folder.rglob("*")):
        path.chmod(0o755 if path.is_dir() else 0o644)
    return ended


def _signalled(words: tuple[str, ...], number: int, after_s: float, folder: Path) -> Ended:
    def later(process: int) -> None:
        time.sleep(after_s)
        with suppress(ProcessLookupError):
            os.kill(process, number)

    return run_hurt(folder, words, Steps(folder), meanwhile=later)


def warm_up() -> None:
    """Import everything, so that forks need not; nothing is worked out, so that no thread is lost in a fork."""
    import shuntbook

    for room in ("ingest", "analysis", "cli"):
        package = importlib.import_module(f"shuntbook.{room}")
        for module in pkgutil.walk_packages(package.__path__, f"shuntbook.{room}."):
            importlib.import_module(module.name)
    codecs.lookup("utf-16le")  # of PDFs; Python's own files may be closed to whoever a command becomes
    assert shuntbook.__version__


@dataclass
class Tally:
    """How many faults of each way were survived, and how many of these ended the command."""

    survived: Counter[str] = field(default_factory=Counter)
    struck: Counter[str] = field(default_factory=Counter)

    def __str__(self) -> str:
        """Return the counts in words."""
        return ", ".join(f"{n} {way} ({self.struck[way]} struck)" for way, n in sorted(self.survived.items()))


def hurt(job: Job, ways: set[str], chance: random.Random, most: int) -> tuple[Tally, list[str]]:
    """Hurt one job; return what it survived, and what went wrong."""
    tally = Tally()
    wrong: list[str] = []
    with tempfile.TemporaryDirectory() as work:
        bench = Bench(job, Path(work).resolve())
        for way, where, do in faults_of(bench, chance, ways, most=max(most // 5, 2) if job.slow else most):
            allowed = _ALLOWED[way] | ({2} if way == "refused" else set())
            folder = bench.fresh()
            ended = do(folder)
            try:
                bench.check(folder, ended, allowed)
                tally.survived[way] += 1
                tally.struck[way] += bool(ended.status)
            except AssertionError as error:
                wrong.append(f"{job.name}: {way} {where}: {error}\n    it said: {ended.output[-600:]}")
            except Exception:
                wrong.append(f"{job.name}: {way} {where}: {traceback.format_exc()}")
    return tally, wrong


def main() -> int:
    """Hurt all jobs that were asked for, print what they survived, and end with 1 where the law was broken."""
    options = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    options.add_argument("--jobs", default="", help="beginnings of their names, with commas")
    options.add_argument("--ways", default=",".join(_ALLOWED))
    options.add_argument("--most", type=int, default=60, help="of a way in a job; a fifth of it for slow jobs")
    options.add_argument("--seed", type=int, default=None, help="for the same moments again")
    stated = options.parse_args()
    seed = random.randrange(1 << 30) if stated.seed is None else stated.seed
    warm_up()
    wanted = tuple(stated.jobs.split(","))
    total, wrong = 0, []
    for job in JOBS:
        if job.name.startswith(wanted):
            tally, broken = hurt(job, set(stated.ways.split(",")), random.Random(seed), stated.most)
            total += tally.survived.total()
            wrong += broken
            sys.stdout.write(f"{job.name}: survived {tally}{f'; {len(broken)} NOT' if broken else ''}\n")
            sys.stdout.flush()
    sys.stdout.write(f"{total} faults survived, {len(wrong)} not (seed {seed})\n" + "".join(f"{w}\n" for w in wrong))
    return 1 if wrong else 0
