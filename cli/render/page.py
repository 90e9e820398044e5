"""The page: one HTML file that holds everything it needs and asks nothing of a network."""

from __future__ import annotations

import re
from functools import partial
from importlib.resources import files
from typing import TYPE_CHECKING

from . import method, sentences, tables, words

if TYPE_CHECKING:
    from ...analysis.report import Report

# What stands in the page may run and style it; nothing may be fetched, whatever a library of ours would like. The
# library compiles the two lines that ask our script for a time axis's ticks, hence "eval".
_POLICY = (
    "default-src 'none'; script-src 'unsafe-inline' 'unsafe-eval'; style-src 'unsafe-inline'; img-src data:; "
    "font-src data:; form-action 'none'; base-uri 'none'"
)
_FIGURE = re.compile(r"(?<=\d) (?=(?:[AVWhsdL]|Ah|Wh|VA|min|mΩ)\b|%)")


def render(report: Report) -> str:
    """Return the page of a report.

    Parameters
    ----------
    report : Report
        One site with one log or several; at least one log.

    Returns
    -------
    str
        A whole HTML document: style, drawings and the script that lets one move and zoom them inside; it may fetch
        nothing, and is complete with scripts off. The same report gives the same bytes.
    """
    # Loaded here, so that commands which only share this module's words do not pay for drawing.
    from jinja2 import Environment, StrictUndefined

    from .views import view_of

    templates = files(__package__).joinpath("templates")
    environment = Environment(
        autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True, finalize=_kept_together
    )
    environment.filters["short"] = words.shortened
    environment.filters["full"] = partial(words.shortened, most=600)
    template = environment.from_string(templates.joinpath("page.html").read_text("utf-8"))
    views = [view_of(report, log, f"log-{place}") for place, log in enumerate(report.logs, start=1)]
    return template.render(
        title=_title(report),
        style=templates.joinpath("page.css").read_text("utf-8"),
        policy=_POLICY,
        charts=_charts(),
        views=views,
        compared=tables.compared(report) if len(views) > 1 else None,
        method=method.method(report),
        cautions=report.cautions,
        version=report.version,
        unknown=words.UNKNOWN,
    )


def _charts() -> dict[str, str]:
    """Return what the charts need: the drawing library out of its installed package, our script and our style."""
    from bokeh.resources import Resources

    library = Resources(mode="inline", components=["bokeh"], minified=True)
    templates = files(__package__).joinpath("templates")
    script, style = (templates.joinpath(f"charts.{kind}").read_text("utf-8") for kind in ("js", "css"))
    return {"library": library.js_raw[0], "script": script, "style": style}


def _kept_together(value: object) -> object:
    """Return text with its figures tied to their units, so that no line ends between them; other things unchanged."""
    return _FIGURE.sub("\N{NO-BREAK SPACE}", value) if type(value) is str else value


def _title(report: Report) -> str:
    if report.site is not None:
        return words.shortened(report.site.name, 120)
    names = " and ".join(sentences.log_title(log.facts) for log in report.logs)
    return f"{'Log' if len(report.logs) == 1 else 'Logs'}: {names}"
