"""The command that says what is in a log."""

from __future__ import annotations

from pathlib import Path

import click

from ...analysis.quality import QualityFold
from ...analysis.time_span import SpanFold
from ..feeding import facts_of, feed, how_read, open_and_tell, open_site
from ..render.as_json import look_document, print_json
from ..render.terminal import look_lines


@click.command("look")
@click.argument("log", type=click.Path(path_type=Path))
@click.option("--site", type=click.Path(path_type=Path), help="The site file: its zone names the times.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document alone.")
def command(log: Path, site: Path | None, as_json: bool) -> None:
    """Say what is in a log: span, spacing, gaps, quantities, and whether the current's sign can be right.

    Example: shuntbook look pump.parquet
    """
    opened = open_and_tell(log)
    facts, how = facts_of(opened, open_site(site)), how_read(opened)
    time, quality = SpanFold(how), QualityFold(opened.quantities)
    feed(opened, [time, quality])
    span, found = time.result(), quality.result()
    if as_json:
        print_json(look_document(facts, span, found))
        return
    for line in look_lines(facts, span, found):
        click.echo(line)
