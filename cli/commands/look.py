"""The command that says what is in a log."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import click

from ...analysis.quality.fitness import verdict_of
from ...analysis.site.units import SI
from ...ingest.errors import InputError
from ...ingest.safe_files.whole_file import refuse_existing, refuse_input
from ..opening.prepared_log import charge_if_in_doubt, open_site, prepared
from ..render.terminal.answer import explain_option, say_answer
from ..render.terminal.look import look_answer


@click.command("look")
@click.argument("log", type=click.Path(path_type=Path))
@click.option("--site", type=click.Path(path_type=Path), help="The site file: its zone, and what its meter can read.")
@click.option("--display", metavar="FILE", help="LOG is a film of displays, or a picture: show what is read in it.")
@click.option("--out", type=click.Path(path_type=Path), help="Of a film: the picture with the boxes (PNG).")
@click.option("--at", metavar="TIME", help="Of a film: at which moment, such as 1:23. Default: the first that is read.")
@click.option("--every", metavar="DURATION", help="How far apart a film's stills were taken, such as 5s.")
@click.option("--force", is_flag=True, help="Replace an existing picture.")
@explain_option
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document alone.")
def command(
    log: Path,
    site: Path | None,
    display: str | None,
    out: Path | None,
    at: str | None,
    every: str | None,
    force: bool,
    explain: bool,
    as_json: bool,
) -> None:
    """Say what is in a log, what it is good for, and what is the matter with it.

    With --display it is a film of a meter's display, a folder of stills or one picture: a frame of it is written with
    the boxes of the profile drawn in, and what is read in each stands beside it.

    Example: shuntbook look pump.parquet
    """
    if display is not None:
        _look_at_film(str(log), display, out, {"at": at, "every": every}, force=force, as_json=as_json)
        return
    if others := [name for name, value in (("out", out), ("at", at), ("every", every), ("force", force)) if value]:
        raise InputError(f"--{others[0]} is for films; name the film's display profile with --display")
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


def _look_at_film(
    film: str, display: str, out: Path | None, when: Mapping[str, str | None], *, force: bool, as_json: bool
) -> None:
    """Write the picture of a film, and say what is read in each box."""
    from ..opening.films import picture_of_film
    from ..render.terminal.films import film_answer

    if out is None:
        raise InputError("say with --out where the picture with the boxes is to go, such as --out boxes.png")
    refuse_existing(out, force=force)
    refuse_input(out, [film, display], called="the film or its profile")
    look = picture_of_film(film, display, out, at=when["at"], every=when["every"])
    if as_json:
        from ..render.documents.parts import print_json

        fields = [{"field": f.name, "read": f.text if f.is_read else None, "reason": None if f.is_read else f.text}
                  for f in look.fields]  # fmt: skip
        print_json({"picture": str(out), "time_s": look.time_s, "fields": fields})
        return
    say_answer(film_answer(look, str(out)), explain=False)
