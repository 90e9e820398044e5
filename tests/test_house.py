"""The laws of the house: which way imports point, what stays light, what is shipped."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
import tomllib
from functools import cache
from pathlib import Path

import pytest
from places import ROOT
from syntax import OF_ALL_MODULES, nodes, tree

pytestmark = OF_ALL_MODULES

ROOMS = ("analysis", "ingest", "cli")
#: Each package imports only those before it.
ORDER = (
    *("analysis", "analysis/readings", "analysis/stats", "analysis/site", "analysis/signal_levels", "analysis/cycles"),
    *("analysis/charge", "analysis/sureness", "analysis/ledger", "analysis/quality", "analysis/equipment"),
    *("analysis/bank", "analysis/nameplate", "analysis/forecast", "analysis/inverter_sides", "analysis/health"),
    *("analysis/pump_pulse", "analysis/what_if", "analysis/check_site", "analysis/one_log", "analysis/several_logs"),
    *("ingest", "ingest/toml", "ingest/safe_files", "ingest/log", "ingest/exports/questions"),
    *("ingest/exports/times", "ingest/profiles"),
    *(
        "ingest/journal",
        "ingest/exports/amounts",
        "ingest/exports/texts",
        "ingest/exports/delimited",
        "ingest/exports/spreadsheets",
        "ingest/exports",
        "ingest/live",
    ),
    *(
        "ingest/modbus",
        "ingest/film/digit_places",
        "ingest/film/digit_light",
        "ingest/film/pictures",
        "ingest/film",
        "ingest/fleet",
    ),
    *(
        "cli",
        "cli/parallel",
        "cli/render/wording",
        "cli/render/terminal",
        "cli/render/documents",
        "cli/render/still_charts",
        "cli/render/card",
        "cli/render/readouts",
    ),
    *("cli/render/page", "cli/opening", "cli/capture", "cli/probing", "cli/served", "cli/live_page", "cli/assembling"),
    *("cli/site_form", "cli/export_form", "cli/film_form"),
    *("cli/fleet", "cli/desk", "cli/commands"),
)
MOST_MODULES, MOST_LINES = 15, 350
NO_NOUNS = {"said", "found", "there", "kept", "told"}
SHIPPED = ("ingest", "analysis", "cli", "sample_data")
OUTSIDE = {
    *("asyncio", "ftplib", "glob", "http", "io", "logging", "mmap", "multiprocessing", "os", "pathlib", "pyarrow"),
    *("random", "serial", "shutil", "signal", "socket", "ssl", "subprocess", "sys", "tempfile", "threading", "time"),
    *("urllib", "pymodbus", "click", "rich", "matplotlib", "pandas"),
}
DOING = {"open", "print", "input", "exec", "eval", "compile", "__import__", "breakpoint"}
HEAVY = ("pandas", "scipy", "matplotlib", "jinja2", "tornado", "segno", "weasyprint", "cv2")
#: These read a site file or a profile only where one is named, and so load its model only then.
WITHOUT_A_MODEL = ("--help", "convert", "charge", "look")


def _files(room: str) -> list[Path]:
    return sorted((ROOT / room).rglob("*.py"))


def _package(path: Path) -> str:
    """Return the package of a module, such as ``analysis/charge``."""
    return path.relative_to(ROOT).parent.as_posix()


@cache
def _imports(path: Path) -> list[tuple[str, int]]:
    """Return every imported module and its line, those for types alone and those inside functions too."""
    found = []
    package = path.relative_to(ROOT).with_suffix("").parts[:-1]
    for node in nodes(path):
        if isinstance(node, ast.Import):
            found += [(alias.name, node.lineno) for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            base = ("shuntbook", *package)[: len(package) + 2 - node.level] if node.level else ()
            module = ".".join([*base, *([node.module] if node.module else [])])
            # ``from package import module`` imports the module
            found += [
                (f"{module}.{alias.name}" if _path(f"{module}.{alias.name}") else module, node.lineno)
                for alias in node.names
            ]
    return found


def _path(module: str) -> Path | None:
    """Return the file of a module of ours; None of a package and of whatever is not ours."""
    path = ROOT.joinpath(*module.split(".")[1:]).with_suffix(".py")
    return path if module.startswith("shuntbook.") and path.is_file() else None


@cache
def _arrows() -> dict[Path, dict[Path, int]]:
    """Return which module imports which of ours, and in which line."""
    return {
        path: {to: line for name, line in _imports(path) if (to := _path(name)) is not None and to != path}
        for room in ROOMS
        for path in _files(room)
    }


def test_each_package_imports_only_those_before_it():
    """Whoever reads a package need know none of those that come after it."""
    rank = {package: k for k, package in enumerate(ORDER)}
    assert {_package(path) for path in _arrows()} - {"cli/render/page/templates", "cli/desk/templates"} == set(
        ORDER
    ) | {"cli/render"}
    wrong = [
        f"{path.relative_to(ROOT)}:{line} imports {to.relative_to(ROOT)}"
        for path, others in _arrows().items()
        for to, line in others.items()
        if _package(to) not in {_package(path), "sample_data"} and rank[_package(to)] >= rank[_package(path)]
    ]
    assert wrong == []


def test_no_modules_import_each_other_in_a_circle():
    """Not even for types alone, nor inside functions: one of two such modules cannot be read without the other."""
    arrows = _arrows()
    left = dict(arrows)
    while free := [path for path, others in left.items() if not others.keys() & left.keys()]:
        for path in free:
            del left[path]
    assert [str(path.relative_to(ROOT)) for path in left] == []


def test_a_package_hands_on_what_others_use():
    """Its ``__all__`` names the modules that other packages may import; the rest is its own affair.

    They are names of modules and not imported there, so that a command loads no more of a package than it uses.
    """
    used: dict[str, set[str]] = {}
    for path, others in _arrows().items():
        for to in others:
            if _package(to) != _package(path):
                used.setdefault(_package(to), set()).add(to.stem)
    for package in ORDER:
        body = tree(ROOT / package / "__init__.py").body
        handed = [ast.literal_eval(n.value) for n in body if isinstance(n, ast.Assign)]
        assert set(*handed) == used.get(package, set()), package


def test_packages_and_modules_stay_small():
    """A package can be seen at a glance, and a module read in one go."""
    sizes: dict[str, int] = {}
    long = []
    for room in ROOMS:
        for path in _files(room):
            if path.stem != "__init__":
                sizes[_package(path)] = sizes.get(_package(path), 0) + 1
            lines = len(path.read_text(encoding="utf-8").splitlines())
            long += [f"{path.relative_to(ROOT)} has {lines} lines"] if lines > MOST_LINES else []
    assert {package: size for package, size in sizes.items() if size > MOST_MODULES} == {}
    assert long == []


def test_a_type_name_stands_for_one_thing():
    """No two classes and no two aliases of types bear the same name, wherever they are."""
    where: dict[str, list[str]] = {}
    for room in ROOMS:
        for path in _files(room):
            for node in tree(path).body:
                if name := _type_name(node):
                    where.setdefault(name, []).append(str(path.relative_to(ROOT)))
    assert {name: paths for name, paths in where.items() if len(paths) > 1} == {}


def test_values_are_called_by_nouns():
    """A past participle alone says neither what a value is nor what it is for."""
    wrong = []
    for room in SHIPPED:
        for path in _files(room):
            for node in nodes(path):
                match node:
                    case (
                        ast.Name(id=name, ctx=ast.Store())
                        | ast.Attribute(attr=name, ctx=ast.Store())
                        | ast.arg(arg=name)
                    ):
                        if name.strip("_") in NO_NOUNS:
                            wrong.append(f"{path.relative_to(ROOT)}:{node.lineno}: {name}")
    assert wrong == []


def _type_name(node: ast.stmt) -> str | None:
    if isinstance(node, ast.ClassDef):
        return node.name
    target = node.targets[0] if isinstance(node, ast.Assign) else node.target if isinstance(node, ast.AnnAssign) else 0
    value = ast.unparse(node.value) if isinstance(node, (ast.Assign, ast.AnnAssign)) and node.value else ""
    alias = isinstance(node, ast.AnnAssign) and ast.unparse(node.annotation) == "TypeAlias"
    made = value.startswith(("Literal[", "Annotated[", "NDArray[", "Callable[", "NewType(", "TypeVar("))
    return target.id if isinstance(target, ast.Name) and (alias or made) else None


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
        for node in nodes(path):
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
            for node in nodes(path):
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
            module = tree(path)
            nodes = [
                module,
                *(
                    n
                    for n in module.body
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


def test_the_map_is_that_of_the_tree():
    """Path by path: the map holds every package once, in the order of the law, and nothing that is not there."""
    drawn = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").split("```")[1].strip().splitlines()
    assert len(drawn) <= 40
    paths = []
    for line in drawn:
        parent = paths[-1].split("/")[0] + "/" if line.startswith(" ") else ""
        paths += [parent + word.strip("/") for word in re.match(r"\s*((?:[\w/]+/ ?)+)", line)[1].split()]
    assert [path for path in paths if not (ROOT / path).is_dir()] == []
    assert paths == [*ORDER, "sample_data", "tests"]
