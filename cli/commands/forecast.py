"""The command that says beforehand what a load will take, and whether bank and inverter hold."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from ...analysis.bank.draw import loaded_bank_V
from ...analysis.cycles.cycles import CycleFold
from ...analysis.equipment.demand import usual_start_s
from ...analysis.forecast.forecast import forecast
from ...analysis.forecast.load_from_log import measured_load
from ...analysis.forecast.measured_load import MeasuredLoad
from ...analysis.one_log.watched_load import watched_load
from ...analysis.quality.sign_check import SignFold
from ...analysis.readings.chunk import SECONDS_PER_HOUR
from ...ingest.durations import seconds
from ...ingest.errors import InputError
from ..opening.prepared_log import Corrections, prepared, read_site
from ..render.documents.parts import print_json
from ..render.documents.site import forecast_document
from ..render.terminal.answer import explain_option, say_answer
from ..render.terminal.forecast import forecast_answer

if TYPE_CHECKING:
    from ...analysis.site.site import Site


@click.command("forecast")
@click.option("--site", type=click.Path(path_type=Path), required=True, help="The site file: bank, inverters, loads.")
@click.option("--load", metavar="NAME", required=True, help="The load, by its name in the site file.")
@click.option("--for", "how_long", required=True, metavar="DURATION", help="How long: 15m, 2h, 1h30m, 1d.")
@click.option(
    "--measured",
    type=click.Path(path_type=Path),
    metavar="LOG",
    help="A log in which the load ran: its own behaviour then, in place of its plate.",
)
@click.option("--drop-spikes", is_flag=True, help="Leave lone spikes of that log out.")
@explain_option
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document alone.")
def command(
    site: Path,
    load: str,
    how_long: str,
    measured: Path | None,
    drop_spikes: bool,
    explain: bool,
    as_json: bool,
) -> None:
    """Say beforehand what a load will take out of the bank, and whether bank and inverter hold.

    From the plate alone, each step with where its figure is from; or, with a log in which the load ran, from its own
    draw, its starts and how often it ran, with 95 % intervals of what any such stretch of time may take.

    Example: shuntbook forecast --site site.toml --load "well pump" --for 15m
    """
    length_s = seconds(how_long, what="--for")
    known = read_site(site)
    known.load(load)  # a name that the site has not is told before a log is read
    seen = None if measured is None else _seen(measured, known, load, Corrections(drop_spikes=drop_spikes))
    result = forecast(known, load, hours=length_s / SECONDS_PER_HOUR, measured=seen)
    log = None if measured is None else measured.name
    if as_json:
        print_json(forecast_document(result, log))
        return
    say_answer(forecast_answer(result, log), explain=explain)


def _seen(path: Path, site: Site, load: str, corrections: Corrections) -> MeasuredLoad:
    """Return how the load behaved in a log."""
    ready = prepared(path, site, corrections)
    watched = watched_load(site, load, ready.how, ready.quantities)
    fold = CycleFold(ready.how, ready.quantities, load=watched.name, expected=watched.expected)
    # Behind an inverter the volts are its own, and say nothing of the way in which current flows.
    sign = SignFold(ready.quantities if ready.how.side == "dc" else (), ready.how.gap_limit_s)
    ready.feed(fold, sign)
    seen = sign.result()
    if seen is not None and seen.plausible is False:
        # What looks like runs are then the rests between them: a forecast from these would be any figure.
        raise InputError(
            f"--measured: {path}: draw and return seem to be swapped, the voltage rises with the draw; turn the log "
            f"first with 'shuntbook convert {path} --reverse-sign --out OTHER', and forecast by OTHER"
        )
    # At the bank amps alone may have been read: their watts need volts, those that the site file lets one expect.
    at_bank = ready.how.side == "dc"
    return measured_load(
        fold.result(),
        log=ready.facts.name,
        how=ready.how,
        figures=ready.figures,
        start_s=usual_start_s(site.load(load), []),
        assumed_V=loaded_bank_V(site) if at_bank else None,
    )
