"""Files that are dropped on the desk: copied whole under a free name, or refused; never anything of a person's lost."""

import json
import socket
import time

import pytest
from desks import desk

from shuntbook.cli.desk.begin import LARGEST_DROPPED

FORM = (
    '--x\r\nContent-Disposition: form-data; name="file"; filename="{name}"\r\n'
    "Content-Type: text/csv\r\n\r\n{text}\r\n--x--\r\n"
)


def names(client):
    """The names of all that is in the folder, hidden files too."""
    return sorted(path.name for path in client.folder.iterdir())


def test_it_is_copied_under_its_name(client):
    """Byte by byte."""
    content = bytes(range(256)) * 10_000
    answer = client.drop("June 1.csv", content)
    assert json.loads(answer.text) == {"leads_to": "/export?file=June+1.csv"}
    assert (client.folder / "June 1.csv").read_bytes() == content
    assert "June 1.csv" in client.get("/").text


def test_a_name_that_is_taken_gets_a_number(client):
    """What was there stays."""
    for text in (b"1", b"2", b"3"):
        client.drop("a.csv.gz", text)
    content = {name: (client.folder / name).read_bytes() for name in names(client)}
    assert content == {"a.csv.gz": b"1", "a-2.csv.gz": b"2", "a-3.csv.gz": b"3"}


@pytest.mark.parametrize(
    "name",
    [
        *("", "../a.csv", "/etc/a.csv", "a/b.csv", "a\\b.csv", ".a.csv", "a\x00.csv", "a\n.csv", "con.csv", "a."),
        *("x" * 256, "C:a.csv", "a\u202ecsv.exe", " a.csv"),
    ],
)
def test_a_name_that_leads_elsewhere_is_refused(client, name):
    """In a sentence, and nothing is written anywhere."""
    answer = client.drop(name, b"1,2\n")
    assert answer.status == 400
    assert "choose another" in json.loads(answer.text)["wrong"]
    assert names(client) == []


def test_what_is_too_large_is_refused_before_it_comes(client):
    """With the way that is left; by what its sender says of its size."""
    answer = client.ask("POST", "/drop?name=a.csv", b"x", Content_Length=str(LARGEST_DROPPED + 1))
    assert answer.status == 413
    assert "into the folder" in answer.text
    assert names(client) == []


def test_what_says_no_size_ends_at_the_largest(client):
    """A sender of pieces without end fills no disk."""
    with socket.create_connection(("127.0.0.1", client.port), timeout=60) as wire:
        head = head_of(client)
        wire.sendall(f"{head}Transfer-Encoding: chunked\r\n\r\n".encode())
        piece = b"400000\r\n" + b"x" * 0x400000 + b"\r\n"
        try:
            for _ in range(LARGEST_DROPPED // 0x400000 + 2):
                wire.sendall(piece)
            wire.recv(1)
        except ConnectionError:
            pass
    wait_until(lambda: names(client) == [])


@pytest.mark.parametrize(
    ("name", "text", "step"),
    [
        ("a.xlsx", "", "/export"),
        ("a", "", "/export"),
        ("a.toml", "[bank]", "/system"),
        ("a.toml", "[modbus]", "/meter"),
        ("a.parquet", "", "/answer"),
    ],
)
def test_it_leads_to_the_step_it_is_for(client, name, text, step):
    """By what it is."""
    assert json.loads(client.drop(name, text.encode()).text) == {"leads_to": f"{step}?file={name}"}


def test_half_a_file_is_none(client):
    """Where the browser goes in the middle, nothing is left of it."""
    with socket.create_connection(("127.0.0.1", client.port), timeout=60) as wire:
        head = head_of(client)
        wire.sendall(f"{head}Content-Length: 1000\r\n\r\n".encode() + b"x" * 500)
        wait_until(lambda: len(names(client)) == 1)
    wait_until(lambda: names(client) == [])


def test_the_desk_killed_in_the_middle_leaves_no_file(client):
    """Nor does the next drop under that name meet what was left."""
    with socket.create_connection(("127.0.0.1", client.port), timeout=60) as wire:
        head = head_of(client)
        wire.sendall(f"{head}Content-Length: 1000\r\n\r\n".encode() + b"x" * 500)
        wait_until(lambda: len(names(client)) == 1)
        client.process.kill()
        client.process.wait(60)
    assert "a.csv" not in names(client)
    with desk(client.folder) as again:
        again.drop("a.csv", b"1")
    assert names(client) == ["a.csv"]


def test_a_form_without_a_script_drops_it_too(client):
    """And leads on to it; a browser's own path before the name is left out."""
    body = FORM.format(name="C:\\\\Users\\\\me\\\\a.csv", text="time,amps\n")
    answer = client.ask("POST", "/drop", body.encode(), Content_Type="multipart/form-data; boundary=x")
    assert (answer.status, answer.headers["Location"]) == (303, "/export?file=a.csv")
    assert (client.folder / "a.csv").read_text() == "time,amps\n"


@pytest.mark.parametrize("body", [b"", b"--x--", b"--x\r\nnothing", FORM.format(name="", text="").encode()])
def test_a_damaged_form_drops_nothing(client, body):
    """And is no fault of ours."""
    answer = client.ask("POST", "/drop", body, Content_Type="multipart/form-data; boundary=x")
    assert answer.status in (303, 400)
    assert names(client) == []


def head_of(client):
    """The head of a drop that is sent piece by piece, as far as all have it."""
    who = f"Host: 127.0.0.1:{client.port}\r\nCookie: {client.cookie}\r\nOrigin: {client.origin}\r\n"
    return f"POST /drop?name=a.csv HTTP/1.1\r\n{who}"


def wait_until(holds):
    """Wait a while for what must come."""
    until = time.monotonic() + 30
    while not holds():
        assert time.monotonic() < until
        time.sleep(0.02)
