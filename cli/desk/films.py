"""A film of a display: a moment of it, boxes drawn on it with what is read in each, and its reading by `convert`.

Nothing is kept between two requests: what a person drew and typed travels in the form.
"""

from __future__ import annotations

import csv
import json
from collections import Counter
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field, fields, replace
from http import HTTPStatus
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from ...ingest.errors import InputError
from ...ingest.exports.delimited.stated import start_time
from ...ingest.film.library import require_opencv
from ...ingest.zone import zone_named
from ..export_form.reading import stem_of, write_new
from ..film_form import boxes as lists
from ..film_form.boxes import MOST_BOXES, CheckedDisplay, TypedBox, TypedDisplay, checked, next_box, typed_display
from ..film_form.profile_text import display_text
from ..film_form.reading import FilmAsked
from ..opening.films import film_moment
from .chosen import as_argument
from .desk_handler import DeskHandler, errors_by_field
from .folder import FILMS
from .jobs import BegunJob, typed

if TYPE_CHECKING:
    from ...ingest.film.overlay import FieldSeen

#: Where a sentence of `convert` names these, it is about that field.
_FIELDS: Final = {
    **{"--start": "start", "--at": "moment", "--zone": "zone", "--every": "every", "--out": "out"},
    "--display": "profile_name",
}
_MORE: Final = ("start", "moment", "zone", "out", "profile_name")
_DISPLAY: Final = "display.toml"
#: So many of the reasons why moments of a film gave nothing are told, the commonest first. [1]
_REASONS: Final = 5


@dataclass(frozen=True)
class FilmPage:
    """What is shown of a film: which moment, what a person drew and typed, what that comes to, what is read in it."""

    asked: FilmAsked
    display: TypedDisplay
    more: Mapping[str, str] = field(default_factory=dict)
    sentences: Mapping[str, str] = field(default_factory=dict)
    state: CheckedDisplay | None = None
    seen: list[FieldSeen | None] = field(default_factory=list)
    size: tuple[int, int] = (0, 0)
    length_s: float = 0.0


class _OfFilm(DeskHandler):
    """What asks for a film waits until the one before is looked at: a film keeps a computer busy."""

    step = "Folder"
    _is_gone = False

    def on_connection_close(self) -> None:
        """Remember that nobody waits any more: a box that is drawn on is asked about again and again."""
        self._is_gone = True

    @property
    def asked(self) -> FilmAsked:
        """The film and its moment; `InputError` where there is none of that name."""
        return FilmAsked(self.desk.folder.film(self.field("file")), self.field("at"), self.field("every"))


class FilmForm(_OfFilm):
    """A film, the boxes of its displays, and its reading into a log."""

    async def get(self) -> None:
        """Show it, by a display profile of the folder where one is named; without a film those that there are."""
        name = self.field("file")
        if not name or name.lower().endswith(".toml"):
            await self._show_films(name or self.field("display"))
            return
        display = await self.in_thread(self._by_profile)
        profile = {"profile_name": self.field("display")} if self.field("display") else {}
        await self._show(FilmPage(self.asked, display, profile))

    async def post(self) -> None:
        """Show it as it was drawn and typed; read the film, where that was asked for."""
        display, remove = self._typed(), self.field("remove")
        if self.field("do") == "add" and len(display.boxes) < MOST_BOXES:
            display = replace(display, boxes=[*display.boxes, next_box(display.boxes)])
        elif remove.isdecimal() and len(display.boxes) > 1:
            left = [box for number, box in enumerate(display.boxes, start=1) if str(number) != remove]
            display = replace(display, boxes=left)
        page = FilmPage(self.asked, display, {name: self.field(name) for name in _MORE})
        if self.field("do") == "read":
            await self._read(page)
        else:
            await self._show(page)

    def _by_profile(self) -> TypedDisplay:
        if not self.field("display"):
            return TypedDisplay()
        require_opencv()
        from ...ingest.film.display import load_display

        display = load_display(self.desk.folder.existing(self.field("display")))
        return typed_display(display.fitted(*self.asked.size(), self.asked.path.name))

    def _typed(self) -> TypedDisplay:
        columns = [[text.strip() for text in self.get_arguments(one.name)] for one in fields(TypedBox)]
        rows = [TypedBox(*row) for row in zip(*columns, strict=False)][:MOST_BOXES]
        return TypedDisplay(
            rows or [TypedBox()],
            self.field("sampling") or "mean",
            self.field("side") or "dc",
            self.field("delay_s"),
            self.field("meter"),
        )

    async def _show_films(self, display: str) -> None:
        folder = self.desk.folder
        films, displays = [await self.in_thread(folder.of_kind, kind) for kind in ("film", "display")]
        if display:
            folder.existing(display)
        self.show("films.html", films=films, displays=displays, display=display, endings=FILMS)

    # ------------------------------------------------------------------ reading

    async def _read(self, page: FilmPage) -> None:
        """Write the display profile, begin `convert`, and lead to what becomes of it; or show what is wrong."""
        page = await self.in_thread(self._checked, page)
        if not page.sentences:
            try:
                log, command = await self.in_thread(self._command, page)
            except InputError as error:
                by_field = errors_by_field(error, {**_FIELDS, "--display": "profile_name"})
                plain = {
                    of: text.partition(": ")[2] if text.startswith("--") else text for of, text in by_field.items()
                }
                page = replace(page, sentences=plain)
            else:
                self.desk.jobs.begin(log, command)
                self.lead_to("/film/read", file=page.asked.path.name, log=log, display=command[3])
                return
        self.set_status(HTTPStatus.BAD_REQUEST)
        await self._show(page)

    def _checked(self, page: FilmPage) -> FilmPage:
        require_opencv()
        state = checked(page.display)
        return replace(page, state=state, sentences={**state.wrong, **_wrong_with_time(page)})

    def _command(self, page: FilmPage) -> tuple[str, list[str]]:
        """Return the log that is to be, and the command that writes it, once its display profile is in the folder."""
        folder, more = self.desk.folder, page.more
        try:
            log = folder.new_name(more["out"] or self._free_log(page), ".parquet")
        except InputError as error:
            raise InputError(f"--out: {error}") from None
        assert page.state is not None and page.state.display is not None  # else there were sentences
        # The next film may be larger or smaller.
        display = page.state.display.model_copy(update={"picture": list(page.asked.size())})
        try:
            profile = self._profile(more["profile_name"], display_text(display))
        except InputError as error:
            raise InputError(f"--display: {error}") from None
        return log, _command(page, profile, log)

    def _profile(self, name: str, text: str) -> str:
        """Return the name of the profile that says all this: one that is there already, or a new one."""
        folder = self.desk.folder
        for entry in folder.of_kind("display"):
            if folder.existing(entry.name).read_text(encoding="utf-8", errors="replace") == text:
                return entry.name
        while True:
            # One that was chosen and changed since stays as it is; the new one is called like it.
            place = folder.place(
                folder.free_name(name if name.lower().endswith(".toml") else f"{name or 'display'}.toml")
            )
            with suppress(FileExistsError):
                write_new(place, text)
                return place.name

    def _free_log(self, page: FilmPage) -> str:
        return self.desk.folder.free_name(f"{_stem(page.asked.path.name)}.parquet")

    # ------------------------------------------------------------------ showing

    async def _show(self, page: FilmPage) -> None:
        async with self.desk.looking:
            if self._is_gone:
                return
            page = await self.in_thread(_looked_at, page)
        names = {"out": page.more.get("out") or self._free_log(page)}
        names["profile_name"] = page.more.get("profile_name") or self.desk.folder.free_name(_DISPLAY)
        shown = {**dict.fromkeys(_MORE, ""), **page.more, **names}
        self.show(
            "film.html",
            page=page,
            film=page.asked.path.name,
            boxes=page.display.boxes,
            more=shown,
            sentences={of: self.desk.folder.without_path(text) for of, text in page.sentences.items()},
            lists=lists,
            tells_times=await self.in_thread(lambda: page.asked.tells_times),
            most=MOST_BOXES,
            displays=[entry.name for entry in await self.in_thread(self.desk.folder.of_kind, "display")],
            same=typed(_command(replace(page, more=shown), shown["profile_name"], shown["out"])[:-1]),
        )


def _looked_at(page: FilmPage) -> FilmPage:
    """Return a page with what its boxes come to at its moment; what is wrong with the moment stands at its field."""
    require_opencv()
    state, sentences = page.state or checked(page.display), dict(page.sentences)
    try:
        page.asked.moment_s()
    except InputError as error:
        sentences["at"] = str(error).removeprefix("--at: ")
        page = replace(page, asked=replace(page.asked, at=""))
    try:
        page.asked.opened()
    except InputError as error:
        if "--every" not in str(error):
            raise
        sentences["every"] = str(error).removeprefix("--every: ")
        page = replace(page, asked=replace(page.asked, every=""))
    return replace(
        page,
        state=state,
        # A box that nobody has drawn as yet is no mistake before the film is to be read.
        sentences={**{of: text for of, text in state.wrong.items() if not _is_empty(page, of)}, **sentences},
        seen=page.asked.read(state.entries),
        size=page.asked.size(),
        length_s=page.asked.length_s(),
    )


def _wrong_with_time(page: FilmPage) -> dict[str, str]:
    """Return what is wrong with when a film was taken, by field."""
    wrong, more = {}, page.more
    tells_times = page.asked.tells_times
    if not more["start"] and not tells_times:
        wrong["start"] = "Say when that was; the clock of whoever filmed it will do."
    if page.asked.is_stills and not page.asked.every and not tells_times:
        wrong["every"] = "Say how far apart they were taken, such as 5s."
    try:
        start_time(more["start"])
        film_moment(more["moment"] or "0:00", what="--at")
        if more["zone"]:
            zone_named(more["zone"], what="--zone")
    except InputError as error:
        wrong |= _by_field(error)
    return wrong


def _by_field(error: InputError) -> dict[str, str]:
    by_field = errors_by_field(error, _FIELDS)
    return {of: text.partition(": ")[2] if text.startswith("--") else text for of, text in by_field.items()}


def _is_empty(page: FilmPage, of: str) -> bool:
    key, _, number = of.partition("-")
    return key == "corners" and not page.display.boxes[int(number) - 1].corners


def _command(page: FilmPage, profile: str, log: str) -> list[str]:
    start = page.more["start"] or ("" if page.asked.tells_times else "TIME")
    start = f"{start}@{page.more['moment']}" if start and page.more["moment"] else start
    every = ["--every", page.asked.every] if page.asked.is_stills and page.asked.every else []
    zone = ["--zone", page.more["zone"]] if page.more["zone"] else []
    words = ["convert", as_argument(page.asked.path.name), "--display", as_argument(profile)]
    return [*words, *(["--start", start] if start else []), *every, *zone, "--out", as_argument(log), "--json"]


def _stem(name: str) -> str:
    ending = next((ending for ending in FILMS if name.lower().endswith(ending)), "")
    return stem_of(name[: len(name) - len(ending)] or name)


class FilmPicture(_OfFilm):
    """A moment of a film as a picture."""

    async def get(self) -> None:
        """Give it."""
        async with self.desk.looking:
            if self._is_gone:
                return
            still = await self.in_thread(self.asked.still)
        self.set_header("Content-Type", "image/jpeg")
        self.finish(still)


class FilmEnd(DeskHandler):
    """What becomes of a film that is read: it is shown until it has ended, then what it came to."""

    step = "Folder"

    async def get(self) -> None:
        """Show it."""
        log = self.field("log")
        job = self.desk.jobs.begun(log)
        if job is None:
            # The desk was closed meanwhile, which ended it; or it was done, and its log is there.
            if (await self.in_thread(self.desk.folder.existing, log)).suffix == ".parquet":
                self.lead_to("/answer", file=log)
                return
            raise InputError(f"{log}: nothing is known here of how it was read; choose a film")
        done = None
        if job.ended is not None and job.ended.status == 0:
            done = await self.in_thread(self._done, json.loads(job.ended.result))
        self.show(
            "film_read.html", log=log, film=self.field("file"), display=self.field("display"), **_told(job), done=done
        )

    def _done(self, done: Mapping[str, Any]) -> Mapping[str, Any]:
        """Return what `convert` said, with the commonest reasons why moments of the film gave nothing."""
        reasons: Counter[str] = Counter()
        if done["rejects_file"]:
            place = self.desk.folder.existing(Path(done["rejects_file"]).name)
            with place.open(encoding="utf-8", newline="") as file:
                reasons.update(row["reason"] for row in csv.DictReader(file))
        return {**done, "reasons": reasons.most_common(_REASONS)}


def _told(job: BegunJob) -> dict[str, object]:
    wrong = job.ended.sentence if job.ended is not None and job.ended.status else ""
    return {"runs": job.ended is None, "wrong": wrong, "since_s": job.since_s, "same": typed(job.arguments[:-1])}
