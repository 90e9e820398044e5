"""What browsers are answered: the page, its updates, and one plain sentence for all else."""

from __future__ import annotations

import asyncio
import secrets
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from functools import cache
from html import escape
from http import HTTPStatus
from importlib.resources import files
from string import Template
from time import monotonic

from tornado.iostream import IOStream, StreamClosedError
from tornado.web import Application, HTTPError

from ...analysis.cautions import CAUTIONS
from ..served.guarded import Guarded, Guards
from .board import Board
from .view import LiveState

MOST_VIEWERS = 40
#: A viewer that takes nothing for so long is let go; it comes back by itself if it is still there. [s]
PATIENCE_S = 30.0
#: And for so long, where another viewer is waiting for its place. [s]
_BEHIND_S = 2.0
#: Where nothing is new for so long, a line without meaning shows whether the viewer is still there. [s]
_SIGN_OF_LIFE_S = 15.0

_SENTENCES = {
    400: "This request cannot be understood.",
    403: "The link is needed that the capture printed. Each opens the page once; the next one stands in its terminal.",
    404: "There is nothing here. The page is at the address without anything behind it, the stage at /stage.",
    405: "This page can only be looked at.",
    421: "This computer has no such name. Use the address that the capture printed.",
    500: "The page has a fault of ours. The capture goes on.",
    503: "There are too many viewers already.",
}


@dataclass
class House(Guards):
    """What all answers share.

    ``used`` is told from where a link was used; ``watching`` take the updates, and those of ``behind_since`` have not
    taken the last one yet. [s] ``title`` is what both pages are called before the first state comes.
    """

    used: Callable[[str], None]
    title: str = "what is being measured"
    board: Board = field(default_factory=Board)
    watching: set[IOStream] = field(default_factory=set)
    behind_since: dict[IOStream, float] = field(default_factory=dict)

    @property
    def viewers(self) -> int:
        """How many take the updates."""
        return len(self.watching)

    def has_room(self) -> bool:
        """Tell whether one viewer more may watch; whoever has taken nothing for longest is let go for it."""
        if self.viewers < MOST_VIEWERS:
            return True
        late = min(self.behind_since, key=lambda stream: self.behind_since[stream], default=None)
        if late is None or monotonic() - self.behind_since[late] < _BEHIND_S:
            return False
        late.close()
        return True


class _OfCapture(Guarded):
    """An answer of the page beside the pump."""

    sentences = _SENTENCES
    house: House

    def initialize(self, house: House) -> None:
        """Take what all answers share."""
        self.house = self.guards = house


class _Page(_OfCapture):
    """The page, or the stage, without any figure: they come by its updates."""

    def initialize(self, house: House, name: str = "live") -> None:
        """Take which of the two it is."""
        super().initialize(house)
        self.name = name

    def get(self) -> None:
        # Only the style and script that are in the page itself may run: what a log's text might smuggle in does not.
        nonce = secrets.token_urlsafe(16)
        allowed = f"style-src 'nonce-{nonce}'; script-src 'nonce-{nonce}'; connect-src 'self'; img-src data:"
        rest = "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
        self.set_header("Content-Security-Policy", f"default-src 'none'; {allowed}; {rest}")
        self.finish(page(self.name, self.house.title, nonce))


class _Entrance(_OfCapture):
    """A link: spent at its first use, for a session."""

    needs_session = False

    def get(self, key: str) -> None:
        session = self.house.access.spend(key)
        if session is not None:
            self.let_session_in(session)
            if not self.house.access.is_standing(key):
                self.house.used(self.request.remote_ip or "somewhere")
        elif not self.let_in:
            raise HTTPError(HTTPStatus.FORBIDDEN)
        # Not a redirection: after a link in a mail or chat page, the browser would not yet send a strict cookie.
        self.finish(entrance())


class _Updates(_OfCapture):
    """The states of the capture as server-sent events: always the newest, never a queue."""

    needs_own_page = True

    async def get(self) -> None:
        if not self.house.has_room():
            raise HTTPError(HTTPStatus.SERVICE_UNAVAILABLE)
        self.set_header("Content-Type", "text/event-stream; charset=utf-8")
        # Counted in and out here alone: a viewer that vanishes leaves by the same way.
        self.house.watching.add(self.stream)
        try:
            await self._watch()
        # Gone, or taking nothing: it comes back by itself, and is told all it missed in one state.
        except (StreamClosedError, TimeoutError):
            self.stream.close()
        finally:
            self.house.watching.discard(self.stream)

    async def _watch(self) -> None:
        state: LiveState | None = None
        seen: dict[int, int] = {}
        while state is None or not state.ended:
            newer = await self.house.board.newer(state, _SIGN_OF_LIFE_S)
            if newer is None and self.house.board.closed:
                return
            # Whoever took long has missed states, and gets the newest with all points since its last.
            state = newer or state
            self.write(f"data: {newer.message(seen)}\n\n" if newer is not None else ": still here\n\n")
            self.house.behind_since[self.stream] = monotonic()
            try:
                await asyncio.wait_for(self.flush(), PATIENCE_S)
            finally:
                del self.house.behind_since[self.stream]


class _Nothing(_OfCapture):
    """Any other address."""

    def get(self) -> None:
        raise HTTPError(HTTPStatus.NOT_FOUND)


def application(house: House) -> Application:
    """Return the addresses there are: the page, the stage, their updates, and links."""
    shared = {"house": house}
    links = [(r"/([A-Za-z0-9_-]{8,64})", _Entrance, shared)] if house.access.guarded else []
    return Application(
        [
            (r"/", _Page, shared),
            (r"/stage", _Page, {**shared, "name": "stage"}),
            (r"/updates", _Updates, shared),
            *links,
        ],
        default_handler_class=_Nothing,
        default_handler_args=shared,
        log_function=lambda _handler: None,
    )


def page(name: str, title: str, nonce: str) -> str:
    """Return the page ``live`` or ``stage``; `nonce` marks style and script as its own for the browser's policy."""
    styles, scripts = ("page.css", "live_chart.css", f"{name}.css"), ("live_link.js", "live_chart.js", f"{name}.js")
    parts = {"style": _joined(styles), "script": _joined(scripts), "cautions": _cautions()}
    return Template(_text(f"{name}.html")).substitute(parts, title=escape(title), nonce=escape(nonce))


def entrance() -> str:
    """Return the page behind a link: it leads on to the page, and so out of the address bar."""
    return _text("entrance.html")


def _cautions() -> str:
    return "\n".join(f"<li>{escape(text)}</li>" for text in CAUTIONS)


def _joined(names: Iterable[str]) -> str:
    return "\n".join(map(_text, names))


@cache
def _text(name: str) -> str:
    return files("shuntbook.cli.render.page").joinpath("templates", name).read_text("utf-8")
