"""An export: what it is taken for, what stands open, and its reading into a log by `convert`.

Nothing is kept between two requests: what a person chose travels in the form.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from http import HTTPStatus
from itertools import islice
from pathlib import Path
from typing import Any, Final

from ...ingest.errors import InputError
from ...ingest.exports.choices import options_of
from ..export_form.answers import ExportAnswers, answer_text, answers_of, question_from
from ..export_form.profiles import OF_NOTES, is_of_folder
from ..export_form.reading import can_keep, kept_text, needs_profile, stem_of, write_new
from ..export_form.seen import ExportSeen, export_seen, field_of
from ..export_form.words import SAMPLINGS, TIMES, WORDS, ExportWords
from .chosen import as_argument
from .desk_handler import DeskHandler
from .folder import Folder
from .jobs import Ended, typed

#: Fields that name files: what is wrong with one of them, another name mends.
_NAMES: Final = {"out", "profile_name"}
#: Workbooks alone have sheets.
_BOOKS: Final = (".xlsx", ".xls", ".ods")
#: So many unreadable rows are shown of those that a log lacks.
_SHOWN_REJECTS: Final = 20


@dataclass(frozen=True)
class ExportPage:
    """What is shown of an export: what a person chose and typed, what is made of it, and what was just done."""

    path: Path
    answers: ExportAnswers
    seen: ExportSeen
    typed: Mapping[str, str]
    wrong: Mapping[str, str]
    done: str = ""

    @property
    def is_ready(self) -> bool:
        """Whether it can be read into a log, as far as its beginning shows."""
        return self.seen.is_ready and not self.wrong.keys() - _NAMES


class Exports(DeskHandler):
    """An export: what it is taken for by its beginning and a person's choices, and its reading into a log."""

    step = "Folder"

    async def get(self) -> None:
        """Show it as it is recognised; what is read already leads to what it took, and no file to all of them."""
        name = self.field("file")
        if not name:
            self.lead_to("/")
        elif name.lower().endswith(".parquet"):
            self.lead_to("/answer", file=name)
        else:
            await self._answer({})

    async def post(self) -> None:
        """Show it as it was chosen; read it into a log, or keep how it is read, where that was asked for."""
        await self._answer({name: self.field(name) for name in self.request.arguments})

    async def _answer(self, fields: dict[str, str]) -> None:
        try:
            page = await self.in_thread(self._page, fields)
        except InputError as error:
            self.set_status(HTTPStatus.BAD_REQUEST)
            self.show("no_export.html", sentence=str(error))
            return
        if page.is_ready and fields.get("do") == "read":
            await self._read(page)
            return
        if page.is_ready and fields.get("do") == "keep":
            page = await self.in_thread(self._keep, page)
        await self._show(page)

    def _page(self, fields: Mapping[str, str]) -> ExportPage:
        path = self.desk.folder.existing(self.field("file"))
        answers, wrong = answers_of(fields)
        if "answer" in fields:
            answers = answers.with_answer(fields["answer"])
        if fields.get("do") == "no-profile":
            answers = answers.without_profile()
        profile = answers.choices.profile
        # The form says which one, and a form may say anything: no file outside of the folder is read.
        if profile is not None and is_of_folder(profile):
            self.desk.folder.existing(profile)
        profiles = [self.desk.folder.place(entry.name) for entry in self.desk.folder.of_kind("profile")]
        return ExportPage(path, answers, export_seen(path, answers, profiles), fields, wrong)

    async def _read(self, page: ExportPage) -> None:
        """Have `convert` read it, and lead to what it took; or show what stands against it."""
        try:
            log = self._place_of_log(page)
            ended = await self._converted(page, log, await self.in_thread(self._profile_if_needed, page))
        except InputError as error:
            await self._show(replace(page, wrong={field_of(str(error)): str(error)}))
            return
        if ended.status == 0:
            self._lead_on(log, json.loads(ended.result))
            return
        self.set_status(HTTPStatus.BAD_REQUEST)
        # Its result is the question where it asks one, with answers that need not be guessed from the sentence.
        if ended.result:
            asked = question_from(json.loads(ended.result)["question"], ended.sentence)
            await self._show(replace(page, seen=page.seen.asking(asked)), goes_on=True)
            return
        await self._show(replace(page, wrong={field_of(ended.sentence): ended.sentence}))

    async def _converted(self, page: ExportPage, log: str, profile: str | None) -> Ended:
        choices = page.answers.choices
        source, words = as_argument(page.path.name), options_of(choices, profile=profile)
        ended = await self.desk.jobs.run(["convert", source, *words, "--out", as_argument(log), "--json"])
        # What only later rows ask may have been answered for a column, which options cannot say.
        if ended.status == 0 or not ended.result or profile is not None or not can_keep(choices):
            return ended
        return await self._converted(page, log, await self.in_thread(self._profile, page))

    def _place_of_log(self, page: ExportPage) -> str:
        folder = self.desk.folder
        try:
            return folder.new_name(page.typed.get("out") or log_name(folder, page.path.name), ".parquet")
        except InputError as error:
            raise InputError(f"--out: {error}") from None

    def _lead_on(self, log: str, done: Mapping[str, Any]) -> None:
        if not done["rows_rejected"]:
            self.lead_to("/answer", file=log)
            return
        # What a log lacks is told before what it took, since it may have been the largest of it.
        rejects = Path(done["rejects_file"]).name
        with self.desk.folder.existing(rejects).open(encoding="utf-8", newline="") as file:
            rows = list(islice(csv.DictReader(file), _SHOWN_REJECTS))
        self.show("some_read.html", log=log, done=done, rejects=rejects, rows=rows)

    def _profile_if_needed(self, page: ExportPage) -> str | None:
        return self._profile(page) if needs_profile(page.path, page.answers.choices) else None

    def _profile(self, page: ExportPage) -> str:
        """Return the name of a profile that says all that was chosen: one that is there already, or a new one."""
        folder, text = self.desk.folder, kept_text(page.path, page.answers.choices)
        # Whoever reads it once more, after another name was wanted for the log, needs no second one.
        for entry in folder.of_kind("profile"):
            if folder.existing(entry.name).read_text(encoding="utf-8", errors="replace") == text:
                return entry.name
        # Another page may take the name meanwhile.
        while True:
            place = folder.place(profile_name(folder, page.path.name))
            with suppress(FileExistsError):
                write_new(place, text)
                return place.name

    def _keep(self, page: ExportPage) -> ExportPage:
        """Write the profile that was asked for, under the name that was typed."""
        name = page.typed.get("profile_name") or profile_name(self.desk.folder, page.path.name)
        name = name if name.lower().endswith(".toml") else f"{name}.toml"
        try:
            write_new(self.desk.folder.place(name), kept_text(page.path, page.answers.choices))
        except FileExistsError:
            return replace(
                page, wrong={"profile_name": f"There is already {name}, and it stays as it is; name another"}
            )
        except InputError as error:
            return replace(page, wrong={"profile_name": str(error).removeprefix("--keep-profile: ")})
        return replace(page, done=f"Kept as {name}. A later export of this meter is read by it.")

    async def _show(self, page: ExportPage, *, goes_on: bool = False) -> None:
        folder, choices, seen = self.desk.folder, page.answers.choices, page.seen
        words = ExportWords(page.path, seen.preview.side)
        sentences = {name: words.sentence(text) for name, text in {**seen.wrong, **page.wrong}.items()}
        out = page.typed.get("out") or log_name(folder, page.path.name)
        profile = page.typed.get("profile_name") or profile_name(folder, page.path.name)
        needed = page.is_ready and await self.in_thread(needs_profile, page.path, choices)
        options = options_of(choices, profile=profile if needed else None)
        self.show(
            "export.html",
            page=page,
            seen=seen.preview,
            choices=choices,
            sentences=sentences,
            words=words,
            buttons=_buttons(seen),
            goes_on=goes_on,
            of_notes=OF_NOTES,
            out=out,
            profile=profile,
            needs_profile=needed,
            same=typed(["convert", as_argument(page.path.name), *options, "--out", as_argument(out)]),
            lists={"times": TIMES, "samplings": SAMPLINGS, "quantities": tuple(WORDS.items())},
            is_book=page.path.name.lower().endswith(_BOOKS) or choices.sheet is not None,
        )


@dataclass(frozen=True)
class AnswerButton:
    """An answer to the question that stands open: its words, and what it sends.

    ``to_type`` is the field in which it is typed, where it is no choice; ``is_likely`` tells that the readings speak
    for it.
    """

    label: str
    sends: str
    to_type: str
    is_likely: bool


def _buttons(seen: ExportSeen) -> list[AnswerButton]:
    return [
        AnswerButton(
            choice.label,
            answer_text(choice, seen.settles),
            next((key for key, value in choice.sets.items() if value is None), ""),
            choice == seen.likely,
        )
        for choice in (seen.question.choices if seen.question is not None else ())
    ]


def log_name(folder: Folder, export: str) -> str:
    """Return a free name for the log of an export."""
    return folder.free_name(f"{stem_of(export)}.parquet")


def profile_name(folder: Folder, export: str) -> str:
    """Return a free name for the profile of an export."""
    return folder.free_name(f"{stem_of(export)}.toml")
