"""Whom the desk answers: this computer, by its own name, with a session, from a page of its own."""

import pytest
from desks import desk

PATHS = ("/", "/drop", "/capture", "/capture/note", "/capture/end", "/nothing")


@pytest.fixture(scope="module")
def client(tmp_path_factory):
    """Someone at a desk over a folder with one file."""
    folder = tmp_path_factory.mktemp("desk")
    (folder / "site.toml").write_text("[bank]\n")
    with desk(folder) as client:
        client.folder = folder
        yield client


def same_files(client):
    """Whether the folder is as it was."""
    return [path.name for path in client.folder.iterdir()] == ["site.toml"]


@pytest.mark.parametrize("path", PATHS)
@pytest.mark.parametrize("method", ["GET", "POST", "PUT", "DELETE"])
@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"Host": "example.org"}, 421),
        ({"Host": "127.0.0.1.example.org"}, 421),
        ({"Cookie": None}, 403),
        ({"Cookie": "shuntbook_1=x"}, 403),
        ({"Origin": "http://example.org"}, 403),
        ({"Origin": "null"}, 403),
        ({"Sec_Fetch_Site": "cross-site"}, 403),
        ({"Sec_Fetch_Site": "same-site"}, 403),
    ],
)
def test_others_are_refused(client, path, method, headers, status):
    """Before anything is looked at, whatever they ask, in one sentence that names nothing of the folder."""
    answer = client.ask(method, path, b"x", **headers)
    assert answer.status == status
    assert answer.text.count("\n") == 1
    assert "site.toml" not in answer.text
    assert same_files(client)


@pytest.mark.parametrize("path", ["/drop?name=a.csv", "/"])
def test_a_change_says_where_it_comes_from(client, path):
    """A sender that names no origin may be any program's page."""
    assert client.ask("POST", path, b"x", Origin=None).status == 403
    assert same_files(client)


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


def test_there_is_nothing_elsewhere(client):
    """Told in a sentence."""
    answer = client.get("/nothing")
    assert (answer.status, answer.text.count("\n")) == (404, 1)
