"""The guides: short enough to be read, and nothing in them that is not there."""

import re
import sys
import tomllib

import pytest
from places import ROOT, TOOLS

import shuntbook
from shuntbook.cli.render.wording.numbers import PLUS_MINUS_MEANS

GUIDES = ("README.md", "DEVELOPERS.md", "SECURITY.md", "sample_data/README.md", "tests/benchmarks/README.md")
#: Each guide's greatest length, in lines.
MOST_LINES = {"README.md": 200, "DEVELOPERS.md": 120}
LINK = re.compile(r"\]\((?!https?:)([^)#]+)\)")
#: A path of the tree, in backticks: `ingest/log/gap_limit.py`, `sample_data/profile*.toml`.
PATH = re.compile(r"`((?:\./)?(?:analysis|ingest|cli|tests|sample_data)/[\w/*.-]*)`")
TOOL = re.compile(r"python tests/tools (\w+)")
#: A module named without its folder stands after one that has it: `analysis/health/tank.py`, `draw.py`.
BARE = re.compile(r"`(\w+\.(?:py|toml))`")


def read(guide):
    """Return a guide's text."""
    return (ROOT / guide).read_text(encoding="utf-8")


@pytest.mark.parametrize(("guide", "most"), MOST_LINES.items())
def test_a_guide_is_short(guide, most):
    """What is longer is read by nobody."""
    assert len(read(guide).splitlines()) <= most


@pytest.mark.parametrize("guide", GUIDES)
def test_a_guide_names_what_is_there(guide):
    """Every link, every path and every module that it names."""
    text = read(guide)
    links = [link for link in LINK.findall(text) if not (ROOT / guide).parent.joinpath(link).exists()]
    paths = [path for path in PATH.findall(text) if not any(ROOT.glob(path))]
    bare = {name for name in BARE.findall(text) if not any(ROOT.glob(f"**/{name}"))}
    assert (links, paths, bare) == ([], [], set())


def test_what_plus_minus_means_is_told_in_one_wording():
    """Who has read it on the terminal knows it on the page, on the card and in the README."""
    told = re.compile(r"\b95(?: times)? (?:in|of) (?:a hundred|100)\b[^\"]*")
    places = [*(ROOT / "cli").rglob("*.py"), *(ROOT / "cli").rglob("*.html"), ROOT / "README.md"]
    texts = {path.relative_to(ROOT).as_posix(): told.findall(path.read_text(encoding="utf-8")) for path in places}
    guide = texts.pop("README.md")
    # What stands in brackets in a forecast is what is to come, and says so itself.
    (brackets,) = texts.pop("cli/render/terminal/forecast.py")
    assert brackets.endswith("such stretches take")
    assert {name: found for name, found in texts.items() if found} == {
        "cli/render/wording/numbers.py": [PLUS_MINUS_MEANS.removeprefix("±: in ")]
    }
    assert guide and guide[0].startswith(PLUS_MINUS_MEANS.removeprefix("±: in "))


def test_a_guide_names_tools_that_there_are():
    """Whoever types along gets no list of other names."""
    listed = re.findall(r'^    "(\w+)": "', (TOOLS / "__main__.py").read_text(encoding="utf-8"), re.MULTILINE)
    measuring = read("DEVELOPERS.md").split("## How to measure")[1].split("\nSpeed")[0]
    rows = re.findall(r"^\| `(\w+)[^|]*\|", measuring, re.MULTILINE)
    assert len(listed) > 8
    named = {name for guide in GUIDES for name in TOOL.findall(read(guide))} | set(rows) - {"python"}
    assert named <= set(listed)
    assert {"unchanged", "mutants", "fuzz"} <= named


def test_a_path_that_is_not_there_is_found():
    """The check of paths sees one that is wrong."""
    assert PATH.findall("`ingest/log/gap_limit.py` and `tests/tools`") == ["ingest/log/gap_limit.py", "tests/tools"]
    assert not any(ROOT.glob("ingest/gap_limit.py"))


def test_the_way_into_a_notebook_is_as_it_was():
    """Modules may move; these names stay where the README has them."""
    version = tomllib.loads(read("pyproject.toml"))["project"]["version"]
    assert shuntbook.__version__ == version
    assert callable(shuntbook.open_log)
    assert shuntbook.Log is sys.modules["shuntbook.ingest.log.log"].Log
