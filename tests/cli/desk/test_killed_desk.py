"""The desk killed in the middle of each step: nothing lost, nothing half-written, and the folder usable at once."""

import shutil
import socket
import time
from contextlib import suppress
from pathlib import Path
from urllib.parse import urlencode

import pytest
from browsers import until
from desks import address, desk
from export_forms import answers_of, form_of
from short_cycling import short_cycling

from shuntbook.cli.desk.folder import Folder
from shuntbook.cli.main import run
from shuntbook.cli.opening.prepared_log import read_site
from shuntbook.ingest.journal.opening import open_log

#: How long after the request was sent: while it is read, while a command starts, while it works. [s]
MOMENTS = (pytest.param(0.0, marks=pytest.mark.night), 0.5, pytest.param(1.5, marks=pytest.mark.night))
SITE = {"name": "Hillside", "bank.nominal_V": "24", "bank.capacity_Ah": "420", "bank.capacity_Ah:unit": "Ah"}
#: Each step that writes: how it is asked, and for what.
STEPS = {
    "read an export": ("POST", "/export", {"file": "export.csv"}),
    "make a page": ("GET", "/report", {"file": "log.parquet", "site": "site.toml"}),
    "turn the sign": ("POST", "/answer", {"file": "log.parquet", "site": "site.toml"}),
    "save a new system": ("POST", "/system", SITE | {"do": "save"}),
    "drop a file": ("POST", "/drop", {"name": "dropped.csv"}),
}
#: Steps that take seconds.
DEAR = ("make a page", "turn the sign")


def filled_folder(tmp_path, demo):
    """A folder with a log, an export and a site file, and what they are."""
    folder = tmp_path / "pump"
    folder.mkdir()
    shutil.copy(demo / "open_day.parquet", folder / "log.parquet")
    shutil.copy(demo / "site.toml", folder)
    (folder / "export.csv").write_text(short_cycling()[0], encoding="utf-8")
    return folder, {path.name: path.read_bytes() for path in folder.iterdir()}


def half_sent(client, method, path, fields):
    """Send a request, and wait for no answer; return what keeps its connection."""
    body = urlencode(fields).encode() if method == "POST" else b""
    asked = path if method == "POST" else address(path, **fields)
    if path == "/drop":
        asked, body = address(path, **fields), short_cycling()[0].encode()
    wire = socket.create_connection(("127.0.0.1", client.port), timeout=60)
    kind = "text/csv" if path == "/drop" else "application/x-www-form-urlencoded"
    head = (
        f"{method} {asked} HTTP/1.1\r\nHost: 127.0.0.1:{client.port}\r\nCookie: {client.cookie}\r\n"
        f"Origin: {client.origin}\r\nContent-Type: {kind}\r\nContent-Length: {len(body)}\r\n\r\n"
    )
    wire.sendall(head.encode() + body)
    return wire


def is_whole(path):
    """Whether a file is what its name says, to its end."""
    if path.suffix == ".parquet":
        return open_log(path, complete=False).rows > 0
    if path.suffix == ".html":
        return path.read_text(encoding="utf-8").rstrip().endswith("</html>")
    if path.suffix == ".toml":
        return read_site(path).bank.capacity_Ah == 420
    return path.suffix in (".csv", ".txt") and path.stat().st_size > 0


def _as_asked(client, step):
    """A step's request; an export is read once its question was answered."""
    method, path, fields = STEPS[step]
    if path == "/export":
        page = client.get(address(path, **fields))
        (sends,) = (sends for label, sends in answers_of(page).items() if "charging" in label)
        fields = {**form_of(client.send(path, **form_of(page), answer=sends)), "do": "read"}
        fields.pop("out")  # a free name, each time
    return method, path, fields


def done_again(client, method, path, fields):
    """Do the same step once more, as somebody would who sees that it came to nothing; return its status."""
    if path == "/drop":
        return client.drop(fields["name"], short_cycling()[0].encode()).status
    answer = client.get(address(path, **fields)) if method == "GET" else client.send(path, **fields)
    return answer.status


@pytest.mark.timeout(300)
@pytest.mark.parametrize("moment", MOMENTS)
@pytest.mark.parametrize("step", [pytest.param(s, marks=[pytest.mark.night] if s in DEAR else []) for s in STEPS])
def test_nothing_is_lost_and_nothing_is_half(tmp_path, demo, step, moment):
    """Whatever the moment; what a command had begun it finishes, or it is absent."""
    folder, before = filled_folder(tmp_path, demo)
    from_scratch = desk(folder, from_scratch=True)
    with from_scratch as client, half_sent(client, *(asked := _as_asked(client, step))), suppress(ConnectionError):
        time.sleep(moment)
        client.process.kill()
        client.process.wait(60)
    with desk(folder) as again:
        assert again.get("/").status == 200
        assert done_again(again, *asked) in (200, 303)
    assert run(["look", str(folder / "log.parquet")]) == 0
    assert {name: (folder / name).read_bytes() for name in before} == before
    shown = [folder / entry.name for entry in Folder(folder).entries()]
    assert [path.name for path in shown if not is_whole(path)] == []
    assert len(shown) > len(before)  # that it was done again came to something
    until(lambda: _left_behind(folder) == [], "an end of what the killed desk had begun")


def _left_behind(folder: Path) -> list[str]:
    """Hidden files that are left; those of a drop are gone with the next one of its name."""
    return [path.name for path in folder.iterdir() if path.name.startswith(".") and path.name.endswith(".part")]
