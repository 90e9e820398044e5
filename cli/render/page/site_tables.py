"""The page's tables of bank, inverters, conductors, water, sun and the ledger."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING

from ....analysis.bank.sag import Sag
from ....analysis.bank.system_word import to_add
from ....analysis.equipment.judged import Judgement, worded
from ....analysis.not_known import Missing
from ....analysis.one_log.bank_report import BankReport
from ....analysis.one_log.inverter_report import MeasuredAc
from ....analysis.one_log.water_report import WaterReport
from ....analysis.stats.interval95 import Within
from ..wording import numbers
from ..wording.site_sentences import both, by_charger, by_name, owed_and_sun, sag_said, water_energy, within
from ..wording.wear import worn, worn_cells
from .log_tables import MOST_ROWS, Table, more, three_amounts

#: The word on a part that nothing is known of.
NOT_JUDGED = "not judged"

if TYPE_CHECKING:
    from ....analysis.bank.limits import BankCheck
    from ....analysis.bank.state_of_charge import StateOfCharge
    from ....analysis.equipment.conductor import ConductorCheck, Drop
    from ....analysis.ledger.ledger import LedgerLine
    from ....analysis.ledger.sources import ReturnedFrom
    from ....analysis.one_log.bank_report import Draw
    from ....analysis.one_log.inverter_report import InverterReport
    from ....analysis.one_log.log_report import LogReport
    from ....analysis.one_log.site_report import SiteReport, Solar


def verdicts(site: SiteReport, *, conductors: bool) -> Table:
    """Return each part of the system with the word on it; a part fares as the worst that was compared of it."""
    rows = [
        (numbers.capital(numbers.shortened(each.planned.inverter)), *_inverter_word(each)) for each in site.inverters
    ]
    rows.append(("Bank", *_bank_word(site.bank_check)))
    if conductors:
        rows += [(numbers.capital(numbers.shortened(each.conductor)), *_conductor(each)) for each in site.conductors]
    head = ("", "Verdict", "Why")
    return Table("The verdict on each part, and a comparison behind it", head, tuple(rows), prose=True)


def _inverter_word(report: InverterReport) -> tuple[str, str]:
    """Return the word on an inverter, and a comparison behind it, or what keeps it from being judged."""
    if report.verdict is None:
        return NOT_JUDGED, next(iter(report.planned.unknown), report.planned.running).sentence
    seen = (report.seen.sustained, report.seen.peak) if isinstance(report.seen, MeasuredAc) else ()
    judged = [part for part in seen if not isinstance(part, Missing)]
    # Plates first, then what was seen: of several with the worst word the first is named.
    words: list[tuple[Judgement, str]] = [
        (part.verdict, part.sentence)
        for part in (report.planned.starting, report.planned.running, *judged)
        if not isinstance(part, Missing)
    ]
    return report.verdict, next((sentence for word, sentence in words if word == report.verdict), numbers.UNKNOWN)


def _bank_word(check: BankCheck) -> tuple[str, str]:
    """Return the word on the bank, and a comparison behind it."""
    if check.verdict is None:
        return NOT_JUDGED, f"{numbers.capital(to_add(check))}."
    # A comparison of its own has a sentence; the sag's is made here, in the digits of the page.
    part = check.worst_part
    return check.verdict, f"{sag_said(part)}." if isinstance(part, Sag) else getattr(part, "sentence", numbers.UNKNOWN)


def _conductor(check: ConductorCheck) -> tuple[str, str]:
    """Return the word on a conductor and its fuse, and a comparison behind it, its protection before others."""
    # Without a comparison that bears the verdict it is one that could not be made.
    reason = next((each.sentence for each in check.screened if each.verdict == check.verdict), None)
    return check.verdict, reason or next(each.sentence for each in check.missing)


def inverters(site: SiteReport) -> Table:
    """Return each inverter by the plates, and beside it what was seen."""
    rows = []
    for each in site.inverters:
        name = numbers.shortened(each.planned.inverter)
        rows.append(
            (f"{numbers.capital(name)}, by the plates", _sentences(each.planned.running, each.planned.starting))
        )
        seen = each.seen
        if isinstance(seen, MeasuredAc):
            text = f"{numbers.capital(numbers.shortened(seen.what))}: {_sentences(seen.sustained, seen.peak)}"
            rows.append((f"{numbers.capital(name)}, seen", text))
    return Table("Each inverter and the loads on it", ("", "What we know"), tuple(rows), prose=True)


def _sentences(*parts: object) -> str:
    return " ".join(getattr(part, "sentence", "") for part in parts)


def bank(bank: BankReport, check: BankCheck) -> Table:
    """Return what the log says of the bank: how it sags, and how long it lasts."""
    rows = []
    if not isinstance(bank.resistance, Missing):
        where = f"from {numbers.counted(bank.resistance.steps, 'start')}" if bank.resistance.steps else "as stated"
        rows.append(("Internal resistance", f"{within(bank.resistance.mohm, 'mΩ')}, {where}"))
    # The comparisons that judge the bank stand between what it is and how long it lasts.
    rows += [(f"Asked of it ({part.of})", part.sentence) for part in check.parts]
    sag = check.sag
    sag_words = (
        sag.not_judged
        if isinstance(sag, Missing)
        else worded(sag_said(sag), sag.verdict, sag.by_figures, sag.conditions)
    )
    rows.append(("Lowest voltage at the next start", sag_words))
    if not isinstance(bank.state, Missing):
        rows.append(("State of charge at the log's end", within(bank.state.end_pct, "%")))
    rows += [(numbers.capital(draw.what), _draw(draw)) for draw in bank.draws]
    rows += [("Its wear by this log", worn(bank.wear.whole))] if bank.wear is not None else []
    caption = "The bank; in brackets the 95 % interval, of the next start by the starts seen"
    return Table(caption, ("", "What we know"), tuple(rows), prose=True)


def _draw(draw: Draw) -> str:
    text = f"{numbers.amount(draw.rate.current_A, 'A')}, which is C/{numbers.number(draw.rate.hours)}"
    if isinstance(draw.runtime, Missing):
        return text
    text += f"; lasts {within(draw.runtime.counted_h, 'h')} to the usable depth by counting"
    if draw.runtime.peukert_h is not None:
        text += f", {within(draw.runtime.peukert_h, 'h')} by Peukert's law"
    return text


def conductors(site: SiteReport) -> tuple[Table, Table]:
    """Return what each pair of conductors loses, and how it stands to the tables."""
    checks = site.conductors
    lost = tuple((numbers.shortened(each.conductor), _drop(each.running), _drop(each.starting)) for each in checks)
    screened = tuple(
        (numbers.shortened(check.conductor), each.sentence, each.verdict, each.source)
        for check in checks
        for each in check.screened
    )
    # The caution stands with the table, also where it is printed or copied.
    note = "A screening for one way of laying a cable, not a design: local codes and a licensed electrician decide."
    return (
        Table("Voltage lost in conductors, out and back", ("", "Running", "At the hardest start"), lost, prose=True),
        Table(
            "Conductors and fuses against the tables",
            ("", "What was compared", "Verdict", "Source"),
            screened,
            note,
            prose=True,
        ),
    )


def _drop(drop: Drop | Missing) -> str:
    if isinstance(drop, Missing):
        return numbers.UNKNOWN
    lost = f"{numbers.amount(drop.drop_V, 'V')} ({numbers.percent(drop.drop_pct / 100)})"
    return f"{lost} at {numbers.amount(drop.current_A, 'A')}"


def state(charge_state: StateOfCharge) -> Table:
    """Return the state of charge at the log's beginning and end, and where it was lowest."""
    lowest = int(charge_state.state_pct.argmin()) if len(charge_state.state_pct) else None
    rows = [("At the beginning", within(charge_state.start_pct, "%"))]
    if lowest is not None:
        # Its interval is that of the same instant, not the lowest end of all.
        shown = Within(
            *(float(x[lowest]) for x in (charge_state.state_pct, charge_state.low_pct, charge_state.high_pct))
        )
        rows.append(("At its lowest", within(shown, "%")))
    rows.append(("At the end", within(charge_state.end_pct, "%")))
    return Table("State of charge; in brackets the 95 % interval", ("", "State"), tuple(rows))


def recharge(site: SiteReport) -> Table:
    """Return what is owed to the bank, and what the array brings."""
    rows = []
    if isinstance(site.bank, BankReport):
        for what, owed in (("until it is full", site.bank.to_full), ("by this log", site.bank.of_log)):
            if not isinstance(owed, Missing):
                rows.append((f"Owed to the bank {what}", owed_and_sun(owed)))
        rows += [("Until it is full, by a charger", by_charger(each, ends=True)) for each in site.bank.chargers]
    if not isinstance(site.solar.day, Missing):
        rows.append(("The array on a usual day", numbers.amount(site.solar.day.energy_Wh, "Wh")))
    rows += _use(site.solar)
    if site.solar.returned_Wh is not None:
        # A meter at the bank sees of the sun only what the loads left.
        beyond = "beyond what the loads took meanwhile"
        rows.append(("Into the bank in this log", f"{numbers.amount(site.solar.returned_Wh, 'Wh')}, {beyond}"))
    if site.sources is not None:
        whole, name = site.sources.whole, by_name(site.sources)
        rows.append((f"Of it from {name}", both(whole.charger_Ah, whole.charger_Wh)))
        rows += [("Of it from the sun", both(whole.sun_Ah, whole.sun_Wh))] if site.sources.sun else []
    return Table("What is owed, and what the sun brings", ("", "What we know"), tuple(rows), prose=True)


def _use(solar: Solar) -> list[tuple[str, str]]:
    """Return what all loads take in a day, what the bank gives of it, and what the array brings for it."""
    rows, use = [], solar.use
    if use is not None:
        if not isinstance(use.day_Wh, Missing):
            rows.append(("All loads in a day", within(use.day_Wh, "Wh")))
        rows.append(("What the bank gave of it, the loads take no less", numbers.amount(use.from_bank_Wh, "Wh")))
    if not isinstance(solar.day, Missing) and solar.day.to_load is not None:
        rows.append(("The array on a usual day over all loads", numbers.number(solar.day.to_load)))
    return rows


def water(report: WaterReport) -> Table:
    """Return the tank as it should be and as it was seen, and what the water costs."""
    rows, volume = [], report.shown.of_volume
    if not isinstance(report.plan, Missing):
        with_air = "with its air, " if report.air_in_doubt else ""
        rows.append((f"Water from cut-out to cut-in, {with_air}by Boyle's law", volume(report.plan.drawdown_L)))
        if report.plan.fill_s is not None:
            rows.append(("Shortest run there should be", numbers.duration(report.plan.fill_s)))
            rows.append(
                ("Shortest time from start to start there should be", numbers.duration(report.plan.shortest_cycle_s))
            )
    # What plate and pre-charge promise stands first, what the log showed below it.
    if report.run_s is not None:
        rest = f", then a rest of {numbers.duration(report.off_s)}" if report.off_s else ""
        rows.append(("Usual run seen", f"{numbers.duration(report.run_s)}{rest}"))
    if not isinstance(report.seen, Missing):
        seen = f"{volume(report.seen.seen_L)}, {numbers.percent(report.seen.share)} of what it should be"
        seen += "; so it was not drawn steadily" if report.seen.share > 1 else ""
        rows.append(("Water from cut-out to cut-in by those times, if drawn steadily", seen))
    if not isinstance(report.cost, Missing):
        energy = f"{volume(report.cost.water_L)} for {numbers.amount(report.cycle_Wh, 'Wh')}"
        rows.append(("Water of a usual run", energy))
        rows.append(("Energy for the water, at the meter", water_energy(report.cost, report.shown)))
    if not isinstance(report.lifting, Missing):
        rows.append(("Lifting", report.lifting.sentence))
    return Table("The tank and the water", ("", "What we know"), tuple(rows), prose=True)


def ledger(log: LogReport) -> tuple[Table, ...]:
    """Return the ledger: charge, and energy, of each day and demo; empty where there is neither."""
    lines = (*log.ledger.days, *log.ledger.demos)[:MOST_ROWS]
    names = [*map(_date, log.ledger.days), *(numbers.shortened(line.text) for line in log.ledger.demos)]
    note = more(len(log.ledger.days) + len(log.ledger.demos))
    tables = []
    # Two tables, since eleven columns fit no phone.
    if any(line.whole.charge is not None for line in lines):
        head = ("Day or demo", "Drawn", "Returned", "Net", "Highest", "Over 10 min", "Bank at its end")
        rows = tuple(
            (name, *three_amounts(line.whole.charge, "Ah"), *_highest(line, "A"), state)
            for name, line, state in zip(names, lines, _states(log), strict=False)
        )
        tables.append(Table("Charge by day and demo", head, rows, note))
    if any(line.whole.energy is not None for line in lines):
        head = ("Day or demo", "Drawn", "Returned", "Net", "Highest", "Over 10 min", "Measured")
        rows = tuple(
            (name, *three_amounts(line.whole.energy, "Wh"), *_highest(line, "W"), _measured(line))
            for name, line in zip(names, lines, strict=False)
        )
        tables.append(Table("Energy by day and demo", head, rows, note))
    return (*tables, *(each for each in (_returned(log, names), _wear(log, names)) if each is not None))


def _returned(log: LogReport, names: list[str]) -> Table | None:
    """Return what came back in each line of the ledger, by where it came from; None where there is no charger."""
    sources = None if log.by_site is None else log.by_site.sources
    if sources is None or not sources.lines:
        return None
    name = numbers.capital(by_name(sources))
    rows = tuple(
        (line, *(numbers.UNKNOWN if each is None else within(each, unit) for each, unit in _from(back)))
        for line, back in zip(names, sources.lines, strict=False)
    )
    head = ("Day or demo", name, "The sun", f"{name}, energy", "The sun, energy")
    return Table("Into the bank by day and demo, by where it came from", head, rows, more(len(sources.lines)))


def _from(back: ReturnedFrom) -> tuple[tuple[Within | None, str], ...]:
    return (back.charger_Ah, "Ah"), (back.sun_Ah, "Ah"), (back.charger_Wh, "Wh"), (back.sun_Wh, "Wh")


def _wear(log: LogReport, names: list[str]) -> Table | None:
    """Return what each line of the ledger took of the bank's life; None where nothing is known of it."""
    bank = log.by_site.bank if log.by_site is not None else None
    if not isinstance(bank, BankReport) or bank.wear is None or not bank.wear.lines:
        return None
    # Without its maker's figures there are but cycles and depth, without a price no cost.
    known = not isinstance(bank.wear.life, Missing)
    head = ("Day or demo", "Full cycles", "Deepest", *(("Of its life",) if known else ()))
    head += ("Cost",) if bank.wear.whole.currency else ()
    rows = tuple(
        (name, *worn_cells(each)[: len(head) - 1])
        for name, each in zip(names[:MOST_ROWS], bank.wear.lines, strict=False)
    )
    return Table("Wear of the bank by day and demo", head, rows, more(len(bank.wear.lines)))


def _date(line: LedgerLine) -> str:
    return date_of(line.text)


def date_of(text: str) -> str:
    """Return a date of a table, year-month-day, as people write it: ``10 Oct 2026``."""
    day = date.fromisoformat(text)
    return f"{day.day} {day:%b %Y}"


def _highest(line: LedgerLine, unit: str) -> tuple[str, str]:
    peak = line.current if unit == "A" else line.power
    # Below nought where the sun gave more than was drawn all along.
    none = peak.sustained is not None and peak.sustained <= 0
    return numbers.amount(peak.highest, unit), "none" if none else numbers.amount(peak.sustained, unit)


def _measured(line: LedgerLine) -> str:
    return f"{numbers.duration(line.measured_s)} of {numbers.duration((line.stop_us - line.start_us) / 1e6)}"


def _states(log: LogReport) -> list[str]:
    bank = log.by_site.bank if log.by_site is not None else None
    count = len(log.ledger.days) + len(log.ledger.demos)
    if not isinstance(bank, BankReport):
        return [numbers.UNKNOWN] * count
    return [numbers.UNKNOWN if state is None else f"{state.value:.0f} %" for state in bank.at_ends]
