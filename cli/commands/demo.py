"""The command that shows it all on the invented scenario."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import replace
from importlib.resources import as_file, files
from pathlib import Path

import click

from ...analysis.nameplate.estimate import PlateComparison
from ...analysis.one_log.log_report import LogReport
from ...analysis.several_logs.report import Report
from ...ingest.errors import InputError
from ...ingest.exports.convert import convert
from ...ingest.exports.delimited.stated import Stated
from ...ingest.exports.intake import take_in
from ...ingest.safe_files.whole_file import copy_file, refuse_no_text, write_text
from ..assembling.report import report_of
from ..opening.prepared_log import open_site
from ..parallel.worker_process import second_process
from ..render.page.page import load_page, render
from ..render.still_charts.svg import load_library
from ..render.terminal.answer import Reply, explain_option, say_answer
from ..render.terminal.plate import plate_in_short
from ..render.wording.answer import bank_gave, load_took
from ..render.wording.numbers import PLUS_MINUS_MEANS, amount, counted, duration, number, percent, plus_minus, signed
from ..render.wording.site_sentences import carried, paid_back
from ..render.wording.verdict import verdict_on

_ZONE = "Europe/London"
#: Export, log, and whether its meter counts charging as positive.
_EXPORTS = (("open_day.csv.gz", "open_day.parquet", False), ("week_later.csv.gz", "week_later.parquet", True))
#: What somebody noted on the open day: half an hour of washing crates, beginning and end. [us], UTC
_NOTES = ((1_781_342_700_000_000, "crates washed for the visitors"), (1_781_344_500_000_000, "end"))
_SITE, _PAGE, _LIST = "site.toml", "page.html", "written-by-demo.txt"
#: What an earlier run may have left beside the logs.
_FILES = (*(name for row in _EXPORTS for name in row[:2]), *(f"{row[1]}.rejects.csv" for row in _EXPORTS), _SITE, _PAGE)


@click.command("demo")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    default=Path("shuntbook-demo"),
    show_default=True,
    help="The folder to write to; it is made if it is not there.",
)
@explain_option
@click.pass_obj
def command(own_process: bool | None, out: Path, explain: bool) -> None:
    """Show it all on the invented scenario: two exports become logs, figures and a page.

    Marrowbrook, a hillside market garden, runs its well pump from a 24 V bank: on its open day, and a week later when
    the pressure tank has lost its air. Nothing is opened and no network is used; run again, only files that the demo
    wrote before are replaced.

    Example: shuntbook demo --out my-demo
    """
    _prepare(out)
    samples = files(f"{__package__.rsplit('.', 2)[0]}.sample_data")
    for name in (_SITE, *(row[0] for row in _EXPORTS)):
        with as_file(samples.joinpath(name)) as path:
            copy_file(path, out / name)
    for (export, log, reverse), notes in zip(_EXPORTS, (_NOTES, ()), strict=True):
        # As a newcomer would: the figures below are what the commands themselves give of these exports.
        _convert(out / export, out / log, notes, reverse=reverse)
    # The libraries of drawings and page load in both processes while the logs are read.
    with second_process(load_library, load_page, allowed=bool(own_process)) as second:
        report = report_of([out / log for _, log, _ in _EXPORTS], open_site(out / _SITE), None, second=second)

        write_text(out / _PAGE, render(report, second))
    say_answer(_answer(report, out), explain=explain)


def _prepare(out: Path) -> None:
    """Make the folder, and refuse to replace what the demo did not write."""
    refuse_no_text(out)
    if out.exists() and not out.is_dir():
        raise InputError(f"--out: {out} is a file; name a folder")
    # A link could lead anywhere, and a file of this name may be somebody's own: only what the list says is replaced.
    listed = _listed(out)
    present = [name for name in (*_FILES, _LIST) if os.path.lexists(out / name)]
    foreign = [name for name in present if name not in listed or (out / name).is_symlink()]
    if foreign:
        raise InputError(f"--out: {out} holds {foreign[0]}, which the demo did not write; choose another folder")
    try:
        out.mkdir(parents=True, exist_ok=True)
    except FileExistsError:
        raise InputError(f"--out: a part of {out} is a file; name a folder") from None
    # The list first: stopped half-way, the next run knows what it may replace.
    write_text(out / _LIST, "\n".join([*_FILES, _LIST]) + "\n")


def _listed(out: Path) -> set[str]:
    """Return the names that an earlier run wrote; none where the list is not a file of its own."""
    place = out / _LIST
    if place.is_symlink() or not place.is_file():
        return set()
    return set(place.read_text("utf-8", "replace").splitlines())


def _convert(export: Path, log: Path, notes: Sequence[tuple[int, str]], *, reverse: bool) -> None:
    intake = take_in([str(export)], Stated(zone=_ZONE, meter="bank shunt", reverse_sign=reverse))
    meta = replace(intake.meta, markers=list(notes))
    convert(intake.export, log, meta, reverse_sign=reverse, allow_rejects=False, gap_limit_s=None)


def _answer(report: Report, out: Path) -> Reply:
    """Return what the pump took on both days and how it is with it; the rest of what the demo found are reasons."""
    day, week = report.logs
    return Reply(
        [
            *_in_short("Open day", day),
            *filter(None, [bank_gave(day)]),
            *plate_in_short(day),
            *paid_back(day),
            *_in_short("A week later", week),
        ],
        [
            f"Open day, {duration(day.charge.span.covered_s)} at the bank: {_took(day)}.",
            _pump(day),
            _plate(day),
            _why(day),
            " ".join(carried(day)),
            f"A week later, {duration(week.charge.span.covered_s)}: {_took(week)}.",
            _verdict(week),
            PLUS_MINUS_MEANS,
        ],
        "surge, nameplate, what carries it",
        last=f"The page: {out / _PAGE} (open it in a browser).",
    )


def _in_short(when: str, log: LogReport) -> list[str]:
    """Return what the pump took, and how it is with it."""
    took, verdict = load_took(log), verdict_on(log)
    assert took is not None
    first = [f"Do first: {verdict.first_step}"] if verdict.first_step else []
    return [f"{when}: {took.sentence}", f"{verdict.state.upper()}: {verdict.sentence}", *first]


def _took(log: LogReport) -> str:
    charge, energy = log.charge.charge, log.charge.energy
    assert charge is not None and energy is not None
    return (
        f"{amount(charge.drawn, 'Ah')} ({amount(energy.drawn, 'Wh')}) drawn, "
        f"{amount(charge.returned, 'Ah')} ({amount(energy.returned, 'Wh')}) returned by the sun"
    )


def _pump(log: LogReport) -> str:
    summary, cycles = log.cycles.summary, log.cycles.cycles
    # A reading a second catches few surges at their height; the highest that was caught says most.
    surge = max(cycles, key=lambda cycle: cycle.surge_A or 0.0)
    return (
        f"The well pump ran {counted(summary.count, 'time')}, usually {duration(summary.median_run_s)}; "
        f"its starts reached {amount(surge.surge_A, 'A')}, {number(surge.surge_ratio)} times the settled draw."
    )


def _plate(log: LogReport) -> str:
    assert log.plate is not None
    comparison, runs = log.plate.comparison, log.plate.runs
    paper, plate = _off(comparison.paper_energy_Wh, comparison), _off(comparison.estimated_energy_Wh, comparison)
    return (
        f"Its runs took {plus_minus(runs.energy_Wh, runs.energy_u95_Wh, 'Wh')}, part of it straight from the sun; "
        f"volts x amps x hours on paper says {paper}, "
        f"the nameplate with power factor and losses {plate}."
    )


def _why(log: LogReport) -> str:
    """Return the reasons in a line: from paper to nameplate, and from there to the measurement."""
    assert log.plate is not None
    steps = (log.plate.left_out_on_paper, log.plate.why)
    paper, plate = (
        ", ".join(f"{reason.source} {signed(reason.energy_Wh, 'Wh')}" for reason in step.reasons if reason.energy_Wh)
        for step in steps
    )
    return f"Why: from paper to nameplate {paper}; from there to what was measured {plate}."


def _off(stated_Wh: float, comparison: PlateComparison) -> str:
    """Return what was said beforehand, and how far it is from what was measured."""
    off = stated_Wh / comparison.measured_energy_Wh - 1.0
    return f"{amount(stated_Wh, 'Wh')} ({percent(abs(off))} too {'much' if off > 0 else 'little'})"


def _verdict(log: LogReport) -> str:
    if not log.findings:
        return "No finding: the pump is well."
    finding = log.findings[0]
    return f"{finding.title}: {finding.evidence}."
