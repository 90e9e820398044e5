"""The page beside the pump: whom it lets in, what it tells, and that nothing of it can hurt the capture."""

import contextlib
import http.client
import json
import re
import socket
import threading
from contextlib import contextmanager
from pathlib import Path

import pytest
from browsers import WIDTHS, as_wide_as, browser, until
from live_pages import NASTY, WEEK, Viewer, ask, capture, key_of, port_of, state_of, text_of

from shuntbook.cli.live_page.server import LivePage, live_page
from shuntbook.cli.main import run
from shuntbook.cli.served.access import is_own_host, is_own_origin
from shuntbook.cli.served.address import parse_page
from shuntbook.ingest.journal.opening import open_log

pytestmark = pytest.mark.xdist_group("captures")  # one at a time: they have clocks to keep


class Plain:
    """A state that says its number, and as much more as is asked for."""

    def __init__(self, number, *, more=0, ended=False):
        self.ended = ended
        self._text = json.dumps({"number": number, "more": "x" * more})

    def message(self, seen):
        """Return it."""
        return self._text


@pytest.fixture
def open_page():
    """A page for this computer alone."""
    with live_page("127.0.0.1:0") as page:
        page.publish(Plain(1))
        yield page


@pytest.fixture
def guarded_page():
    """A page that others can reach: a link is needed, on this computer as well."""
    with live_page("0.0.0.0:0") as page:
        page.publish(Plain(1))
        yield page


@pytest.mark.parametrize(
    ("text", "host", "port"),
    [
        ("8080", "127.0.0.1", 8080),
        ("127.0.0.1:8080", "127.0.0.1", 8080),
        ("0.0.0.0:0", "0.0.0.0", 0),
        ("[::1]:8080", "::1", 8080),
        ("shed.local:80", "shed.local", 80),
    ],
)
def test_where_it_is_served(text, host, port):
    """A port alone is this computer's alone."""
    assert parse_page(text) == (host, port)


@pytest.mark.parametrize("text", ["", "pump", "::1:8080", "65536", "8080:", ":8080", "-1", "a b:1", "http://x:1/", "٣"])
def test_what_is_no_address_is_told_before_anything_is_opened(text, capsys, tmp_path):
    """Status 2, one sentence, and nothing written."""
    assert run(["capture", WEEK % "max", "--out", str(tmp_path / "a.parquet"), "--page", text]) == 2
    err = capsys.readouterr().err
    assert "must read PORT or HOST:PORT" in err
    assert err.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_a_port_in_use_is_told_before_anything_is_opened(capsys, tmp_path):
    """Status 3, one sentence that says what to do, and nothing written."""
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        assert run(["capture", WEEK % "max", "--out", str(tmp_path / "a.parquet"), "--page", str(port)]) == 3
    err = capsys.readouterr().err
    assert f"port {port}" in err
    assert "--page 0" in err
    assert err.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_an_address_of_another_computer_is_told(capsys, tmp_path):
    """192.0.2.1 is nobody's (RFC 5737), so not ours; nor is a name that cannot be (RFC 2606)."""
    for host in ("192.0.2.1", "nowhere.invalid"):
        assert run(["capture", WEEK % "max", "--out", str(tmp_path / "a.parquet"), "--page", f"{host}:0"]) == 3
        assert "cannot be had" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("header", "reached", "own"),
    [
        ("127.0.0.1:8080", "127.0.0.1", True),
        ("localhost:8080", "127.0.0.1", True),
        ("LOCALHOST", "::1", True),
        ("[::1]:8080", "::1", True),
        ("192.0.2.7:8080", "192.0.2.7", True),
        ("shed:8080", "192.0.2.7", True),
        ("localhost:8080", "192.0.2.7", False),
        ("192.0.2.8:8080", "192.0.2.7", False),
        ("0.0.0.0:8080", "127.0.0.1", False),
        ("rebound.example:8080", "127.0.0.1", False),
        ("shed.rebound.example", "127.0.0.1", False),
        ("rebound.example@127.0.0.1", "127.0.0.1", False),
        ("[::1", "::1", False),
        ("", "127.0.0.1", False),
    ],
)
def test_only_this_computer_s_names_pass(header, reached, own):
    """A name that leads here, but is not ours, is somebody's trick (DNS rebinding)."""
    assert is_own_host(header, reached, frozenset({"shed", "shed.local"})) is own


def test_only_this_page_s_origin_passes():
    """No Origin is a person who typed the address; another scheme, host or port is another page."""
    assert is_own_origin(None, None, "127.0.0.1:8080")
    assert is_own_origin("http://127.0.0.1:8080", "same-origin", "127.0.0.1:8080")
    for origin in ("http://127.0.0.1:3000", "https://127.0.0.1:8080", "http://other.example", "null", ""):
        assert not is_own_origin(origin, None, "127.0.0.1:8080")
    assert not is_own_origin(None, "cross-site", "127.0.0.1:8080")


def refused(answer, status):
    """Whether it is refused so, in one plain sentence or two, and with nothing of the capture in it."""
    got, headers, text = answer
    assert got == status, text
    assert headers["Content-Type"].startswith("text/plain")
    assert text.count("\n") == 1
    assert "number" not in text
    return True


def test_foreign_names_origins_and_methods_are_refused(open_page):
    """A foreign Host, a foreign Origin, anything but GET, and any other address."""
    assert ask(open_page)[0] == 200
    for path in ("/", "/stage", "/updates", "/elsewhere"):
        assert refused(ask(open_page, path, Host="rebound.example"), 421)
        assert refused(ask(open_page, path, Origin="http://other.example"), 403)
        for method in ("POST", "PUT", "DELETE", "PATCH", "OPTIONS"):
            assert refused(ask(open_page, path, method=method), 405)
    assert ask(open_page, method="HEAD")[0] == 405
    assert ask(open_page, method="POST")[1]["Allow"] == "GET"
    assert refused(ask(open_page, "/updates", Sec_Fetch_Site="cross-site"), 403)
    assert refused(ask(open_page, "/elsewhere"), 404)
    assert refused(ask(open_page, "/../../etc/passwd"), 404)
    assert ask(open_page, method="POST", Content_Length="9999999")[0] in (400, 405)


@pytest.mark.parametrize("path", ["/", "/stage"])
def test_it_keeps_nothing_and_loads_nothing(open_page, path):
    """Headers: nothing is stored, guessed, framed or loaded, and only the page's own script runs."""
    _, headers, text = ask(open_page, path)
    assert headers["Cache-Control"] == "no-store"
    assert headers["X-Content-Type-Options"] == "nosniff"
    policy = headers["Content-Security-Policy"]
    nonce = re.search(r"script-src 'nonce-([\w-]+)'", policy)[1]
    assert policy.startswith("default-src 'none'")
    assert "unsafe" not in policy
    assert text.count(f'nonce="{nonce}"') == 2
    assert nonce not in ask(open_page)[2]
    assert re.findall(r"""(?:src|href|url)\s*[=(]\s*["']?+(?!#|data:|/(?:stage)?")""", text) == []
    assert re.findall(r"\son\w+=", text) == []
    assert "innerHTML" not in text
    assert "Server" not in headers


def test_on_this_computer_no_link_is_needed(open_page):
    """It says so."""
    assert open_page.news() == [f"live page: http://127.0.0.1:{port_of(open_page)}/ (on this computer only)"]
    with Viewer(port_of(open_page)) as viewer:
        assert viewer.next() == {"number": 1, "more": ""}


def test_others_need_a_link_that_opens_once(guarded_page):
    """Without a link nothing; a link gives a session and is spent; the next one is told."""
    link = guarded_page.link
    assert link in guarded_page.news()[0]
    for path in ("/", "/stage", "/updates", "/elsewhere", "/wrong-wrong-wrong-wrong", f"/{key_of(guarded_page)[:-1]}"):
        assert refused(ask(guarded_page, path), 403)
        assert refused(ask(guarded_page, path, Cookie=f"shuntbook_{port_of(guarded_page)}=wrong"), 403)
    assert refused(ask(guarded_page, f"/{key_of(guarded_page)}", Host="rebound.example"), 421)
    assert refused(ask(guarded_page, f"/{key_of(guarded_page)}", Origin="http://other.example"), 403)
    assert refused(ask(guarded_page, f"/{key_of(guarded_page)}", method="POST"), 405)
    assert guarded_page.link == link

    key = key_of(guarded_page)
    status, headers, text = ask(guarded_page, f"/{key}")
    assert status == 200
    assert 'url=/"' in text
    cookie = headers["Set-Cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    session = cookie.partition(";")[0]
    assert ask(guarded_page, Cookie=session)[0] == ask(guarded_page, "/stage", Cookie=session)[0] == 200
    with Viewer(port_of(guarded_page), session) as viewer:
        assert viewer.next()["number"] == 1
    assert refused(ask(guarded_page, f"/{key}"), 403)

    assert guarded_page.link != link
    assert guarded_page.news()[-1] == f"live page: opened from 127.0.0.1; for the next viewer: {guarded_page.link}"
    other = ask(guarded_page, f"/{key_of(guarded_page)}")[1]["Set-Cookie"].partition(";")[0]
    assert other != session
    assert ask(guarded_page, Cookie=session)[0] == ask(guarded_page, Cookie=other)[0] == 200


@pytest.mark.skipif(not Path("/proc/self/cmdline").exists(), reason="arguments of a process are read there")
def test_a_link_s_key_stands_in_the_terminal_alone(tmp_path):
    """Neither what is captured, nor the process's arguments, nor a word on a request holds it or the session."""
    with capture(tmp_path, "--page", "0.0.0.0:0", "--quiet") as (child, port, key):
        arguments = Path(f"/proc/{child.pid}/cmdline").read_bytes()
        assert ask(None, "/wrong" + key[1:], port=port)[0] == 403
        session = ask(None, f"/{key}", port=port)[1]["Set-Cookie"].partition(";")[0].partition("=")[2]
        child.terminate()
        said = "".join(child.communicate(timeout=60))
    assert len(key) > 10
    assert len(session) > 10
    kept = {path.name: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    assert "a.parquet" in kept
    for secret in (key, session, key[1:]):
        assert secret.encode() not in arguments
        assert secret not in said  # its one line was read before
        assert [name for name, content in kept.items() if secret.encode() in content] == []


@contextmanager
def stalled(port, cookie=""):
    """Someone who asks for the updates and then takes none."""
    with socket.create_connection(("127.0.0.1", port)) as deaf:
        deaf.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        deaf.sendall(f"GET /updates HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nCookie: {cookie}\r\n\r\n".encode())
        yield deaf


def test_a_viewer_that_takes_nothing_holds_up_nobody(open_page):
    """Hundreds of large states later another viewer has the newest, and none came twice or late."""
    port = port_of(open_page)
    with stalled(port), Viewer(port) as viewer:
        for number in range(2, 302):
            open_page.publish(Plain(number, more=200_000))
        seen = [viewer.next()["number"]]
        while seen[-1] < 301:
            seen.append(viewer.next()["number"])
        assert seen == sorted(set(seen))


def test_vanished_viewers_are_forgotten(open_page):
    """Viewers who go without a word make room for others."""
    port = port_of(open_page)
    for number in range(60):
        with Viewer(port) as viewer:
            assert viewer.status == 200
        open_page.publish(Plain(number))
    until(lambda: open_page.publish(Plain(0)) or not open_page._house.viewers, "forgetting")


def test_too_many_viewers_are_told_so(open_page, monkeypatch):
    """One more than there is room for is refused with a sentence."""
    monkeypatch.setattr("shuntbook.cli.live_page.handlers.MOST_VIEWERS", 2)
    port = port_of(open_page)
    with Viewer(port) as one, Viewer(port) as two:
        assert one.next() == two.next()
        assert refused(ask(open_page, "/updates"), 503)


def test_connections_that_ask_nothing_leave_room(open_page):
    """However many hang on, only so many are held, and viewers who are there go on."""
    port = port_of(open_page)
    with Viewer(port) as viewer:
        assert viewer.next()["number"] == 1
        idle = [socket.create_connection(("127.0.0.1", port)) for _ in range(150)]
        open_page.publish(Plain(2))
        assert viewer.next()["number"] == 2
        for connection in idle:
            connection.close()
    until(lambda: asked(port) == 200, "room for the next")


def test_connections_that_ask_slowly_keep_nobody_out(open_page):
    """However many hang on or ask a letter a second: the next is let in at once, and viewers who are there go on."""
    port = port_of(open_page)
    with Viewer(port) as viewer:
        assert viewer.next()["number"] == 1
        slow = [socket.create_connection(("127.0.0.1", port)) for _ in range(150)]
        for connection in slow:
            with contextlib.suppress(OSError):  # it has made room already
                connection.sendall(b"GET / HT")
        assert [asked(port) for _ in range(5)] == [200] * 5  # while all of them hang on
        open_page.publish(Plain(2))
        assert viewer.next()["number"] == 2
        for connection in slow:
            connection.close()


def test_a_viewer_that_takes_nothing_makes_room_for_one_that_does(open_page, monkeypatch):
    """Where there is room for no more, whoever is behind is let go; those who keep up stay."""
    monkeypatch.setattr("shuntbook.cli.live_page.handlers.MOST_VIEWERS", 2)
    monkeypatch.setattr("shuntbook.cli.live_page.handlers._BEHIND_S", 0.0)
    port = port_of(open_page)
    with stalled(port), Viewer(port) as viewer:
        for number in range(2, 42):  # more than any system holds back for one that does not read
            open_page.publish(Plain(number, more=500_000))
            while viewer.next()["number"] < number:
                pass
        with Viewer(port) as third:
            assert third.status == 200
            open_page.publish(Plain(number + 1))
            while viewer.next()["number"] < number + 1:
                pass
            while third.next()["number"] < number + 1:
                pass


def asked(port):
    """The status of a question; None if it was not even taken."""
    try:
        return ask(None, port=port)[0]
    except (OSError, http.client.HTTPException):
        return None


def test_the_last_state_is_still_taken(open_page):
    """After the capture viewers get its last state, then the end; closing waits for nobody who is deaf."""
    port = port_of(open_page)
    with stalled(port), Viewer(port) as viewer:
        assert viewer.next()["number"] == 1
        open_page.publish(Plain(2, ended=True))
        open_page.close()
        assert viewer.next()["number"] == 2
        assert viewer.next() is None


def test_a_page_that_dies_takes_nothing_with_it(tmp_path, capsys, monkeypatch):
    """Its server fails in the middle: one sentence, and not a reading is lost."""

    async def dying(self):
        self._ready.set()
        raise RuntimeError("no more")

    monkeypatch.setattr(LivePage, "_serve", dying)
    log = tmp_path / "a.parquet"
    # nor is it waited for
    assert run(["capture", WEEK % "max", "--out", str(log), "--page", "0", "--page-stays", "1h"]) == 0
    err = capsys.readouterr().err
    assert "note: the live page has stopped (no more); the capture goes on without it" in err
    assert "Traceback" not in err
    assert open_log(log).rows == 9000


def test_ten_viewers_cost_no_reading(tmp_path):
    """Nine watch a replay to its end, a tenth takes nothing: the log has every reading, and the nine saw the last."""
    ends = []

    def watch(viewer):
        state = viewer.next()
        while not state["ended"]:
            state = viewer.next()
        ends.append(state)

    with capture(tmp_path, "--page", "0") as (child, port, _), stalled(port):
        viewers = [Viewer(port) for _ in range(9)]
        threads = [threading.Thread(target=watch, args=(viewer,)) for viewer in viewers]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(60)
        out, err = child.communicate(timeout=60)
        assert child.returncode == 0, err
        for viewer in viewers:
            viewer.__exit__()
    assert open_log(tmp_path / "a.parquet").rows == 9000
    assert len(ends) == 9
    for state in ends:
        assert {"value": "103", "what": "starts"} in state["meters"][0]["counts"]
        assert "readings" not in str(state["meters"][0]["counts"])
    assert "9,000 readings" in out


def test_what_it_shows_is_what_was_measured():
    """Figures, counts, amounts, runs and findings of a pump that runs 20 s in every minute, 30 A over 1 A."""
    message = json.loads(state_of("bank shunt").message({}))
    meter = message["meters"][0]
    assert [figure["value"] for figure in meter["figures"]] == ["30.0", "25.00", "750"]
    assert {"value": "20", "what": "starts"} in meter["counts"]
    assert {"value": "running", "what": "now, for 20 s"} in meter["counts"]
    # 400 s of 30 A and 800 s of 1 A, less half a second at either end: (12,800 - 15.5) As = 3.551 Ah
    assert meter["amounts"]["rows"][0][1].startswith("3.55 Ah")
    assert meter["runs"]["rows"][1][1:3] == ["20 s", "40 s"]
    assert [finding["severity"] for finding in meter["findings"]][:1] == ["watch"]
    assert len(message["points"][0]["at"]) == 900
    assert set(message["points"][0]["value"]) == {1.0, 30.0}


def test_a_viewer_gets_only_the_points_it_has_not_seen():
    """Of the chart only what is new, from the newest bucket on, which may have grown."""
    state, seen = state_of("bank shunt"), {}
    first = json.loads(state.message(seen))["points"][0]
    again = json.loads(state.message(seen))["points"][0]
    assert again["at"] == first["at"][-1:]
    assert json.loads(state.message({}))["points"][0] == first


def test_whatever_stands_in_a_name_comes_as_short_text():
    """Names, notes and kinds of trouble: cut, without marks that turn the text around, and in one line of JSON."""
    message = state_of(NASTY, mark=NASTY, trouble={NASTY: 2}).message({})
    assert message.isascii()
    assert "\n" not in message
    texts = re.findall(r'"((?:[^"\\]|\\.)*)"', message)
    assert max(map(len, texts)) < 1500
    assert "\\u202e" not in message
    assert "<script>" in message  # as text: the browser's test below shows that it stays text


def starts(driven):
    """How many starts the page tells."""
    return int(text_of(driven, ".counts dd").replace(",", "") or 0)


def no_sideways_scroll(driven):
    """Nothing stands out to the side."""
    wide, room = driven.execute_script("return [document.documentElement.scrollWidth, window.innerWidth]")
    return wide <= room


def test_a_browser_watches_a_capture(tmp_path):
    """By its link, a browser sees figures change, a start counted, a finding appear, and the end."""
    with browser() as driven, capture(tmp_path, "--page", "0.0.0.0:0", speed=600) as (child, port, key):
        driven.get(f"http://127.0.0.1:{port}/{key}")
        until(lambda: driven.current_url == f"http://127.0.0.1:{port}/", "leaving the link")
        first = until(lambda: text_of(driven, ".figures .value"), "a figure")
        until(lambda: text_of(driven, ".figures .value") != first, "another figure")
        until(lambda: starts(driven) >= 1, "a start")
        until(lambda: driven.execute_script("return document.querySelectorAll('.drawing .run').length"), "a run's bar")
        until(lambda: "Newest" in text_of(driven, "#newest"), "its being told")
        until(lambda: text_of(driven, ".finding .title"), "a finding")
        for width in WIDTHS:
            for dark in (False, True):
                as_wide_as(driven, width, dark=dark)
                until(lambda: no_sideways_scroll(driven), f"no sideways scroll at {width}")
        driven.refresh()
        until(lambda: text_of(driven, ".finding .title"), "the page again, without a link")
        assert driven.execute_script("return document.cookie") == ""
        loaded = "return performance.getEntriesByType('resource').map((entry) => new URL(entry.name).pathname)"
        assert set(driven.execute_script(loaded)) <= {"/updates"}
        child.terminate()
        until(lambda: "The capture has ended" in text_of(driven, "#link"), "the end")
        assert driven.get_log("browser") == []


NASTY_SITE = """
name = %s
zone = "Europe/London"
[bank]
nominal_V = 24
capacity_Ah = 420
[[meters]]
name = %s
side = "dc"
source = "%s"
"""


def test_a_browser_takes_names_and_notes_as_text(tmp_path):
    """Markup in the site's and the meter's name and in a note is shown, not obeyed, and moves nothing aside."""
    site, nasty = tmp_path / "site.toml", json.dumps(NASTY[:200])  # names are no longer than that
    site.write_text(NASTY_SITE % (nasty, nasty, WEEK % 600), encoding="utf-8")
    words = ["--site", str(site), "--mark", f"1m={NASTY}", "--page", "0"]
    with browser() as driven, capture(tmp_path, *words) as (_, port, _key):
        driven.get(f"http://127.0.0.1:{port}/")
        as_wide_as(driven, 360)
        until(lambda: text_of(driven, ".amounts tbody tr:nth-child(2) th").startswith("since"), "the note")
        for where in ("#title", ".meter .name", ".amounts tbody tr:nth-child(2) th"):
            assert "<script>" in text_of(driven, where)
        assert driven.execute_script("return window.hit") is None
        assert driven.execute_script("return document.querySelectorAll('script, img').length") == 1
        assert no_sideways_scroll(driven)
        assert driven.get_log("browser") == []
