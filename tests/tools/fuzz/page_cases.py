"""Requests to the live page and to the desk: whole, torn, huge, from elsewhere, and what is no request at all."""

from __future__ import annotations

import asyncio
import json
import random
import re
import socket
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from functools import cache
from pathlib import Path
from typing import NamedTuple

from desk_addresses import addresses

from shuntbook.cli.desk.server import serve_desk_at
from shuntbook.cli.live_page.server import LivePage, live_page

from .case import Case
from .damage import bytes_damaged
from .law import Fault

_ALLOWED = {200, 400, 403, 404, 405, 421, 503}
#: The desk leads on, and takes files up to a size.
_ALLOWED_AT_DESK = _ALLOWED | {303, 413}
_METHODS = (
    "GET",
    "GET",
    "GET",
    "HEAD",
    "POST",
    "PUT",
    "DELETE",
    "OPTIONS",
    "TRACE",
    "CONNECT",
    "PATCH",
    "get",
    "G\x00T",
    "",
    "X" * 300,
)
_PATHS = (
    "/", "/updates", "/nothing", "//", "/../../etc/passwd", "/%2e%2e/%2e%2e/x", "/%", "/%zz", "/%00", "/%ff%fe",
    "/\u00e9", "*", "", "http://elsewhere.example/", "/" + "a" * 12, "/" + "A" * 16, "/" + "x" * 9000,
    "/?x=" + "%41" * 500, "/updates?x=1", "/;x", "/\\", "/static/x",
)  # fmt: skip
_HEADERS = (
    "Host: {host}", "Host: {host}", "Host: {host}", "Host: elsewhere.example", "Host: ", "Host: [", "Host: a@{host}",
    "Host: localhost:{port}", "Origin: http://{host}", "Origin: http://elsewhere.example", "Origin: null",
    "Sec-Fetch-Site: cross-site", "Sec-Fetch-Site: none", "Cookie: shuntbook_{port}=x",
    "Cookie: shuntbook_{port}=" + "y" * 5000, "Cookie: =;=;\"", "Cookie: \xff\xfe", "X-Long: " + "z" * 17_000,
    "Content-Length: 5", "Content-Length: -1", "Content-Length: 99999999999", "Content-Length: x",
    "Transfer-Encoding: chunked", "Transfer-Encoding: x", "Connection: Upgrade", "Upgrade: websocket",
    "Sec-WebSocket-Key: x", "Sec-WebSocket-Version: 13", "Expect: 100-continue", "Accept: text/event-stream",
    "Last-Event-ID: \x00", "Range: bytes=0-", "If-None-Match: *", ": empty", "no colon", " folded", "A:" + "b" * 300,
)  # fmt: skip
_DESK_QUERIES = (
    "", "", "?file=site.toml", "?file=..%2fsecret.toml", "?file=%00", "?name=a.csv", "?name=%2e%2e%2fa.csv", "?log=a",
    "?file=" + "x" * 5000, "?file=%ff%fe", "?site=-&file=-", "?" + "&".join(f"f{n}=1" for n in range(500)),
)  # fmt: skip
_SECRET = "kept apart"
_DESK_HEADERS = (
    "Cookie: shuntbook_{port}={session}", "Cookie: shuntbook_{port}={session}", "Origin: http://{host}",
    "Content-Type: application/x-www-form-urlencoded", "Content-Type: multipart/form-data; boundary=x",
    "Content-Type: multipart/form-data", "Content-Length: 20", "Content-Length: 999999999",
)  # fmt: skip
_DESK_BODIES = (
    b"file=site.toml&do=save", b"file=%2e%2e%2fsecret.toml&do=read", b"--x\r\nContent-Disposition: form-data; "
    b'name="file"; filename="../a.csv"\r\n\r\n1,2\r\n--x--\r\n', b"\xff" * 500, b"name=" + b"9" * 3000,
)  # fmt: skip
#: How long an answer is waited for, where there may be none and where there must be one. [s]
_WAIT_S, _PATIENCE_S = 0.1, 20.0


class _State:
    """A state of a capture."""

    ended = True  # who watches is sent one state and let go

    def message(self, seen: dict[int, int]) -> str:
        """Return it."""
        return json.dumps({"number": len(seen)})


@contextmanager
def _served(where: str) -> Iterator[LivePage]:
    with live_page(where) as page:
        page.publish(_State())
        yield page


@cache
def _page(guarded: bool) -> LivePage:
    """Return a page that serves as long as the process: a capture's page meets many requests, too."""
    context = _served("0.0.0.0:0" if guarded else "127.0.0.1:0")
    _OPEN.append(context)
    return context.__enter__()


_OPEN: list[object] = []


class _Desk(NamedTuple):
    """A desk that serves: its port, a session, and the folder above its own, which holds a secret beside it."""

    port: int
    session: str
    above: Path


@cache
def _desk() -> _Desk:
    """Return a desk that serves as long as the process, in a thread of it."""
    holding = tempfile.TemporaryDirectory(prefix="fuzz-desk-")
    _OPEN.append(holding)
    above = Path(holding.name)
    folder = above / "desk"
    folder.mkdir()
    (above / "secret.toml").write_text(_SECRET)
    (folder / "site.toml").write_text('name = "x"\n[bank]\nnominal_V = 12\ncapacity_Ah = 100\n')
    listening = socket.create_server(("127.0.0.1", 0))
    links: list[str] = []
    serving = serve_desk_at(folder, listening, opens_browser=False, say=links.append)
    threading.Thread(target=lambda: asyncio.run(serving), daemon=True).start()
    until = time.monotonic() + _PATIENCE_S
    while not links and time.monotonic() < until:
        time.sleep(0.01)
    port, key = re.findall(r"http://127\.0\.0\.1:(\d+)/in/(\S+)", links[0])[0]
    host = f"127.0.0.1:{port}"
    came = _ask(int(port), [f"GET /in/{key} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n\r\n".encode()], 5.0)
    return _Desk(int(port), re.findall(rb"shuntbook_\d+=([^;]+)", came)[0].decode(), above)


def make(rng: random.Random) -> Case:
    """Return one or two requests over one connection, in pieces."""
    at_desk = rng.random() < 0.5
    requests = b"".join(_request(rng, at_desk=at_desk) for _ in range(rng.choice([1, 1, 1, 2])))
    if rng.random() < 0.3:
        requests = bytes_damaged(requests, rng, 5)
    if rng.random() < 0.05:
        requests = rng.choice(
            [
                b"",
                b"\r\n" * 50,
                rng.randbytes(500),
                b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03",
                b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n",
                b"GET",
            ]
        )
    at = rng.randrange(len(requests) + 1)
    chunks = [requests] if rng.random() < 0.7 else [requests[:at], requests[at:]]
    return Case("page", chunks=chunks, known={"guarded": rng.random() < 0.5, "desk": at_desk})


def _request(rng: random.Random, *, at_desk: bool) -> bytes:
    if at_desk and rng.random() < 0.5:
        return _let_in(rng)
    version = rng.choice(["HTTP/1.1"] * 6 + ["HTTP/1.0", "HTTP/9.9", "", "x"])
    path = rng.choice(_PATHS)
    if at_desk and rng.random() < 0.8:
        path = rng.choice([*addresses()]) + rng.choice(_DESK_QUERIES)
    head = [f"{rng.choice(_METHODS)} {path} {version}"]
    head += ["Host: {host}"] if rng.random() < 0.7 else []
    if at_desk:
        head += rng.sample(_DESK_HEADERS, k=rng.choice([0, 2, 4, 6]))
    head += rng.choices(_HEADERS, k=rng.choice([0, 0, 1, 3, 200 if rng.random() < 0.1 else 5]))
    end = rng.choice(["\r\n"] * 5 + ["\n", "\r"])
    bodies = [b"", b"", b"hello", b"5\r\nhello\r\n0\r\n\r\n", b"zz\r\n", b"x" * 3000]
    body = rng.choice([*bodies, *(_DESK_BODIES if at_desk else ())])
    return end.join([*head, "", ""]).encode("utf-8" if rng.random() < 0.9 else "latin-1", "replace") + body


def _let_in(rng: random.Random) -> bytes:
    """Return a request that the desk lets in, whatever it asks for."""
    body = rng.choice(_DESK_BODIES)
    head = [f"{rng.choice(['GET', 'POST'])} {rng.choice([*addresses()])}{rng.choice(_DESK_QUERIES)} HTTP/1.1"]
    head += ["Host: {host}", "Origin: http://{host}", "Cookie: shuntbook_{port}={session}"]
    head += [rng.choice([each for each in _DESK_HEADERS if each.startswith("Content-Type")])]
    return "\r\n".join([*head, f"Content-Length: {len(body)}", "", ""]).encode() + body


def run(case: Case, folder: Path) -> str:
    """Send the requests; the page must answer something sensible or hang up, and serve the next one as ever."""
    del folder
    if case.known.get("desk"):
        return _run_at_desk(case)
    guarded = bool(case.known["guarded"])
    page = _page(guarded)
    port = page._listening.getsockname()[1]
    host = f"127.0.0.1:{port}".encode()
    chunks = [chunk.replace(b"{host}", host).replace(b"{port}", b"%d" % port) for chunk in case.chunks]
    came = _ask(port, chunks)
    status = _check(came, _ALLOWED)
    if guarded and status == 200:
        raise Fault(f"let in without a link: {came[:500]!r}")
    after = _ask(port, [b"GET / HTTP/1.1\r\nHost: " + host + b"\r\nConnection: close\r\n\r\n"], _PATIENCE_S)
    if not after.startswith(b"HTTP/1.1 403 " if guarded else b"HTTP/1.1 200 "):
        raise Fault(f"does not answer as ever afterwards: {after[:300]!r}")
    if stopped := [line for line in page.news() if "stopped" in line]:
        raise Fault(f"the page has stopped: {stopped}")
    return str(status)


def _run_at_desk(case: Case) -> str:
    """The same of the desk, from somebody who has a session or has none; nothing leaves its folder."""
    desk = _desk()
    host = f"127.0.0.1:{desk.port}".encode()
    known = {b"{host}": host, b"{port}": b"%d" % desk.port, b"{session}": desk.session.encode()}
    chunks = case.chunks
    for name, value in known.items():
        chunks = [chunk.replace(name, value) for chunk in chunks]
    came = _ask(desk.port, chunks)
    status = _check(came, _ALLOWED_AT_DESK)
    if status in (200, 303) and desk.session.encode() not in b"".join(chunks):
        raise Fault(f"let in without a session: {came[:500]!r}")
    after = _ask(desk.port, [b"GET / HTTP/1.1\r\nHost: " + host + b"\r\nConnection: close\r\n\r\n"], _PATIENCE_S)
    if not after.startswith(b"HTTP/1.1 403 "):
        raise Fault(f"does not answer as ever afterwards: {after[:300]!r}")
    if sorted(path.name for path in desk.above.iterdir()) != ["desk", "secret.toml"] or _SECRET.encode() in came:
        raise Fault(f"left its folder: {[*desk.above.iterdir()]}, {came[:300]!r}")
    return f"desk {status}"


def _ask(port: int, chunks: list[bytes], wait_s: float = _WAIT_S) -> bytes:
    """Return what comes back until the connection is closed; after a while without anything we close our side."""
    came = b""
    with socket.create_connection(("127.0.0.1", port), timeout=wait_s) as connection, suppress(OSError):
        for chunk in chunks:
            connection.sendall(chunk)
        for _ in range(2):
            with suppress(TimeoutError):
                while piece := connection.recv(65_536):
                    came += piece
                return came
            connection.shutdown(socket.SHUT_WR)
    return came


def _check(came: bytes, allowed: set[int]) -> int:
    """Check what came; return the first status, 0 where the connection was closed without one."""
    if not came:
        return 0
    first = came.split(b"\r\n", 1)[0].split(b" ", 2)
    if not first[0].startswith(b"HTTP/1.") or len(first) < 2 or not first[1].isdigit():
        raise Fault(f"no answer in HTTP: {came[:300]!r}")
    status = int(first[1])
    if status not in allowed and status != 100:
        raise Fault(f"status {status}: {came[:500]!r}")
    if b"Traceback" in came or b"tornado" in came.lower():
        raise Fault(f"tells of its inside: {came[:500]!r}")
    return status
