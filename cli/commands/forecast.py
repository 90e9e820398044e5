"""The command that says beforehand what a load will take, and whether bank and inverter hold."""

from __future__ import annotations

from pathlib import Path

import click

from ..assembling.forecast_asked import ForecastAsked
from ..opening.prepared_log import read_site
from ..render.documents.parts import print_json
from ..render.documents.site import document_of_answer
from ..render.terminal.answer import explain_option, say_answer


@click.command("forecast")
@click.option("--site", type=click.Path(path_type=Path), required=True, help="The site file: bank, inverters, loads.")
@click.option("--load", metavar="NAME", required=True, help="The load, by its name in the site file.")
@click.option(
    "--for",
    "how_long",
    required=True,
    metavar="DURATION",
    help="How long: 15m, 2h, 1h30m, 1d; or full, until the pump's pressure tank is full.",
)
@click.option(
    "--sun",
    default="",
    metavar="HOURS",
    help="Hours of full sun of the day that pays it back. Default: those of the site file.",
)
@click.option(
    "--measured",
    type=click.Path(path_type=Path),
    metavar="LOG",
    help="A log in which the load ran: its own behaviour then, in place of its plate.",
)
@click.option(
    "--with",
    "changes",
    metavar="CHANGE",
    multiple=True,
    help='What a change would do: "tank 300 L", "soft start", "bank 400 Ah" ...; again for several at once.',
)
@click.option("--drop-spikes", is_flag=True, help="Leave lone spikes of that log out.")
@explain_option
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document alone.")
def command(
    site: Path,
    load: str,
    how_long: str,
    sun: str,
    measured: Path | None,
    changes: tuple[str, ...],
    drop_spikes: bool,
    explain: bool,
    as_json: bool,
) -> None:
    """Say beforehand what a load will take out of the bank, and whether bank and inverter hold.

    From the plate alone, each step with where its figure is from; or, with a log in which the load ran, from its own
    draw, its starts and how often it ran, with 95 % intervals of what any such stretch of time may take. --explain sets
    the sum on paper beside it step by step, and with a log goes back from amp-hours to watts.

    --with says what a change would do, before and after: tank 300 L, pre-charge 2.5 bar, pressures 2.8..4.1 bar, soft
    start, drive, inverter 3000 W, bank 400 Ah, array 1200 W, charger 40 A, cable 35 mm2, use 500 L a day; tank for
    60 s, bank for 3 days and cable ask for the size.

    Example: shuntbook forecast --site site.toml --load "well pump" --for 15m
    """
    # Asked and worded in one place, so that a page cannot say another thing than a terminal.
    asked = ForecastAsked(load, how_long, sun, measured, drop_spikes, changes)
    result = asked.result(read_site(site))
    if as_json:
        print_json(document_of_answer(result, asked.log))
        return
    say_answer(asked.reply(result), explain=explain)
