"""Requests to the live page: whole, torn, huge, from elsewhere, and what is no request at all."""

from __future__ import annotations

import json
import random
import socket
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from functools import cache
from pathlib import Path

from shuntbook.cli.live_page.server import LivePage, live_page

from .case import Case
from .damage import bytes_damaged
from .law import Fault

_ALLOWED = {200, 400, 403, 404, 405, 421, 503}
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


def make(rng: random.Random) -> Case:
    """Return one or two requests over one connection, in pieces."""
    requests = b"".join(_request(rng) for _ in range(rng.choice([1, 1, 1, 2])))
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
    return Case("page", chunks=chunks, known={"guarded": rng.random() < 0.5})


def _request(rng: random.Random) -> bytes:
    version = rng.choice(["HTTP/1.1"] * 6 + ["HTTP/1.0", "HTTP/9.9", "", "x"])
    head = [f"{rng.choice(_METHODS)} {rng.choice(_PATHS)} {version}"]
    head += ["Host: {host}"] if rng.random() < 0.7 else []
    head += rng.choices(_HEADERS, k=rng.choice([0, 0, 1, 3, 200 if rng.random() < 0.1 else 5]))
    end = rng.choice(["\r\n"] * 5 + ["\n", "\r"])
    body = rng.choice([b"", b"", b"hello", b"5\r\nhello\r\n0\r\n\r\n", b"zz\r\n", b"x" * 3000])
    return end.join([*head, "", ""]).encode("utf-8" if rng.random() < 0.9 else "latin-1", "replace") + body


def run(case: Case, folder: Path) -> str:
    """Send the requests; the page must answer something sensible or hang up, and serve the next one as ever."""
    del folder
    guarded = bool(case.known["guarded"])
    page = _page(guarded)
    port = page._listening.getsockname()[1]
    host = f"127.0.0.1:{port}".encode()
    chunks = [chunk.replace(b"{host}", host).replace(b"{port}", b"%d" % port) for chunk in case.chunks]
    came = _ask(port, chunks)
    status = _check(came, guarded)
    after = _ask(port, [b"GET / HTTP/1.1\r\nHost: " + host + b"\r\nConnection: close\r\n\r\n"], _PATIENCE_S)
    if not after.startswith(b"HTTP/1.1 403 " if guarded else b"HTTP/1.1 200 "):
        raise Fault(f"does not answer as ever afterwards: {after[:300]!r}")
    if stopped := [line for line in page.news() if "stopped" in line]:
        raise Fault(f"the page has stopped: {stopped}")
    return str(status)


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


def _check(came: bytes, guarded: bool) -> int:
    """Check what came; return the first status, 0 where the connection was closed without one."""
    if not came:
        return 0
    first = came.split(b"\r\n", 1)[0].split(b" ", 2)
    if not first[0].startswith(b"HTTP/1.") or len(first) < 2 or not first[1].isdigit():
        raise Fault(f"no answer in HTTP: {came[:300]!r}")
    status = int(first[1])
    if status not in _ALLOWED and status != 100:
        raise Fault(f"status {status}: {came[:500]!r}")
    if guarded and status == 200:
        raise Fault(f"let in without a link: {came[:500]!r}")
    if b"Traceback" in came or b"tornado" in came.lower():
        raise Fault(f"tells of its inside: {came[:500]!r}")
    return status
