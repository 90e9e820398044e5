"""The command for a load's runs and what they say about its health."""

from __future__ import annotations

from pathlib import Path

import click

from ...analysis.log_analysis import LogAnalysis
from ..exit import Exit, strictly
from ..feeding import facts_of, feed, how_read, open_and_tell, open_site
from ..render.as_json import cycles_document, print_json
from ..render.terminal import cycles_lines


@click.command("cycles")
@click.argument("log", type=click.Path(path_type=Path))
@click.option("--site", type=click.Path(path_type=Path), help="The site file: its loads, limits and zone.")
@click.option("--load", help="The load to look for, by its name in the site file. Default: the pump.")
@click.option("--strict", is_flag=True, help="End with status 4 if a finding wants watching or acting on.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document alone.")
def command(log: Path, site: Path | None, load: str | None, strict: bool, as_json: bool) -> int:
    """Find the runs of a load: starts and stops, surges, what each took, duty cycle, and findings.

    Without a site file the largest draw that matters is looked at.

    Example: shuntbook cycles pump.parquet --site site.toml
    """
    opened, checked = open_and_tell(log), open_site(site)
    facts = facts_of(opened, checked)
    analysis = LogAnalysis(facts, how_read(opened), set(opened.quantities), site=checked, load=load)
    feed(opened, [analysis])
    result = analysis.result()
    if as_json:
        print_json(cycles_document(result))
    else:
        for line in cycles_lines(result):
            click.echo(line)
    return int(strictly(result.findings) if strict else Exit.DONE)
