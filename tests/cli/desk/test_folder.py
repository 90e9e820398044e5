"""What the desk takes a folder's files for, and which names it takes."""

import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shuntbook.cli.desk.folder import Folder
from shuntbook.ingest.errors import InputError


@given(st.text(max_size=300))
def test_no_name_leads_out_of_the_folder(name):
    """Whatever a browser sends is a file right in it, or is refused."""
    folder = Folder(Path("/a/b"))
    try:
        place = folder.place(name)
    except InputError as error:
        assert str(error).count("\n") == 0
    else:
        assert place.parent == folder.path
        assert os.path.normpath(place) == str(place)
        assert not place.name.startswith(".")


@pytest.mark.parametrize(
    ("name", "text", "kind"),
    [
        ("a.parquet", "", "log"),
        ("a.csv", "", "export"),
        ("a.CSV.GZ", "", "export"),
        ("book.xlsx", "", "export"),
        ("place.toml", "name = 'x'\n[bank]\nnominal_V = 24\n", "site"),
        ("place.toml", "[Battery]\n", "site"),
        ("meter.toml", "[columns]\n", "profile"),
        ("site.toml", "not toml [", "site"),
        ("meter.toml", "not toml [", "profile"),
        ("a.MP4", "", "film"),
        ("display.toml", "[[fields]]\ncorners = []\n", "display"),
        ("meter.toml", "[[fields]]\nname = 'a'\n", "profile"),
        ("page.html", "", "page"),
        ("a.pdf", "", "other"),
    ],
)
def test_files_are_known_for_what_they_are(tmp_path, name, text, kind):
    """Settings by what stands in them, all else by its ending."""
    (tmp_path / name).write_text(text)
    assert [(entry.name, entry.kind) for entry in Folder(tmp_path).entries()] == [(name, kind)]


def test_a_folder_of_stills_is_a_film(tmp_path):
    """Only where it holds some; no name leads to one elsewhere."""
    (tmp_path / "stills").mkdir()
    (tmp_path / "empty").mkdir()
    (tmp_path / "stills" / "1.JPG").write_bytes(b"12345")
    folder = Folder(tmp_path)
    assert [(entry.name, entry.kind, entry.size) for entry in folder.entries()] == [("stills", "film", 5)]
    assert folder.film("stills") == tmp_path / "stills"
    for name in ("empty", "../stills", "stills/..", "."):
        with pytest.raises(InputError):
            Folder(tmp_path / "empty").film(name) if name == "../stills" else folder.film(name)


def test_a_new_file_has_a_name_that_nothing_has(tmp_path):
    """With its ending, which need not be typed."""
    (tmp_path / "a.parquet").touch()
    assert Folder(tmp_path).new_name("b", ".parquet") == "b.parquet"
    with pytest.raises(InputError, match=r"already a\.parquet"):
        Folder(tmp_path).new_name("a", ".parquet")


def test_what_is_no_ordinary_file_is_left_out(tmp_path):
    """Folders, hidden files, pipes, links that lead nowhere, names that are no text."""
    (tmp_path / "folder.csv").mkdir()
    (tmp_path / ".hidden.csv").touch()
    os.mkfifo(tmp_path / "pipe.csv")
    (tmp_path / "link.csv").symlink_to("nowhere.csv")
    (tmp_path / os.fsdecode(b"\xff.csv")).touch()
    (tmp_path / "a.csv").touch()
    assert [entry.name for entry in Folder(tmp_path).entries()] == ["a.csv"]


def test_a_file_that_went_is_told(tmp_path):
    """In a sentence."""
    with pytest.raises(InputError, match="no longer in the folder"):
        Folder(tmp_path).existing("a.csv")
