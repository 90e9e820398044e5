"""The command that asks what a site file needs, and writes it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import click

from ...analysis.check_site.contradictions import contradictions
from ...analysis.check_site.description import describe
from ...analysis.site.site import Site
from ...ingest.errors import InputError, quoted
from ...ingest.safe_files.whole_file import refuse_existing, write_text
from ...ingest.toml.toml_file import read_toml
from ...ingest.zone import zone_of_computer
from ..door import ask, tell, terminal_width
from ..render.terminal.answer import say_answer
from ..render.terminal.columns import Columns, wrapped
from ..render.terminal.site import site_answer
from ..render.wording.numbers import shortened, uncapital
from ..site_form.form import text_of
from ..site_form.interview import Interview
from ..site_form.questions import SiteQuestion
from ..site_form.typed import Typed


@click.command("new-site")
@click.argument("site", type=click.Path(path_type=Path))
def command(site: Path) -> None:
    """Ask the few things that a site file needs, and write it.

    Answers are taken as the plates say it: 3/4 hp, 1,5 kW, 40/60 psi, 20 gal, 8 x 6 V 210 Ah. Enter skips what can be
    left out; "back" asks the question before again; an answer that cannot be is asked for again. At the end all answers
    are shown, and any can be changed. Nothing is written before that. Answers may also come from a pipe, a line each.

    Example: shuntbook new-site site.toml
    """
    refuse_existing(site, force=None, what="SITE")
    text = _in_own_zone(_Dialogue().interviewed().text)
    # Somebody may have put a file there while the questions were answered.
    refuse_existing(site, force=None, what="SITE")
    write_text(site, text)
    checked = read_toml(site, Site)
    if not checked.loads:
        _tell(_NO_LOAD)
    answer = site_answer(checked, describe(checked), contradictions(checked))
    say_answer(replace(answer, more="", last=f"Written to {site}; next: shuntbook check-site {site}"), explain=False)


#: What a file without a pump comes to, and how it gets one.
_NO_LOAD = (
    "The pump was skipped, so the file has no load, and answers speak of the largest load; its name alone would do: "
    '[[loads]] with name = "well pump" and kind = "pump".'
)


def _in_own_zone(text: str) -> str:
    """Return a site file's text with the computer's time zone, and say which that is: nobody was asked for it."""
    zone = zone_of_computer()
    _tell(f"Time zone: {zone}, this computer's; where the meters' clocks show another, change zone in the file.")
    return text_of(text, {("zone",): Typed(zone)}).text


class _Dialogue:
    """The questions as they are asked at the terminal."""

    def __init__(self) -> None:
        #: What was said of answers: of those that are taken again it is not said twice.
        self._remarks: set[str] = set()
        #: Answers that stand behind one that is being changed: taken again where they still hold.
        self._answers: dict[SiteQuestion, str] = {}

    def interviewed(self) -> Interview:
        """Ask all, show the answers, and ask again what is to be changed, until the person is content."""
        interview, chosen = Interview(), None
        _tell('Enter skips what can be left out; "back" asks the question before again.')
        while True:
            question = chosen or interview.next_question(self._answers)
            if question is None:
                if (chosen := _to_change(interview)) is None:
                    return interview
                # What comes behind may ask for more then, or not go together with it.
                self._answers = interview.asked
                interview = interview.before(chosen)
                self._answers.pop(chosen, None)
                continue
            chosen = None
            interview = self._again(question, interview) or self._asked(question, interview)

    def _again(self, question: SiteQuestion, interview: Interview) -> Interview | None:
        """Return the interview with the answer that was given before; None where it has none that still holds."""
        answer = self._answers.pop(question, None)
        if answer is None:
            return None
        try:
            return self._after(interview.answered(question, answer), again=True)
        except InputError as error:
            _tell(f"{question.what}: {error}.")
            return None

    def _asked(self, question: SiteQuestion, interview: Interview) -> Interview:
        """Ask until there is an answer; what comes to an end is as if the rest were skipped."""
        _tell(question.sentence)
        while True:
            answer = ask("> ")
            if _means_back(answer):
                if interview.earlier is not None:
                    return interview.earlier
                _tell("This is the first question.")
                continue
            try:
                return self._after(interview.answered(question, answer or ""))
            except InputError as error:
                if answer is None:
                    what = uncapital(question.what)
                    raise InputError(
                        f"the answers end before {what}, which a site file needs; nothing was written"
                    ) from None
                _tell(f"{question.what}: {error}.")

    def _after(self, interview: Interview, *, again: bool = False) -> Interview:
        """Say how the last answer was taken, and what by it goes against practice; of one taken `again` what is new."""
        if interview.taken and not again:
            _tell(f"Taken as: {interview.taken}.")
        # What was so before has been said: this answer has not made it so.
        before = () if interview.earlier is None else interview.earlier.odd
        new = [each for each in interview.odd if each not in before and not (again and each in self._remarks)]
        self._remarks.update(new)
        for sentence in new:
            _tell(f"Look again: {sentence}")
        if new:
            _tell('If that is not so: "back" asks again.')
        return interview


def _to_change(interview: Interview) -> SiteQuestion | None:
    """Show all answers as they were taken, and return the question that is to be asked again; None if none is."""
    shown = list(interview.shown())
    _tell("Your answers, as they were taken:")
    rows = [(str(n), question.what, shortened(text) or "skipped") for n, (question, text) in enumerate(shown, 1)]
    for line in Columns(rows, right={0}).laid_out(terminal_width(err=True)):
        tell(line)
    _tell("Enter writes the file; a number asks that again.")
    while True:
        answer = (ask("> ") or "").strip()
        if answer.lower() in ("", "y", "yes", "ok"):
            return None
        if _means_back(answer):
            return list(interview.asked)[-1]
        if (number := next((n for n in range(len(shown)) if answer == str(n + 1)), None)) is not None:
            return shown[number][0]
        _tell(f"There is no answer {quoted(answer)}: a number from 1 to {len(shown)}, or Enter.")


def _means_back(answer: str | None) -> bool:
    return (answer or "").strip().lower() == "back"


def _tell(text: str) -> None:
    for line in wrapped(text, terminal_width(err=True)):
        tell(line)
