"""The command that sets two logs side by side."""

from __future__ import annotations

from pathlib import Path

import click

from ..assembling.two_logs import compared
from ..opening.prepared_log import Corrections, open_site
from ..render.documents.parts import document_of, print_json
from ..render.terminal.answer import explain_option, say_answer
from ..render.terminal.compare import compare_answer


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
    # No zero check: the stretch in which nothing flowed would be another in each log.
    comparison = compared(before, after, open_site(site), load, Corrections(drop_spikes=drop_spikes))
    if as_json:
        print_json(document_of(comparison))
        return
    say_answer(compare_answer(comparison), explain=explain)
