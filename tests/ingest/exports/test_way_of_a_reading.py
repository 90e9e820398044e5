"""How far a reading goes: through how many modules of ours an export becomes a log."""

import json
import subprocess
import sys

from places import ROOT

#: Whoever follows a reading from its cell to the log reads no more files than these: our own aim.
MOST_ENTERED = 38

COUNT = """
import json, sys, threading
from shuntbook.cli.main import run

entered = set()

def note(frame, event, arg):
    if event == "call" and frame.f_code.co_name != "<module>":
        entered.add(frame.f_globals.get("__name__", ""))

threading.setprofile(note)
sys.setprofile(note)
status = run(sys.argv[1:])
sys.setprofile(None)
names = sorted(name for name in entered if name.split(".")[0] == "shuntbook")
print(json.dumps([int(status), names]))
"""


def test_a_conversion_enters_few_modules(tmp_path):
    """Functions, classes and threads count, modules that are only imported do not."""
    export, log = tmp_path / "a.csv", tmp_path / "a.parquet"
    rows = [f"2026-06-13T10:{k // 60:02d}:{k % 60:02d}Z,{75 + k % 3},{24.5 - k % 2 / 10:.1f}" for k in range(600)]
    export.write_text("\n".join(["time,current [A],voltage [V]", *rows, ""]), encoding="utf-8")
    command = [sys.executable, "-c", COUNT, "convert", str(export), "--out", str(log)]
    done = subprocess.run(command, capture_output=True, text=True, check=True, cwd=ROOT.parent)
    status, names = json.loads(done.stdout.splitlines()[-1])
    assert (status, log.exists()) == (0, True)
    assert {"shuntbook.cli.commands.convert", "shuntbook.ingest.log.log"} <= set(names)
    assert len(names) <= MOST_ENTERED, names
