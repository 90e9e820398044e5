"""The command that asks what a site file needs, and writes it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import click

from ...analysis.check_site.contradictions import contradictions
from ...analysis.check_site.description import describe
from ...analysis.site.site import Site
from ...ingest.errors import InputError
from ...ingest.safe_files.whole_file import refuse_existing, write_text
from ...ingest.toml.toml_file import read_toml
from ..door import ask, tell, terminal_width
from ..render.terminal.answer import say_answer
from ..render.terminal.columns import wrapped
from ..render.terminal.site import site_answer
from ..site_form.questions import QUESTIONS, Interview, SiteQuestion


@click.command("new-site")
@click.argument("site", type=click.Path(path_type=Path))
def command(site: Path) -> None:
    """Ask the few things that a site file needs, and write it.

    Answers are taken as the plates say it: 3/4 hp, 1,5 kW, 40 psi, 20 gal. Enter skips what can be left out; an answer
    that cannot be is asked for again. Nothing is written before the last one. Answers may also come from a pipe, a line
    each.

    Example: shuntbook new-site site.toml
    """
    refuse_existing(site, force=None, what="SITE")
    interview = Interview()
    for question in QUESTIONS:
        if interview.asks(question):
            _ask(question, interview)
    # Somebody may have put a file there while the questions were answered.
    refuse_existing(site, force=None, what="SITE")
    write_text(site, interview.text)
    checked = read_toml(site, Site)
    answer = site_answer(checked, describe(checked), contradictions(checked))
    say_answer(replace(answer, more="", last=f"Written to {site}; next: shuntbook check-site {site}"), explain=False)


def _ask(question: SiteQuestion, interview: Interview) -> None:
    """Ask until there is an answer; what comes to an end is as if the rest were skipped."""
    for line in wrapped(question.sentence, terminal_width(err=True)):
        tell(line)
    while True:
        answer = ask("> ")
        try:
            interview.answer(question, answer or "")
            return
        except InputError as error:
            sentence = f"{question.what}: {error}"
            if answer is None:
                raise InputError(f"{sentence}, and there are no more answers; nothing was written") from None
            for line in wrapped(f"{sentence}.", terminal_width(err=True)):
                tell(line)
