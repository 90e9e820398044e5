"""The command that says what is in a log."""

from __future__ import annotations

from pathlib import Path

import click

from ...analysis.shown_units import SI
from ...analysis.verdict import verdict_of
from ..feeding import open_site
from ..gap_doubt import charge_if_in_doubt
from ..prepared import prepared
from ..render.charge_words import doubt_lines
from ..render.json_parts import print_json
from ..render.look_json import look_document
from ..render.look_words import look_lines


@click.command("look")
@click.argument("log", type=click.Path(path_type=Path))
@click.option("--site", type=click.Path(path_type=Path), help="The site file: its zone, and what its meter can read.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document alone.")
def command(log: Path, site: Path | None, as_json: bool) -> None:
    """Say what is in a log, what it is good for, and what is the matter with it.

    Example: shuntbook look pump.parquet
    """
    known = open_site(site)
    ready = prepared(log, known)
    fold = ready.quality_fold(known)
    ready.feed(fold)
    found = fold.result()
    verdict = verdict_of(found, ready.how)
    charge = charge_if_in_doubt(ready)
    in_doubt = [] if charge is None else doubt_lines(charge)
    if as_json:
        print_json({**look_document(ready.facts, found, verdict), "in_doubt": in_doubt})
        return
    for line in look_lines(ready.facts, found, verdict, SI if known is None else known.shown):
        click.echo(line)
    for line in in_doubt:
        click.echo(line)
