"""The first page: what is in the folder, and the next step plain; also of a folder that is large or locked."""

import os
import re
import shutil
import signal
import time

import pytest
from browsers import until
from desks import address, desk, text_of

from shuntbook.cli.capture.running import leave_note, start_capture
from shuntbook.cli.desk.begin import unread_exports
from shuntbook.cli.desk.folder import MOST_FILES, Folder
from shuntbook.cli.main import run
from shuntbook.ingest.journal.journal import journal_path
from shuntbook.ingest.journal.opening import open_log

EXPORT = "time,current [A],voltage [V]\n" + "".join(f"2026-06-13T10:00:{s:02},5.0,25.1\n" for s in range(60))
#: The system's own rights for everyone but the owner hold for a root who has given up the right to pass them by.
_RIGHTLESS = ("setpriv", "--bounding-set=-dac_override,-dac_read_search")
needs_rights = pytest.mark.skipif(
    os.name != "posix" or (os.geteuid() == 0 and shutil.which("setpriv") is None), reason="nobody to be without rights"
)


def without_rights():
    """What begins a desk that may do no more than the rights of files say."""
    return _RIGHTLESS if os.geteuid() == 0 else ()


def headings(answer):
    """The headings of a page's main part."""
    return re.findall(r"<h[12][^>]*>(?:<[^>]*>)?([^<]*)", answer.text.partition("<main")[2])


def test_an_empty_folder_asks_what_there_is(client):
    """And names nothing that is not there."""
    page = client.get("/")
    assert headings(page)[:2] == ["What do you have?", "A file from a meter"]
    assert "Next:" not in page.text


def test_what_waits_is_the_next_step(client, demo):
    """An export that is no log yet, then the system; where all is there, nothing."""
    (client.folder / "june.csv").write_text(EXPORT)
    page = client.get("/")
    assert 'Next: <a href="/export?file=june.csv">Read june.csv into a log</a>' in page.text
    export, log = (str(client.folder / name) for name in ("june.csv", "june.parquet"))
    assert run(["convert", export, "--zone", "UTC", "--out", log]) == 0
    page = client.get("/")
    assert 'Next: <a href="/system">' in page.text
    assert "has been read" in text_of(page)
    shutil.copy(demo / "site.toml", client.folder)
    assert "Next:" not in client.get("/").text


def test_each_log_has_its_answer_in_a_line(client, demo):
    """What the load took and how it is; one that cannot be read says why, and hides no other."""
    for name in ("open_day.parquet", "week_later.parquet", "site.toml"):
        shutil.copy(demo / name, client.folder)
    (client.folder / "noise.parquet").write_bytes(b"x" * 1000)

    def all_known():
        text = text_of(client.get("/"))
        return text if "8.352 Ah" in text and "12.1 Ah" in text else None

    # what is not known within a moment is known when the page is loaded again
    text = until(all_known, "both answers")
    assert re.search(r"open_day\.parquet 13 June 2026 8\.352 Ah ± 0\.076 ✔ Healthy", text)
    assert re.search(r"week_later\.parquet 20 June 2026 12\.1 Ah ± 2\.0 ▲ Act", text)
    assert "is not a log" in text


def test_exports_that_wait_come_before_those_that_were_read(tmp_path):
    """By the names of the logs."""
    for name in ("june.csv.gz", "may.csv", "june-2.parquet", "june.parquet.rejects.csv", "written-by-desk.txt"):
        (tmp_path / name).touch()
    assert [entry.name for entry in unread_exports(Folder(tmp_path).entries())] == ["may.csv"]


def test_a_capture_that_was_cut_off_is_finished_from_here(client):
    """Also where only its readings were copied, and nothing else tells of it."""
    log = client.folder / "a.parquet"
    capture = start_capture(client.folder, "a.parquet", ["hand:"])
    leave_note(log, "60 A 12 V")
    until(lambda: b"60" in journal_path(log).read_bytes().partition(b"\n")[2], "the reading in the journal")
    os.kill(capture.state.process, signal.SIGKILL)
    for hidden in client.folder.glob(".*"):
        hidden.unlink()
    page = client.get("/")
    assert "The capture into a.parquet was cut off" in text_of(page)
    assert 'action="/capture/end"' in page.text
    assert client.send("/capture/end", log="a.parquet").status == 200
    assert open_log(log).rows == 1
    assert "was cut off" not in text_of(client.get("/"))


@needs_rights
def test_a_folder_without_write_access_says_so(tmp_path):
    """It can be looked at; what would be written is refused in a sentence."""
    (tmp_path / "june.csv").write_text(EXPORT)
    tmp_path.chmod(0o500)
    try:
        with desk(tmp_path, begun_by=without_rights()) as client:
            page = client.get("/")
            assert "Nothing can be written in this folder" in text_of(page)
            assert "june.csv" in page.text
            answer = client.drop("new.csv", b"1,2\n")
            assert (answer.status, answer.text.count("\n")) == (400, 1)
            assert "Permission denied" in answer.text
    finally:
        tmp_path.chmod(0o700)
    assert [path.name for path in tmp_path.iterdir()] == ["june.csv"]


@needs_rights
def test_a_folder_that_cannot_be_read_says_so(tmp_path):
    """On a page, for whoever looks at one; it is no fault of ours. From the start it would not be opened at all."""
    try:
        with desk(tmp_path, begun_by=without_rights()) as client:
            tmp_path.chmod(0o300)
            page = client.get("/", Accept="text/html")
            assert page.status == 400
            assert "Permission denied" in text_of(page)
            assert "who may use the folder" in text_of(page)
    finally:
        tmp_path.chmod(0o700)


def test_a_large_folder_is_folded_and_stands_at_once(client):
    """The newest first; what is beyond the most that a person looks through is said to be left out."""
    for number in range(MOST_FILES + 5):
        (client.folder / f"export {number:04}.csv").touch()
    client.get("/")
    began = time.monotonic()
    page = client.get("/")
    assert time.monotonic() - began < 5
    assert page.text.partition("<main")[2].count("<li><a") == MOST_FILES
    assert f"<summary>{MOST_FILES - 12} more</summary>" in page.text
    assert "Only the newest files are shown" in text_of(page)


def test_a_file_may_have_a_name_that_other_systems_refuse(client, demo):
    """As clocks and people write them; what is made of it gets one that all take."""
    shutil.copy(demo / "open_day.parquet", client.folder / "13:30? day.parquet")
    assert "13:30? day.parquet" in text_of(client.get("/"))
    page = client.get(address("/answer", file="13:30? day.parquet"))
    assert "took 8.35 Ah" in text_of(page)
    answer = client.get(address("/report", file="13:30? day.parquet"))
    assert (answer.status, answer.headers["Location"]) == (303, "/page?file=13-30-+day.html")
