"""The page: one HTML file that holds everything it needs and asks nothing of a network."""

from __future__ import annotations

from typing import TYPE_CHECKING

from . import method, sentences, tables, words
from .templated import filled

if TYPE_CHECKING:
    from ...analysis.report import Report


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
    from .views import view_of

    views = [view_of(report, log, f"log-{place}") for place, log in enumerate(report.logs, start=1)]
    return filled(
        "page.html",
        title=_title(report),
        views=views,
        compared=tables.compared(report) if len(views) > 1 else None,
        method=method.method(report),
        cautions=report.cautions,
        version=report.version,
    )


def _title(report: Report) -> str:
    if report.site is not None:
        return words.shortened(report.site.name, 120)
    names = " and ".join(sentences.log_title(log.facts) for log in report.logs)
    return f"{'Log' if len(report.logs) == 1 else 'Logs'}: {names}"
