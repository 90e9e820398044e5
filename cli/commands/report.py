"""The command that makes the page."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from ...ingest.errors import InputError
from ...ingest.whole_file import refuse_existing, refuse_input, write_text
from ..assemble import report_of
from ..exit import Exit, strictly
from ..feeding import open_site
from ..prepared import Corrections, correction_options
from ..render.as_json import report_document
from ..render.json_parts import print_json
from ..render.several_words import begins_with_all, over_lines
from ..render.site_sentences import in_short

if TYPE_CHECKING:
    from ...analysis.report import Report


@click.command("report")
@click.argument("logs", nargs=-1, required=True, metavar="LOG...", type=click.Path(path_type=Path))
@click.option("--site", type=click.Path(path_type=Path), help="The site file: bank, inverters, loads, limits, zone.")
@click.option("--out", type=click.Path(path_type=Path), help="The page to write (HTML).")
@click.option("--load", help="The load to look for, by its name in the site file. Default: the pump.")
@click.option(
    "--changed-at",
    metavar="TIME_OR_NOTE",
    help="When something was changed at the site, such as a tank recharged: a time, or a note of a log. The days "
    "before are set beside those after. Default with several logs: their first half beside their last.",
)
@click.option("--strict", is_flag=True, help="End with status 4 if a finding wants watching or acting on.")
@correction_options
@click.option("--force", is_flag=True, help="Replace an existing page.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document alone.")
def command(
    logs: tuple[Path, ...],
    site: Path | None,
    out: Path | None,
    load: str | None,
    changed_at: str | None,
    strict: bool,
    zero_at: str | None,
    drop_spikes: bool,
    force: bool,
    as_json: bool,
) -> int:
    """Make the page of a log, or of several of one site: one HTML file that opens anywhere, offline.

    Example: shuntbook report pump.parquet --site site.toml --out pump.html

    Many logs of one site, such as one a day: what all of them show comes first, with trends from day to day, a calendar
    of starts, and what changed.

    Example: shuntbook report days/*.parquet --site site.toml --out month.html --changed-at "tank recharged"
    """
    if out is None and not as_json:
        raise InputError("say where the page goes (--out PAGE.html), or ask for the numbers alone (--json)")
    if out is not None:
        refuse_input(out, [*logs, site])
        refuse_existing(out, force=force)
    report = report_of(logs, open_site(site), load, Corrections(zero_at, drop_spikes), changed_at)
    if out is not None:
        from ..render.page import render

        write_text(out, render(report))
        click.echo(f"wrote {out}; open it in a browser", err=as_json)
        for line in _in_short(report):
            click.echo(line, err=as_json)
    if as_json:
        print_json(report_document(report))
    return int(strictly([finding for log in report.logs for finding in log.findings]) if strict else Exit.DONE)


def _in_short(report: Report) -> list[str]:
    """Return what the terminal says of the page: of many logs what they show together, else of each."""
    if report.over is not None and begins_with_all(report):
        return over_lines(report.over)
    return [text for log in report.logs for text in in_short(log)]
