"""The command for Ah and Wh."""

from __future__ import annotations

from pathlib import Path

import click

from ...analysis.charge import ChargeFold
from ...analysis.marked import MarkedFold
from ...analysis.quality import SignFold
from ...ingest.errors import InputError
from ..feeding import ends_of, facts_of, feed, how_read, open_and_tell, open_site
from ..render.as_json import charge_document, print_json
from ..render.terminal import charge_lines, marked_lines
from ..span import span_of


@click.command("charge")
@click.argument("log", type=click.Path(path_type=Path))
@click.option("--site", type=click.Path(path_type=Path), help="The site file: its zone names the times.")
@click.option("--from", "since", help="Only from this time (or marker) on.")
@click.option("--to", "until", help="Only up to this time (or marker).")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document alone.")
def command(log: Path, site: Path | None, since: str | None, until: str | None, as_json: bool) -> None:
    """Work out what a log's readings took out of the bank, and put back, in Ah and Wh.

    Gaps are never bridged: the time that was not measured is told beside the result.

    Example: shuntbook charge pump.parquet --from 10:30 --to 10:45
    """
    opened = open_and_tell(log)
    facts = facts_of(opened, open_site(site))
    from_us, to_us = None, None
    if since is not None or until is not None:
        first_us, last_us = ends_of(opened)
        from_us, to_us = span_of(since, until, facts, first_us=first_us, last_us=last_us)
    fold = ChargeFold(how_read(opened), set(opened.quantities), from_us=from_us, to_us=to_us)
    sign = SignFold(opened.quantities if opened.meta.side == "dc" else ())
    marked = MarkedFold(how_read(opened), set(opened.quantities), facts.markers, from_us=from_us, to_us=to_us)
    feed(opened, [fold, marked, sign])
    result = fold.result()
    if result.span.start_us is None:
        raise InputError(f"{log}: no reading lies in the span that was asked for")
    if as_json:
        print_json(charge_document(facts, result, marked.result()))
        return
    for line in charge_lines(facts, result, sign.result()):
        click.echo(line)
    for line in marked_lines(facts, marked.result()):
        click.echo(line)
