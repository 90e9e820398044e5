"""The page: one HTML file that holds everything it needs and asks nothing of a network."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from ...parallel.worker_process import HERE, Second
from ..wording import log_sentences, numbers, shown, site_sentences
from . import log_tables, method
from .templated import filled, template_text

if TYPE_CHECKING:
    from ....analysis.several_logs.report import Report

#: A title names so many logs.
_MOST_NAMES = 3


def render(report: Report, second: Second = HERE) -> str:
    """Return the page of a report with at least one log; `second` is where its drawings are made.

    It is a whole HTML document: style, drawings and the script that lets one move and read them inside; it may fetch
    nothing, and is complete with scripts off. The same report gives the same bytes.
    """
    # Loaded here, so that commands which only share this module's words do not pay for drawing.
    from ..still_charts.svg import drawn_by
    from . import figures
    from .first_screen import first_screen, leading
    from .log_view import view_of
    from .several_view import logs_in_full, several_view

    # Of many logs a page in full would be as long as a book: those that want a look are, the others in short.
    full = replace(report, logs=logs_in_full(report))
    # By identity: a report holds arrays, and so has no hash.
    anchors = {id(log): f"log-{place}" for place, log in enumerate(full.logs, start=1)}
    with drawn_by(second):
        several = several_view(report, anchors)
        first = first_screen(report, anchors, figures.picture(report, "picture"))
        # What asks for action is read first, though the log may be the later one.
        first_log = leading(full.logs)
        placed = sorted(enumerate(full.logs, start=1), key=lambda each: each[1] is not first_log)
        views = [view_of(report, log, f"log-{place}") for place, log in placed]
    return filled(
        "page.html",
        styles=("several.css", "charts.css", "steps.css"),
        title=_title(report),
        first=first,
        scripts="\n".join(template_text(f"{name}.js") for name in ("clock", "charts", "pictures", "steps")),
        several=several,
        views=views,
        compared=log_tables.compared(full) if len(full.logs) > 1 else None,
        unsafe=site_sentences.unsafe(full),
        carries=site_sentences.carry_all(full),
        rules=method.rules(full),
        sums=method.sums(full),
        settings=method.settings(full),
        cautions=report.cautions,
        version=report.version,
        steps=shown.steps(report),
    )


def _title(report: Report) -> str:
    if report.site is not None:
        return numbers.shortened(report.site.name, 120)
    names = [log_sentences.log_title(log.facts) for log in report.logs]
    if len(names) > _MOST_NAMES:
        return f"{len(names)} logs: {names[0]} to {names[-1]}"
    return f"{'Log' if len(names) == 1 else 'Logs'}: {' and '.join(names)}"


def load_page() -> None:
    """Load what a page is made with but for drawing, while there is nothing to put on it."""
    from . import first_screen, log_view, several_view  # noqa: F401


def load_library() -> None:
    """Load what drawing takes longest to load, before there is anything to draw."""
    import matplotlib.backends.backend_svg
    import matplotlib.dates
    import matplotlib.figure  # noqa: F401
