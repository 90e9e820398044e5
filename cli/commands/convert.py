"""The command that turns exports into a log."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, cast

import click

from ... import __version__
from ...ingest.convert import Converted, convert, rejects_path
from ...ingest.csv_export import CsvExport
from ...ingest.delimited.decode import open_source
from ...ingest.delimited.layout import Wishes
from ...ingest.durations import seconds
from ...ingest.errors import InputError
from ...ingest.log import LogMeta
from ...ingest.whole_file import refuse_existing
from ...ingest.zone import zone_named, zone_of_computer
from ..render.as_json import convert_document, print_json
from ..render.words import SAMPLING

if TYPE_CHECKING:
    from ...ingest.delimited.stamps import Order
    from ...ingest.profiles.model import Profile


@dataclass(frozen=True)
class Stated:
    """What options and profile together say about a source; options win."""

    side: str | None
    sampling: str | None
    zone: str | None
    gap_s: float | None
    counter: str


@click.command("convert")
@click.argument("sources", nargs=-1, required=True, metavar="SOURCE...")
@click.option("--out", required=True, type=click.Path(path_type=Path), help="The log to write (Parquet).")
@click.option("--profile", help="A source profile: says what the columns are where that cannot be recognised.")
@click.option("--zone", help="Time zone of stamps without an offset, such as Europe/London. Default: this computer's.")
@click.option("--start", help="When elapsed time began, such as 2026-06-13T09:30.")
@click.option(
    "--dates", type=click.Choice(["d/m/y", "m/d/y", "y-m-d"]), help="Day or month first, where no row decides it."
)
@click.option("--decimal", type=click.Choice(["point", "comma"]), help="Decimal mark, where the cells leave it open.")
@click.option("--reverse-sign", is_flag=True, help="The source counts charging as positive: turn the sign.")
@click.option("--side", type=click.Choice(["dc", "ac"]), help="At the bank (dc) or behind an inverter (ac).")
@click.option("--sampling", type=click.Choice(["instant", "mean", "held"]), help="What one reading stands for.")
@click.option("--gap", help="Longest spacing that is still one measurement, such as 150s.")
@click.option("--meter", help="The meter's name, kept with the log.")
@click.option("--allow-rejects", is_flag=True, help="Go on even if more than 5 % of the rows cannot be read.")
@click.option("--force", is_flag=True, help="Replace an existing log.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document alone.")
def command(sources: tuple[str, ...], out: Path, **options: str | bool | None) -> None:
    """Turn one meter's CSV exports into a log.

    Several files are taken in order; - is standard input; gzip and zstd are unpacked. Delimiter, header, units and the
    style of the times are recognised, and said, so that you can check them. Draw out of the bank is positive.

    Example: shuntbook convert export.csv --out pump.parquet --zone Europe/London
    """
    refuse_existing(out, force=bool(options["force"]))
    if any(name != "-" and Path(name).resolve() == out.resolve() for name in sources):
        raise InputError(f"--out: {out} is the export itself; choose another name")
    profile = _profile(options["profile"])
    stated = _stated(profile, options)
    zone = stated.zone or zone_of_computer()
    export = CsvExport(
        [open_source(name) for name in sources], _wishes(profile, options), zone=zone, start=_start(options["start"])
    )
    done = convert(
        export,
        out,
        _meta(export, stated, zone, profile, options),
        reverse_sign=bool(options["reverse_sign"]),
        allow_rejects=bool(options["allow_rejects"]),
        gap_limit_s=stated.gap_s,
    )
    if options["as_json"]:
        print_json(convert_document(done, export))
        return
    for line in _words(done, export, reverse=bool(options["reverse_sign"])):
        click.echo(line)


def _profile(name: str | bool | None) -> Profile | None:
    if not name:
        return None
    from ...ingest.profiles.model import load_profile

    return load_profile(str(name))


def _text(options: dict[str, str | bool | None], name: str) -> str | None:
    value = options[name]
    return str(value) if value else None


def _stated(profile: Profile | None, options: dict[str, str | bool | None]) -> Stated:
    gap = _text(options, "gap")
    gap_s = seconds(gap, what="--gap") if gap else None
    if gap_s is None and profile is not None and profile.gap is not None:
        gap_s = seconds(profile.gap, what="the profile's gap")
    zone = _text(options, "zone") or (profile.zone if profile else None)
    if zone is not None:
        zone_named(zone, what="--zone" if options["zone"] else "the profile's zone")
    return Stated(
        side=_text(options, "side") or (profile.side if profile else None),
        sampling=_text(options, "sampling") or (profile.sampling if profile else None),
        zone=zone,
        gap_s=gap_s,
        counter=(profile.counter if profile else None) or "net",
    )


def _wishes(profile: Profile | None, options: dict[str, str | bool | None]) -> Wishes:
    file = profile.file if profile else None
    return Wishes(
        profile=profile,
        delimiter=file.delimiter if file else None,
        decimal=_text(options, "decimal") or (file.decimal if file else None),
        encoding=file.encoding if file else None,
        header_line=file.header_line if file else None,
        dates=cast("Order | None", options["dates"]),
    )


def _start(text: str | bool | None) -> datetime | None:
    if not text:
        return None
    try:
        return datetime.fromisoformat(str(text))
    except ValueError:
        raise InputError(f"--start: {text!r} is no date and time; write it like 2026-06-13T09:30") from None


def _meta(
    export: CsvExport, stated: Stated, zone: str, profile: Profile | None, options: dict[str, str | bool | None]
) -> LogMeta:
    side = stated.side or ("ac" if export.layouts[0].ac else "dc")
    said = []
    if export.needs_zone and stated.zone is None:
        said.append(f"the times carry no zone; this computer's own, {zone}, is assumed (--zone says another)")
    if export.undated:
        said.append("the times only count from the start, so no dates are known (--start says when it began)")
    if stated.side is None and side == "ac":
        said.append("the columns speak of alternating current: taken as a meter behind an inverter (side ac)")
    return LogMeta(
        meter=_text(options, "meter"),
        side=side,
        sampling=stated.sampling or "instant",
        counter_kind=stated.counter,
        profile=profile.name if profile else None,
        zone=zone if not export.undated else "UTC",
        zone_assumed=stated.zone is None and export.needs_zone,
        undated=export.undated,
        sign_applied=-1 if options["reverse_sign"] else 1,
        said=said,
        tool_version=__version__,
    )


def _words(done: Converted, export: CsvExport, *, reverse: bool) -> list[str]:
    meta = done.meta
    lines = [
        f"took {export.sources[0].name}" + (f" and {len(export.sources) - 1} more" if len(export.sources) > 1 else "")
    ]
    lines += [f"  {line}" for line in export.layouts[0].describe()]
    lines.append(f"  side {meta.side}; {SAMPLING[meta.sampling]}")
    if meta.side == "dc":
        which = (
            "turned, so that draw out of the bank is positive"
            if reverse
            else "positive is taken as draw out of the bank (if not, add --reverse-sign)"
        )
        lines.append(f"  sign: {which}")
    lines += [f"  note: {line}" for line in meta.said]
    counts = [f"{meta.rows_read:,} rows read, {meta.rows_kept:,} kept"]
    counts += [f"{meta.rows_merged:,} merged"] if meta.rows_merged else []
    counts += [f"{meta.rows_rejected:,} not readable (see {rejects_path(done.log)})"] if meta.rows_rejected else []
    counts += [f"{done.repeated_headers} repeated headers passed over"] if done.repeated_headers else []
    lines.append(", ".join(counts))
    lines.append(_span(done))
    usual = f"a reading every {meta.usual_interval_s:g} s as a rule; " if meta.usual_interval_s else ""
    lines.append(f"{usual}longer than {meta.gap_limit_s:g} s without one is a gap")
    lines.append(f"wrote {done.log}; next: shuntbook charge {done.log}")
    return lines


def _span(done: Converted) -> str:
    """Return the first and last reading's time, for a check by eye that day and month are where they belong."""
    if done.meta.undated:
        return f"{(done.last_us - done.first_us) / 1e6:,.1f} s from the first reading to the last"
    zone = zone_named(done.meta.zone, what="--zone")
    first, last = (datetime.fromtimestamp(us // 1_000_000, zone) for us in (done.first_us, done.last_us))
    return f"from {first:%d %B %Y %H:%M:%S} to {last:%d %B %Y %H:%M:%S} ({done.meta.zone})"
