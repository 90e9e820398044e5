"""The command that sets two logs side by side."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from ...analysis.charge.between_notes import MarkedFold
from ...analysis.one_log.log_analysis import LogAnalysis
from ...analysis.several_logs.compare import compare_logs
from ...analysis.several_logs.compare_rates import even_cuts
from ...analysis.several_logs.compared import ComparedLog
from ..opening.prepared_log import Corrections, ends_of, open_site, prepared
from ..render.documents.parts import document_of, print_json
from ..render.terminal.answer import explain_option, say_answer
from ..render.terminal.compare import compare_answer

if TYPE_CHECKING:
    from ...analysis.site.site import Site


@click.command("compare")
@click.argument("before", metavar="LOG", type=click.Path(path_type=Path))
@click.argument("after", metavar="LOG", type=click.Path(path_type=Path))
@click.option("--site", type=click.Path(path_type=Path), help="The site file: its loads, limits and meters.")
@click.option("--load", metavar="NAME", help="The load to look for, by its name in the site file. Default: the pump.")
@click.option("--drop-spikes", is_flag=True, help="Leave lone spikes out of both logs.")
@explain_option
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document alone.")
def command(
    before: Path,
    after: Path,
    site: Path | None,
    load: str | None,
    drop_spikes: bool,
    explain: bool,
    as_json: bool,
) -> None:
    """Set two logs side by side, such as a week before and a week after a tank was recharged.

    Charge and energy an hour or a day, starts, run and rest, draw, and findings that came and went; each difference
    with its own 95 % interval, and a plain word where these logs can show none.

    Example: shuntbook compare last-week.parquet this-week.parquet --site site.toml
    """
    known = open_site(site)
    # No zero check: the stretch in which nothing flowed would be another in each log.
    corrections = Corrections(drop_spikes=drop_spikes)
    comparison = compare_logs(*(_log(path, known, load, corrections) for path in (before, after)))
    if as_json:
        print_json(document_of(comparison))
        return
    say_answer(compare_answer(comparison), explain=explain)


def _log(path: Path, site: Site | None, load: str | None, corrections: Corrections) -> ComparedLog:
    """Return a log's report, and what it holds from one even cut to the next."""
    ready = prepared(path, site, corrections)
    analysis = LogAnalysis(ready.facts, ready.how, ready.quantities, site=site, load=load, figures=ready.figures)
    # From the differences between even stretches comes how far such a log's rate may be off by chance.
    cuts = [(at_us, "") for at_us in even_cuts(*ends_of(ready.log))]
    stretches = MarkedFold(ready.how, ready.quantities, cuts)
    ready.feed(analysis, stretches)
    return ComparedLog(analysis.result(), stretches.result())
