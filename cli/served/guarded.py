"""Who is answered at all: Host, Origin and session are looked at before anything else."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from http import HTTPStatus
from typing import ClassVar, Final, cast

from tornado.http1connection import HTTP1Connection
from tornado.iostream import IOStream
from tornado.web import HTTPError, RequestHandler

from .access import Access, is_own_host, is_own_origin

_HEADERS: Final = {
    "Cache-Control": "no-store",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Content-Security-Policy": "default-src 'none'; img-src data:; frame-ancestors 'none'",
}


@dataclass
class Guards:
    """What every answer asks: the `access` there is, the `names` of this computer in small letters, and the port.

    The `port` is part of the cookie's name, since two pages on one computer must not share one.
    """

    access: Access
    names: frozenset[str]
    port: int

    @property
    def cookie(self) -> str:
        """Name of the session's cookie."""
        return f"shuntbook_{self.port}"


class Guarded(RequestHandler):
    """Looks at Host, Origin and session before anything is answered; answers nothing but GET.

    A refusal is one of `sentences`, by its status.
    """

    needs_session = True
    needs_own_page = False
    sentences: ClassVar[Mapping[int, str]]
    guards: Guards

    def set_default_headers(self) -> None:
        """Keep nothing, guess nothing, load nothing, and do not name the server's make."""
        self.clear_header("Server")
        for name, value in _HEADERS.items():
            self.set_header(name, value)

    def prepare(self) -> None:
        """Refuse whoever calls this computer by another name, comes from another page or has no session."""
        # The name first: whoever calls this computer by one not its own is a page elsewhere, whatever session its
        # browser has.
        headers = self.request.headers
        if not is_own_host(self.request.host, str(self.stream.socket.getsockname()[0]), self.guards.names):
            raise HTTPError(HTTPStatus.MISDIRECTED_REQUEST)
        site = headers.get("Sec-Fetch-Site") if self.needs_own_page else None
        if not is_own_origin(headers.get("Origin"), site, self.request.host):
            raise HTTPError(HTTPStatus.FORBIDDEN)
        if self.needs_session and not self.let_in:
            raise HTTPError(HTTPStatus.FORBIDDEN)

    @property
    def let_in(self) -> bool:
        """Whether the browser has a session, or needs none."""
        return self.guards.access.lets_in(self.get_cookie(self.guards.cookie))

    def let_session_in(self, session: str) -> None:
        """Give the browser a session, which no script can read and no other page can make it send."""
        self.set_cookie(self.guards.cookie, session, httponly=True, samesite="Strict")

    @property
    def stream(self) -> IOStream:
        """The connection itself."""
        return cast(HTTP1Connection, self.request.connection).stream

    def write_error(self, status_code: int, **about: object) -> None:
        """Answer with one plain sentence: the one that is given, else that of the status."""
        self.set_header("Content-Type", "text/plain; charset=utf-8")
        if status_code == HTTPStatus.METHOD_NOT_ALLOWED:
            self.set_header("Allow", "GET")
        self.finish(f"{about.get('sentence', self.sentence_of(status_code))}\n")

    def sentence_of(self, status_code: int) -> str:
        """Return what a refusal says."""
        return self.sentences.get(status_code, self.sentences[500 if status_code >= 500 else 400])
