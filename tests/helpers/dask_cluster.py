"""A Dask cluster started by hand, as its owner would: a scheduler and workers in processes of their own."""

import os
import re
import subprocess
import sys
from contextlib import contextmanager

from browsers import until
from places import ROOT, TESTS, TOOLS

#: No page for people, and nothing beyond this machine.
_ALONE = ["--host", "127.0.0.1", "--dashboard-address", "127.0.0.1:0"]

#: Two workers that end with a log are enough to know.
#: Scenes and what they are made with, which a task may name.
PLACES = (TESTS / "helpers", TOOLS / "scoring")
_SETTINGS = {"PYTHONWARNINGS": "ignore", "DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": "1"}


@contextmanager
def scheduler(folder):
    """Start a scheduler on any free port; gives its address."""
    with _program("scheduler", [*_ALONE, "--port", "0", "--no-jupyter"], folder) as said:
        yield until(lambda: _address(said), "the scheduler's address")


@contextmanager
def worker(address, folder, name):
    """Start a worker with its nanny, which starts it again when it ends."""
    more = ["--nthreads", "1", "--no-dashboard", "--host", "127.0.0.1", "--name", name]
    with _program("worker", [address, *more, "--local-directory", str(folder)], folder, name):
        yield


@contextmanager
def two_workers(folder):
    """Start a scheduler with two workers, and wait until both are there; gives the scheduler's address."""
    from distributed import Client

    with scheduler(folder) as address, worker(address, folder, "a"), worker(address, folder, "b"):
        with Client(address, set_as_default=False) as client:
            client.wait_for_workers(2, timeout=60)
        yield address


def _address(said):
    found = re.search(r"Scheduler at:\s+(tcp://[\d.:]+)", said.read_text(encoding="utf-8"))
    return found and found[1]


@contextmanager
def _program(what, arguments, folder, name=""):
    said, paths = folder / f"{what}{name}.log", (os.environ.get("PYTHONPATH"), *map(str, PLACES))
    with said.open("w", encoding="utf-8") as file:
        process = subprocess.Popen(
            [sys.executable, "-m", f"distributed.cli.dask_{what}", *arguments],
            stdout=file,
            stderr=subprocess.STDOUT,
            cwd=ROOT.parent,
            env={**os.environ, **_SETTINGS, "PYTHONPATH": os.pathsep.join(filter(None, paths))},
        )
        try:
            yield said
        finally:
            process.terminate()
            try:
                process.wait(20)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
