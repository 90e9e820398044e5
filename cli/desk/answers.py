"""The answer of a log or a stretch of it, its report page, and a log that was read with the wrong sign, turned."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from http import HTTPStatus
from pathlib import Path
from typing import TYPE_CHECKING, Final

from ...analysis.health.finding import WRONG_SIGN, Finding
from ...ingest.errors import InputError
from ..assembling.charge_asked import ChargeAsked
from ..opening.prepared_log import open_site
from ..render.terminal.columns import Columns
from ..render.terminal.report import report_answer, verdict_lines
from ..render.wording.answer import first_answer
from ..render.wording.shown import CAUTION
from ..render.wording.site_sentences import unsafe
from ..render.wording.verdict import Verdict, verdict_on
from .chosen import NO_SITE, ChosenSite, as_argument, chosen_site, tried
from .days import show_days
from .desk_handler import DeskHandler
from .jobs import typed
from .own_pages import OwnPages

if TYPE_CHECKING:
    from ...analysis.one_log.log_report import LogReport
    from ..render.terminal.answer import Block, Reply

#: A page's own script runs, nothing is fetched, and it is of an origin of its own: it cannot act on the desk.
_PAGE_POLICY: Final = (
    "sandbox allow-scripts allow-downloads; default-src 'none'; script-src 'unsafe-inline'; "
    "style-src 'unsafe-inline'; img-src data: blob:; font-src data:; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'self'"
)


#: So many notes of a log are offered, and so many parts between them shown; all are on its page. [1]
_MOST_NOTED: Final = 30
#: The form's field for what a sentence on a stretch is about.
_ENDS: Final = {"--from:": "from", "--to:": "to", "": "from"}


@dataclass(frozen=True)
class LogAnswer:
    """What is said of a log: what is unsafe, the answer, the verdict, the other lines, and all of it as a terminal's.

    ``parts`` are what it took from note to note, ``notes`` the notes by which one can be asked for. ``swapped`` is the
    finding that draw and return are; None where they are not.
    """

    dangers: tuple[str, ...]
    sentence: str
    verdict: Verdict
    rest: tuple[Block, ...]
    reply: Reply
    parts: Columns
    notes: tuple[str, ...]
    swapped: Finding | None


@lru_cache(maxsize=32)
def answer_of(log: Path, site: Path | None, _stamps: tuple[int, ...]) -> LogAnswer:
    """Return what is said of a log; the stamps change where a file does.

    Raises
    ------
    InputError, Refusal
        If a file cannot be read, or nothing can be worked out from the log.
    """
    # Reports load large libraries, which a desk that makes none does not need.
    from ..assembling.report import report_of

    report = report_of([log], open_site(site), None)
    reply, dangers = report_answer(report), unsafe(report)
    once = reply.with_terms_once
    sentence, verdict = first_answer(report.logs[0]), verdict_on(report.logs[0])
    shown = {*dangers, sentence, *verdict_lines(verdict)}
    lines = list(zip(reply.lines, once.lines, strict=True))
    rest = tuple(text for line, text in lines if not isinstance(line, str) or line not in shown)
    dangers = [str(text) for line, text in lines if line in dangers]
    swapped = next((each for each in report.logs[0].findings if each.code == WRONG_SIGN), None)
    return LogAnswer(tuple(dangers), sentence, verdict, rest, once, *_noted(report.logs[0]), swapped)


def _noted(log: LogReport) -> tuple[Columns, tuple[str, ...]]:
    """Return a log's parts from note to note, as its page has them, and its notes."""
    from ..render.page.log_tables import parts

    table = parts(log, _MOST_NOTED)
    notes = dict.fromkeys(text for _, text in log.facts.markers[:_MOST_NOTED])
    return Columns(table.rows, table.head), tuple(notes)


@dataclass(frozen=True)
class AskedStretch:
    """A stretch of a log as it was asked for, "" for the log's own ends, and what it took, as `charge` says it.

    ``same`` is that command, ``wider`` the ends that hold whole runs, in the form's fields; none where nothing is cut.
    """

    since: str
    until: str
    reply: Reply | None = None
    same: str = ""
    wider: Mapping[str, str] = field(default_factory=dict)


def stamps_of(*paths: Path | None) -> tuple[int, ...]:
    """Return what changes where one of these files does."""
    facts = [path.stat() for path in paths if path is not None]
    return tuple(stamp for fact in facts for stamp in (fact.st_mtime_ns, fact.st_size))


class Answers(DeskHandler):
    """The answer of a log; without a log, the days of all of them."""

    step = "Answer"

    async def get(self) -> None:
        """Show it."""
        chosen = await self.in_thread(chosen_site, self.desk.folder, self.field("site"))
        if not self.field("file"):
            await show_days(self, chosen)
            return
        await self._show(chosen)

    async def post(self) -> None:
        """Turn a log's sign: into a new one, which is shown then."""
        log, site = self.field("file"), self.field("site")
        before, sentences = list[str](), dict[str, str]()
        while True:
            command, wrong = await self.in_thread(tried, lambda: self._turning(log), self.desk.folder, {})
            # Another page, or what a desk that was killed had begun, may have taken a name meanwhile: then the next.
            if command is None or command == before:
                break
            ended = await self.desk.jobs.run(command)
            if ended.status == 0:
                self.lead_to("/answer", file=command[-1].removeprefix("./"), site=site)
                return
            before, sentences = command, {"": ended.sentence}
        sentences = wrong or sentences
        self.set_status(HTTPStatus.BAD_REQUEST)
        await self._show(await self.in_thread(chosen_site, self.desk.folder, site), sentences)

    def _turning(self, log: str) -> list[str]:
        name = self.desk.folder.existing(log).name
        free = self.desk.folder.free_name(f"{name.removesuffix('.parquet')}-turned.parquet")
        return ["convert", as_argument(name), "--reverse-sign", "--out", as_argument(free)]

    async def _show(self, chosen: ChosenSite, wrong: dict[str, str] | None = None) -> None:
        log, folder = self.field("file"), self.desk.folder

        def work() -> LogAnswer:
            path, site = folder.existing(log), folder.existing(chosen.name) if chosen.name else None
            return answer_of(path, site, stamps_of(path, site))

        answer, sentences = await self.in_thread(tried, work, folder, {})
        stretch = AskedStretch(self.field("from"), self.field("to"))
        # Of a log that is the wrong way round a stretch is as wrong.
        if answer is not None and answer.swapped is None and (stretch.since or stretch.until):
            taken, wrong_ends = await self.in_thread(tried, lambda: self._taken(stretch, chosen), folder, _ENDS)
            stretch, sentences = taken or stretch, {**sentences, **wrong_ends}
        turning = None if answer is None or answer.swapped is None else typed(self._turning(log))
        self.show(
            "answer.html",
            log=log,
            answer=answer,
            stretch=stretch,
            chosen=chosen,
            site=chosen.name or NO_SITE,
            sentences={**sentences, **chosen.wrong, **(wrong or {})},
            caution=CAUTION,
            turning=turning,
            making=typed(OwnPages(folder).to_make(log, chosen.name)) if answer is not None else "",
        )

    def _taken(self, stretch: AskedStretch, chosen: ChosenSite) -> AskedStretch:
        """Return a stretch with what it took."""
        log, site = self.field("file"), chosen.name
        ends = {"--from": stretch.since, "--to": stretch.until}
        path = self.desk.folder.existing(log)
        taken = ChargeAsked(path, stretch.since or None, stretch.until or None).result(chosen.site)
        words = [word for option, end in ends.items() if end for word in (option, end)]
        same = typed(["charge", as_argument(log), *(["--site", as_argument(site)] if site else []), *words])
        cut = taken.whole.cut if taken.whole is not None else ()
        wider = ends | {option: end for run in cut for option, end in run.wider.items()} if cut else {}
        fields = {option.removeprefix("--"): end for option, end in wider.items()}
        return replace(stretch, reply=taken.reply, same=same, wider=fields)


class ReportPage(DeskHandler):
    """The report page of a log: made where there is none that is up to date, and led to."""

    async def get(self) -> None:
        """Lead to it."""
        site = "" if self.field("site") == NO_SITE else self.field("site")
        try:
            self.lead_to("/page", file=await self._page(self.field("file"), site))
        except InputError as error:
            self.say_wrong(error)

    async def _page(self, log: str, site: str) -> str:
        for name in filter(None, (log, site)):
            self.desk.folder.existing(name)
        pages = OwnPages(self.desk.folder)
        # One at a time: two pages of the desk on one log want one report of it, not two.
        async with self.desk.making:
            current = await self.in_thread(pages.up_to_date, log, site)
            if current is not None:
                return current
            command = await self.in_thread(pages.to_make, log, site)
            ended = await self.desk.jobs.run(command)
            # What a killed desk had begun may have taken the place that was free: then there is another one.
            if ended.status != 0 and (anew := await self.in_thread(pages.to_make, log, site)) != command:
                command, ended = anew, await self.desk.jobs.run(anew)
            if ended.status != 0:
                raise InputError(ended.sentence)
            return await self.in_thread(pages.add, command)

    def say_wrong(self, error: InputError) -> None:
        """Answer with what is wrong alone: it may stand in a frame of the desk's."""
        self.set_status(HTTPStatus.BAD_REQUEST)
        self.set_header("Content-Type", "text/plain; charset=utf-8")
        self.set_header("Content-Security-Policy", "default-src 'none'; frame-ancestors 'self'")
        self.finish(f"{error}\n")


class FolderPage(ReportPage):
    """A report page of the folder, in a frame or by itself; whoever wrote it, it can do nothing to the desk."""

    async def get(self) -> None:
        """Show it."""
        try:
            path = self.desk.folder.existing(self.field("file"))
            if path.suffix.lower() != ".html":
                raise InputError(f"{path.name}: is no page; choose one that ends in .html")
        except InputError as error:
            self.say_wrong(error)
            return
        self.set_header("Content-Type", "text/html; charset=utf-8")
        self.set_header("Content-Security-Policy", _PAGE_POLICY)
        # What is sandboxed is of no origin, and so cannot keep to its own: a browser would show nothing.
        self.set_header("Cross-Origin-Opener-Policy", "unsafe-none")
        self.finish(await self.in_thread(path.read_bytes))
