"""The walk in sample_data/README.md: every command runs as printed, and says what is printed below it."""

import re
import shlex
import shutil

import pytest
from places import ROOT, SAMPLES
from telling import told

WALK = SAMPLES / "README.md"
FILES = {"open_day.csv.gz", "week_later.csv.gz", "site.toml"}
BLOCK = re.compile(r"```(console|text)\n(.*?)```", re.DOTALL)


def plain(text):
    """Return text with every run of blanks as one, since columns are as wide as what stands in them."""
    return re.sub(r"\s+", " ", text)


@pytest.mark.timeout(300)
def test_the_walk_does_what_it_says(tmp_path, monkeypatch, capsys):
    """A stranger who types along gets the lines that are shown."""
    for name in FILES:
        shutil.copy(WALK.parent / name, tmp_path)
    monkeypatch.chdir(tmp_path)
    said, compared = "", 0
    for kind, text in BLOCK.findall(WALK.read_text(encoding="utf-8")):
        if kind == "console":
            said = "".join(_typed(line, capsys) for line in text.splitlines())
            continue
        for line in text.splitlines():
            assert plain(line).strip() in said
            compared += 1
    assert compared > 20
    assert (tmp_path / "page.html").stat().st_size > 100_000


def test_the_first_hour_begins_where_the_walk_goes_on():
    """The README has a stranger copy the same files, and its first command of ours is the walk's."""
    hour = (ROOT / "README.md").read_text(encoding="utf-8").split("## At the command line")[1]
    copied, begun = (line for line in BLOCK.search(hour)[2].splitlines() if re.search(r"\bcp\b|^shuntbook", line))
    patterns = re.search(r"cp (.+) first-hour ", copied)[1].split()
    assert {path.name for each in patterns for path in ROOT.glob(each)} == FILES
    assert begun == BLOCK.search(WALK.read_text(encoding="utf-8"))[2].strip()


def _typed(line, capsys):
    """Run one printed command; it must end well."""
    name, *words = shlex.split(line)
    assert name == "shuntbook"
    status, out, err = told(capsys, *words)
    assert status == 0, err
    return plain(out + err)
