"""The page's sections on what log and site file say together: system, changes of it, bank, water, pump."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

from ....analysis.equipment.bank_voltage import voltage_floor
from ....analysis.not_known import Missing
from ....analysis.one_log.bank_report import BankReport
from ....analysis.one_log.water_report import WaterReport
from ..readouts import bank as bank_readout
from ..still_charts import bank as bank_charts
from ..still_charts.svg import both_sizes
from ..wording import how_it_runs, log_sentences, numbers, site_sentences
from . import site_tables
from .figures import Figure, to_draw
from .log_tables import MOST_ROWS, Table, more
from .section import Folded, Section, rests_on, without_empty

if TYPE_CHECKING:
    from ....analysis.one_log.log_report import LogReport
    from ....analysis.one_log.site_report import SiteReport
    from ....analysis.pump_pulse.pulse import PumpPulse
    from ....analysis.several_logs.report import Report

_OF_MANY = {"holds": "hold", "fails": "fail"}
#: So many rows of what changes stand in sight. [1]
_FEW_ROWS = 6


def carry(report: Report, log: LogReport, anchor: str) -> Section | None:
    """Return whether inverters, bank and conductors carry the loads; the conductors with the first log alone.

    No log is in the conductors' figures. None without a site file.
    """
    site, first, word = log.by_site, log is report.logs[0], site_sentences.carries(log)
    if site is None:
        return None
    rests: list[object] = [each for pair in site.inverters for each in (pair.planned, pair.seen)]
    sag = None
    if isinstance(site.bank, BankReport):
        sag = _sag(report, log, site.bank, f"{anchor}-sag")
        rests += [
            site.bank.resistance,
            site.bank_check,
            site.bank_check.sag,
            *(draw.runtime for draw in site.bank.draws),
            site.bank.wear,
        ]
    # The conductors are the same in each log: they are shown once.
    if first:
        rests += site.conductors
    return Section(
        f"{anchor}-carry",
        "Can the system carry it?",
        "Can it carry it?",
        (*(() if word is None else (word.sentence,)), *site_sentences.carried(log)),
        figures=() if sag is None else (sag,),
        tables=(site_tables.verdicts(site, conductors=first),),
        folds=without_empty(
            Folded("Each inverter", (site_tables.inverters(site),), long=True),
            _bank(site),
            _conductors(site) if first else None,
            rests_on(site_sentences.assumptions(rests)),
            _left_out(site),
        ),
    )


def _bank(site: SiteReport) -> Folded | None:
    if not isinstance(site.bank, BankReport):
        return None
    return Folded("The bank", (site_tables.bank(site.bank, site.bank_check),), long=True)


def _conductors(site: SiteReport) -> Folded:
    lost, screened = site_tables.conductors(site)
    # Counted by the word, so that the fold's summary already says whether one fails.
    verdicts = Counter(row[2] for row in screened.rows)
    counts = ", ".join(f"{n} {_OF_MANY.get(verdict, verdict) if n > 1 else verdict}" for verdict, n in verdicts.items())
    return Folded(f"Conductors and fuses: {counts}", (lost, screened))


def _left_out(site: SiteReport) -> Folded:
    """Return what is left out, and what to add to the site file for it."""
    sentences = tuple(each.sentence for each in site.missing)
    return Folded(f"Left out: {numbers.counted(len(sentences), 'figure')}", (), sentences)


def full(report: Report, log: LogReport, anchor: str) -> Section | None:
    """Return when the bank is full again; None without a site file."""
    site = log.by_site
    if site is None:
        return None
    bank = site.bank if isinstance(site.bank, BankReport) else None
    sentences = [*site_sentences.returned_by(log), *site_sentences.paid_back(log)]
    rests: list[object] = [site.solar.day, *log.paybacks, site.sources]
    owed = None if bank is None else bank.to_full
    if isinstance(owed, Missing):
        sentences.append(owed.sentence)
    elif owed is not None:
        sun = numbers.duration(owed.sun_h * 3600)
        in_short = f"It is full after at least {sun} of good sun, with nothing drawn meanwhile."
        sentences = [in_short, *sentences, site_sentences.full_again(owed)]
    if bank is not None:
        rests += [bank.state, bank.to_full, bank.of_log, *bank.chargers]
    state = None if bank is None or isinstance(bank.state, Missing) else site_tables.state(bank.state)
    state_drawn = _state(report, log, bank, f"{anchor}-state")
    return Section(
        f"{anchor}-full",
        "When is it full again?",
        "Full again",
        tuple(sentences),
        figures=() if state_drawn is None else (state_drawn,),
        tables=(site_tables.recharge(site), *(() if state is None else (state,))),
        folds=without_empty(
            rests_on(site_sentences.assumptions(rests)),
        ),
    )


def _state(report: Report, log: LogReport, bank: BankReport | None, name: str) -> Figure | None:
    if bank is None or isinstance(bank.state, Missing) or report.site is None or not log.envelopes:
        return None
    # The usable depth counts down from full.
    state, depth_pct = bank.state, report.site.bank.usable_depth_pct
    floor_pct = None if depth_pct is None else 100 - depth_pct
    drawn = both_sizes(partial(bank_charts.state_over_time, state, to_draw(log), floor_pct=floor_pct), name)
    caption = "How full the bank is, by counting, and the 95 % interval around it."
    return Figure(drawn, caption, readout=bank_readout.state_over_time(state, log))


def _sag(report: Report, log: LogReport, bank: BankReport, name: str) -> Figure | None:
    if report.site is None or not log.envelopes:
        return None
    load = next((load for load in report.site.loads if load.name == log_sentences.named_load(log)), None)
    next_V = None if isinstance(bank.sag, Missing) else bank.sag.lowest_V
    floor = voltage_floor(report.site, load)
    # A cut-off is drawn where one is known for this load: another's inverter may switch off elsewhere.
    sags = bank_charts.sags_of(log, None if isinstance(floor, Missing) else floor.V, next_V)
    if sags is None:
        return None
    drawn = both_sizes(partial(bank_charts.sag_at_starts, sags, to_draw(log)), name)
    caption = "Voltage of the bank before each start (open squares) and the lowest during the run (dots)."
    caption += "" if sags.cut_off_V is None else " Below the dashed line it is switched off."
    caption += "" if sags.next_V is None else " At the right end: how low the next start may pull it."
    caption += " In figures: the column Voltage sag of the table Run by run."
    return Figure(drawn, caption, readout=bank_readout.sag_at_starts(sags, log))


def water(log: LogReport, anchor: str) -> Section | None:
    """Return what the water costs; None where nothing is said of it."""
    report = log.by_site.water if log.by_site is not None else None
    if not isinstance(report, WaterReport):
        return None
    parts = (report.plan, report.seen, report.cost, report.lifting)
    return Section(
        f"{anchor}-water",
        "What does the water cost?",
        "The water",
        tuple(site_sentences.water(log)),
        folds=without_empty(
            Folded("Figure by figure", (site_tables.water(report),)),
            rests_on(site_sentences.assumptions(parts)),
        ),
    )


def what_if(report: Report, anchor: str) -> Section | None:
    """Return what changes of the system would do; None where nobody asked."""
    result = report.what_if
    if result is None:
        return None
    from ..wording import what_if as changed  # few reports are asked about a change

    changes = changed.asked_changes(result)
    caption = f"A day now, and a day with {changes}; ± and in brackets 95 %, by this log"
    rows, every = changed.side_by_side(result), changed.every_figure(result)
    sentences, note = changed.what_changes_do(result), " ".join(result.amiss) if rows else ""
    # What a change may do harm by must not be folded away: it stands below the figures.
    sentences = [text for text in sentences if not note or text not in result.amiss]
    return Section(
        f"{anchor}-what-if",
        "What would the change do?" if len(result.changes) == 1 else "What would the changes do?",
        "What if",
        (*sentences, *(() if rows else (f"With {changes} no figure that is known changes.",))),
        folds=without_empty(
            Folded(
                "Every figure, and what it is held against",
                (Table("Every figure", ("", "Now", "Then", "Held against"), _cells(every), prose=True),),
                long=True,
            ),
            rests_on(tuple(dict.fromkeys((*result.assumptions, *result.after.taken.assumptions)))),
        ),
        answer=Table(caption, ("", "Now", "Then", "Difference"), _cells(rows[:_FEW_ROWS]), note),
    )


def _cells(rows: Sequence[Sequence[str]]) -> tuple[tuple[str, ...], ...]:
    return tuple((numbers.capital(name), *cells) for name, *cells in rows)


def pump(log: LogReport, anchor: str) -> Section | None:
    """Return what the pump gives; None of a load that is not the pump of the site file's tank."""
    pulse = log.pulse
    # Of a fridge, or without a tank, nobody asks what it gives.
    if pulse is None or not pulse.has_tank or not log.cycles.cycles:
        return None
    return Section(
        f"{anchor}-pump",
        "What does the pump give?",
        "The pump",
        tuple(how_it_runs.pump_sentences(pulse)),
        folds=without_empty(
            Folded("Flow and water, figure by figure", (_pump_figures(pulse),)),
            Folded("Flow and water day by day", (_pump_days(pulse),), long=True) if len(pulse.days) > 1 else None,
            rests_on(tuple(how_it_runs.pump_rests_on(pulse))),
        ),
    )


def _pump_figures(pulse: PumpPulse) -> Table:
    """Return the figures with their intervals."""
    rows, shown = [], pulse.shown
    flow, pumped = pulse.flow, pulse.pumped
    if not isinstance(flow, Missing):
        rows.append(("Shortest runs: the tank filled, nothing drawn", site_sentences.within(flow.fill_s, "s")))
        if flow.drawdown_L is not None and flow.flow_L_per_min is not None:
            rows += [
                ("Water from cut-in to cut-out", how_it_runs.volume_text(flow.drawdown_L, shown)),
                ("Flow, if the tank has its air", how_it_runs.flow_text(flow.flow_L_per_min, shown)),
            ]
        if flow.plate_L_per_min is not None and flow.of_plate is not None:
            share = site_sentences.within(flow.of_plate.scaled(100.0), "%")
            rows.append(("Flow of the site file", f"{shown.of_flow(flow.plate_L_per_min)}: the pump gives {share}"))
        rows.append(("The tank's air", f"{flow.air}: {flow.air_why}"))
    if not isinstance(pumped, Missing):
        rows.append(
            (
                f"Water in {numbers.duration(pumped.measured_s)} of readings",
                how_it_runs.volume_text(pumped.pumped_L, shown),
            )
        )
        if pumped.per_day_L is not None:
            rows.append(("Water a day", how_it_runs.volume_text(pumped.per_day_L, shown)))
    if pulse.without_start is not None:
        rows.append(("Longest time without a start", how_it_runs.quiet_text(pulse.without_start)))
    if len(pulse.days) > 1:
        rows.append(("From day to day", how_it_runs.trend_sentence(pulse.trend)))
    return Table("Flow and water", ("", "What we know"), tuple(rows), prose=True)


def _pump_days(pulse: PumpPulse) -> Table:
    """Return flow, water and the longest time without a start of each day."""
    rows = [
        (
            site_tables.date_of(day.date),
            numbers.UNKNOWN if day.flow_L_per_min is None else how_it_runs.flow_text(day.flow_L_per_min, pulse.shown),
            numbers.UNKNOWN if day.pumped_L is None else how_it_runs.volume_text(day.pumped_L, pulse.shown),
            numbers.duration(day.measured_s),
            numbers.UNKNOWN if day.without_start is None else how_it_runs.quiet_text(day.without_start),
        )
        for day in pulse.days[:MOST_ROWS]
    ]
    head = ("Day", "Flow", "Water", "Measured", "Longest time without a start")
    return Table("Flow and water by day", head, tuple(rows), more(len(pulse.days)))
