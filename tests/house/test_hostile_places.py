"""Names and links that lead elsewhere: nothing is written but what was asked for, and through no link."""

import os
import string
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shuntbook.cli.capture.plan import file_name
from shuntbook.cli.main import run
from shuntbook.ingest.errors import InputError
from shuntbook.ingest.events import Reading
from shuntbook.ingest.journal.compaction import compact
from shuntbook.ingest.journal.journal import Journal
from shuntbook.ingest.log.meta import LogMeta
from shuntbook.ingest.safe_files.file_lock import hold
from shuntbook.ingest.safe_files.whole_file import hidden_beside, write_text

pytestmark = pytest.mark.skipif(os.name == "nt", reason="links need a privilege there")


@pytest.fixture
def folder(tmp_path):
    """A folder with an export and its log, and beside it a letter that no command is asked to touch."""
    (tmp_path / "letter").write_text("dear aunt", encoding="utf-8")
    here = tmp_path / "here"
    here.mkdir()
    rows = "".join(f"2026-06-13T10:00:{n:02}Z,{n},24.5\n" for n in range(60))
    (here / "export.csv").write_text(f"time,current [A],voltage [V]\n{rows}torn,1\n", encoding="utf-8")
    assert run(["convert", str(here / "export.csv"), "--out", str(here / "pump.parquet"), "--zone", "UTC"]) == 0
    return here


def _is_untouched(folder: Path) -> bool:
    names = {path.name for path in folder.parent.iterdir()}
    return names == {"letter", "here"} and (folder.parent / "letter").read_text(encoding="utf-8") == "dear aunt"


RESULTS = {
    "out.parquet": ("convert", "export.csv", "--zone", "UTC", "--out"),
    "page.html": ("report", "pump.parquet", "--out"),
    "fleet.html": ("fleet", "pump.parquet", "--workers", "1", "--page"),
    "fleet.parquet": ("fleet", "pump.parquet", "--workers", "1", "--out"),
}


@pytest.mark.parametrize(
    ("name", "target"),
    [
        *((name, "letter") for name in RESULTS),
        ("out.parquet", "nowhere"),
        *(pytest.param(name, "nowhere", marks=pytest.mark.night) for name in list(RESULTS)[1:]),
    ],
)
def test_a_link_in_a_result_s_place_is_refused_and_forced_is_replaced(folder, name, target, monkeypatch, capsys):
    """It counts as what is there; with --force it is the link that goes, never what it points to."""
    monkeypatch.chdir(folder)
    Path(name).symlink_to(Path("..", target))
    assert run([*RESULTS[name], name]) == 2
    assert Path(name).is_symlink()
    assert run([*RESULTS[name], name, "--force"]) == 0
    assert not Path(name).is_symlink()
    assert _is_untouched(folder)


@pytest.mark.parametrize("target", ["letter", "nowhere"])
@pytest.mark.parametrize("name", ["out.parquet.rejects.csv", "out.parquet.journal", "fleet.parquet.rows"])
def test_a_link_beside_a_result_is_not_followed(folder, name, target, monkeypatch, capsys):
    """Neither where rejects, nor a journal, nor finished rows would be."""
    monkeypatch.chdir(folder)
    Path(name).symlink_to(Path("..", target))
    commands = {
        "rejects.csv": RESULTS["out.parquet"],
        "journal": ("capture", "replay:export.csv?speed=max&zone=UTC", "--quiet", "--out"),
        "rows": RESULTS["fleet.parquet"],
    }
    result, _, end = name.partition(".parquet.")
    assert run([*commands[end], f"{result}.parquet"]) == 2
    assert "left as it is" in capsys.readouterr().err or end == "rejects.csv"
    assert Path(name).is_symlink()
    assert _is_untouched(folder)


def test_a_pipe_in_a_journal_s_place_lets_nobody_wait(folder, capsys):
    """Opening one would wait for a writer."""
    os.mkfifo(folder / "pump.parquet.journal")
    assert run(["look", str(folder / "pump.parquet")]) == 2
    assert "is a link or no file" in capsys.readouterr().err


def test_a_link_in_a_hidden_file_s_place_is_not_followed(folder, monkeypatch):
    """Not even where its name was guessed."""
    monkeypatch.setattr("os.urandom", lambda _n: bytes.fromhex("00c0ffee"))
    (folder / ".page.html.00c0ffee.part").symlink_to(folder.parent / "letter")
    with pytest.raises(InputError, match="File exists"):
        write_text(folder / "page.html", "new")
    assert _is_untouched(folder)
    assert not (folder / "page.html").exists()


def test_links_among_what_the_demo_wrote_are_left(folder, capsys):
    """A list that names everything, and more, lets nothing through a link be written."""
    out = folder / "demo"
    out.mkdir()
    hostile = ["page.html", "../letter", "/etc/passwd", "site.toml", "a\x00b", "x" * 5000, "written-by-demo.txt"]
    (out / "written-by-demo.txt").write_bytes("\n".join(hostile).encode() + b"\n\xff\xfe\n")
    (out / "page.html").symlink_to(folder.parent / "letter")
    assert run(["demo", "--out", str(out)]) == 2
    assert "page.html" in capsys.readouterr().err
    assert _is_untouched(folder)


def test_a_folder_behind_a_link_is_where_the_person_said(folder, monkeypatch, capsys):
    """A link on the way to a result is followed: whoever names it means the folder behind it."""
    monkeypatch.chdir(folder)
    Path("real").mkdir()
    Path("named").symlink_to("real")
    assert run(["report", "pump.parquet", "--csv", "named"]) == 0
    assert Path("named").is_symlink()
    assert len(list(Path("real").glob("*.csv"))) > 5


@pytest.mark.parametrize("name", ["x" * 300, "loop"])
@pytest.mark.parametrize("words", [("look",), ("convert", "export.csv", "--out"), ("report", "pump.parquet", "--csv")])
def test_a_name_that_cannot_be_is_told_in_a_sentence(folder, name, words, monkeypatch, capsys):
    """Too long for the disk, or a link that leads to itself."""
    monkeypatch.chdir(folder)
    Path("loop").symlink_to("loop")
    assert run([*words, name]) == 2
    assert capsys.readouterr().err.count("shuntbook: ") == 1


NAMES = ["../../letter", "/etc/passwd", "a\x00b", "CON", "nul", "com1", ".", "..", " ", "pump\n", "C:\\x", "é" * 300]


@pytest.mark.parametrize("name", NAMES)
def test_a_meter_s_name_leads_nowhere_else(name):
    """What site files call a meter is no path."""
    _check_name(name)


@given(st.text(max_size=400))
def test_no_meter_s_name_leads_anywhere_else(name):
    """Whatever it is."""
    _check_name(name)


def _check_name(name: str) -> None:
    made = file_name(name)
    assert made
    assert not set(made) & set('/\\:*?"<>|. \x00' + string.whitespace)
    assert len(f".{made}.parquet.rejects.csv.00000000.part".encode()) < 255
    assert made.upper() not in {"CON", "PRN", "AUX", "NUL", "COM1", "LPT9"}


def test_what_nobody_holds_is_removed_and_what_is_held_stays(tmp_path):
    """What a killed run left goes with the next run to the same place; files of like names do not."""
    place = tmp_path / "page.html"
    left, other, like = (
        tmp_path / f".{name}" for name in ("page.html.0123abcd.part", "page.html.x.part", "p.html.part")
    )
    for path in (left, other, like):
        path.write_text("half", encoding="utf-8")
    (tmp_path / ".page.html.89abcdef.part").mkdir()
    with hidden_beside(place) as held:
        write_text(place, "whole")
        assert held.exists()
    assert {path.name for path in tmp_path.iterdir()} == {"page.html", other.name, like.name}


def test_a_link_is_not_held(tmp_path):
    """Journals and lists that grow are files of their own."""
    (tmp_path / "log.journal").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(InputError, match="is a link"):
        hold(tmp_path / "log.journal", os.O_RDWR | os.O_CREAT)
    assert not (tmp_path / "elsewhere").exists()


def test_a_journal_is_not_read_through_a_link(tmp_path):
    """What was exchanged for a link after it began stays where it is."""
    log = tmp_path / "pump.parquet"
    with Journal(log, LogMeta(zone="UTC"), ("current_A",)) as journal:
        journal.append_reading(Reading(1_781_000_000_000_000, {"current_A": 1.0}))
    (tmp_path / "pump.parquet.journal").rename(tmp_path / "moved")
    (tmp_path / "pump.parquet.journal").symlink_to(tmp_path / "moved")
    with pytest.raises(InputError, match="is a link"):
        compact(log)
    assert (tmp_path / "moved").exists()
