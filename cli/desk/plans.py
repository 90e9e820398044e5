"""What will a load take, and what changed: the forecast as a form, and two logs side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from ..assembling.change_forms import CHANGE_FORMS, ChosenChange, chosen_changes
from ..assembling.forecast_asked import UNTIL_FULL, ForecastAsked
from ..render.terminal.compare import compare_answer
from .chosen import NO_SITE, ChosenSite, as_argument, chosen_site, existing_file, tried
from .desk_handler import DeskHandler
from .jobs import typed

if TYPE_CHECKING:
    from ..render.terminal.answer import Reply

_FORECAST_FIELDS: Final = {"--for": "how_long", "--sun": "sun"}
#: So many changes can be chosen at first; one more row is always empty.
_ROWS: Final = 2
#: A table that has less above it stands where it belongs. [1]
_LEAST_BEFORE: Final = 2


class ForecastForm(DeskHandler):
    """The forecast: which load, how long, which day's sun, measured or by its plate; the answer below."""

    step = "Forecast"

    async def get(self) -> None:
        """Show the form, with the answer where a load was chosen."""
        folder = self.desk.folder
        chosen = await self.in_thread(chosen_site, folder, self.field("site"))
        logs = await self.in_thread(folder.of_kind, "log")
        reply, sentences = None, dict(chosen.wrong)
        changes = chosen_changes(zip(self.get_arguments("change"), self.get_arguments("figure"), strict=False))
        # Empty fields of a form that was just opened are no mistake.
        if chosen.site is not None and self.field("load"):
            reply, sentences = await self.in_thread(self._answer, chosen, changes)
        self.show(
            "forecast.html",
            chosen=chosen,
            loads=[] if chosen.site is None else [(load.name, load.name) for load in chosen.site.loads],
            log_options=[(log.name, log.name) for log in logs],
            values={name: self.field(name) for name in ("load", "until", "how_long", "sun", "measured")},
            changes=[*changes, *[ChosenChange()] * max(1, _ROWS - len(changes))],
            change_forms=CHANGE_FORMS,
            usual_sun=_usual_sun(chosen),
            reply=reply,
            sentences=sentences,
            same=self._same(chosen, changes) if reply is not None else "",
        )

    @property
    def _how_long(self) -> str:
        return UNTIL_FULL if self.field("until") == UNTIL_FULL else self.field("how_long")

    def _answer(self, chosen: ChosenSite, changes: Sequence[ChosenChange]) -> tuple[Reply | None, dict[str, str]]:
        site, measured = chosen.site, self.field("measured")
        assert site is not None
        wrong = _wrong(changes)
        texts = tuple(change.text for change in changes if change.text)

        def work() -> Reply:
            log = existing_file(self.desk.folder, measured)
            asked = ForecastAsked(self.field("load"), self._how_long, self.field("sun"), log, changes=texts)
            reply = asked.reply(asked.result(site))
            return _table_first(reply) if texts else reply

        fields = {**_FORECAST_FIELDS, **({measured: "measured"} if measured else {}), "": "load"}
        reply, sentences = tried(work, self.desk.folder, fields)
        # Where nothing is to be typed, the mistake lies in the choice.
        if self._how_long == UNTIL_FULL and "how_long" in sentences:
            sentences["until"] = sentences.pop("how_long")
        # An answer without a change that was asked for would be another one's.
        return (None if wrong else reply), {**sentences, **wrong}

    def _same(self, chosen: ChosenSite, changes: Sequence[ChosenChange]) -> str:
        sun, measured = self.field("sun"), self.field("measured")
        more = [*(["--sun", sun] if sun else []), *(["--measured", as_argument(measured)] if measured else [])]
        more += [word for change in changes for word in ("--with", change.text)]
        site = as_argument(chosen.name)
        return typed(["forecast", "--site", site, "--load", self.field("load"), "--for", self._how_long, *more])


def _table_first(reply: Reply) -> Reply:
    """Return an answer whose table, with the line above it, follows the sentence that matters: a page has the room."""
    lines = list(reply.lines)
    at = next((place for place, block in enumerate(lines) if not isinstance(block, str)), 0)
    if at < _LEAST_BEFORE:
        return reply
    table = lines.pop(at)
    return replace(reply, lines=[lines[0], lines.pop(at - 1), table, *lines[1:]])


def _wrong(changes: Sequence[ChosenChange]) -> dict[str, str]:
    """Return what is wrong with the rows of changes, by the fields' ids, which count from 1."""
    by_field: dict[str, str] = {}
    for row, change in enumerate(changes, start=1):
        by_field |= {f"change-{row}": change.wrong_choice, f"figure-{row}": change.wrong_figure}
    return {field: sentence for field, sentence in by_field.items() if sentence}


def _usual_sun(chosen: ChosenSite) -> str:
    array = None if chosen.site is None else chosen.site.array
    return "" if array is None or array.sun_hours_h is None else f"{array.sun_hours_h:g}"


class CompareForm(DeskHandler):
    """Two logs side by side."""

    step = "Compare"

    async def get(self) -> None:
        """Show the form, with the answer where two logs were chosen."""
        folder = self.desk.folder
        chosen = await self.in_thread(chosen_site, folder, self.field("site"))
        logs = [entry.name for entry in await self.in_thread(folder.of_kind, "log")]
        before, after = self.field("before"), self.field("after")
        reply, sentences = None, dict(chosen.wrong)
        if before and after:
            reply, wrong = await self.in_thread(tried, lambda: self._answer(chosen), folder, _by_log(before, after))
            sentences |= wrong
        site = ["--site", as_argument(chosen.name)] if chosen.name else []
        self.show(
            "compare.html",
            chosen=chosen,
            site=chosen.name or NO_SITE,
            log_options=[(name, name) for name in logs],
            # The newest is what is asked about, the one before it what it is held against.
            before=before or next((name for name in logs if name != (after or logs[0])), ""),
            after=after or (logs[0] if logs else ""),
            reply=reply,
            sentences=sentences,
            same=typed(["compare", as_argument(before), as_argument(after), *site]) if reply is not None else "",
        )

    def _answer(self, chosen: ChosenSite) -> Reply:
        from ..assembling.two_logs import compared  # it loads what only a comparison needs

        before, after = (_named(self, name) for name in ("before", "after"))
        return compare_answer(compared(before, after, chosen.site))


def _named(form: DeskHandler, name: str) -> Path:
    return form.desk.folder.existing(form.field(name))


def _by_log(before: str, after: str) -> dict[str, str]:
    # The longer name first: it may hold the other one.
    names = sorted(((before, "before"), (after, "after")), key=lambda pair: -len(pair[0]))
    return dict(names)
