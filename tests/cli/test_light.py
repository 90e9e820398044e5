"""How much of the program a command loads, and how many of its files a reader must open to follow it."""

from __future__ import annotations

import json
import os
import pickle
import subprocess
import sys

import pytest
from places import ROOT

from shuntbook.cli.assembling.report import report_of
from shuntbook.cli.opening.prepared_log import read_site
from shuntbook.cli.parallel.worker_process import Second
from shuntbook.cli.render.page.page import render
from shuntbook.cli.render.still_charts import svg

EXPORT = "\n".join(
    ["time,current [A],voltage [V]"]
    + [
        f"2026-06-13T10:{k // 60:02}:{k % 60:02}Z,{75.0 if k % 300 < 60 else 2.0},{25.2 - k % 9 / 100}"
        for k in range(1800)
    ]
)
#: Runs a command, and prints how many modules of ours it has loaded and which files of ours it has entered: those in
#: which a function ran, whatever stands in them beside.
COUNT = """
import json, sys, threading
from shuntbook.cli.main import run
entered = set()
def note(frame, event, _argument):
    if event == "call" and frame.f_code.co_flags & 1:  # a function, not the body of a module or class
        entered.add(frame.f_code.co_filename)
threading.setprofile(note)
sys.setprofile(note)
status = run(sys.argv[2:])
sys.setprofile(None)
threading.setprofile(None)
rooms = tuple(f"{sys.argv[1]}{room}/" for room in ("analysis", "ingest", "cli"))  # not what is installed below it
files = sorted(name.removeprefix(sys.argv[1]) for name in entered if name.startswith(rooms))
ours = [m for n, m in sys.modules.items() if n.startswith("shuntbook.") and not m.__file__.endswith("__init__.py")]
print("\\nCOUNT " + json.dumps([status, len(ours), files]))
"""
#: By command: so many modules it loads at most, and so many files it enters. A little above what was reached.
LIMITS = {
    "convert": (62, 54),
    "look": (69, 44),
    "charge": (60, 41),
    "charge --site": (104, 83),
    "capture": (143, 108),
    "report": (235, 152),
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """Hold an export, the log of it, and a site file."""
    folder = tmp_path_factory.mktemp("light")
    (folder / "a.csv").write_text(EXPORT + "\n", encoding="utf-8")
    (folder / "site.toml").write_bytes((ROOT / "sample_data" / "site.toml").read_bytes())
    counted(folder, "convert a.csv --out a.parquet")
    return folder


def counted(folder, words):
    """Run a command in a process of its own; return how many modules of ours it loaded and which files it entered."""
    done = subprocess.run(
        [sys.executable, "-c", COUNT, f"{ROOT}/", *words.split()],
        cwd=folder,
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=True,
    )
    status, modules, files = json.loads(done.stdout.rpartition("COUNT ")[2])
    assert status == 0, done.stderr
    return modules, files


@pytest.mark.parametrize(
    ("command", "words"),
    [
        ("convert", "convert a.csv --out b.parquet"),
        ("look", "look a.parquet"),
        ("charge", "charge a.parquet"),
        ("charge --site", "charge a.parquet --site site.toml"),
        ("capture", "capture replay:a.parquet?speed=max --out c.parquet --quiet"),
        ("report", "report a.parquet --out a.html"),
    ],
)
def test_a_command_loads_what_it_uses_and_leads_through_few_files(folder, command, words):
    """Start-up is paid for by the module, and following a figure from its cell to the screen by the file."""
    modules, files = counted(folder, words)
    most_modules, most_files = LIMITS[command]
    assert modules <= most_modules
    assert 10 < len(files) <= most_files, files


@pytest.mark.parametrize("cells", ["75.0", "75.00", "75.00 A", "7.5e1"])
def test_a_small_export_waits_for_no_library_that_it_does_not_need(folder, cells):
    """A median of numpy's own loads masked arrays, a value given to Arrow pandas: each takes as long as reading."""
    rows = [f"2026-06-13T10:00:{k:02}Z,{cells}" for k in range(60)]
    (folder / "small.csv").write_text("\n".join(["time,current [A]", *rows, ""]), encoding="utf-8")
    code = (
        "import sys\nfrom shuntbook.cli.main import run\nstatus = run(sys.argv[1:])\n"
        "print(status, [m for m in ('numpy.ma', 'pandas', 'secrets') if m in sys.modules])"
    )
    words = [sys.executable, "-c", code, "convert", "small.csv", "--out", "small.parquet", "--force"]
    done = subprocess.run(words, cwd=folder, capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "0 []"


def test_a_meter_on_a_port_is_read_without_what_reads_files():
    """Lines know the words of a header, and nothing of files and of what their columns are."""
    code = (
        "import sys\nimport shuntbook.ingest.live.serial_lines\nprint(*(m.split('exports.')[-1] for m in sys.modules))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert not {"delimited.dialect", "delimited.plan", "delimited.layout", "texts.decode"} & set(done.stdout.split())


@pytest.mark.parametrize(("stated", "threads"), [({}, "1"), ({"OPENBLAS_NUM_THREADS": "4"}, "4")])
def test_algebra_is_done_in_one_thread_unless_somebody_says_otherwise(stated, threads):
    """It is said before the library that heeds it is loaded: what is multiplied here is small."""
    code = (
        "import atexit, os, sys\nfrom shuntbook.cli.main import main\nloaded = 'numpy' in sys.modules\n"
        "atexit.register(lambda: print(os.environ['OPENBLAS_NUM_THREADS'], loaded))\nmain(['--version'])"
    )
    own = {name: value for name, value in os.environ.items() if name != "OPENBLAS_NUM_THREADS"} | stated
    done = subprocess.run([sys.executable, "-c", code], env=own, capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == f"{threads} False"


class Packed(Second):
    """A second process that does nothing: it keeps what it was sent."""

    def __init__(self):
        """Begin with nothing."""
        self.works = []

    def begin(self, work):
        """Keep some work; its drawings are empty."""
        self.works.append(pickle.dumps(work))
        return lambda: ("", "")


def test_what_draws_loads_nothing_of_a_site_but_what_is_drawn(demo, tmp_path):
    """Its figures were worked out elsewhere, and the model of a site file takes as long to load as some drawings."""
    packed = Packed()
    site = read_site(demo / "site.toml")
    render(report_of([demo / "open_day.parquet"], site, None), packed)
    (tmp_path / "works").write_bytes(pickle.dumps([*packed.works, pickle.dumps(svg.load_library)]))
    code = (
        "import pickle, sys\nworks = pickle.load(open(sys.argv[1], 'rb'))\nfor work in works: pickle.loads(work)\n"
        "print(len(works), 'matplotlib' in sys.modules, 'pydantic' in sys.modules)"
    )
    words = [sys.executable, "-c", code, str(tmp_path / "works")]
    done = subprocess.run(words, capture_output=True, text=True, check=True)
    count, *loaded = done.stdout.split()
    assert int(count) > 8
    assert loaded == ["False", "False"]
