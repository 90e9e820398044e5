"""The command that says what is in a log."""

from __future__ import annotations

from pathlib import Path

import click

from ...analysis.quality import QualityFold
from ...analysis.verdict import verdict_of
from ..feeding import facts_of, feed, how_read, meter_of, open_and_tell, open_site
from ..render.as_json import look_document
from ..render.json_parts import print_json
from ..render.look_words import look_lines


@click.command("look")
@click.argument("log", type=click.Path(path_type=Path))
@click.option("--site", type=click.Path(path_type=Path), help="The site file: its zone, and what its meter can read.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document alone.")
def command(log: Path, site: Path | None, as_json: bool) -> None:
    """Say what is in a log, what it is good for, and what is the matter with it.

    Example: shuntbook look pump.parquet
    """
    opened, known = open_and_tell(log), open_site(site)
    facts, how = facts_of(opened, known), how_read(opened)
    meter = meter_of(known, facts.meter, facts.side)
    fold = QualityFold(
        how,
        opened.quantities,
        range_A=meter.range_A if meter is not None else None,
        has_array=known is not None and known.array is not None,
    )
    feed(opened, [fold])
    found = fold.result()
    verdict = verdict_of(found, how)
    if as_json:
        print_json(look_document(facts, found, verdict))
        return
    for line in look_lines(facts, found, verdict):
        click.echo(line)
