"""What is read is data: nothing in the tree runs, unpickles or unpacks it without bounds."""

from __future__ import annotations

import ast
import gzip
import subprocess
import sys
from pathlib import Path

import pytest
from places import ROOT
from syntax import OF_ALL_MODULES, tree

ROOMS = ("ingest", "analysis", "cli", "sample_data")
#: Modules that run or unpickle what they are given, or start other programs.
MODULES = {
    *("code", "codeop", "ctypes", "dill", "cloudpickle", "joblib", "marshal", "pickle", "pty", "runpy", "shelve"),
    *("subprocess", "xml", "yaml", "zipfile", "tarfile"),
}
#: Where an archive may be read: a block at a time, with bounds on what it unpacks to.
OF_ARCHIVES = "ingest/exports/spreadsheets/"
OF_CAPTURES = "cli/capture/running.py"
OF_MEMORY = "cli/parallel/two_threads.py"
#: What writes an archive's members under the names that they bear.
EXTRACTING = {"extract", "extractall", "unpack_archive"}
CALLS = {"eval", "exec", "compile", "__import__", "execfile", "input"}
#: Functions of modules that are otherwise welcome.
FUNCTIONS = {
    *("os.system", "os.popen", "os.startfile", "os.spawnl", "os.spawnv", "os.execv", "os.execvp", "os.fork"),
    *("numpy.load", "np.load", "pd.read_pickle", "pandas.read_pickle", "pd.eval", "pandas.eval"),
    *("jinja2.Template", "tempfile.mktemp", "shutil.unpack_archive", "pa.deserialize"),
}
#: Where a module is imported by a name: from a table of ours, never from input.
BY_NAME = {"ingest/live/address.py", "cli/main.py", "cli/fleet/cluster.py"}


def _wrong_in(tree: ast.AST) -> list[str]:
    wrong = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            wrong += [alias.name for alias in node.names if alias.name.split(".")[0] in MODULES]
        elif isinstance(node, ast.ImportFrom) and not node.level:
            wrong += [node.module] if node.module and node.module.split(".")[0] in MODULES else []
        elif isinstance(node, ast.Call):
            called = ast.unparse(node.func)
            wrong += [called] if called in CALLS | FUNCTIONS or called.rpartition(".")[2] in EXTRACTING else []
            wrong += [f"{called}({k.arg}=...)" for k in node.keywords if k.arg in {"shell", "allow_pickle"}]
            wrong += [f"{called}(autoescape=...)" for k in node.keywords if _is_off(k)]
    return wrong


def _is_off(keyword: ast.keyword) -> bool:
    return keyword.arg == "autoescape" and ast.unparse(keyword.value) != "True"


def _trees() -> dict[str, ast.AST]:
    paths = [path for room in ROOMS for path in sorted((ROOT / room).rglob("*.py"))]
    return {path.relative_to(ROOT).as_posix(): tree(path) for path in paths}


@OF_ALL_MODULES
def test_nothing_runs_what_is_read():
    """No eval, no pickle, no shell, no template from input; archives in one room alone, and never onto the disk."""
    wrong = {name: set(_wrong_in(module)) for name, module in _trees().items()}
    archives = {name for name, modules in wrong.items() if modules == {"zipfile"} and name.startswith(OF_ARCHIVES)}
    assert archives == {OF_ARCHIVES + "archive.py", OF_ARCHIVES + "extent.py"}
    # Our own program, by a list of words and so without a shell: a capture goes on without who began it.
    assert wrong.pop(OF_CAPTURES) == {"subprocess"}
    # The C library that is loaded already is asked to give memory back to the system, and nothing else.
    assert wrong.pop(OF_MEMORY) == {"ctypes"}
    assert {name: modules for name, modules in wrong.items() if modules and name not in archives} == {}


@pytest.mark.parametrize(
    "code",
    [
        *("eval(x)", "import pickle", "from yaml import load", "run(x, shell=True)", "np.load(x)"),
        *("E(autoescape=False)", "import zipfile", "archive.extractall()", "archive.extract(name)"),
    ],
)
def test_that_test_can_fail(code):
    """Each kind of it is found."""
    assert len(_wrong_in(ast.parse(code))) == 1


@OF_ALL_MODULES
def test_modules_are_imported_by_name_only_from_tables():
    """A word of the person's picks from what is there, and is not itself imported."""
    found = {name for name, module in _trees().items() if "import_module(" in ast.unparse(module)}
    assert found == BY_NAME


#: What unpacks a thousandfold: lines that are no rows, empty lines, and one line without an end.
BOMBS = {"lines": b"x\n", "empty lines": b"\n", "one line": b"x"}
_UNPACKED_MB, _MOST_MB = 60, 450
_DEAR = pytest.param("lines", marks=pytest.mark.night)


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="asks Linux how large a process was")
@pytest.mark.parametrize("kind", [_DEAR, "empty lines", "one line"])
def test_what_unpacks_a_thousandfold_stays_in_bounds(tmp_path, kind):
    """It is refused in a sentence, in bounded memory; nothing is left but the unreadable rows."""
    bomb = tmp_path / "bomb.csv.gz"
    unit = BOMBS[kind] * ((1 << 20) // len(BOMBS[kind]))
    with gzip.open(bomb, "wb", compresslevel=1) as file:
        file.write(b"time,current [A]\n2026-06-13T10:00:00Z,1\n2026-06-13T10:00:01Z,1\n")
        for _ in range(_UNPACKED_MB):
            file.write(unit)
    code = (
        "import re, sys\n"
        "from pathlib import Path\n"
        "from shuntbook.cli.main import run\n"
        "status = run(['convert', sys.argv[1], '--out', sys.argv[2]])\n"
        # The largest it was itself: getrusage has that of the process it was started by, too.
        "print(status, int(re.search(r'VmHWM:\\s+(\\d+)', Path('/proc/self/status').read_text())[1]) // 1024)"
    )
    words = [sys.executable, "-c", code, str(bomb), str(tmp_path / "out.parquet")]
    done = subprocess.run(words, capture_output=True, text=True, check=True, cwd=ROOT.parent)
    status, peak_MB = map(int, done.stdout.split()[-2:])
    assert (status, done.stderr.count("shuntbook: ")) in {(2, 1), (0, 0)}
    assert peak_MB < _MOST_MB
