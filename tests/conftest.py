"""What several files of tests start from."""

import gc
import os
import sys
import time
from contextlib import redirect_stdout
from importlib.util import cache_from_source
from pathlib import Path

# Several processes share the processor: threads of algebra that wait for each other only take it from them.
os.environ["OPENBLAS_NUM_THREADS"] = os.environ["OMP_NUM_THREADS"] = "1"

# Tests begin some hundred processes: where Python is told to keep no bytecode, each would compile all that it loads.
if os.environ.pop("PYTHONDONTWRITEBYTECODE", ""):
    sys.dont_write_bytecode = False
    os.environ["PYTHONPYCACHEPREFIX"] = str(Path(__file__).parents[1] / ".pytest_cache" / "bytecode")
    sys.pycache_prefix = os.environ["PYTHONPYCACHEPREFIX"]

import pytest
from hypothesis import HealthCheck, settings
from made_once import made_once
from quality_logs import look  # noqa: F401  (a fixture)

from shuntbook.cli.main import run
from shuntbook.ingest.safe_files.file_lock import claim

# Lines are held to the usual width, whatever terminal the tests are begun from.
os.environ.pop("COLUMNS", None)
# How long an example takes says how busy the machine is; no test may fail for it.
settings.register_profile("any-machine", deadline=None, suppress_health_check=[HealthCheck.too_slow], max_examples=25)
#: For the night: ``pytest -m night --hypothesis-profile=night`` runs what is marked, ``-m ""`` all of it.
settings.register_profile("night", settings.get_profile("any-machine"), max_examples=100)
#: For coverage, which a few examples tell as well: ``--hypothesis-profile=few``.
settings.register_profile("few", settings.get_profile("any-machine"), max_examples=5)
settings.load_profile("any-machine")


@pytest.fixture(scope="session")
def demo_and_words(tmp_path_factory):
    """A folder that the demo has written, and all that it said of it."""

    def make(folder):
        with (folder / "words.txt").open("w", encoding="utf-8") as words, redirect_stdout(words):
            assert run(["demo", "--out", str(folder / "demo"), "--explain"]) == 0

    folder = made_once(tmp_path_factory, "of the demo", make)
    return folder / "demo", (folder / "words.txt").read_text(encoding="utf-8")


@pytest.fixture(scope="session")
def demo(demo_and_words):
    """A folder that the demo has written: the invented scenario's two logs, its site file and its page."""
    return demo_and_words[0]


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers():
    """Return one process more than there are processors: the one whose tests keep clocks mostly waits."""
    return (os.cpu_count() or 1) + 1


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items):
    """Keep tests of a module in one process where they share what is dear: pages, desks, browsers are made once."""
    for item in items:
        shared = {definitions[-1].scope for definitions in item._fixtureinfo.name2fixturedefs.values()}
        if "module" in shared and item.get_closest_marker("xdist_group") is None:
            item.add_marker(pytest.mark.xdist_group(item.path.stem))


@pytest.hookimpl(wrapper=True)
def pytest_collection():
    """Let one process of a run compile what a new checkout collects: the others wait, and find it compiled."""
    held = _held_to_compile()
    try:
        return (yield)
    finally:
        if held is not None:
            os.close(held)


def _held_to_compile():
    """Hold the folder of tests while the last of them is not compiled; None once it is."""
    place = Path(cache_from_source(__file__)).parent
    while not any(place.glob("test_house.*")):
        try:
            return claim(Path(__file__).parent)
        except BlockingIOError:
            time.sleep(0.2)
    return None


def pytest_collection_finish():
    """Look no more through what was collected and loaded, which stays, wherever what can go is sought."""
    gc.freeze()
