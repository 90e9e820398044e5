"""The laws of the house: which way imports point, what stays light, what is shipped."""

from __future__ import annotations

import ast
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest
from places import ROOT

SHIPPED = ("ingest", "analysis", "cli", "sample_data")
OUTSIDE = {
    *("asyncio", "ftplib", "glob", "http", "io", "logging", "mmap", "multiprocessing", "os", "pathlib", "pyarrow"),
    *("random", "serial", "shutil", "signal", "socket", "ssl", "subprocess", "sys", "tempfile", "threading", "time"),
    *("urllib", "pymodbus", "click", "rich", "matplotlib", "pandas"),
}
DOING = {"open", "print", "input", "exec", "eval", "compile", "__import__", "breakpoint"}
HEAVY = ("pandas", "scipy", "matplotlib", "bokeh", "jinja2", "tornado", "weasyprint")
#: These read a site file or a profile only where one is named, and so load its model only then.
WITHOUT_A_MODEL = ("--help", "convert", "charge", "look")


def _files(room: str) -> list[Path]:
    return sorted((ROOT / room).rglob("*.py"))


def _imports(path: Path) -> list[tuple[str, int]]:
    """Return every imported module and its line, relative ones resolved from the repository's root."""
    found = []
    package = path.relative_to(ROOT).with_suffix("").parts[:-1]
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [(alias.name, node.lineno) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = ("shuntbook", *package)[: len(package) + 2 - node.level] if node.level else ()
            found.append((".".join([*base, *([node.module] if node.module else [])]), node.lineno))
    return found


def _wrong(room: str, rooms: set[str], outside: set[str]) -> list[str]:
    wrong = []
    for path in _files(room):
        for name, line in _imports(path):
            parts = name.split(".")
            if (parts[0] == "shuntbook" and len(parts) > 1 and parts[1] in rooms) or parts[0] in outside:
                wrong.append(f"{path.relative_to(ROOT)}:{line} imports {name}")
    return wrong


def test_analysis_knows_no_ingest_and_no_outside():
    """Arrays and descriptions in, results out."""
    assert _wrong("analysis", {"ingest", "cli", "sample_data"}, OUTSIDE) == []


def test_analysis_does_nothing_to_the_outside():
    """No file is opened, nothing printed, no clock read."""
    wrong = []
    for path in _files("analysis"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call):
                name = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
                if (isinstance(node.func, ast.Name) and name in DOING) or name in {
                    "now",
                    "utcnow",
                    "today",
                    "read_text",
                    "write_text",
                }:
                    wrong.append(f"{path.relative_to(ROOT)}:{node.lineno} calls {name}")
    assert wrong == []


def test_ingest_knows_no_analysis_and_no_cli():
    """Reading logs right does not depend on what is made of them."""
    assert _wrong("ingest", {"analysis", "cli", "sample_data"}, {"click", "rich", "matplotlib"}) == []


def test_imports_inside_the_package_are_relative():
    """The rooms stand at the repository's root, so an absolute import would miss them."""
    wrong = []
    for room in SHIPPED:
        for path in _files(room):
            tree = ast.parse(path.read_text(encoding="utf-8"))
            for node in ast.walk(tree):
                names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
                names += [node.module or ""] if isinstance(node, ast.ImportFrom) and not node.level else []
                wrong += [f"{path.relative_to(ROOT)}:{node.lineno}" for n in names if n.split(".")[0] == "shuntbook"]
    assert wrong == []


def test_every_package_is_shipped():
    """A folder with code that pyproject.toml does not list would be missing from the wheel."""
    listed = set(tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]["packages"])
    there = {"shuntbook"}
    for room in SHIPPED:
        for path in _files(room):
            there.add(".".join(["shuntbook", *path.relative_to(ROOT).parts[:-1]]))
    assert there == listed


def test_every_module_function_and_class_in_public_has_a_docstring():
    """What others call says what it takes and gives."""
    missing = []
    for room in SHIPPED:
        for path in _files(room):
            tree = ast.parse(path.read_text(encoding="utf-8"))
            nodes = [
                tree,
                *(
                    n
                    for n in tree.body
                    if isinstance(n, (ast.FunctionDef, ast.ClassDef)) and not n.name.startswith("_")
                ),
            ]
            missing += [
                f"{path.relative_to(ROOT)}: {getattr(n, 'name', 'module')}" for n in nodes if not ast.get_docstring(n)
            ]
    assert missing == []


@pytest.mark.parametrize(
    "command",
    [
        ["--help"],
        ["convert", "--help"],
        ["charge", "--help"],
        ["look", "--help"],
        ["capture", "--help"],
        ["forecast", "--help"],
    ],
)
def test_light_commands_load_nothing_heavy(command):
    """Help, convert, charge, look and capture start quickly: the libraries of the report stay out."""
    heavy = (*HEAVY, "pydantic") if command[0] in WITHOUT_A_MODEL else HEAVY
    code = (
        "import sys\nfrom shuntbook.cli.main import run\n"
        f"run({command!r})\nprint('LOADED', [m for m in {heavy!r} if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT.parent)
    assert done.stdout.splitlines()[-1] == "LOADED []"


def test_convert_look_and_charge_at_work_load_nothing_heavy(tmp_path):
    """Nor do they when they do their work."""
    export, log = tmp_path / "a.csv", tmp_path / "a.parquet"
    export.write_text("time,current [A]\n2026-06-13T10:00:00Z,75.0\n2026-06-13T10:15:00Z,75.0\n", encoding="utf-8")
    code = (
        "import sys\nfrom shuntbook.cli.main import run\n"
        f"a = run(['convert', {str(export)!r}, '--out', {str(log)!r}, '--gap', '1h'])\n"
        f"b = run(['look', {str(log)!r}]), run(['charge', {str(log)!r}])\n"
        f"print('LOADED', a, *b, [m for m in {HEAVY!r} if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT.parent)
    assert done.stdout.splitlines()[-1] == "LOADED 0 0 0 []"


def test_capture_at_work_loads_nothing_heavy(tmp_path):
    """A replayed meter goes all the way to its log without them."""
    export, log = tmp_path / "a.csv", tmp_path / "a.parquet"
    rows = [f"2026-06-13T10:00:{second:02d}Z,75.0" for second in range(20)]
    export.write_text("\n".join(["time,current [A]", *rows, ""]), encoding="utf-8")
    code = (
        "import sys\nfrom shuntbook.cli.main import run\n"
        f"status = run(['capture', {f'replay:{export}?speed=max&zone=UTC'!r}, '--out', {str(log)!r}])\n"
        f"print('LOADED', status, [m for m in {HEAVY!r} if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT.parent,
    )
    assert done.stdout.splitlines()[-1] == "LOADED 0 []"
    assert log.exists()


def test_no_address_of_a_registry_and_no_path_of_a_machine():
    """What is shipped or committed names no package index and no machine's folders."""
    rooms = [path for room in (*SHIPPED, "tests", ".ci") for path in sorted((ROOT / room).rglob("*"))]
    texts = [path for path in (*sorted(ROOT.glob("*.*")), *rooms) if path.suffix not in {".gz", ".png", ".pyc"}]
    bad = ["index" + "-url", "pypi" + ".org", "/ro" + "ot/", "/wo" + "rk/", "/ho" + "me/"]
    wrong = []
    for path in filter(Path.is_file, texts):
        if path.name.startswith(".coverage"):
            continue  # what a measurement has left, which is not committed
        text = path.read_text(encoding="utf-8", errors="replace")
        wrong += [f"{path.relative_to(ROOT)}: {mark}" for mark in bad if mark in text]
    assert len(texts) > 100
    assert wrong == []


def test_the_map_names_every_module():
    """Whoever carries the work on finds each file in the map of DEVELOPERS.md."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    missing = []
    for room in ("ingest", "analysis", "cli"):
        for path in _files(room):
            known = path.stem == "__init__" or path.stem in text or path.parent.name == "commands"
            if not known and not path.stem.startswith("site_"):
                missing.append(str(path.relative_to(ROOT)))
    assert missing == []
