"""Where the desk begins: what is in the folder, what can be done with it, and files that are dropped on it."""

from __future__ import annotations

import os
from collections.abc import Sequence, Set
from contextlib import ExitStack, suppress
from datetime import datetime
from http import HTTPStatus
from typing import Final, cast

from tornado.http1connection import HTTP1Connection
from tornado.httputil import HTTPFile, HTTPInputError, parse_body_arguments
from tornado.web import HTTPError, stream_request_body

from ...ingest.errors import InputError
from ...ingest.log.log import JOURNAL_SUFFIX
from ...ingest.safe_files.whole_file import hidden_beside, take_free_place
from ..capture.running import running_captures
from .captures import since
from .chosen import NO_SITE, chosen_site
from .days import log_days
from .desk_handler import Desk, DeskHandler, address
from .folder import FILMS, MOST_FILES, Entry, FileKind, kind_of

#: The largest export that is taken from the browser: what is larger is copied sooner by hand. [bytes]
LARGEST_DROPPED: Final = 500_000_000
#: The largest that a form may send without a script: it is held in memory. [bytes]
_LARGEST_FORM: Final = 50_000_000


#: So many logs are told of with their answers, and so long that may take: the page should stand at once. [1], [s]
_MOST_ANSWERED, _PATIENCE_S = 30, 0.7
#: Of a longer list what is beyond this is folded. [1]
_FOLDED_FROM: Final = 12

#: Where each kind of file leads, under which heading it stands, and what is done with it there.
_STEPS: Final[dict[FileKind, tuple[str, str, str]]] = {
    "log": ("/answer", "Logs", "what it took"),
    "export": ("/export", "Exports", "read it into a log"),
    "film": ("/film", "Films", "read the display in it"),
    "site": ("/system", "Systems", "what hangs on what"),
    "profile": ("/meter", "Profiles", "how a meter is read"),
    "display": ("/film", "Displays in films", "where they stand"),
    "page": ("/page", "Pages", "to show others"),
}


class Begin(DeskHandler):
    """The folder, by what its files are."""

    step = "Folder"

    async def get(self) -> None:
        """Show it."""
        folder = self.desk.folder
        entries = await self.in_thread(folder.entries)
        captures = await self.in_thread(running_captures, folder.path)
        chosen = await self.in_thread(chosen_site, folder, "")
        logs = await self.in_thread(log_days, folder, chosen, most=_MOST_ANSWERED, patience_s=_PATIENCE_S)
        unread = unread_exports(entries)
        self.show(
            "begin.html",
            groups=[(kind, *_STEPS[kind], _of_kind(entries, kind, unread)) for kind in _STEPS],
            answers={day.name: day for day in logs},
            site=chosen.name or NO_SITE,
            unread={entry.name for entry in (*unread, *unread_exports(entries, "film"))},
            next_step=_next_step(entries, unread),
            is_full=len(entries) >= MOST_FILES,
            may_write=os.access(folder.path, os.W_OK),
            folded=_FOLDED_FROM,
            size=_size,
            largest=_size(LARGEST_DROPPED),
            films=FILMS,
            changed=_changed,
            captures=captures,
            cut_off=_cut_off(entries, {capture.state.log.name for capture in captures}),
            since=since,
        )


def unread_exports(entries: Sequence[Entry], kind: FileKind = "export") -> list[Entry]:
    """Return the exports that no log is named after: what is read bears its export's name, unless told another."""
    logs = [_stem(entry) for entry in entries if entry.kind == "log"]
    exports = (entry for entry in entries if entry.kind == kind)
    return [export for export in exports if not any(log.startswith(_stem(export)) for log in logs)]


def _stem(entry: Entry) -> str:
    return entry.name.partition(".")[0].lower()


def _of_kind(entries: Sequence[Entry], kind: FileKind, unread: Sequence[Entry]) -> list[Entry]:
    """Return the files of a kind, the newest first, but exports that wait to be read before those that were."""
    of_kind = (entry for entry in entries if entry.kind == kind)
    return sorted(of_kind, key=lambda entry: entry.kind == "export" and entry not in unread)


def _next_step(entries: Sequence[Entry], unread: Sequence[Entry]) -> tuple[str, str] | None:
    """Return where to go on and what that is called; None where nothing waits."""
    newest_log = next((entry for entry in entries if entry.kind == "log"), None)
    if unread and (newest_log is None or unread[0].changed_s > newest_log.changed_s):
        return address("/export", file=unread[0].name), f"Read {unread[0].name} into a log"
    if newest_log is not None and not any(entry.kind == "site" for entry in entries):
        return "/system", "Describe the system, to learn whether all can carry it"
    return None


def _cut_off(entries: Sequence[Entry], known: Set[str]) -> list[str]:
    """Return the logs whose capture was cut off and that nothing else tells of, such as in a folder that was copied."""
    logs = (entry.name.removesuffix(JOURNAL_SUFFIX) for entry in entries if entry.name.endswith(JOURNAL_SUFFIX))
    return [log for log in logs if log not in known]


@stream_request_body
class DroppedFile(DeskHandler):
    """A file that is dropped on the desk: copied into the folder under a free name, whole or not at all.

    From a script its body is the file itself, its name stands in the address, and the answer is where to go on with it.
    A form sends it as forms do, and is led there.
    """

    def initialize(self, desk: Desk) -> None:
        """Take what all answers share, and no file as yet."""
        super().initialize(desk)
        self._held = ExitStack()
        self._form: bytearray | None = None
        self._failed: OSError | None = None
        self._most = LARGEST_DROPPED

    def prepare(self) -> None:
        """Refuse before anything of it is read: too large a file, and a name that can be none."""
        super().prepare()
        if self.request.method != "POST":
            return
        if self.request.headers.get("Content-Type", "").startswith("multipart/form-data"):
            self._form, self._most = bytearray(), _LARGEST_FORM
        self._refuse_beyond(int(self.request.headers.get("Content-Length") or 0))
        cast(HTTP1Connection, self.request.connection).set_max_body_size(self._most)
        if self._form is None:
            # as it was sent: what the library gives has had its controls and its ends taken away
            self._begin(self.request.query_arguments.get("name", [b""])[-1].decode(errors="replace"))

    def _begin(self, name: str) -> None:
        try:
            self._place = self.desk.folder.place(name)
        except InputError as error:
            self.set_status(HTTPStatus.BAD_REQUEST)
            self.finish({"wrong": str(error)})
            return
        self._hidden = self._held.enter_context(hidden_beside(self._place))
        self._file = self._held.enter_context(self._hidden.open("wb"))

    def _refuse_beyond(self, size: int) -> None:
        if size > self._most:
            raise HTTPError(HTTPStatus.REQUEST_ENTITY_TOO_LARGE)

    def data_received(self, chunk: bytes) -> None:
        """Write what has come; a form is held until it is whole, and so may be no more than small."""
        if self._form is not None:
            self._form += chunk
        elif not self._finished and self._failed is None:
            try:
                self._file.write(chunk)
            except OSError as error:
                self._failed = error  # a full disk; what still comes is let go, and then it is told

    async def post(self) -> None:
        """Keep what has come, and say where."""
        if self._failed is not None:
            raise self._failed
        if self._form is None:
            self.finish({"leads_to": await self.in_thread(self._keep)})
            return
        dropped: dict[str, list[HTTPFile]] = {}
        kind = self.request.headers["Content-Type"]
        with suppress(HTTPInputError):  # half a form holds no file
            parse_body_arguments(kind, bytes(self._form), {}, dropped, self.request.headers)
        file = next(iter(dropped.get("file", [])), None)
        if file is None or not file.filename:
            self.lead_to("/")
            return
        # Some browsers send the whole path of where it lay.
        self._begin(file.filename.replace("\\", "/").rpartition("/")[2])
        if not self._finished:
            self._file.write(file.body)
            self.lead_to(await self.in_thread(self._keep))

    def _keep(self) -> str:
        """Give the file a name that is free, now that it came whole; return the address of the step it is for."""
        self._file.flush()
        while True:
            place = self.desk.folder.place(self.desk.folder.free_name(self._place.name))
            with suppress(FileExistsError):
                take_free_place(self._hidden, place)
                kind = kind_of(place)
                return address(_STEPS[kind][0] if kind in _STEPS else "/export", file=place.name)

    def on_finish(self) -> None:
        """Remove what is left of a file that did not come whole."""
        self._held.close()

    def on_connection_close(self) -> None:
        """Remove it also where the browser went away."""
        self._held.close()


def _changed(entry: Entry) -> str:
    return datetime.fromtimestamp(entry.changed_s).strftime("%-d %b %Y, %H:%M")


def _size(size: int | Entry) -> str:
    bytes_ = size.size if isinstance(size, Entry) else size
    for unit, of in (("GB", 1e9), ("MB", 1e6), ("kB", 1e3)):
        if bytes_ >= of:
            return f"{bytes_ / of:.3g} {unit}"
    return f"{bytes_} bytes"
