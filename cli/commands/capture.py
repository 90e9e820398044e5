"""The command that reads meters while something runs, and never loses what it has read."""

from __future__ import annotations

from contextlib import AbstractContextManager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlencode

import click

from ...ingest.durations import seconds
from ...ingest.errors import InputError
from ...ingest.live.source import SteadyClock
from ...ingest.zone import zone_named
from ..capture.beside import Announced
from ..capture.plan import Wanted, plan_for_source, plans_for_site
from ..capture.run import run_capture
from ..opening.times_written import parse_marks

if TYPE_CHECKING:
    from ..live_page.server import LivePage, ToPage

#: Long enough for who walks over, or whose phone slept; common practice, no source. [s]
_STAYS_S = 15 * 60.0


@click.command("capture")
@click.argument("source", required=False)
@click.option(
    "--out",
    required=True,
    type=click.Path(path_type=Path),
    help="The log; of several meters, their folder, or a name.parquet that theirs begin with.",
)
@click.option(
    "--site",
    type=click.Path(path_type=Path),
    help="What there is and its limits (TOML); without SOURCE all its meters are read at once.",
)
@click.option(
    "--meter", "meters", multiple=True, metavar="NAME", help="Only this meter of the site file; may be given again."
)
@click.option(
    "--profile", metavar="FILE", help="A source profile (TOML): how the meter's fields or registers become quantities."
)
@click.option("--display", metavar="FILE", help="Of a camera: the profile that says what stands in its picture.")
@click.option("--every", metavar="DURATION", help="How often a meter is asked, such as 1s or 100ms. Default: 1s.")
@click.option("--for", "length", metavar="DURATION", help="How long, such as 15m. Default: until Ctrl-C.")
@click.option("--mark", "marks", multiple=True, metavar="TIME=TEXT", help="A note beforehand, such as 10:30=crates.")
@click.option("--side", type=click.Choice(["dc", "ac"]), help="At the bank (dc) or behind an inverter (ac).")
@click.option(
    "--zone", metavar="ZONE", help="Zone of the log's clock times, such as Europe/London. Default: this computer's."
)
@click.option("--page", metavar="[HOST:]PORT", help="Show it to browsers, live; without HOST on this computer only.")
@click.option("--title", metavar="TEXT", help="What the log, the live page and its stage are called.")
@click.option("--page-stays", metavar="DURATION", help="How long it stays after the end; 0: not. Default: 15m.")
@click.option("--quiet", is_flag=True, help="Show nothing until the end.")
def command(
    source: str | None,
    out: Path,
    site: Path | None,
    meters: tuple[str, ...],
    profile: str | None,
    display: str | None,
    every: str | None,
    length: str | None,
    marks: tuple[str, ...],
    side: str | None,
    zone: str | None,
    page: str | None,
    title: str | None,
    page_stays: str | None,
    quiet: bool,
) -> int:
    """Read a meter, or all meters of a site, into a log.

    SOURCE is serial:PORT?baud=..., modbus-tcp:HOST:PORT?unit=..., modbus-rtu:PORT?..., sunspec-tcp:...,
    sunspec-rtu:..., camera:0 (a display, with --display), hand: (readings typed from one) or replay:FILE?speed=... .
    What was read is safe at once, even if the power goes; a line you type becomes a note in the log. Ctrl-C ends it
    cleanly. Where the terminal is closed, or nobody reads its output any more, it goes on until its time (--for), or
    until `kill` ends it.

    Example: shuntbook capture modbus-tcp:192.0.2.7:502?unit=1 --profile shunt.toml --out demo.parquet --for 15m
    """
    if source is None and site is None:
        raise InputError("say what to read: either a SOURCE or --site with its meters; see shuntbook capture --help")
    if meters and site is None:
        raise InputError("--meter names a meter of a site file; give the file with --site")
    if page is None and page_stays is not None:
        raise InputError("--page-stays is for the live page; ask for it with --page")
    if display is not None:
        source = _of_camera(source, display)
    stays_s = _stays_s(page_stays)
    clock = SteadyClock()
    parse_marks(marks, clock.now_us(), zone)  # a mistake in one is told before anything is opened
    if zone is not None:
        zone_named(zone, what="--zone")
    wanted = Wanted(profile, seconds(every, what="--every") if every else None, side, zone)
    length_s = seconds(length, what="--for") if length else None
    # The page before the plans: a port that cannot be had is told while nothing is open that would have to be closed.
    with _served(page) as shown:
        if source is not None:
            plans = [plan_for_source(source, out, wanted, clock, site=site, names=meters)]
        else:
            assert site is not None
            plans = plans_for_site(site, meters, out, wanted, clock)
        announced = Announced(source or str(site), title, None if shown is None else shown.own_link)
        return run_capture(
            plans,
            clock,
            length_s=length_s,
            marks=marks,
            quiet=quiet,
            watcher=None if shown is None else _publisher(shown, announced.called(plans), stays_s),
            announced=announced,
        )


def _of_camera(source: str | None, display: str) -> str:
    """Return the address of a camera with its display profile."""
    if source is None or not source.startswith("camera:"):
        raise InputError("--display is for a camera; name one as SOURCE, such as camera:0")
    return f"{source}{'&' if '?' in source else '?'}{urlencode({'display': display})}"


def _stays_s(written: str | None) -> float:
    """Return how long the page stays after the end. [s]"""
    if written is None:
        return _STAYS_S
    return 0.0 if written.strip() == "0" else seconds(written, what="--page-stays")


def _publisher(page: LivePage, title: str, stays_s: float) -> ToPage:
    from ..live_page.server import ToPage

    # The library of the page is large, and most captures have none; hence the imports in these two.
    return ToPage(page, title, stays_s)


def _served(page: str | None) -> AbstractContextManager[LivePage | None]:
    """Return the page for as long as the capture lasts; its port is had before anything is opened."""
    if page is None:
        return nullcontext()
    from ..live_page.server import live_page

    return live_page(page)
