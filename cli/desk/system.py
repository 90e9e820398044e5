"""The system as a form over a site file: what the plates say, checked as it is typed, saved with all else intact."""

from __future__ import annotations

import json
import tomllib
from base64 import urlsafe_b64decode, urlsafe_b64encode
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from http import HTTPStatus
from pathlib import Path
from typing import TYPE_CHECKING, Final
from urllib.parse import parse_qs

from tornado.web import HTTPError, stream_request_body

from ...analysis.check_site.contradictions import contradictions
from ...analysis.check_site.description import describe
from ...analysis.site.site import Site
from ...ingest.errors import InputError
from ...ingest.safe_files.whole_file import hidden_beside, take_free_place
from ...ingest.toml.bounds import refuse_unbounded
from ...ingest.toml.places import Where
from ..render.terminal.site import site_answer
from ..render.wording.numbers import uncapital
from ..site_form.filled import FilledForm, filled_form
from ..site_form.form import form_of
from ..site_form.opened import MOST_ITEMS, OpenedSite, opened_site
from ..site_form.remarks import FieldRemark, RightLine, remarks_by_field
from ..site_form.sheet import FormSheet, sheet_of, where_of
from ..site_form.site_files import file_name_of, read_site_text, wrote_over
from ..site_form.system import GROUPS, field_at, field_path, group_of
from ..site_form.typed import Typed
from .chosen import as_argument
from .desk_handler import Desk, DeskHandler
from .jobs import typed

if TYPE_CHECKING:
    from ..render.terminal.answer import Reply

#: What a new system begins with: most have one of each.
_BLANK: Final = FilledForm("", items={"inverters": 1, "loads": 1})
#: What there may be several of.
_LISTS: Final = {group.key for group in GROUPS if group.several}


@dataclass(frozen=True)
class OpenForm:
    """A form that somebody has before them.

    Parameters
    ----------
    file, digest : str
        The file it was opened from, and as it was then; both empty for a new one.
    filled : FilledForm
        What stands in it.
    broken : tuple of str
        Why its text can be no form: then the text itself is shown.
    wrong : tuple of str
        What went wrong with all of it.
    """

    file: str = ""
    digest: str = ""
    filled: FilledForm = _BLANK
    broken: tuple[str, ...] = ()
    wrong: tuple[str, ...] = ()
    repairs: Mapping[Where, Sequence[FieldRemark]] = field(default_factory=dict)


@stream_request_body
class SystemForm(DeskHandler):
    """The form: shown, checked, and saved."""

    step = "System"

    def initialize(self, desk: Desk) -> None:
        """Take what all answers share; a form's fields are read here, since a system may have thousands."""
        super().initialize(desk)
        self._body = bytearray()

    def data_received(self, chunk: bytes) -> None:
        """Take what has come; the server ends what is too large."""
        self._body += chunk

    async def get(self) -> None:
        """Show a file of the folder as a form; without one, a form for a new system."""
        name = self.field("file")
        form = await self.in_thread(self._opened, name) if name else OpenForm()
        await self._show(form, quiet=not name, saved=bool(self.field("saved")))

    async def post(self) -> None:
        """Take what was typed, and do what was asked."""
        sent = _sent(bytes(self._body))
        ask, _, of = (sent.get("do") or ["check"])[-1].partition(":")
        form = await self.in_thread(self._changed, sent, ask, of)
        if ask in ("save", "save-anyway") and not form.wrong and not form.broken:
            if ask == "save-anyway" or not await self.in_thread(_mistakes, form):
                form = await self._saved(form)
                if self._finished:
                    return
            self.set_status(HTTPStatus.BAD_REQUEST)
        await self._show(form, quiet=ask in ("live", "add", "remove"), refused=ask == "save")

    def _opened(self, name: str) -> OpenForm:
        try:
            text, digest = read_site_text(self.desk.folder.existing(name))
        except InputError as error:
            return OpenForm(wrong=self._of_folder(error))
        return _form_of(name, digest, opened_site(text))

    def _of_folder(self, error: InputError) -> tuple[str, ...]:
        return tuple(str(sentence).replace(f"{self.desk.folder.path}/", "") for sentence in error.args)

    def _changed(self, sent: Mapping[str, list[str]], ask: str, of: str) -> OpenForm:
        """Return the form after what was typed, and after one thing was added, taken away, or put right."""
        file, digest, text = _one(sent, "file"), _one(sent, "digest"), _carried(_one(sent, "text"))
        if ask == "plain":
            plain = _typed_text(_one(sent, "plain"), text)
            try:
                refuse_unbounded(Path(file or "the text"), plain)
            except InputError as error:
                return OpenForm(file, digest, FilledForm(plain), tuple(map(str, error.args)))
            return _form_of(file, digest, opened_site(plain))
        fields = _fields(sent)
        form = OpenForm(file, digest, repairs=self._repairs(file, digest))
        try:
            filled = filled_form(text, fields)
        except InputError as error:
            as_typed = FilledForm(text, fields, {}, _counted(fields))
            return replace(form, filled=as_typed, wrong=tuple(f"The file {each}" for each in error.args))
        try:
            return replace(form, filled=_done(filled, ask, of))
        except InputError as error:
            return replace(form, filled=filled, wrong=tuple(f"The file {each}" for each in error.args))

    def _repairs(self, file: str, digest: str) -> Mapping[Where, Sequence[FieldRemark]]:
        """Return what was put right when the file was opened, as long as it stands there as it was."""
        with suppress(InputError):
            text, now = read_site_text(self.desk.folder.existing(file))
            if now == digest:
                return opened_site(text).repairs
        return {}

    async def _saved(self, form: OpenForm) -> OpenForm:
        """Save it and lead on; return the form with what went wrong."""
        try:
            name, beside = await self.in_thread(self._save, form)
        except InputError as error:
            return replace(form, wrong=self._of_folder(error))
        except OSError as error:
            return replace(form, wrong=(f"It was not saved: {error.strerror}. What you typed is still here.",))
        self.lead_to("/system", file=name, saved="1", **({"beside": form.file} if beside else {}))
        return form

    def _save(self, form: OpenForm) -> tuple[str, bool]:
        """Return the name it was saved under, and whether it stands beside the file that it was opened from."""
        folder, text = self.desk.folder, form.filled.text
        if form.file and wrote_over(folder.place(form.file), text, form.digest):
            return form.file, False
        named = form_of(text).get(("name",), Typed("")).text
        wanted = folder.place(form.file) if form.file else self._place_for(named)
        changed = bool(form.file) and wanted.exists()
        with hidden_beside(wanted) as hidden:
            hidden.write_bytes(text.encode())
            while True:
                place = folder.place(folder.free_name(wanted.name))
                # Another page may have taken the name meanwhile.
                with suppress(FileExistsError):
                    take_free_place(hidden, place)
                    return place.name, changed

    def _place_for(self, named: str) -> Path:
        try:
            return self.desk.folder.place(file_name_of(named))
        except InputError:  # a name that some systems keep for a device
            return self.desk.folder.place("site.toml")

    async def _show(self, form: OpenForm, *, quiet: bool = False, saved: bool = False, refused: bool = False) -> None:
        folder = self.desk.folder
        sheet, reply, still_open = (None, None, ()) if form.broken else await self.in_thread(_judged, form, quiet)
        sites = [entry.name for entry in await self.in_thread(folder.of_kind, "site")]
        entries = await self.in_thread(folder.entries) if saved else []
        exports, logs = ([entry.name for entry in entries if entry.kind == kind] for kind in ("export", "log"))
        beside = self.field("beside")
        self.show(
            "system.html",
            form=form,
            sheet=sheet,
            reply=reply,
            open=still_open,
            sites=sites,
            saved=saved and bool(form.file),
            beside=beside if beside in sites else "",
            export=next(iter(exports), ""),
            log=next(iter(logs), ""),
            refused=refused,
            has_bank=not form.broken and any(where[0] == "bank" for where in form_of(form.filled.text)),
            text=urlsafe_b64encode(form.filled.text.encode()).decode(),
            same=typed(["check-site", as_argument(form.file)] if form.file else ["new-site", "site.toml"]),
        )


def _form_of(name: str, digest: str, opened: OpenedSite) -> OpenForm:
    if opened.broken:
        return OpenForm(name, digest, FilledForm(opened.text), opened.broken)
    try:
        return OpenForm(name, digest, filled_form(opened.text, opened.doubts), repairs=opened.repairs)
    except InputError as error:
        return OpenForm(name, digest, FilledForm(opened.text), tuple(f"The file {each}" for each in error.args))


def _remarks(form: OpenForm) -> dict[Where, list[FieldRemark]]:
    """Return all that is said of a form by the path of its fields, the gravest first."""
    remarks = {where: [FieldRemark("mistake", error)] for where, error in form.filled.errors.items()}
    for where, note in form.filled.notes.items():
        remarks.setdefault(where, []).append(FieldRemark("taken", note))
    for more in (remarks_by_field(form.filled.text), form.repairs):
        for where, each in more.items():
            remarks.setdefault(where, []).extend(each)
    return remarks


def _mistakes(form: OpenForm) -> bool:
    return any(each.kind == "mistake" for remarks in _remarks(form).values() for each in remarks)


def _judged(form: OpenForm, quiet: bool) -> tuple[FormSheet, Reply | None, Sequence[str]]:
    """Return the form with what is said of it, and what the whole comes to; None where there is a mistake in it.

    A `quiet` one does not say of what nobody has come to yet that it is missing; what that is comes third.
    """
    remarks, still_open = _remarks(form), list[str]()
    wrong = any(each.kind == "mistake" for at in remarks.values() for each in at)
    if quiet:
        # A figure that stands in its field and lacks its unit is no empty field: that is told at its box at once.
        untouched = {where: at for where, at in remarks.items() if where not in form.filled.errors}
        still_open = [_called(where) for where, at in untouched.items() if any(map(_is_open, at))]
        remarks |= {where: [each for each in at if not _is_open(each)] for where, at in untouched.items()}
    sheet = sheet_of(form.filled, remarks)
    if wrong:
        return sheet, None, still_open
    site = Site.model_validate(tomllib.loads(form.filled.text.removeprefix("\ufeff")))
    answer = site_answer(site, describe(site), contradictions(site))
    # What does not go together stands at the fields.
    lines = [line for line in answer.lines if not (isinstance(line, str) and line.startswith("Look again: "))]
    return sheet, replace(answer, lines=lines), still_open


def _called(where: Where) -> str:
    """Return what a field, or the group it would be in, is called on the page."""
    group, place = group_of(where), field_at(where)
    if group is None or (place is None and group.key == ""):
        return ".".join(map(str, where))
    item = f" {where[1] + 1}" if len(where) > 2 and isinstance(where[1], int) else ""
    return uncapital(f"{group.label}{item}: {place.label}" if place and group.key else (place or group).label)


def _is_open(remark: FieldRemark) -> bool:
    missing = remark.sentence.endswith("is missing") or remark.sentence.startswith("needs ")
    return remark.kind == "mistake" and missing


def _done(filled: FilledForm, ask: str, of: str) -> FilledForm:
    """Return a form after what was asked by one of its buttons."""
    group, _, number = of.partition(":")
    if ask == "add" and group in _LISTS and filled.items.get(group, 0) < MOST_ITEMS:
        return filled.with_item(group)
    if ask == "remove" and number.isdecimal() and int(number) < filled.items.get(group, 0):
        return filled.without_item(group, int(number))
    if ask == "write":
        line = _right_line(of)
        # What no remark offers was not sent by a page of ours.
        if all(line not in each.right_lines for at in remarks_by_field(filled.text).values() for each in at):
            return filled
        text = line.put_into(filled.text)
        # Where the file has the line, what was typed there before is no longer shown.
        place = field_path((*line.at[:-1], line.key))
        left = {where: each for where, each in filled.typed.items() if where != place}
        return replace(filled, text=text, typed=left, errors={w: e for w, e in filled.errors.items() if w != place})
    return filled


def _right_line(of: str) -> RightLine:
    try:
        line = json.loads(of)
        at = tuple(step if isinstance(step, int) else str(step) for step in line["at"])
        return RightLine(at, str(line["key"]), str(line["literal"]))
    except (ValueError, KeyError, TypeError):
        raise HTTPError(HTTPStatus.BAD_REQUEST) from None


def _sent(body: bytes) -> dict[str, list[str]]:
    """Return a form's fields, the empty ones too."""
    return parse_qs(body.decode(errors="replace"), keep_blank_values=True)


def _one(sent: Mapping[str, list[str]], name: str) -> str:
    return (sent.get(name) or [""])[-1]


def _fields(sent: Mapping[str, list[str]]) -> dict[Where, Typed]:
    """Return what was typed, by the path of each field; several choices of one field are one text."""
    fields = {}
    for name, values in sent.items():
        if (where := where_of(name)) is not None:
            fields[where] = Typed("; ".join(filter(None, values)), _one(sent, f"{name}:unit"))
    return fields


def _counted(fields: Mapping[Where, Typed]) -> dict[str, int]:
    return {str(where[0]): 1 + max(int(w[1]) for w in fields if w[0] == where[0]) for where in fields if len(where) > 2}


def _carried(text: str) -> str:
    """Return the file's text that a form carries; so what is typed is taken into what the person saw."""
    try:
        return urlsafe_b64decode(text).decode()
    except ValueError:
        raise HTTPError(HTTPStatus.BAD_REQUEST) from None


def _typed_text(typed: str, before: str) -> str:
    """Return a text that was changed as such: browsers end its lines in their own way."""
    plain = typed.replace("\r\n", "\n")
    return plain.replace("\n", "\r\n") if "\r\n" in before else plain
