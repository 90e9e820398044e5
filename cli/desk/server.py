"""The desk's server: it answers this computer alone, until Ctrl-C."""

from __future__ import annotations

import asyncio
import webbrowser
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from http import HTTPStatus
from pathlib import Path
from socket import socket
from typing import Any, Final

from tornado.httpserver import HTTPServer
from tornado.web import Application, HTTPError

from ...ingest.errors import InputError
from ..served.access import Access
from ..served.address import listen, own_names
from ..served.quiet import keep_quiet
from .answers import Answers, FolderPage, ReportPage
from .begin import Begin, DroppedFile
from .captures import CaptureEnd, CaptureNotes, Captures
from .desk_handler import MOST_OF_FORM, Desk, DeskHandler
from .exports import Exports
from .films import FilmEnd, FilmForm, FilmPicture
from .folder import Folder
from .jobs import Jobs
from .meters import MeterAsked, Meters, ProfileTried
from .plans import CompareForm, ForecastForm
from .system import SystemForm

_HERE: Final = "127.0.0.1"
_MOST_HEADER_BYTES = 16_384
#: A form that a person looks at for an hour may be sent all the same; a connection need not stand that long. [s]
_IDLE_S, _FAREWELL_S = 60.0, 2.0


class _DeskEntrance(DeskHandler):
    """A link: spent at its first use, for a session."""

    needs_session = False
    needs_own_page = False

    def get(self, key: str) -> None:
        session = self.desk.access.spend(key)
        if session is not None:
            self.let_session_in(session)
            self.desk.used()
        elif not self.let_in:
            raise HTTPError(HTTPStatus.FORBIDDEN)
        # Not a redirection: after a link in another program, the browser would not yet send a strict cookie.
        self.show("entrance.html")


class _NoSuchPage(DeskHandler):
    """Any other address."""

    def get(self) -> None:
        raise HTTPError(HTTPStatus.NOT_FOUND)


def _application(desk: Desk) -> Application:
    shared = {"desk": desk}
    pages: list[tuple[str, type[DeskHandler]]] = [
        (r"/", Begin),
        (r"/drop", DroppedFile),
        (r"/export", Exports),
        (r"/film", FilmForm),
        (r"/film/picture", FilmPicture),
        (r"/film/read", FilmEnd),
        (r"/answer", Answers),
        (r"/report", ReportPage),
        (r"/page", FolderPage),
        (r"/forecast", ForecastForm),
        (r"/compare", CompareForm),
        (r"/meter", Meters),
        (r"/meter/ask", MeterAsked),
        (r"/meter/try", ProfileTried),
        (r"/capture", Captures),
        (r"/capture/note", CaptureNotes),
        (r"/capture/end", CaptureEnd),
        (r"/system", SystemForm),
        (r"/in/([A-Za-z0-9_-]{8,64})", _DeskEntrance),
    ]
    rules: list[Any] = [(path, handler, shared) for path, handler in pages]
    return Application(
        rules,
        default_handler_class=_NoSuchPage,
        default_handler_args=shared,
        log_function=lambda _handler: None,
    )


def serve_desk(folder: Path, port: int, *, opens_browser: bool, say: Callable[[str], None]) -> None:
    """Serve the desk over a folder until Ctrl-C; `say` tells where it stands.

    Raises
    ------
    InputError
        If it is no folder, or cannot be made.
    PortFailedError
        If the port cannot be had.
    """
    _make(folder)
    listening = listen(_HERE, port, option="--port", still="")
    keep_quiet()
    asyncio.run(serve_desk_at(folder.resolve(), listening, opens_browser=opens_browser, say=say))


def _make(folder: Path) -> None:
    """Make a folder where there is none: whoever begins has none as yet. One above it that is missing is a slip."""
    try:
        folder.mkdir(exist_ok=True)
    except FileNotFoundError:
        raise InputError(f"{folder}: there is no folder {folder.parent}; make it first, or name another") from None
    except OSError as error:
        why = "is no folder" if folder.exists() else f"cannot be made ({error.strerror})"
        raise InputError(f"{folder}: {why}; name another") from None


async def serve_desk_at(folder: Path, listening: socket, *, opens_browser: bool, say: Callable[[str], None]) -> None:
    """Serve the desk over a folder at a socket that listens, until this is cancelled."""
    port = int(listening.getsockname()[1])
    access = Access(guarded=True)

    def link() -> str:
        return f"http://{_HERE}:{port}/in/{access.key}"

    with ThreadPoolExecutor(4, thread_name_prefix="desk") as threads:
        desk = Desk(access, own_names(_HERE), port, Folder(folder), Jobs(folder), threads)
        desk.used = lambda: say(f"opened in a browser; for another one: {link()}")
        server = HTTPServer(
            _application(desk),
            max_header_size=_MOST_HEADER_BYTES,
            max_body_size=MOST_OF_FORM,
            idle_connection_timeout=_IDLE_S,
        )
        listening.setblocking(False)
        server.add_socket(listening)
        say(f"the desk over {folder}: {link()}")
        say("  on this computer only; the link opens it once; Ctrl-C closes it, and captures go on")
        if opens_browser:
            with suppress(webbrowser.Error):
                await asyncio.to_thread(webbrowser.open, link())
        try:
            await asyncio.Event().wait()
        finally:
            server.stop()
            with suppress(TimeoutError):
                await asyncio.wait_for(server.close_all_connections(), _FAREWELL_S)
