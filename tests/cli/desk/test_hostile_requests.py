"""Every page of the desk against hostile names, texts, methods, sizes and files; new pages are found by themselves."""

import os
import re
import shutil
import socket
from concurrent.futures import ThreadPoolExecutor
from urllib.parse import urlencode

import pytest
from desk_addresses import addresses, field_names
from desks import address, desk
from hostile_page import NASTY, SCRIPT

PATHS = [path for path in addresses() if not path.startswith("/in/")]
OTHERS = {
    "another host": {"Host": "example.org"},
    "a host that begins as ours": {"Host": "127.0.0.1.example.org"},
    "no session": {"Cookie": None},
    "a session of our own making": {"Cookie": "shuntbook_1=x"},
    "another origin": {"Origin": "http://example.org"},
    "an origin that is hidden": {"Origin": "null"},
    "another page": {"Sec_Fetch_Site": "cross-site"},
    "a page of another port": {"Sec_Fetch_Site": "same-site"},
}
#: Names that lead elsewhere, in one system or another, or are more than a name.
ELSEWHERE = ("../secret.toml", "/etc/passwd", "..", ".", ".hidden.toml", "C:\\secret.toml", "\x00", "a/../../x")
#: Fields that name files of the folder.
OF_FILES = ("file", "site", "log", "profile", "measured", "before", "after", "name")
#: Texts where a number, a choice or a name is expected.
TEXTS = (NASTY, "9" * 500, "-1e999", "'; drop", "{{ 7 * 7 }}", "--out=/tmp/x", "\ud83d")
#: By day each of them in some places, so that each place has had some; by night each in all.
EVERYWHERE = pytest.mark.parametrize("everywhere", [False, pytest.param(True, marks=pytest.mark.night)])
FORM = {"Content_Type": "application/x-www-form-urlencoded"}
ONE_GB = 1_000_000_000


@pytest.fixture(scope="module")
def client(demo, tmp_path_factory):
    """Someone at a desk over a folder of each kind of file, whole and damaged, beside a secret one."""
    above = tmp_path_factory.mktemp("above")
    folder = above / "desk"
    folder.mkdir()
    (above / "secret.toml").write_text("[bank]\nname = 'secret'\n", encoding="utf-8")
    (folder / ".hidden.toml").write_text("[bank]\nname = 'secret'\n", encoding="utf-8")
    (folder / "outside.toml").symlink_to(above / "secret.toml")
    for name in ("open_day.parquet", "site.toml", "week_later.csv.gz"):
        shutil.copy(demo / name, folder)
    whole = (folder / "open_day.parquet").read_bytes()
    (folder / "cut.parquet").write_bytes(whole[: len(whole) // 2])
    (folder / "none.parquet").write_bytes(b"")
    (folder / "cut.csv.gz").write_bytes((folder / "week_later.csv.gz").read_bytes()[:3000])
    (folder / "noise.xlsx").write_bytes(bytes(range(256)) * 40)
    (folder / "noise.csv").write_bytes(os.urandom(4000))
    (folder / "noise.mp4").write_bytes(os.urandom(4000))
    (folder / "noise.avi").write_bytes(b"RIFF\x10\x00\x00\x00AVI LIST" + os.urandom(400))
    (folder / "stills").mkdir()
    (folder / "stills" / "1.png").write_bytes(b"\x89PNG\r\n\x1a\n" + os.urandom(400))
    (folder / "boxes.toml").write_text("[[fields]]\ncorners = [[0, 0], [1e999, 0]]\n", encoding="utf-8")
    (folder / "noise.toml").write_bytes(b"[bank\n\xff\xfe = ")
    (folder / "deep.toml").write_text("[bank]\na = " + "[" * 5000, encoding="utf-8")
    (folder / "page.html").write_text(f"<p>{SCRIPT}</p>", encoding="utf-8")
    (folder / f"{SCRIPT.replace('/', '')} & '.csv").write_text("time,amps\n", encoding="utf-8")
    with desk(folder) as client:
        client.folder, client.above = folder, above
        yield client


@pytest.fixture
def unchanged(client):
    """The folder of those tests that may change nothing in it, nor beside it."""
    before = contents(client)
    yield
    assert contents(client) == before


def contents(client):
    """What every file is, in the folder and beside it."""
    return {path: path.read_bytes() for path in sorted(client.above.rglob("*")) if path.is_file()}


def sound(answer):
    """Hold that a page is an answer: no fault of ours, nothing of its inside, nothing of the secret."""
    assert answer.status < 500, answer.text
    for word in ("Traceback", "secret'", "root:x"):
        assert word not in answer.text
    return answer


def test_there_are_pages_and_fields_to_be_asked():
    """The walk is over something."""
    assert {"/", "/drop", "/answer", "/forecast"} <= set(PATHS)
    assert {"file", "site", "load"} <= set(field_names())


@EVERYWHERE
@pytest.mark.parametrize("path", [*PATHS, "/nothing"])
@pytest.mark.usefixtures("unchanged")
def test_others_are_refused(client, path, everywhere):
    """Before anything is looked at, whatever they ask: by a sentence, or a page for whoever looks at one.

    Neither names anything of the folder.
    """
    for k, (who, headers) in enumerate(OTHERS.items()):
        others = ("POST", "PUT", "DELETE", "OPTIONS", "PATCH")
        for method in ("GET", *(others if everywhere else others[k % len(others) :][:1])):
            answer, page = (client.ask(method, path, b"x", **headers, Accept=kind) for kind in ("*/*", "text/html"))
            assert answer.status == page.status == (421 if "Host" in headers else 403), (who, method)
            assert answer.text.count("\n") == 1
            assert answer.text.strip() in page.text
            assert "Open the last link that stands in it" in page.text
            assert "<script" not in page.text and "<form" not in page.text
            for name in ("site.toml", "open_day", client.above.name):
                assert name not in answer.text + page.text


@pytest.mark.parametrize("path", PATHS)
@pytest.mark.usefixtures("unchanged")
def test_a_change_says_where_it_comes_from(client, path):
    """A sender that names no origin may be any program's page."""
    for method in ("POST", "PUT", "DELETE", "PATCH"):
        assert client.ask(method, f"{path}?name=a.csv", b"x", Origin=None).status == 403


@pytest.mark.parametrize("path", [*PATHS, "/nothing"])
@pytest.mark.usefixtures("unchanged")
def test_other_methods_do_nothing(client, path):
    """In a sentence, whoever asks."""
    for method in ("PUT", "DELETE", "OPTIONS", "PATCH", "HEAD", "BREW"):
        answer = client.ask(method, path, **({"Origin": client.origin} if method == "HEAD" else {}))
        assert answer.status in (404, 405), method


@EVERYWHERE
@pytest.mark.parametrize("path", PATHS)
def test_names_that_lead_elsewhere_lead_nowhere(client, path, everywhere):
    """In each field that names a file, and in all fields at once; nothing outside the folder is shown or written."""
    beside = sorted(client.above.iterdir())
    fields = sorted({*OF_FILES} & {*field_names()})
    for k, name in enumerate(ELSEWHERE):
        for field in fields if everywhere else fields[k % len(fields) :][:1]:
            sound(client.get(address(path, **{field: name})))
        in_all = dict.fromkeys(field_names(), name)
        sound(client.get(address(path, **in_all)))
        sound(client.ask("POST", path, urlencode(in_all), **FORM))
    assert sorted(client.above.iterdir()) == beside
    assert "secret" in (client.above / "secret.toml").read_text(encoding="utf-8")


@pytest.mark.night
@pytest.mark.parametrize("path", PATHS)
def test_each_field_by_itself_leads_nowhere(client, path):
    """Whatever else stands in the others: a page may look at one field only where another is as it should be."""
    beside = sorted(client.above.iterdir())
    for field in field_names():
        for name in ELSEWHERE:
            sound(client.get(address(path, **{field: name})))
            if field in OF_FILES:
                sound(client.get(address(path, **{"file": "open_day.parquet", "site": "site.toml", field: name})))
    assert sorted(client.above.iterdir()) == beside


@EVERYWHERE
@pytest.mark.parametrize("path", PATHS)
def test_texts_of_a_field_are_texts(client, path, everywhere):
    """What is typed comes back as text, never as markup, whatever it is; with a file, and without."""
    names = field_names()
    # an address may be no longer than that of a few fields
    parts = [names[first : first + 8] for first in range(0, len(names), 8)]
    for k, text in enumerate(text.encode("utf-8", "surrogatepass") for text in TEXTS):
        # what a page is made of is no field: a report of each would only take long
        files = (text,) if path == "/report" else ("open_day.parquet", "stills", text)
        in_all = everywhere or text == NASTY.encode()
        for file in files if in_all else files[k % len(files) :][:1]:
            sent = dict.fromkeys(names, text) | {"file": file}
            answers = [client.ask("POST", path, urlencode(sent), **FORM)]
            for some in parts if in_all else parts[k % len(parts) :][:1]:
                answers.append(client.get(address(path, **{"file": file} | dict.fromkeys(some, text))))
            for answer in map(sound, answers):
                if answer.headers.get("Content-Type", "").startswith("text/html"):
                    assert SCRIPT not in answer.text
                    assert "<img src=x" not in answer.text
                assert ">49<" not in answer.text


@EVERYWHERE
@pytest.mark.parametrize("path", PATHS)
@pytest.mark.usefixtures("unchanged")
def test_damaged_files_are_told_of(client, path, everywhere):
    """No page that is asked for one is a fault of ours, nor does any change a file."""
    fields = sorted({"file", "site", "measured", "before", "after"} & set(field_names()))
    for k, name in enumerate(sorted(entry.name for entry in client.folder.iterdir())):
        for field in fields if everywhere else {"file", fields[k % len(fields)]}:
            # a log's page and its journal are results, which other tests look at
            if path != "/report":
                sound(client.get(address(path, **{field: name})))


def test_a_name_of_markup_is_shown_as_text(client):
    """Where the folder is listed."""
    page = client.get("/").text
    assert SCRIPT.replace("/", "") not in page
    assert "&lt;script&gt;" in page


@EVERYWHERE
@pytest.mark.parametrize("path", PATHS)
def test_no_page_stands_in_anothers_frame(client, path, everywhere):
    """None but a report page, which may stand in the desk's own; all keep to themselves."""
    # by day no report is made of the log: that is dear
    for name in ("", "page.html") if path == "/report" and not everywhere else ("", "page.html", "open_day.parquet"):
        answer = client.get(address(path, file=name))
        policy = answer.headers["Content-Security-Policy"]
        own = "frame-ancestors 'self'" if path in ("/page", "/report") else "frame-ancestors 'none'"
        assert own in policy or answer.status == 303
        assert "default-src 'none'" in policy
        if path != "/page":
            assert "unsafe-inline" not in policy
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        assert answer.headers["Cache-Control"] == "no-store"


def test_a_page_of_the_folder_can_do_nothing_to_the_desk(client):
    """It is of no origin of ours, so that it has no session and cannot ask for a change."""
    policy = client.get("/page?file=page.html").headers["Content-Security-Policy"]
    assert re.match(r"sandbox allow-scripts allow-downloads;", policy)
    assert "form-action 'none'" in policy
    assert "connect-src" not in policy


@pytest.mark.parametrize("path", PATHS)
@pytest.mark.usefixtures("unchanged")
def test_a_gigabyte_is_refused_before_it_comes(client, path):
    """By what its sender says of its size; the next request is answered as ever."""
    for kind in ("application/x-www-form-urlencoded", "multipart/form-data; boundary=x", "text/csv"):
        head = (
            f"POST {path}?name=a.csv HTTP/1.1\r\nHost: 127.0.0.1:{client.port}\r\nCookie: {client.cookie}\r\n"
            f"Origin: {client.origin}\r\nContent-Type: {kind}\r\nContent-Length: {ONE_GB}\r\n\r\n"
        )
        with socket.create_connection(("127.0.0.1", client.port), timeout=60) as wire:
            wire.sendall(head.encode() + b"x" * 1000)
            first = wire.recv(1000)
        assert first == b"" or re.match(rb"HTTP/1.1 4\d\d ", first), first
        assert client.get("/").status == 200


def test_two_pages_at_once_are_both_answered(client, demo):
    """Files dropped at the same moment under one name each get one of their own; pages read meanwhile are whole."""

    def one(number):
        dropped = client.drop("at once.csv", f"{number}\n".encode() * 10_000)
        read = client.get("/forecast?load=well+pump&how_long=1h")
        return dropped.status, read.status, "</html>" in read.text

    with ThreadPoolExecutor(8) as pages:
        assert set(pages.map(one, range(16))) == {(200, 200, True)}
    first_lines = {path.read_text().split("\n", 1)[0] for path in client.folder.glob("at once*.csv")}
    assert first_lines == {str(number) for number in range(16)}
