"""The page: one HTML file that holds everything it needs and asks nothing of a network."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from ....analysis.cautions import BANK, CODES, MAINS, TANK
from ....analysis.health.tank import AIR_FIRST_STEP
from ...parallel.worker_process import HERE, Second
from ..wording import checks, log_sentences, numbers, several_sentences, shown, site_sentences
from ..wording.several_sentences import begins_with_all
from . import answer_tables, log_tables, method
from .templated import filled, template_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ....analysis.health.finding import Finding
    from ....analysis.one_log.log_report import LogReport
    from ....analysis.several_logs.report import Report
    from ..wording.verdict import Verdict
    from .first_screen import Glance
    from .log_tables import Table
    from .several_view import SeveralView

#: A title names so many logs.
_MOST_NAMES = 3
#: On one sheet there is room for so many logs' figures, for so many sentences on what fails, and so long. [characters]
_MOST_COLUMNS, _MOST_FAILING, _MOST_UNSAFE = 2, 3, 160
#: What a sentence, a cell of its table and the head of a column may hold. [characters]
_MOST_SAID, _MOST_IN_CELL, _MOST_HEAD = 120, 144, 24
#: On one sheet there is room for so many parts from note to note and for so many findings, of one log or of two
#: together, for so much on why, and for so much on what was seen and what to check. [1], [characters]
_MOST_PARTS, _MOST_FOUND, _MOST_WHY, _MOST_SEEN = 8, 3, 320, 480


def render(report: Report, second: Second = HERE) -> str:
    """Return the page of a report with at least one log; `second` is where its drawings are made.

    It is a whole HTML document: style, drawings and the script that lets one move and read them inside; it may fetch
    nothing, and is complete with scripts off. The same report gives the same bytes.
    """
    # Loaded here, so that commands which only share this module's words do not pay for drawing.
    from ..still_charts.svg import drawn_by
    from . import figures
    from .first_screen import first_screen
    from .log_view import view_of

    full = _in_full(report)
    # By identity: a report holds arrays, and so has no hash.
    anchors = {id(log): f"log-{place}" for place, log in enumerate(full.logs, start=1)}
    with drawn_by(second):
        several = _several(report, anchors)
        first = first_screen(report, anchors, figures.picture(report, "picture"))
        # What asks for action is read first, though the log may be the later one.
        first_log = shown.leading(full.logs)
        placed = sorted(enumerate(full.logs, start=1), key=lambda each: each[1] is not first_log)
        terms = numbers.TradeTerms()
        views = [view_of(report, log, f"log-{place}", terms) for place, log in placed]
    return filled(
        "page.html",
        styles=("several.css", "charts.css", "steps.css"),
        title=_title(report),
        first=first,
        scripts="\n".join(template_text(f"{name}.js") for name in ("clock", "charts", "pictures", "steps")),
        one_page=False,
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


def _in_full(report: Report) -> Report:
    """Return a report with the logs that its page shows in full."""
    if report.over is None:
        return report
    from .several_view import logs_in_full  # most reports are of one log

    # Of many logs a page in full would be as long as a book: those that want a look are, the others in short.
    return replace(report, logs=logs_in_full(report))


def _several(report: Report, anchors: dict[int, str]) -> SeveralView | None:
    if report.over is None:
        return None
    from .several_view import several_view

    return several_view(report, anchors)


def render_one_page(report: Report, second: Second = HERE) -> str:
    """Return a report on one sheet: verdict, answer, picture, parts, findings, figures, plates, cautions, place, date.

    What is not known and only asks the owner for more is left out: a visitor could not add it. It is a whole HTML
    document like that of `render`, and fits a sheet of A4 as well as one of Letter.
    """
    from ..still_charts.svg import drawn_by
    from . import figures
    from .first_screen import first_screen

    with drawn_by(second):
        # Nothing on the sheet leads further: no log has a place in full.
        first = first_screen(report, {}, figures.picture(report, "picture"))
    # Of more logs than there is room for the one that the answer is about is told of.
    logs = report.logs if len(report.logs) <= _MOST_COLUMNS else (shown.verdict_of(report)[1],)
    # The worst of many stand on its first screen, and their parts would fill it.
    parts, findings = ([], []) if begins_with_all(report) else (_parts(logs), _serious(logs))
    when, table = _when_and_figures(report, logs, findings=not findings)
    unsafe = [numbers.shortened(text, _MOST_UNSAFE) for text in site_sentences.unsafe(report)]
    return filled(
        "one_page.html",
        styles=("one_page.css",),
        title=numbers.shortened(_title(report)),
        first=replace(
            first, verdict=_fitting(first.verdict), glances=_for_visitors(first.glances, alone=len(report.logs) == 1)
        ),
        one_page=True,
        when=[numbers.shortened(text, _MOST_SAID) for text in when],
        what_if=_what_if(report),
        parts=parts,
        findings=findings,
        to_measure=_to_measure(findings),
        in_order=checks.in_order(logs[0].checks) if len(logs) == 1 and logs[0].cycles.cycles else "",
        table=_in_short(table),
        plates=_plates(report, logs),
        # The last of them says who decides.
        unsafe=unsafe if len(unsafe) <= _MOST_FAILING else [*unsafe[: _MOST_FAILING - 1], unsafe[-1]],
        cautions=_that_matter(report),
        version=report.version,
    )


def _when_and_figures(report: Report, logs: Sequence[LogReport], *, findings: bool) -> tuple[list[str], Table]:
    """Return from when to when a sheet tells, and its table of figures."""
    if report.over is not None and begins_with_all(report):
        return [several_sentences.when(report.over)], answer_tables.all_logs(report.over)
    if len(logs) == 1:
        return [log_sentences.when(logs[0])], answer_tables.one_log(logs[0], findings=findings)
    table = log_tables.compared(replace(report, logs=tuple(logs)), findings=findings)
    return [log_sentences.when(log) for log in logs], table


def _for_visitors(glances: Sequence[Glance], *, alone: bool) -> tuple[Glance, ...]:
    """Return glances without what only asks their owner for more, and without what the sheet has as a table."""
    # Of one log the table has what all loads took, and the verdict how the load is: the first two tiles.
    first = 2 if alone else 0
    return tuple(
        replace(glance, tiles=tuple(tile for tile in glance.tiles[first:] if not tile.asks), parts=(), more="")
        for glance in glances
    )


def _parts(logs: Sequence[LogReport]) -> list[Table]:
    """Return what each part from note to note took, log by log; of several each table says of which it is."""
    tables = [(log, log_tables.parts(log, _MOST_PARTS // len(logs))) for log in logs]
    return [
        replace(
            table, caption=f"{table.caption}: {log_sentences.log_title(log.facts)}" if len(logs) > 1 else table.caption
        )
        for log, table in tables
        if table.rows
    ]


def _serious(logs: Sequence[LogReport]) -> list[Finding]:
    """Return the findings for which a sheet has room, the gravest first, each of one kind once."""
    every = (finding for log in logs for finding in log_sentences.by_severity(log) if finding.severity != "note")
    gravest = sorted(every, key=lambda finding: finding.severity != "act")
    kinds = {finding.code: finding for finding in reversed(gravest)}
    few = [finding for finding in gravest if kinds[finding.code] is finding][: _MOST_FOUND // len(logs)]
    # What several ask to be checked stands once.
    return [
        _in_few(
            finding, check="" if finding.check_first in (f.check_first for f in few[:place]) else finding.check_first
        )
        for place, finding in enumerate(few)
    ]


def _in_few(finding: Finding, check: str) -> Finding:
    plain, causes, check, evidence = (
        numbers.shortened(text, most)
        for text, most in (
            (finding.plain or finding.title, _MOST_SAID),
            (finding.causes, _MOST_WHY),
            (check, _MOST_SEEN),
            (finding.evidence, _MOST_SEEN),
        )
    )
    plain, evidence = numbers.sentence(plain), numbers.capital(evidence)
    return replace(finding, plain=plain, causes=causes, check_first=check, evidence=evidence)


def _to_measure(findings: Sequence[Finding]) -> bool:
    """Tell whether a tank's air is to be measured: a sheet has room for it."""
    return any(finding.first_step == AIR_FIRST_STEP for finding in findings)


def _plates(report: Report, logs: Sequence[LogReport]) -> list[str]:
    """Return what the plates say of the load of one log, and of what it runs on; none without a site file."""
    if report.site is None or len(logs) != 1:
        return []
    from ....analysis.check_site.description import plates  # the long page needs none of it

    return [numbers.shortened(text, _MOST_WHY) for text in plates(report.site, log_sentences.named_load(logs[0]))]


def _what_if(report: Report) -> str:
    if report.what_if is None:
        return ""
    from ..wording.what_if import changes_in_short  # few reports are asked about a change

    return numbers.shortened(changes_in_short(report.what_if), _MOST_UNSAFE)


def _fitting(judged: Verdict) -> Verdict:
    sentence, step = (numbers.shortened(text, _MOST_SAID) for text in (judged.sentence, judged.first_step))
    return replace(judged, sentence=sentence, first_step=step)


def _in_short(table: Table) -> Table:
    """Return a table with no cell longer than there is room for on one sheet."""
    rows = tuple(tuple(numbers.shortened(cell, _MOST_IN_CELL) for cell in row) for row in table.rows)
    # The title tells which log it is, where there is one.
    head = ("", "") if len(table.head) == 2 else tuple(numbers.shortened(head, _MOST_HEAD) for head in table.head)
    return replace(table, head=head, rows=rows)


def _that_matter(report: Report) -> tuple[str, ...]:
    """Return the cautions on what somebody is likely to touch after reading a report."""
    pump = any(finding.severity != "note" for log in report.logs for finding in log.findings)
    return (BANK, MAINS, *((TANK,) if pump else ()), CODES)


def _title(report: Report) -> str:
    if title := shown.own_title(report):
        return title
    if report.site is not None:
        return numbers.shortened(report.site.name, 120)
    if len(report.logs) == 1:
        return log_sentences.load_and_title(report.logs[0])
    names = [log_sentences.log_title(log.facts) for log in report.logs]
    if len(names) > _MOST_NAMES:
        return f"{len(names)} logs: {names[0]} to {names[-1]}"
    return f"Logs: {' and '.join(names)}"


def load_page() -> None:
    """Load what a page is made with but for drawing, while there is nothing to put on it."""
    from . import first_screen, log_view  # noqa: F401
