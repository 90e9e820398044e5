"""The command for Ah and Wh."""

from __future__ import annotations

from pathlib import Path

import click

from ..assembling.charge_asked import ChargeAsked
from ..opening.prepared_log import Corrections, correction_options, open_site
from ..render.terminal.answer import explain_option, say_answer


@click.command("charge")
@click.argument("log", type=click.Path(path_type=Path))
@click.option("--site", type=click.Path(path_type=Path), help="The site file: its zone, its meter's accuracy.")
@click.option("--from", "since", metavar="TIME_OR_NOTE", help="Only from this time, or note of the log, on.")
@click.option("--to", "until", metavar="TIME_OR_NOTE", help="Only up to this time, or note of the log.")
@correction_options
@explain_option
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document alone.")
def command(
    log: Path,
    site: Path | None,
    since: str | None,
    until: str | None,
    zero_at: str | None,
    drop_spikes: bool,
    explain: bool,
    as_json: bool,
) -> None:
    """Work out what a log's readings took out of the bank, and put back, in Ah and Wh, and how sure that is.

    Gaps are never bridged: the time that was not measured is told beside the result. A meter's accuracy comes from the
    site file; without it wide figures are assumed, and said.

    Example: shuntbook charge pump.parquet --from 10:30 --to 10:45
    """
    charged = ChargeAsked(log, since, until, Corrections(zero_at, drop_spikes)).result(
        open_site(site),
        # Runs that the ends cut are told in words alone.
        with_runs=not as_json,
    )
    if as_json:
        from ..render.documents.charge_and_runs import charge_document
        from ..render.documents.parts import print_json

        ready = charged.ready
        print_json(charge_document(ready.facts, charged.charge, charged.marked, ready.figures))
        return
    # The desk says the same of a stretch, from the same reply.
    say_answer(charged.reply, explain=explain)
