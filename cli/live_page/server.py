"""The page's server: a thread with a loop of its own, so that no viewer can hold up the capture."""

from __future__ import annotations

import asyncio
import socket
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress

from tornado.httpserver import HTTPServer
from tornado.iostream import IOStream

from ..capture.live_meter import Snapshot
from ..capture.show import Say, Times
from ..render.wording import numbers
from ..served.access import Access
from ..served.address import bound_ip, host_to_type, listen, own_names, parse_page
from ..served.quiet import keep_quiet
from .handlers import House, application
from .link_code import code_lines, is_drawn
from .view import MOST_OF_TITLE, LiveState, live_state

_MOST_CONNECTIONS = 100
_MOST_HEADER_BYTES, _MOST_BODY_BYTES = 16_384, 1_024
#: How long a connection may stand without asking anything, and how long viewers have to take the last state. [s]
_IDLE_S, _FAREWELL_S = 30.0, 2.0


class LivePage:
    """Serves the newest state of a capture on a socket that listens at `host`, as it was asked for.

    All its methods are for the capture's thread, and none waits for a viewer.
    """

    def __init__(self, host: str, listening: socket.socket) -> None:
        self._listening = listening
        port = int(listening.getsockname()[1])
        self._address = f"http://{host_to_type(host, listening)}:{port}/"
        self._access = Access(guarded=not bound_ip(listening).is_loopback, standing=True)
        self._house = House(self._access, own_names(host), port, self._link_used)
        self._news: deque[str] = deque(self._opening())
        self._newest: LiveState | None = None
        self._waking = False
        self._loop: asyncio.AbstractEventLoop | None = None
        self._closing = asyncio.Event()
        self._ready = threading.Event()
        self._thread = threading.Thread(target=self._run, name="live page", daemon=True)

    @property
    def is_up(self) -> bool:
        """Whether it still answers."""
        return self._thread.is_alive()

    @property
    def is_guarded(self) -> bool:
        """Whether others than this computer can reach it, by a link."""
        return self._access.guarded

    def call(self, title: str) -> None:
        """Give page and stage their title from now on."""
        self._house.title = title

    @property
    def link(self) -> str:
        """The address to open; where others can reach it, with the key that opens it once."""
        return self._address + (self._access.key if self._access.guarded else "")

    @property
    def own_link(self) -> str:
        """The address for whoever captures: it opens the page as often as they like, and stands nowhere in the open."""
        return self._address + (self._access.standing_key if self._access.guarded else "")

    def start(self) -> None:
        """Begin to serve."""
        self._thread.start()
        self._ready.wait()

    def publish(self, state: LiveState) -> None:
        """Show a newer state: whoever is still busy with an older one misses those between."""
        # One wake-up at a time: a loop that is busy must not find hundreds of them when it comes to it.
        self._newest = state
        if not self._waking:
            self._waking = True
            self._call(self._pin)

    def news(self) -> list[str]:
        """Return what is to be told the person at the terminal since the last call."""
        lines = []
        while self._news:
            lines.append(self._news.popleft())
        return lines

    def close(self) -> None:
        """End it; viewers have a moment to take the last state."""
        self._call(self._closing.set)
        self._thread.join(3 * _FAREWELL_S)
        self._listening.close()

    def _call(self, what: Callable[[], None]) -> None:
        """Have the server's loop do something; nothing happens where it has stopped."""
        loop = self._loop
        if loop is not None:
            with suppress(RuntimeError):  # it is closed
                loop.call_soon_threadsafe(what)

    def _pin(self) -> None:
        self._waking = False
        if self._newest is not None:
            self._house.board.pin(self._newest)

    def _opening(self) -> list[str]:
        if not self._access.guarded:
            return [f"live page: {self.link} (on this computer only)"]
        return [
            f"live page, for one viewer: {self.link}",
            "  the link opens it once; the next viewer's is printed here as soon as this one is used",
            "  the way to it is not encrypted: use it in a network you trust",
        ]

    def _link_used(self, where: str) -> None:
        self._news.append(f"live page: opened from {where}; for the next viewer: {self.link}")

    def _run(self) -> None:
        # Whatever goes wrong here ends the page and not the capture.
        try:
            keep_quiet()
            asyncio.run(self._serve())
        except Exception as error:
            self._news.append(f"note: the live page has stopped ({error}); the capture goes on without it")
        finally:
            self._ready.set()  # or `start` would wait for ever where it could not begin

    async def _serve(self) -> None:
        self._loop = asyncio.get_running_loop()
        server = _Server(
            application(self._house),
            max_header_size=_MOST_HEADER_BYTES,
            max_body_size=_MOST_BODY_BYTES,
            idle_connection_timeout=_IDLE_S,
            body_timeout=_IDLE_S,
        )
        server.house = self._house
        self._listening.setblocking(False)
        server.add_socket(self._listening)
        self._ready.set()
        await self._closing.wait()
        server.stop()
        self._house.board.close()
        # The last state says that it is the last: viewers have a moment to take it, and no more.
        until = time.monotonic() + _FAREWELL_S
        while self._house.viewers and time.monotonic() < until:
            await asyncio.sleep(0.02)
        await asyncio.wait_for(server.close_all_connections(), _FAREWELL_S)


class _Server(HTTPServer):
    """Takes so many connections and no more: the capture needs files and ports, too.

    Where a new one comes, the one that has been open longest without taking updates makes room: whoever asks for the
    page is answered within moments, and what only stands there, or asks a letter a second, keeps nobody out.
    """

    house: House  # set before it takes anybody

    def initialize(self, *args: object, **kwargs: object) -> None:
        super().initialize(*args, **kwargs)  # type: ignore[arg-type]
        self._streams: list[IOStream] = []  # the oldest first

    def handle_stream(self, stream: IOStream, address: tuple[str, int]) -> None:
        self._streams = [known for known in self._streams if not known.closed()]
        if len(self._streams) >= _MOST_CONNECTIONS:
            oldest = next((known for known in self._streams if known not in self.house.watching), stream)
            oldest.close()
        if not stream.closed():
            self._streams.append(stream)
            super().handle_stream(stream, address)


@contextmanager
def live_page(where: str) -> Iterator[LivePage]:
    """Serve a page at ``[HOST:]PORT`` while the block lasts; `InputError` or `PortFailedError` if that cannot be."""
    host, port = parse_page(where)
    page = LivePage(host, listen(host, port))
    page.start()
    try:
        yield page
    finally:
        page.close()


#: Often enough for figures that people read, seldom enough for a small computer with ten viewers. [s]
_EVERY_S = 0.5


#: A link that is used once the capture has ended makes way for the next within so long. [s]
_LOOK_EVERY_S = 0.2


class ToPage:
    """Shows browsers how a capture goes, under a title, and how it went for `stays_s` after its end. [s]"""

    def __init__(self, page: LivePage, title: str, stays_s: float) -> None:
        self._page, self._title, self._stays_s = page, numbers.shortened(title, MOST_OF_TITLE), stays_s
        self._page.call(self._title)
        self._due = 0.0

    def step(
        self,
        snapshots: Callable[[], Sequence[Snapshot]],
        times: Times,
        say: Say,
    ) -> None:
        """Show how it goes, if that is due, and tell the person here what the page has to say."""
        self._tell_news(say)
        # A snapshot takes all meters' folds together, and so is made only when it is due.
        if time.monotonic() >= self._due:
            self._due = time.monotonic() + _EVERY_S
            self._publish(snapshots(), times, ended=False)

    def end(self, snapshots: Sequence[Snapshot], times: Times) -> None:
        """Show the last figures, and that they are the last."""
        self._publish(snapshots, times, ended=True)

    def stay(self, ended: Callable[[], bool], say: Say) -> None:
        """Answer those who come late, or slept through the end, for a while."""
        if not self._stays_s or not self._page.is_up:
            return
        say(f"the page stays up for {numbers.duration(self._stays_s)}; Ctrl-C ends it")
        until = time.monotonic() + self._stays_s
        while self._page.is_up and not ended() and time.monotonic() < until:
            self._tell_news(say)
            time.sleep(_LOOK_EVERY_S)

    def _tell_news(self, say: Say) -> None:
        news = self._page.news()
        for line in news:
            say(line)
        # A code for this computer alone would lead a phone to itself.
        for line in code_lines(self._page.link) if news and self._page.is_guarded else ():
            say(line, drawn=is_drawn(line))

    def _publish(self, snapshots: Sequence[Snapshot], times: Times, *, ended: bool) -> None:
        elapsed_s, left_s = times
        self._page.publish(live_state(snapshots, title=self._title, elapsed_s=elapsed_s, left_s=left_s, ended=ended))
