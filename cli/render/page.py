"""The page: one HTML file that holds everything it needs and asks nothing of a network."""

from __future__ import annotations

import re
from functools import partial
from importlib.resources import files
from textwrap import wrap
from typing import TYPE_CHECKING

from . import method, sentences, settings, site_sentences, tables, words

if TYPE_CHECKING:
    from collections.abc import Iterable

    from markupsafe import Markup

    from ...analysis.report import Report

_FIGURE = re.compile(r"(?<=\d) (?=(?:[AVWhsdL]|Ah|Wh|VA|min|mΩ)\b|%)|(?<=±) ")

#: A word longer than this may end a line anywhere, or it would burst its cell. [characters]
_RUN = 24
_UNBROKEN = re.compile(rf"\S{{{2 * _RUN},}}")
#: Longer than any text of ours, in characters.
_MOST = 2000


def render(report: Report) -> str:
    """Return the page of a report.

    Parameters
    ----------
    report : Report
        One site with one log or several; at least one log.

    Returns
    -------
    str
        A whole HTML document: style and drawings inside, no script, no address of anything else. The same report
        gives the same bytes.
    """
    # Loaded here, so that commands which only share this module's words do not pay for drawing.
    from jinja2 import Environment, StrictUndefined

    from .views import view_of

    templates = files(__package__).joinpath("templates")
    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True, finalize=_fit_to_print
    )
    environment.filters["short"] = words.shortened
    environment.filters["full"] = partial(words.shortened, most=600)
    environment.filters["timed"] = _timed
    template = environment.from_string(templates.joinpath("page.html").read_text("utf-8"))
    views = [view_of(report, log, f"log-{place}") for place, log in enumerate(report.logs, start=1)]
    return template.render(
        title=_title(report),
        style=templates.joinpath("page.css").read_text("utf-8"),
        views=views,
        compared=tables.compared(report) if len(views) > 1 else None,
        carries=site_sentences.carry_all(report),
        rules=method.rules(report),
        sums=method.sums(report),
        settings=settings.settings(report),
        cautions=report.cautions,
        version=report.version,
        unknown=words.UNKNOWN,
    )


def _fit_to_print(value: object) -> object:
    """Return text without what could harm the page, and its figures tied to their units; other things unchanged.

    No text that is printed escapes this, wherever it comes from; so a line never ends between a figure and its unit.
    """
    if type(value) is not str:
        return value
    tied = _FIGURE.sub("\N{NO-BREAK SPACE}", words.shortened(value, _MOST))
    return _UNBROKEN.sub(lambda run: "\N{ZERO WIDTH SPACE}".join(wrap(run[0], _RUN)), tied)


def _timed(text: str, times: Iterable[tuple[str, str]]) -> Markup:
    """Return text as HTML with its instants marked as such; they stand in it in the order given."""
    from markupsafe import Markup, escape

    done, rest = Markup(""), text
    for machine, shown in times:
        before, found, rest = rest.partition(shown)
        done += escape(_fit_to_print(before)) + Markup('<time datetime="{}">{}</time>').format(machine, found)
    return done + escape(_fit_to_print(rest))


def _title(report: Report) -> str:
    if report.site is not None:
        return words.shortened(report.site.name, 120)
    names = " and ".join(sentences.log_title(log.facts) for log in report.logs)
    return f"{'Log' if len(report.logs) == 1 else 'Logs'}: {names}"
