"""A Dask cluster started by hand, as its owner would: a scheduler and workers in processes of their own."""

import os
import re
import subprocess
import sys
from contextlib import ExitStack, contextmanager

from browsers import until
from places import ROOT, TESTS, TOOLS

#: No page for people, and nothing beyond this machine.
_ALONE = ["--host", "127.0.0.1", "--dashboard-address", "127.0.0.1:0"]

#: Scenes and what they are made with, which a task may name.
PLACES = (TESTS / "helpers", TOOLS / "scoring")
#: Two workers that end with a log are enough to know.
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
def workers(folder, count):
    """Start a scheduler with workers, and wait until all are there; gives the scheduler's address."""
    with ExitStack() as stack:
        address = stack.enter_context(scheduler(folder))
        for k in range(count):
            stack.enter_context(worker(address, folder, str(k)))
        # In a process of its own: one that measures the memory of others must not load what Dask loads.
        wait = f"from distributed import Client; Client({address!r}).wait_for_workers({count}, timeout=60)"
        subprocess.run([sys.executable, "-W", "ignore", "-c", wait], check=True)
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
