"""The command that says what is in a log."""

from __future__ import annotations

from pathlib import Path

import click

from ...analysis.quality.fitness import verdict_of
from ...analysis.site.units import SI
from ..opening.prepared_log import charge_if_in_doubt, open_site, prepared
from ..render.terminal.answer import explain_option, say_answer
from ..render.terminal.look import look_answer


@click.command("look")
@click.argument("log", type=click.Path(path_type=Path))
@click.option("--site", type=click.Path(path_type=Path), help="The site file: its zone, and what its meter can read.")
@explain_option
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document alone.")
def command(log: Path, site: Path | None, explain: bool, as_json: bool) -> None:
    """Say what is in a log, what it is good for, and what is the matter with it.

    Example: shuntbook look pump.parquet
    """
    known = open_site(site)
    ready = prepared(log, known)
    fold = ready.quality_fold(known)
    ready.feed(fold)
    quality = fold.result()
    verdict = verdict_of(quality, ready.how)
    # A second pass, but only of a log whose gap limit the spacings leave open.
    in_doubt: list[str] = []
    if (charge := charge_if_in_doubt(ready)) is not None:
        from ..render.terminal.charge import doubt_lines

        in_doubt = doubt_lines(charge)
    if as_json:
        from ..render.documents.look import look_document
        from ..render.documents.parts import print_json

        print_json({**look_document(ready.facts, quality, verdict), "in_doubt": in_doubt})
        return
    shown = SI if known is None else known.shown
    say_answer(look_answer(ready.facts, quality, verdict, in_doubt, shown), explain=explain)
