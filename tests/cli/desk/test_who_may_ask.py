"""Whom the desk answers: this computer, by its own name, with a session, from a page of its own."""

import pytest
from desks import desk
from telling import unwrapped

from shuntbook.cli.main import run


@pytest.fixture(scope="module")
def client(tmp_path_factory):
    """Someone at a desk over a folder with one file."""
    folder = tmp_path_factory.mktemp("desk")
    (folder / "site.toml").write_text("[bank]\n")
    with desk(folder) as client:
        client.folder = folder
        yield client


def test_a_link_opens_the_desk_once(client):
    """Who finds it in the history of a browser finds nothing behind it."""
    assert client.get(client.link.removeprefix(client.origin), Cookie=None).status == 403


def test_its_pages_run_nothing_that_is_not_theirs(client):
    """No style, script or form of anybody else, in no frame; and a session that no script reads."""
    answer = client.get("/")
    policy = answer.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "form-action 'self'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
    assert answer.headers["Cache-Control"] == "no-store"


def test_a_folder_that_is_not_there_is_made(tmp_path, capsys):
    """Whoever begins has none; where the one above it is missing too, or a file stands there, it is told."""
    with desk(tmp_path / "new") as client:
        assert client.get("/").status == 200
    (tmp_path / "file").write_text("mine")
    for name, why in (("no/new", "there is no folder"), ("file", "is no folder")):
        assert run(["desk", str(tmp_path / name), "--no-browser"]) == 2
        assert why in unwrapped(capsys.readouterr().err)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["file", "new"]


def test_there_is_nothing_elsewhere(client):
    """Told in a sentence."""
    answer = client.get("/nothing")
    assert (answer.status, answer.text.count("\n")) == (404, 1)
