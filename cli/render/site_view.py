"""What a log and its site file say together, as the page's template lays it out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from ...analysis.bank_report import BankReport, cut_off_V
from ...analysis.missing import Missing
from ...analysis.water_report import WaterReport
from . import sag_chart, sag_plot, sentences, site_sentences, site_tables, state_chart, state_plot
from .figures import Figure, both_sizes, times_of

if TYPE_CHECKING:
    from ...analysis.report import LogReport, Report
    from ...analysis.site_report import SiteReport
    from .tables import Table


@dataclass(frozen=True)
class Part:
    """A part of the page: its heading, what is said first, its figure, its tables, and what these rest on."""

    anchor: str
    heading: str
    heading_short: str
    said: tuple[str, ...]
    figure: Figure | None
    tables: tuple[Table, ...]
    rests_on: tuple[str, ...]


def parts_of(report: Report, log: LogReport, anchor: str) -> tuple[Part, ...]:
    """Return the parts that a log has, in the order of the questions; those with nothing in them are left out."""
    parts = [_ledger(log, anchor)]
    if (found := log.by_site) is not None:
        parts = [_carry(report, log, found, anchor), _full(report, log, found, anchor), _water(log, found, anchor)]
        parts.append(_ledger(log, anchor))
    return tuple(part for part in parts if part.said or any(table.rows for table in part.tables))


def left_out(log: LogReport) -> tuple[str, ...]:
    """Return what is left out, and what to add to the site file for it."""
    return () if log.by_site is None else tuple(each.sentence for each in log.by_site.missing)


def _carry(report: Report, log: LogReport, found: SiteReport, anchor: str) -> Part:
    """Inverters, bank and conductors; the conductors with the first log alone, since no log is in them."""
    tables = [site_tables.inverters(found)]
    rests: list[object] = [each for pair in found.inverters for each in (pair.planned, pair.seen)]
    sag = None
    if isinstance(found.bank, BankReport):
        tables.append(site_tables.bank(found.bank))
        sag = _sag(report, log, found.bank, f"{anchor}-sag")
        rests += [found.bank.resistance, found.bank.sag, *(draw.runtime for draw in found.bank.draws)]
    if log is report.logs[0]:
        tables += site_tables.conductors(found)
        rests += found.conductors
    return Part(
        f"{anchor}-carry",
        "Can the system carry it?",
        "Can it carry it?",
        tuple(site_sentences.carried(log)),
        sag,
        tuple(tables),
        site_sentences.assumptions(rests),
    )


def _full(report: Report, log: LogReport, found: SiteReport, anchor: str) -> Part:
    bank = found.bank if isinstance(found.bank, BankReport) else None
    said = site_sentences.paid_back(log)
    rests: list[object] = [found.solar.day, *log.paybacks]
    if bank is not None:
        said += [] if isinstance(bank.to_full, Missing) else [site_sentences.full_again(bank.to_full)]
        rests += [bank.state, bank.to_full, bank.of_log]
    return Part(
        f"{anchor}-full",
        "When is it full again?",
        "Full again",
        tuple(said),
        _state(report, log, bank, f"{anchor}-state"),
        (site_tables.recharge(found),),
        site_sentences.assumptions(rests),
    )


def _state(report: Report, log: LogReport, bank: BankReport | None, name: str) -> Figure | None:
    if bank is None or isinstance(bank.state, Missing) or report.site is None or not log.envelopes:
        return None
    state, depth_pct = bank.state, report.site.bank.usable_depth_pct
    floor_pct = None if depth_pct is None else 100 - depth_pct
    wide, narrow = both_sizes(
        lambda frame, unique: state_chart.state_over_time(state, log, floor_pct=floor_pct, name=unique, frame=frame),
        name,
    )
    caption = f"State of charge by counting, and the 95 % interval around it. {times_of(log)}"
    plot = state_plot.state_over_time(state, log, floor_pct=floor_pct, name=f"{name}-plot")
    return Figure(wide, narrow, caption, "", (), plot)


def _sag(report: Report, log: LogReport, bank: BankReport, name: str) -> Figure | None:
    if report.site is None or not log.envelopes:
        return None
    load = next((load for load in report.site.loads if load.name == sentences.named_load(log)), None)
    next_V = None if isinstance(bank.sag, Missing) else bank.sag.lowest_V
    sags = sag_chart.sags_of(log, cut_off_V(report.site, load), next_V)
    if sags is None:
        return None
    wide, narrow = both_sizes(lambda frame, unique: sag_chart.sag_at_starts(sags, log, name=unique, frame=frame), name)
    caption = "Voltage of the bank before each start (open squares) and the lowest during the run (dots)."
    caption += "" if sags.cut_off_V is None else " Below the dashed line the inverter switches itself off."
    caption += "" if sags.next_V is None else " At the right end: how low the next start may pull it."
    plot = sag_plot.sag_at_starts(sags, log, f"{name}-plot")
    return Figure(wide, narrow, f"{caption} {times_of(log)}", "", (), plot)


def _water(log: LogReport, found: SiteReport, anchor: str) -> Part:
    tables: tuple[Table, ...] = ()
    rests: tuple[str, ...] = ()
    if isinstance(found.water, WaterReport):
        tables = (site_tables.water(found.water),)
        parts = (found.water.plan, found.water.seen, found.water.cost, found.water.lifting)
        rests = site_sentences.assumptions(parts)
    said = tuple(site_sentences.water(log))
    return Part(f"{anchor}-water", "What does the water cost?", "The water", said, None, tables, rests)


def _ledger(log: LogReport, anchor: str) -> Part:
    tables = site_tables.ledger(log)
    rests = (
        "A day is from midnight to midnight of its zone; a reading's interval that passes midnight is cut there.",
        "Over 10 min: the highest mean of any ten whole minutes on end that were measured throughout.",
    )
    return Part(f"{anchor}-ledger", "Day by day", "Day by day", (), None, tables, rests if tables else ())
