"""Captures from the page: begun, followed, spoken to and ended; each goes on by itself if the desk is no more."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from http import HTTPStatus
from typing import Any, Final
from urllib.parse import quote, unquote

from ...ingest.errors import InputError
from ...ingest.journal.journal import journal_path
from ...ingest.live.address import parse_address
from ...ingest.live.serial_port import list_ports
from ...ingest.zone import zone_of_computer
from ..capture.display_typed import doubtful_amounts, wrong_with_typed
from ..capture.running import end_capture, last_words, leave_note, running_captures, start_capture
from ..capture.state_file import FoundCapture, find_capture
from ..live_page.asking import newest_view
from .chosen import NO_SITE, ChosenSite, as_argument, chosen_site, tried
from .desk_handler import DeskHandler
from .folder import Folder

_LOG: Final = ".parquet"
#: What the person types from a display.
HAND: Final = "hand:"
#: In the place of a source: all meters of the site file that say how they are read.
_OF_SITE: Final = "site"
#: So long the capture's own page shows its last figures to whoever still looks at it.
_STAYS: Final = "1m"
_COOKIE: Final = "shuntbook_note_words"
#: Words for notes until a person has chosen their own, and as many as find room. [1], [characters]
_WORDS: Final = ("demo begins", "end")
_MOST_WORDS, _LONGEST_WORD = 12, 40
#: What a command says of the next one, which the page has a button for.
_NEXT: Final = "next: "
_YEAR_DAYS: Final = 365
_FIELDS: Final = ("source", "what", "profile", "length", "name", "title", "zone", "every", "side")
#: By the words that a sentence names them by.
_BY_OPTION: Final = {
    "--for": "length", "--every": "every", "--zone": "zone", "--title": "title",
    "--site": "site",
}  # fmt: skip


class Captures(DeskHandler):
    """What is being captured, one capture, or the form that begins one."""

    step = "Capture"

    async def get(self) -> None:
        """Show it."""
        if not self.field("log"):
            await self._show_form({})
        elif self.field("part") == "figures":
            await self._show_figures()
        else:
            await self.show_one(self.field("log"))

    async def post(self) -> None:
        """Begin a capture, and lead to its page."""
        capture, sentences = await self.in_own_thread(lambda: tried(self._begin, self.desk.folder, self._fields()))
        if sentences:
            self.set_status(HTTPStatus.BAD_REQUEST)
            await self._show_form(sentences)
        else:
            self.lead_to("/capture", log=capture.state.log.name if capture is not None else self._name())

    def _fields(self) -> dict[str, str]:
        """Return the form's field for a word of a sentence; what is said of nothing else is said of the source."""
        named = {self.field(field): field for field in ("profile", "site") if self.field(field)}
        # Without a profile there is no such field to say it at.
        by_profile = {"--profile": "profile"} if self.desk.folder.of_kind("profile") else {}
        return {**_BY_OPTION, **by_profile, self._name(): "name", "file's name": "name", **named, "": "source"}

    def _name(self) -> str:
        name = self.field("name") or self._free_name()
        return name if name.endswith(_LOG) else f"{name}{_LOG}"

    def _free_name(self) -> str:
        return self.desk.folder.free_name(f"{date.today().isoformat()}{_LOG}")

    def _begin(self) -> FoundCapture | None:
        folder, name = self.desk.folder, self._name()
        folder.place(name)
        return start_capture(folder.path, as_argument(name), self._words())

    def _words(self) -> list[str]:
        """Return what follows ``capture`` on the command line."""
        # What is none is told before anything is begun, and begins with no dash.
        of_site = self.field("what") == _OF_SITE
        # All meters of a site bring their own sources and profiles.
        source = [] if of_site else [parse_address(self.field("source")).text]
        site, profile = self.field("site"), "" if of_site else self.field("profile")
        words = [*source]
        if site not in ("", NO_SITE):
            words.append(f"--site={self.desk.folder.existing(site).name}")
        if profile:
            words.append(f"--profile={self.desk.folder.existing(profile).name}")
        options = {"for": "length", "every": "every", "zone": "zone", "title": "title", "side": "side"}
        words += [f"--{option}={self.field(field)}" for option, field in options.items() if self.field(field)]
        return [*words, "--page=0", f"--page-stays={_STAYS}"]

    async def _show_form(self, sentences: Mapping[str, str]) -> None:
        folder = self.desk.folder
        chosen = await self.in_thread(chosen_site, folder, self.field("site"))
        values = {name: self.field(name) for name in _FIELDS}
        values["name"] = values["name"] or await self.in_thread(self._free_name)
        self.show(
            "capture.html",
            captures=await self.in_thread(running_captures, folder.path),
            sources=await self.in_thread(_sources),
            profiles=[("", "none"), *((e.name, e.name) for e in await self.in_thread(folder.of_kind, "profile"))],
            chosen=chosen,
            site=self.field("site") or chosen.name,
            meters=_read_meters(chosen),
            values=values,
            usual_zone=(chosen.site.zone if chosen.site is not None else None) or zone_of_computer(),
            sentences={**chosen.wrong, **sentences},
            since=since,
        )

    async def show_one(self, log: str, sentences: Mapping[str, str] | None = None, typed: str = "") -> None:
        """Show a capture that runs, was cut off, or has ended."""
        sentences = dict(sentences or {})
        path, wrong = await self.in_thread(tried, lambda: self.desk.folder.place(log), self.desk.folder, {})
        if path is None:
            await self._show_form(wrong)
            return
        capture = await self.in_thread(find_capture, path)
        view = await self._view_of(capture)
        # While it runs they are not its last.
        words = await self.in_thread(last_words, path) if capture is None else ""
        self.show(
            "capturing.html",
            log=log,
            capture=capture,
            view=view,
            typed=typed,
            noted=self.field("noted"),
            by_hand=capture is not None and capture.state.source == HAND,
            doubt=self._doubt(typed) if sentences.get("text") else "",
            note_words=self._note_words(),
            last=[line for line in words.splitlines() if not line.strip().startswith(_NEXT)],
            logs=await self.in_thread(_logs_of, self.desk.folder, log, words) if capture is None else [],
            sentences=sentences,
            since=since,
        )

    def _doubt(self, text: str) -> str:
        return doubtful_amounts(text)

    async def _view_of(self, capture: FoundCapture | None) -> dict[str, Any] | None:
        if capture is None or not capture.running or capture.state.page is None:
            return None
        return await self.in_own_thread(lambda: newest_view(capture.state.page or ""))

    async def _show_figures(self) -> None:
        """Answer with the newest figures alone; with nothing where it has ended, so that the page is loaded again."""
        path, _ = tried(lambda: self.desk.folder.place(self.field("log")), self.desk.folder, {})
        capture = None if path is None else await self.in_thread(find_capture, path)
        if capture is None or not capture.running:
            self.set_status(HTTPStatus.NO_CONTENT)
            return
        self.show("figures.html", view=await self._view_of(capture), capture=capture)

    def _note_words(self) -> list[str]:
        """Return the words that this browser's buttons note."""
        return _as_words(unquote(self.get_cookie(_COOKIE) or "")) or list(_WORDS)

    def keep_note_words(self, text: str) -> None:
        """Keep one's own words for the next captures, in the browser alone."""
        self.set_cookie(
            _COOKIE, quote("\n".join(_as_words(text.replace(",", "\n")))), httponly=True, samesite="Strict",
            expires_days=_YEAR_DAYS,
        )  # fmt: skip


class CaptureNotes(Captures):
    """Notes and readings that are left for a capture, and one's own words for the buttons."""

    async def get(self) -> None:
        """Show the capture: a note is sent, not asked for."""
        self.lead_to("/capture", log=self.field("log"))

    async def post(self) -> None:
        """Leave one, and lead back."""
        log = self.field("log")
        if "words" in self.request.body_arguments:
            self.keep_note_words(self.field("words"))
            self.lead_to("/capture", log=log)
            return
        text = self.field("word") or self.field("text")
        _, sentences = await self.in_own_thread(
            lambda: tried(lambda: self._leave(log, text), self.desk.folder, {"": "text"})
        )
        if sentences:
            self.set_status(HTTPStatus.BAD_REQUEST)
            await self.show_one(log, sentences, text)
        else:
            self.lead_to("/capture", log=log, noted=text)

    def _leave(self, log: str, text: str) -> None:
        path = self.desk.folder.place(log)
        capture = find_capture(path)
        # Only where readings are typed can a note be one.
        meant = self.field("as")
        if capture is not None and capture.state.source == HAND:
            if meant == "reading":
                text = doubtful_amounts(text) or text
            elif meant != "note" and (wrong := wrong_with_typed(text)):
                raise InputError(wrong)
        leave_note(path, text)


class CaptureEnd(Captures):
    """The end of a capture; of one that was cut off, the completion of its log."""

    async def get(self) -> None:
        """Show the capture: an end is sent, not asked for."""
        self.lead_to("/capture", log=self.field("log"))

    async def post(self) -> None:
        """End it, and show what it came to."""
        log = self.field("log")
        _, sentences = await self.in_own_thread(lambda: tried(lambda: self._end(log), self.desk.folder, {}))
        # Any command that opens it makes the log of what was left; this one says what it is good for, too.
        if not sentences and self._cut_off:
            ended = await self.desk.jobs.run(["look", as_argument(log)])
            sentences = {} if ended.status == 0 else {"": ended.sentence}
        if sentences:
            self.set_status(HTTPStatus.BAD_REQUEST)
            await self.show_one(log, sentences)
        else:
            self.lead_to("/capture", log=log)

    def _end(self, log: str) -> None:
        path = self.desk.folder.place(log)
        capture = find_capture(path)
        # In a folder that was copied the capture's own file may be missing.
        self._cut_off = not capture.running if capture is not None else journal_path(path).is_file()
        if not self._cut_off:
            end_capture(path)


def since(capture: FoundCapture) -> str:
    """Return since when a capture runs, by this computer's clock."""
    began = datetime.fromtimestamp(capture.state.since_us / 1e6)
    return began.strftime("%H:%M" if began.date() == date.today() else "%-d %b, %H:%M")


def _sources() -> Sequence[str]:
    """Return what a source may be, as far as this computer knows."""
    return [HAND, *(f"{kind}:{port.name}" for port in list_ports() for kind in ("serial", "modbus-rtu"))]


def _read_meters(chosen: ChosenSite) -> str:
    """Return the names of the site's meters that say how they are read."""
    meters = [] if chosen.site is None else [meter.name for meter in chosen.site.meters if meter.source is not None]
    return ", ".join(meters)


def _logs_of(folder: Folder, log: str, words: str) -> list[str]:
    """Return the logs that an ended capture came to: those that its last words name."""
    names = [entry.name for entry in folder.of_kind("log")]
    return sorted(name for name in names if name == log or name in words)


def _as_words(text: str) -> list[str]:
    words = dict.fromkeys(" ".join(line.split())[:_LONGEST_WORD] for line in text.split("\n"))
    return [word for word in words if word][:_MOST_WORDS]
