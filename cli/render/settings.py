"""What the page's figures were computed with, so that they can be had again."""

from __future__ import annotations

from typing import TYPE_CHECKING

from . import sentences, words
from .tables import Table

if TYPE_CHECKING:
    from collections.abc import Callable

    from ...analysis.meter_figures import Accuracy
    from ...analysis.report import LogReport, Report

_SIDE = {"dc": "at the bank", "ac": "behind an inverter"}


def settings(report: Report) -> Table:
    """Return version, site file, and what each log was read with."""
    lines: tuple[tuple[str, Callable[[LogReport], str]], ...] = (
        ("shuntbook", lambda _: report.version),
        ("Site file", lambda _: "none" if report.site is None else words.shortened(report.site.name)),
        ("Load looked for", lambda log: words.shortened(sentences.named_load(log) or "the largest")),
        ("Meter", lambda log: f"{words.shortened(log.facts.meter or words.UNKNOWN)}, {_SIDE[log.facts.side]}"),
        ("A reading", lambda log: sentences.sampling(log.facts)),
        ("Gap limit", lambda log: "none" if log.facts.sampling == "held" else words.duration(log.facts.gap_limit_s)),
        ("Zone", lambda log: "no dates" if log.facts.undated else words.zone_of(log.facts)[0]),
        ("Amps may be off by", lambda log: _accuracy(log.figures.current, "A")),
        ("Volts may be off by", lambda log: _accuracy(log.figures.voltage, "V")),
        (
            "Watts may be off by",
            lambda log: _accuracy(log.figures.power, "W") if log.figures.power else "as volts × amps",
        ),
        ("Clock may be off by", lambda log: f"{words.number(log.figures.clock_ppm)} millionths"),
        ("Zero taken off", _zero),
    )
    head = ("", *(sentences.log_title(log.facts) for log in report.logs))
    rows = tuple((what, *(cell(log) for log in report.logs)) for what, cell in lines)
    return Table("Settings", head, rows, prose=True)


def _accuracy(stated: Accuracy, unit: str) -> str:
    """Return limits of error as a data sheet writes them; parts of nothing are left out."""
    of_range = "the highest reading" if stated.full_scale is None else words.amount(stated.full_scale, unit)
    parts = (
        (stated.reading_pct, f"{stated.reading_pct:g} % of reading"),
        (stated.class_pct, f"{stated.class_pct:g} % for its shunt or transformer"),
        (stated.range_pct, f"{stated.range_pct:g} % of {of_range}"),
        (stated.zero, f"{words.amount(stated.zero, unit)} at zero"),
        (stated.resolution, f"a last digit of {stated.resolution:g} {unit}"),
    )
    return ", ".join(text for size, text in parts if size) or "nothing"


def _zero(log: LogReport) -> str:
    check = log.figures.zero_check
    return "nothing" if check is None else words.plus_minus(check.offset_A, 2 * check.u_A, "A")
