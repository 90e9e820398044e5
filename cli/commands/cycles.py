"""The command for a load's runs and what they say about its health."""

from __future__ import annotations

from pathlib import Path

import click

from ...analysis.one_log.log_analysis import LogAnalysis
from ..exit import Exit, strictly
from ..opening.prepared_log import Corrections, correction_options, open_site, prepared
from ..render.documents.charge_and_runs import cycles_document
from ..render.documents.parts import print_json
from ..render.terminal.answer import explain_option, say_answer
from ..render.terminal.cycles import cycles_answer


@click.command("cycles")
@click.argument("log", type=click.Path(path_type=Path))
@click.option("--site", type=click.Path(path_type=Path), help="The site file: its loads, limits and zone.")
@click.option("--load", metavar="NAME", help="The load to look for, by its name in the site file. Default: the pump.")
@click.option("--strict", is_flag=True, help="End with status 4 if a finding wants watching or acting on.")
@correction_options
@explain_option
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document alone.")
def command(
    log: Path,
    site: Path | None,
    load: str | None,
    strict: bool,
    zero_at: str | None,
    drop_spikes: bool,
    explain: bool,
    as_json: bool,
) -> int:
    """Find the runs of a load: starts and stops, surges, what each took, duty cycle, and findings.

    Without a site file the largest draw that matters is looked at.

    Example: shuntbook cycles pump.parquet --site site.toml
    """
    known = open_site(site)
    ready = prepared(log, known, Corrections(zero_at, drop_spikes))
    analysis = LogAnalysis(ready.facts, ready.how, ready.quantities, site=known, load=load, figures=ready.figures)
    ready.feed(analysis)
    result = analysis.result()
    if as_json:
        print_json(cycles_document(result))
    else:
        say_answer(cycles_answer(result, folder=log if log.is_dir() else None), explain=explain)
    # Whatever is printed: a script that watches a pump looks at the status alone.
    return int(strictly(result.findings) if strict else Exit.DONE)
