"""What all pages of the desk share: who may ask, forms that are taken, pages that are filled."""

from __future__ import annotations

import asyncio
import secrets
import threading
from collections.abc import Callable, Mapping
from concurrent.futures import Executor, Future
from dataclasses import dataclass, field
from functools import cache, partial
from http import HTTPStatus
from importlib.resources import files
from typing import TYPE_CHECKING, Final, ParamSpec, TypeVar, cast
from urllib.parse import urlencode

from tornado.ioloop import IOLoop
from tornado.web import HTTPError

from ...analysis.not_known import Refusal
from ...ingest.errors import InputError
from ...ingest.zone import zone_names
from ..probing.meter_search import MeterSearches
from ..render.page.templated import Exact, environment, template_text
from ..served.guarded import Guarded, Guards
from ..site_form.system import by_fields
from .folder import Folder
from .jobs import Jobs

if TYPE_CHECKING:
    from jinja2 import Environment

P = ParamSpec("P")
R = TypeVar("R")

#: The most that a form may hold; files come another way. [bytes]
MOST_OF_FORM: Final = 1_000_000

#: Refused before anything else was looked at.
_NOT_OURS: Final = (HTTPStatus.FORBIDDEN, HTTPStatus.MISDIRECTED_REQUEST)

_SENTENCES: Final = {
    400: "This request cannot be understood.",
    403: "The link that the desk printed opens it, once. The next one then stands in its terminal.",
    404: "There is nothing here. The desk begins at the address without anything behind it.",
    405: "Nothing can be done in this way.",
    413: "This is too large to be sent here. Copy the file into the folder; then it stands on the desk.",
    421: "This computer has no such name. Use the address that the desk printed.",
    500: "The desk has a fault of ours. Your files are as they were; go back and try again.",
}


@dataclass
class Desk(Guards):
    """What all answers share: the folder, the commands that run in it, threads for what reads.

    ``making`` is held while a report page is made, ``looking`` while a film is looked at; ``searches`` are those for
    meters.
    """

    folder: Folder
    jobs: Jobs
    threads: Executor
    making: asyncio.Lock = field(default_factory=asyncio.Lock)
    looking: asyncio.Lock = field(default_factory=asyncio.Lock)
    searches: MeterSearches = field(default_factory=lambda: MeterSearches(partial(secrets.token_urlsafe, 8)))
    used: Callable[[], None] = field(default=lambda: None)


class DeskHandler(Guarded):
    """A page of the desk. What asks for a change must have the session and come from a page of ours, and say so."""

    sentences = _SENTENCES
    needs_own_page = True
    #: The heading of the step, for the list of steps at the top; "" where it is none of them.
    step = ""

    def initialize(self, desk: Desk) -> None:
        """Take what all answers share."""
        self.desk = self.guards = desk

    def set_default_headers(self) -> None:
        """Let a form of ours say where it comes from, which a browser that names no page could not."""
        super().set_default_headers()
        self.set_header("Referrer-Policy", "same-origin")

    def prepare(self) -> None:
        """Refuse as all pages do; and a change whose sender does not say that it is a page of ours."""
        super().prepare()
        if self.request.method not in ("GET", "HEAD") and self.request.headers.get("Origin") is None:
            raise HTTPError(HTTPStatus.FORBIDDEN)

    def write_error(self, status_code: int, **about: object) -> None:
        """Answer with what is wrong: on a page for whoever looks at one, else in a sentence."""
        _, error, _ = cast(tuple[object, object, object], about.get("exc_info", (None, None, None)))
        if isinstance(error, (InputError, Refusal, OSError)):
            status_code = HTTPStatus.BAD_REQUEST
            self.set_status(status_code)
            sentence = self.desk.folder.without_path(_sentence_of(error))
        else:
            sentence = self.sentence_of(status_code)
        if "text/html" not in self.request.headers.get("Accept", ""):
            super().write_error(status_code, sentence=sentence)
            return
        # Whoever is not let in learns nothing of the folder, but how one is.
        is_ours = self.let_in and status_code not in _NOT_OURS
        self.show("trouble.html" if is_ours else "refused.html", sentence=sentence)

    def show(self, template: str, **parts: object) -> None:
        """Answer with a page of the desk."""
        nonce = secrets.token_urlsafe(16)
        own = f"style-src 'nonce-{nonce}'; script-src 'nonce-{nonce}'; connect-src 'self'; img-src 'self' data:"
        rest = "frame-src 'self'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
        self.set_header("Content-Security-Policy", f"default-src 'none'; {own}; {rest}")
        self.set_header("Content-Type", "text/html; charset=utf-8")
        page = _pages().get_template(template)
        text = page.render(
            nonce=nonce,
            step=self.step,
            folder=str(self.desk.folder.path),
            style="\n".join(map(_template_text, ("page.css", "desk.css"))),
            script=_template_text("desk.js"),
            **parts,
        )
        self.finish(text)

    def lead_to(self, path: str, **query: str) -> None:
        """Lead the browser on after a change, so that to load the page again changes nothing once more."""
        self.redirect(address(path, **query), status=HTTPStatus.SEE_OTHER)

    def field(self, name: str) -> str:
        """Return what was typed into a field of the form or stands in the address; "" where there is none."""
        return self.get_argument(name, "").strip()

    async def in_thread(self, work: Callable[P, R], *args: P.args, **named: P.kwargs) -> R:
        """Have a thread do what reads files or reckons, so that other pages are answered meanwhile."""
        return await IOLoop.current().run_in_executor(self.desk.threads, partial(work, *args, **named))

    async def in_own_thread(self, work: Callable[[], R]) -> R:
        """Have a thread of its own do what waits for a meter: no page, nor the end of the desk, waits for it."""
        ended: Future[R] = Future()
        threading.Thread(target=_into, args=(ended, work), name="waiting", daemon=True).start()
        return await asyncio.wrap_future(ended)


def _into(ended: Future[R], work: Callable[[], R]) -> None:
    try:
        result = work()
    except BaseException as error:  # it is raised where it is waited for
        ended.set_exception(error)
    else:
        ended.set_result(result)


def address(path: str, **query: str) -> str:
    """Return an address of the desk, such as ``/export?file=june.csv``."""
    return f"{path}?{urlencode(query)}" if query else path


def errors_by_field(error: InputError, fields: Mapping[str, str]) -> dict[str, str]:
    """Return an error's sentences by the field that each is about; those of no field stand under "".

    `fields` names, for a key or an option as sentences name it, the form's field.
    """
    by_field: dict[str, str] = {}
    for sentence in map(str, error.args):
        of = next((name for word, name in fields.items() if word in sentence), "")
        by_field[of] = f"{by_field[of]} {sentence}" if of in by_field else sentence
    return by_field


def _sentence_of(error: InputError | Refusal | OSError) -> str:
    if not isinstance(error, OSError):
        return " ".join(map(str, error.args))
    named = f"{error.filename}: " if error.filename is not None else ""
    why = error.strerror or error
    return f"{named}cannot be read or written here ({why}); look who may use the folder, and whether its disk is full"


@cache
def _pages() -> Environment:
    """Return what fills the desk's pages, with what they name besides what they are given."""
    pages = environment(_template_text)
    pages.globals["address"] = lambda path, **query: Exact(address(path, **query))
    pages.globals["zones"] = zone_names
    pages.filters["by_fields"] = by_fields
    return pages


def _template_text(name: str) -> str:
    own = files(__package__).joinpath("templates", name)
    return own.read_text("utf-8") if own.is_file() else template_text(name)
