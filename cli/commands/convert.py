"""The command that turns exports into a log."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, cast, get_args

import click

from ...ingest.durations import seconds
from ...ingest.errors import InputError, Question
from ...ingest.exports.convert import convert, is_log
from ...ingest.exports.delimited.stated import Stated, start_time
from ...ingest.exports.intake import Intake, take_in
from ...ingest.exports.times.stamps import TimeStyle
from ...ingest.log.log import JOURNAL_SUFFIX
from ...ingest.log.meta import LogMeta
from ...ingest.safe_files.rejects import rejects_path
from ...ingest.safe_files.whole_file import refuse_existing, refuse_input, write_text
from ..opening.first_sight import first_look
from ..opening.sign_seen import sign_is_open, sign_watched
from ..render.terminal.answer import Reply, say_answer
from ..render.terminal.convert import converted_answer

if TYPE_CHECKING:
    from datetime import datetime

    from ...ingest.exports.times.stamps import DateOrder
    from ...ingest.profiles.model import Profile


#: Options that say how an export is to be read; a log says it itself.
_FOR_EXPORTS = (
    *("profile", "zone", "start", "dates", "times", "decimal", "sheet", "side", "sampling", "meter", "allow_rejects"),
    *("keep_profile", "display", "every"),
)
#: Options that a film has no use for.
_NOT_FOR_FILMS = ("profile", "dates", "times", "decimal", "sheet", "keep_profile", "allow_rejects")


@click.command("convert")
@click.argument("sources", nargs=-1, required=True, metavar="SOURCE...")
@click.option("--out", required=True, type=click.Path(path_type=Path), help="The log to write (Parquet).")
@click.option(
    "--profile",
    metavar="FILE",
    help="A source profile (TOML): says what the columns are where that cannot be recognised; or hand, for notes such "
    "as '10:02 900 W'.",
)
@click.option(
    "--zone",
    metavar="ZONE",
    help="Time zone of stamps without an offset, such as Europe/London. Default: this computer's.",
)
@click.option(
    "--start",
    metavar="TIME",
    help="When elapsed time or a film began, such as 2026-06-13T09:30; times with dates need none. TIME@1:23 is when "
    "the film's 1:23 was.",
)
@click.option(
    "--dates",
    type=click.Choice(["d/m/y", "m/d/y", "y-m-d", "y-d-m"]),
    help="Order of day, month and year, where no row decides it: 5 June is 05/06/26 (d/m/y), 06/05/26 (m/d/y) or "
    "26-06-05 (y-m-d).",
)
@click.option(
    "--times",
    type=click.Choice(get_args(TimeStyle)),
    metavar="STYLE",
    help="How times are written, where the cells leave it open: 'elapsed min' (or us, ms, s, h, days, m:s, h:m:s), "
    "'epoch ms' (or s, us, ns), 'sheet days 1904', or an order as with --dates.",
)
@click.option(
    "--decimal",
    type=click.Choice(["point", "comma"]),
    help="Decimal mark, where the cells leave it open: 1,250 is 1250 (point) or 1.25 (comma).",
)
@click.option("--sheet", metavar="NAME", help="Which sheet of a spreadsheet is meant, where several hold readings.")
@click.option("--reverse-sign", is_flag=True, help="The source counts charging as positive: turn the sign.")
@click.option("--side", type=click.Choice(["dc", "ac"]), help="At the bank (dc) or behind an inverter (ac).")
@click.option(
    "--sampling",
    type=click.Choice(["instant", "mean", "held"]),
    help="What one reading stands for: instant, the value at its time (the default); mean, the average since the "
    "reading before; held, read by eye and true until the next.",
)
@click.option("--gap", metavar="DURATION", help="Longest spacing that is still one measurement, such as 150s.")
@click.option("--meter", metavar="NAME", help="The meter's name, kept with the log.")
@click.option(
    "--keep-profile",
    metavar="FILE",
    help="Write a profile of how this export was read, so that the meter's next one needs no option but --profile.",
)
@click.option("--display", metavar="FILE", help="SOURCE is a film of displays; this profile says where they stand.")
@click.option("--every", metavar="DURATION", help="How far apart a film's stills were taken, such as 5s.")
@click.option("--explain", is_flag=True, help="Print all that was recognised, and what each column was taken for.")
@click.option(
    "--allow-rejects", is_flag=True, help="Go on without the rows that cannot be read, be they many or all of one kind."
)
@click.option("--force", is_flag=True, help="Replace an existing log.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document alone.")
def command(sources: tuple[str, ...], out: Path, **options: str | bool | None) -> None:
    """Turn one meter's exports into a log.

    They are text (CSV) or spreadsheets (.xlsx, .xls, .ods). Several files are taken in order; - is standard input;
    gzip, zstd and a zip archive with one table are unpacked. Delimiter, header, units and the style of the times are
    recognised. Check the readings that it prints as it took them; --explain says how it came to them. Draw out of the
    bank is positive.

    A log that was captured or converted can be written again under another name, with --reverse-sign or --gap.

    With --display the source is a film of a meter's display, a folder of stills (with --every) or - for pictures one
    after another. What cannot be read for sure is left out, and kept beside the log with the reason.

    Example: shuntbook convert export.csv --out pump.parquet --zone Europe/London
    """
    # All that can be refused is refused first: a long export is not read for a place that will not do.
    refuse_existing(out, force=bool(options["force"]))
    refuse_input(out, (name for name in sources if name != "-"), called="the export itself")
    refuse_input(out, [_text(options, "profile"), _text(options, "display")], called="the profile")
    if _has_journal(out):
        from ...ingest.journal.journal import refuse_captured  # beside hardly any log

        refuse_captured(out)
    if not _is_film(options) and any(is_log(name) for name in sources):
        _write_again(sources, out, options)
        return
    try:
        _convert(sources, out, options)
    except Question as question:
        if options["as_json"]:
            from ..render.documents.convert import question_document
            from ..render.documents.parts import print_json

            print_json(question_document(question))
        raise


def _convert(sources: tuple[str, ...], out: Path, options: dict[str, str | bool | None]) -> None:
    is_film = _is_film(options)
    stated = _stated(options)
    keep = _place_to_keep(sources, out, options)
    intake = _film(sources, stated, options) if is_film else take_in(sources, stated)
    profile = _kept(intake, stated) if keep is not None else ""
    done = convert(
        intake.export,
        out,
        intake.meta,
        reverse_sign=bool(options["reverse_sign"]),
        # Of a film whole minutes may be hidden, which says nothing against the rest of it.
        allow_rejects=bool(options["allow_rejects"]) or is_film,
        gap_limit_s=intake.gap_limit_s,
        asks_sampling=not is_film and stated.filled().sampling is None,
        through=sign_watched(intake, stated),
    )
    if keep is not None:
        write_text(keep, profile)
    # Said at once, by what the new log amounts to: whoever sees both figures knows whether --gap is worth stating.
    in_doubt = _in_doubt(done.log, done.meta)
    look = first_look(done.log, done.meta, tuple(intake.export.quantities))
    if options["as_json"]:
        from ..render.documents.convert import convert_document
        from ..render.documents.parts import print_json

        place = str(keep) if keep is not None else None
        print_json({**convert_document(done, intake.export, look), "in_doubt": in_doubt, "kept_profile": place})
        return
    answer = converted_answer(
        done,
        intake.export,
        look,
        reverse=bool(options["reverse_sign"]),
        by_sign=sign_is_open(intake, stated),
        in_doubt=in_doubt,
        profile=str(keep) if keep is not None else None,
    )
    say_answer(answer, explain=bool(options["explain"]))


def _is_film(options: dict[str, str | bool | None]) -> bool:
    """Tell whether a film is meant; what is stated must be of use for one."""
    if not options["display"]:
        if options["every"]:
            raise InputError("--every is for the stills of a film; give its display profile with --display")
        return False
    if others := [name for name in _NOT_FOR_FILMS if options[name]]:
        raise InputError(f"--{others[0].replace('_', '-')} is not for films; what they show says --display alone")
    return True


def _film(sources: tuple[str, ...], stated: Stated, options: dict[str, str | bool | None]) -> Intake:
    from ..opening.films import FilmStated, take_in_film

    return take_in_film(sources, FilmStated(str(options["display"]), stated.start, _text(options, "every")), stated)


def _has_journal(out: Path) -> bool:
    """Tell whether a capture's journal lies beside a log; a name too long for one is told where the log is begun."""
    try:
        return out.with_name(out.name + JOURNAL_SUFFIX).exists()
    except OSError:
        return False


def _place_to_keep(sources: tuple[str, ...], out: Path, options: dict[str, str | bool | None]) -> Path | None:
    """Return where the profile is to be kept, if it is: nothing of a person's stands there, unless they insist."""
    if (name := _text(options, "keep_profile")) is None:
        return None
    keep, what = Path(name), "--keep-profile"
    refuse_existing(keep, force=bool(options["force"]), what=what)
    refuse_input(keep, (name for name in sources if name != "-"), called="the export itself", what=what)
    refuse_input(keep, [_text(options, "profile")], called="the profile it is read by", what=what)
    refuse_input(keep, [out, rejects_path(out)], called="where the log or its rejects go", what=what)
    return keep


def _kept(intake: Intake, stated: Stated) -> str:
    from ...ingest.exports.keep_profile import kept_profile

    return kept_profile(intake, stated)


def _write_again(sources: tuple[str, ...], out: Path, options: dict[str, str | bool | None]) -> None:
    """Write a finished log again, and say what was changed."""
    from ...ingest.exports.log_again import write_again

    source, reverse, gap = sources[0], bool(options["reverse_sign"]), _text(options, "gap")
    if len(sources) > 1:
        raise InputError("a log is written again by itself: name one log, or exports alone")
    # A log knows its zone, side and columns; to state them again would be to contradict it.
    others = [name for name in _FOR_EXPORTS if options[name]]
    if others or not (reverse or gap):
        needless = f", not --{others[0].replace('_', '-')}" if others else ""
        raise InputError(
            f"{source}: is a log already; it can be written again with --reverse-sign or --gap{needless}. Look at it "
            f"with 'shuntbook look {source}'"
        )
    done = write_again(Path(source), out, reverse_sign=reverse, gap_limit_s=seconds(gap, what="--gap") if gap else None)
    in_doubt = _in_doubt(out, done.meta)
    if options["as_json"]:
        from ..render.documents.convert import again_document
        from ..render.documents.parts import print_json

        print_json({**again_document(out, done), "in_doubt": in_doubt})
        return
    changed = ["draw and return have changed places"] if reverse else []
    changed += [f"longer than {done.meta.gap_limit_s:g} s without a reading is a gap"] if gap else []
    wrote = f"wrote {source} again as {out}, {done.rows:,} readings: {'; '.join(changed)}"
    unchanged = f"{source} is as it was; next: shuntbook look {out}"
    say_answer(Reply([*in_doubt, wrote], last=unchanged), explain=bool(options["explain"]))


def _in_doubt(log: Path, meta: LogMeta) -> list[str]:
    """Return what a log amounts to by either gap limit, where its spacings allow two that differ."""
    # What was typed by hand stands until the next reading, so no spacing of it is in doubt.
    if meta.other_gap_limit_s is None or meta.sampling == "held":
        return []
    from ..opening.prepared_log import charge_if_in_doubt, prepared
    from ..render.terminal.charge import doubt_lines

    charge = charge_if_in_doubt(prepared(log, None))
    return [] if charge is None else doubt_lines(charge)


def _profile(name: str | bool | None) -> Profile | None:
    if not name:
        return None
    from ...ingest.profiles.model import load_profile

    return load_profile(str(name))


def _text(options: dict[str, str | bool | None], name: str) -> str | None:
    value = options[name]
    return str(value) if value else None


def _stated(options: dict[str, str | bool | None]) -> Stated:
    gap = _text(options, "gap")
    return Stated(
        profile=_profile(options["profile"]),
        zone=_text(options, "zone"),
        start=_start(_text(options, "start"), of_film=bool(options["display"])),
        dates=cast("DateOrder | None", options["dates"]),
        times=cast("TimeStyle | None", options["times"]),
        decimal=_text(options, "decimal"),
        side=_text(options, "side"),
        sampling=_text(options, "sampling"),
        gap_s=seconds(gap, what="--gap") if gap else None,
        meter=_text(options, "meter"),
        sheet=_text(options, "sheet"),
        reverse_sign=bool(options["reverse_sign"]),
    )


def _start(text: str | None, *, of_film: bool) -> datetime | None:
    if text is None or not of_film:
        return start_time(text)
    from ..opening.films import at_moment

    time, since = at_moment(text, what="--start")
    start = start_time(time)
    return None if start is None else start - since
