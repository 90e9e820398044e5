"""What a fleet holds: logs at any depth, what stands in the place of one, and the site file of each."""

import os
from pathlib import Path

import pytest
from fleet_scenes import write_log, write_site
from readings import chunk_of, how

from shuntbook.cli.fleet.run import tasks_of
from shuntbook.ingest.errors import InputError
from shuntbook.ingest.fleet.find_logs import find_fleet
from shuntbook.ingest.fleet.remote import as_files, listing


def a_log(path, meter=None):
    """A log of a minute."""
    return write_log(path, chunk_of(range(60), current_A=5.0, voltage_V=25.0), how(), meter)


def kinds(places, **more):
    """Name and kind of all that is found."""
    fleet = find_fleet([str(place) for place in places], **more)
    return {name: fleet.logs[name].kind for name in sorted(fleet.logs)}


def sites(places, **more):
    """The site file of each log."""
    return {task.log.name: task.site and task.site.name for task in tasks_of([str(place) for place in places], **more)}


def test_logs_at_any_depth_and_folders_of_one_log(tmp_path):
    """A folder whose name ends as a log's is one log; hidden files and the summary itself are none."""
    a_log(tmp_path / "a.parquet")
    a_log(tmp_path / "deep" / "er" / "b.parquet")
    a_log(tmp_path / "days.parquet" / "1.parquet")
    a_log(tmp_path / ".hidden.parquet")
    out = a_log(tmp_path / "fleet.parquet")
    (tmp_path / "note.txt").write_text("no log", encoding="utf-8")
    expected = {"a.parquet": "log", "days.parquet": "log", "deep/er/b.parquet": "log"}
    assert kinds([tmp_path], leave_out=[out]) == expected


def test_links_to_folders_are_not_followed(tmp_path):
    """A loop ends nowhere and a second way finds nothing twice; a link to a log is that log."""
    a_log(tmp_path / "a" / "1.parquet")
    (tmp_path / "a" / "up").symlink_to(tmp_path, target_is_directory=True)
    (tmp_path / "again").symlink_to(tmp_path / "a", target_is_directory=True)
    (tmp_path / "same.parquet").symlink_to(tmp_path / "a" / "1.parquet")
    assert list(kinds([tmp_path])) == ["a/1.parquet", "same.parquet"]


def test_what_is_no_log_is_told(tmp_path):
    """A link to nothing and a pipe stand there with a reason; nobody waits for the pipe."""
    a_log(tmp_path / "good.parquet")
    (tmp_path / "gone.parquet").symlink_to(tmp_path / "nowhere")
    (tmp_path / "loop.parquet").symlink_to(tmp_path / "loop.parquet")
    os.mkfifo(tmp_path / "pipe.parquet")
    logs = find_fleet([str(tmp_path)]).logs
    assert {name: log.reason for name, log in logs.items() if log.kind == "not read"} == {
        "gone.parquet": "cannot be read (No such file or directory)",
        "loop.parquet": "cannot be read (Too many levels of symbolic links)",
        "pipe.parquet": "is neither a file nor a folder",
    }


def test_a_folder_that_cannot_be_opened_is_told(tmp_path, monkeypatch):
    """Its logs cannot be counted, so the folder itself is named."""
    a_log(tmp_path / "good.parquet")
    (tmp_path / "shut").mkdir()
    real = os.scandir

    def scandir(path):
        if Path(path).name == "shut":
            raise PermissionError(13, "Permission denied", str(path))
        return real(path)

    monkeypatch.setattr(os, "scandir", scandir)
    shut = find_fleet([str(tmp_path)]).logs["shut"]
    assert (shut.kind, shut.reason) == ("not read", "this folder cannot be opened (Permission denied)")


def test_an_unfinished_capture_stands_before_the_log_it_replaces(tmp_path):
    """It is named, and left as it is: it may still be running, here or on another machine."""
    a_log(tmp_path / "a.parquet")
    a_log(tmp_path / "days.parquet" / "1.parquet")
    for journal in ("a.parquet.journal", "new.parquet.journal", "days.parquet/2.parquet.journal"):
        (tmp_path / journal).write_bytes(b"anything")
    assert kinds([tmp_path]) == dict.fromkeys(("a.parquet", "days.parquet", "new.parquet"), "unfinished")
    assert "a.parquet.journal" in find_fleet([str(tmp_path)]).logs["a.parquet"].reason


def test_patterns_and_single_logs_count_from_the_folder_they_share(tmp_path):
    """Names stay short, and say which is which."""
    for place in "ab":
        a_log(tmp_path / "logs" / place / "pump.parquet")
        a_log(tmp_path / "logs" / place / "fridge.parquet")
    assert list(kinds([tmp_path / "logs" / "*" / "pump.parquet"])) == ["a/pump.parquet", "b/pump.parquet"]
    assert list(kinds([tmp_path / "logs" / "a" / "pump.parquet"])) == ["pump.parquet"]
    assert len(kinds([tmp_path / "logs" / "**" / "*.parquet"])) == 4


@pytest.mark.parametrize("place", ["nowhere", "no*where", "empty"])
def test_a_place_without_logs_is_a_mistake(tmp_path, place):
    """A typed folder that is wrong must not look like a fleet in which all is well."""
    (tmp_path / "empty").mkdir()
    with pytest.raises(InputError, match=place.replace("*", r"\*")):
        find_fleet([str(tmp_path / place)])


def test_the_nearest_site_file_up_to_the_fleets_folder(tmp_path):
    """Each place has its own, the rest have that of the fleet, and none lies above it."""
    write_site(tmp_path / "site.toml")
    for name in ("fleet/a/deep/1", "fleet/b/2", "fleet/3"):
        a_log(tmp_path / f"{name}.parquet")
    write_site(tmp_path / "fleet" / "a" / "site.toml")
    expected = {"3.parquet": None, "a/deep/1.parquet": "a/site.toml", "b/2.parquet": None}
    assert sites([tmp_path / "fleet"]) == expected
    write_site(tmp_path / "fleet" / "site.toml")
    assert sites([tmp_path / "fleet"]) == {**expected, "3.parquet": "site.toml", "b/2.parquet": "site.toml"}
    assert sites([tmp_path / "fleet" / "a" / "deep" / "*.parquet", tmp_path / "fleet" / "b"])["a/deep/1.parquet"] == (
        "a/site.toml"
    )


def test_site_files_of_a_folder_go_by_path_then_name_then_meter(tmp_path):
    """The closest name wins; a log that matches none has no site file."""
    for name, meter in (("x/pump", "m1"), ("y/pump", "m1"), ("z/other", "m2"), ("z/third", None)):
        a_log(tmp_path / "logs" / f"{name}.parquet", meter)
    for name in ("x/pump", "pump", "m2"):
        write_site(tmp_path / "sites" / f"{name}.toml")
    assert sites([tmp_path / "logs"], site_dir=str(tmp_path / "sites")) == {
        "x/pump.parquet": "x/pump.toml",
        "y/pump.parquet": "pump.toml",
        "z/other.parquet": "m2.toml",
        "z/third.parquet": None,
    }
    with pytest.raises(InputError, match="--site-dir"):
        sites([tmp_path / "logs"], site_dir=str(tmp_path / "nowhere"))


@pytest.mark.parametrize("kind", ["memory", "file"])
def test_a_fleet_behind_a_url(tmp_path, kind):
    """Stores that fsspec reaches are listed and fetched alike; a stamp changes when the file does."""
    fsspec = pytest.importorskip("fsspec")
    path = a_log(tmp_path / "src" / "a" / "1.parquet")
    write_site(tmp_path / "src" / "a" / "site.toml")
    url = (tmp_path / "src").as_uri()
    if kind == "memory":
        url = "memory://fleet-of-a-test"
        fsspec.filesystem("memory").put(str(tmp_path / "src") + "/", url + "/", recursive=True)
    assert sites([url]) == {"a/1.parquet": "a/site.toml"}
    (_name, place, stamp), _ = listing(url)
    with as_files(place, None) as (copy, none):
        assert none is None
        assert copy.read_bytes() == path.read_bytes()
    assert not copy.exists()
    with fsspec.open(place, "wb") as file:
        file.write(b"something else")
    assert listing(url)[0][2] != stamp


def test_a_url_that_leads_nowhere_is_a_mistake(tmp_path):
    """An unknown store, an empty one and two at once are told in a sentence."""
    pytest.importorskip("fsspec")
    for places, reason in (
        (["nosuch://bucket/logs"], "nosuch"),
        ([(tmp_path / "none").as_uri()], "nothing is found"),
        (["memory://a", "memory://b"], "one URL alone"),
    ):
        with pytest.raises(InputError, match=reason):
            find_fleet(places)
