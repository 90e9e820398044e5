"""The command that makes the page."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from ...ingest.errors import InputError
from ...ingest.safe_files.own_folder import refuse_foreign, write_together
from ...ingest.safe_files.whole_file import is_same, refuse_existing, refuse_input, write_bytes, write_text
from ..assembling.report import report_of
from ..assembling.to_show import ToShow, options_to_show
from ..door import say
from ..exit import Exit, strictly
from ..opening.prepared_log import Corrections, correction_options, open_site
from ..parallel.worker_process import Second, second_process
from ..render.page.page import load_page, render, render_one_page
from ..render.still_charts.svg import load_library
from ..render.terminal.answer import explain_option, page_written, say_answer
from ..render.terminal.report import report_answer
from ..render.wording.numbers import counted

if TYPE_CHECKING:
    from ...analysis.health.finding import Finding
    from ...analysis.several_logs.report import Report


@click.command("report")
@click.argument("logs", nargs=-1, required=True, metavar="LOG...", type=click.Path(path_type=Path))
@click.option("--site", type=click.Path(path_type=Path), help="The site file: bank, inverters, loads, limits, zone.")
@click.option("--out", type=click.Path(path_type=Path), help="The page to write (HTML).")
@click.option("--pdf", type=click.Path(path_type=Path), help="The same page laid out for paper, to write (PDF).")
@click.option("--one-page", is_flag=True, help="Make --out and --pdf one sheet: the answer, its picture and figures.")
@click.option(
    "--csv", "tables", type=click.Path(path_type=Path), metavar="DIR", help="The folder for tables (CSV) to write."
)
@click.option("--load", metavar="NAME", help="The load to look for, by its name in the site file. Default: the pump.")
@click.option(
    "--changed-at",
    metavar="TIME_OR_NOTE",
    help="When something was changed at the site, such as a tank recharged: a time, or a note of a log. The days "
    "before are set beside those after. Default with several logs: a note beside which the days' figures step, else "
    "their first half beside their last.",
)
@click.option(
    "--with",
    "changes",
    metavar="CHANGE",
    multiple=True,
    help='What a change would do, by the one log and its site file: "tank 300 L", "soft start" ... as forecast has '
    "them; again for several at once.",
)
@click.option("--strict", is_flag=True, help="End with status 4 if a finding wants watching or acting on.")
@options_to_show
@correction_options
@explain_option
@click.option("--force", is_flag=True, help="Replace an existing page or PDF, or tables that you changed.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document alone.")
@click.pass_obj
def command(
    own_process: bool | None,
    logs: tuple[Path, ...],
    site: Path | None,
    out: Path | None,
    pdf: Path | None,
    one_page: bool,
    tables: Path | None,
    load: str | None,
    changed_at: str | None,
    changes: tuple[str, ...],
    show: ToShow,
    strict: bool,
    zero_at: str | None,
    drop_spikes: bool,
    explain: bool,
    force: bool,
    as_json: bool,
) -> int:
    """Make the page of a log, or of several of one site: one HTML file that opens anywhere, offline; or a PDF of it.

    With --one-page it is one sheet, of A4 or Letter, to hand out: verdict, answer, picture, figures and cautions.

    Example: shuntbook report pump.parquet --site site.toml --one-page --pdf pump.pdf

    With --card also, or only, a still of it for posting: the verdict, what the load took, its runs.

    Example: shuntbook report pump.parquet --site site.toml --card pump.png

    With --captions also, or only, what a film of it shows beside the pump, second by second.

    Example: shuntbook report pump.parquet --captions pump.vtt --film-start 10:30:05

    With --csv also, or only, its tables for a spreadsheet: charge, cycles, findings, the load day by day, the ledger by
    day and demo, and what else comes in rows, with all digits and in the units of --json. An apostrophe stands before
    texts that a spreadsheet would run as formulas.

    Example: shuntbook report pump.parquet --site site.toml --out pump.html --pdf pump.pdf --csv pump-tables

    Many logs of one site, such as one a day: what all of them show comes first, with trends from day to day, a calendar
    of starts, and what changed.

    Example: shuntbook report days/*.parquet --site site.toml --out month.html --changed-at "tank recharged"

    With --with the page, and what_if in --json, also say what a change of the system would do in a day: before and
    after, by the runs of the log.

    Example: shuntbook report pump.parquet --site site.toml --out pump.html --with "tank 300 L"
    """
    if out is None and pdf is None and tables is None and not as_json and not show.files:
        raise InputError(
            "say where the page goes (--out PAGE.html or --pdf FILE.pdf), or ask for tables (--csv DIR), for a card "
            "(--card FILE.png), for captions of a film (--captions FILE.vtt) or the numbers alone (--json)"
        )
    if one_page and out is None and pdf is None:
        raise InputError(
            "--one-page says how the page is laid out: name the page as well (--out PAGE.html or --pdf FILE.pdf)"
        )
    _refuse(out, pdf, tables, [*logs, site], force=force)
    show.refuse(logs, site, [out, pdf], force=force)
    corrections = Corrections(zero_at, drop_spikes)
    if show.captions is not None:
        from ..assembling.film_captions import write_captions

        film = show.film_start or "", show.film_length
        write_captions(show.captions, logs[0], open_site(site), corrections, *film, err=as_json)
    # Captions need no report, which would read the log once more.
    if show.files == [("--captions", show.captions)] and not (out or pdf or tables or as_json or strict):
        return int(Exit.DONE)
    # Drawings load large libraries: a second process does so while this one reads, and neither does for tables alone.
    drawn = out is not None or pdf is not None
    libraries = (load_library, load_page) if drawn else ()
    with second_process(*libraries, allowed=bool(own_process)) as second:
        # What a change would do is told by the same pass over the log, so that page and terminal agree.
        report = report_of(logs, open_site(site), load, corrections, changed_at, second, changes)
        if drawn:
            say_answer(report_answer(report), explain=explain, err=as_json)
            _write(report, out, pdf, second, one_page=one_page, err=as_json)
    if show.card is not None:
        from ..render.card.card import card

        write_bytes(show.card, card(report, show.card_size or "wide"))
        say(f"wrote {show.card}; a card to show to others", err=as_json)
    if tables is not None:
        from ..render.documents.csv_tables import csv_files

        files = csv_files(report)
        write_together(tables, files, what="--csv")
        say(f"wrote {counted(len(files), 'table')} to {tables}", err=as_json)
    if as_json:
        from ..render.documents.parts import print_json
        from ..render.documents.report import report_document

        print_json(report_document(report, in_turn=True))
    return int(strictly(_findings(report)) if strict else Exit.DONE)


def _findings(report: Report) -> list[Finding]:
    over = () if report.over is None else report.over.findings
    return [*(finding for log in report.logs for finding in log.findings), *(each.finding for each in over)]


def _refuse(out: Path | None, pdf: Path | None, tables: Path | None, inputs: list[Path | None], *, force: bool) -> None:
    """Stop before anything is worked out where a result would replace what is not to be replaced, or cannot be made."""
    for what, place in (("--out", out), ("--pdf", pdf)):
        if place is not None:
            refuse_input(place, inputs, what=what)
            refuse_existing(place, force=force, what=what)
    # The libraries for paper are the only ones that may be missing.
    if pdf is not None:
        _refuse_pdf(pdf, out)
    if tables is not None:
        from ..render.documents.csv_tables import FILES

        refuse_input(tables, [out, pdf], called="the page itself", what="--csv")
        for name in FILES:
            refuse_input(tables / name, inputs, what="--csv")
        refuse_foreign(tables, FILES, force=force, what="--csv")


def _refuse_pdf(pdf: Path, out: Path | None) -> None:
    """Refuse a PDF where the page goes, and one that cannot be made here, before any work is done."""
    from ..render.page.paper import refuse_without_library

    if out is not None and is_same(pdf, out):
        raise InputError(f"--out and --pdf both name {pdf}; give each a file of its own")
    refuse_without_library()


def _write(report: Report, out: Path | None, pdf: Path | None, second: Second, *, one_page: bool, err: bool) -> None:
    """Write the page, or the PDF, or both from one page, and say what stands in them; to stderr with `err`."""
    # The PDF is printed from the very page, so that both say the same; both are made before either is written.
    page, paper = (render_one_page if one_page else render)(report, second), None
    if pdf is not None:
        from ..render.page.paper import to_pdf

        paper = to_pdf(page)
    if out is not None:
        write_text(out, page)
        say(page_written(out), err=err)
    if pdf is not None and paper is not None:
        write_bytes(pdf, paper)
        say(f"wrote {pdf}; it is laid out for A4 paper", err=err)
