"""What a log and its site file say together, in plain sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from ....analysis.bank.sag import Sag
from ....analysis.bank.system_word import InverterWord, SystemWord, absent_parts, system_word, to_add, weakest
from ....analysis.equipment.judged import WORD, Judged, worded
from ....analysis.equipment.protection import SCREENING
from ....analysis.health.finding import is_swapped
from ....analysis.ledger.payback import paybacks_of
from ....analysis.not_known import Missing
from ....analysis.one_log.bank_report import BankReport
from ....analysis.one_log.inverter_report import MeasuredAc
from ....analysis.one_log.water_report import WaterReport
from . import clock, numbers
from .log_sentences import log_title
from .wear import wear_sentences

#: An interval whose upper end is so many times the figure is told as a least and a most. [1]
_MUCH_MORE: Final = 1.2
_LOOKS_THE_SAME: Final = "by day a load that stops, or the sun, looks the same"

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ....analysis.bank.bank import Recharge
    from ....analysis.bank.charger_time import ChargerTime
    from ....analysis.bank.limits import BankCheck
    from ....analysis.equipment.conductor import ConductorCheck
    from ....analysis.equipment.water import WaterCost
    from ....analysis.ledger.ledger import LedgerLine
    from ....analysis.ledger.payback import Payback
    from ....analysis.ledger.sources import ReturnedFrom, Sources
    from ....analysis.one_log.inverter_report import InverterReport
    from ....analysis.one_log.log_report import LogReport
    from ....analysis.several_logs.report import Report
    from ....analysis.site.units import DisplayUnits
    from ....analysis.stats.interval95 import Within


def within(figure: Within, unit: str) -> str:
    """Return a figure with the ends of its interval, for instance ``23.4 V (23.3 to 23.5)``."""
    # A figure that was stated, not measured, has no ends to show.
    if figure.high <= figure.low:
        return numbers.amount(figure.value, unit)
    value, low, high = numbers.value_and_ends(figure.value, figure.low, figure.high)
    return f"{value} {unit} ({low} to {high})"


def unsafe(report: Report) -> list[str]:
    """Say which conductors and fuses of a report's site fail, whatever its logs show: the first thing to be read."""
    # Conductors are of the site: any log that was read with it knows them all.
    by_site = next((log.by_site for log in report.logs if log.by_site is not None), None)
    return [] if by_site is None else unsafe_conductors(by_site.conductors)


def unsafe_conductors(checks: Sequence[ConductorCheck]) -> list[str]:
    """Say of each conductor that fails by what it does, and who decides."""
    sentences = [
        f"Conductor '{numbers.shortened(check.conductor)}' fails. {each.sentence}"
        for check in checks
        for each in check.failing
    ]
    return [*sentences, SCREENING] if sentences else []


def in_short(log: LogReport) -> tuple[str, ...]:
    """Say in short whether the system carries the load, and when each demo was paid back.

    Nothing without a site file, or where the sign seems wrong.
    """
    if log.by_site is None or is_swapped(log.findings):
        return ()
    sentences = [*carried(log), *returned_by(log), *paid_back(log)]
    if isinstance(bank := log.by_site.bank, BankReport) and not isinstance(bank.to_full, Missing):
        sentences.append(full_again(bank.to_full))
    if isinstance(bank, BankReport) and bank.wear is not None:
        sentences += wear_sentences(log, bank.wear)
    return tuple(sentences)


def carried(log: LogReport) -> list[str]:
    """Say whether the inverter of the load that was looked for holds, the bank, and its voltage at the next start."""
    site = log.by_site
    if site is None:
        return []
    sentences = [_inverter(each) for each in site.inverters if isinstance(each.seen, MeasuredAc)]
    return [*sentences, *_bank(site.bank_check)]


def carries(log: LogReport) -> SystemWord | None:
    """Say in one sentence whether the system carries the load, with the word on it; None without a site file."""
    site = log.by_site
    if site is None:
        return None
    on = [
        InverterWord(f"the {numbers.shortened(each.planned.inverter)}", each.verdict, each.planned.to_add)
        for each in site.inverters
        if isinstance(each.seen, MeasuredAc)
    ]
    fails, absent = any(check.failing for check in site.conductors), absent_parts(site.inverters, site.conductors)
    return system_word(on, site.bank_check, conductor_fails=fails, absent=absent)


def carry_all(report: Report) -> str | None:
    """Say in one sentence whether the system carries the load, by the log that asks the most of it.

    What one of a sign that seems wrong asks of it nobody knows.
    """
    right = (log for log in report.logs if not is_swapped(log.findings))
    words = [(word, log) for log in right if (word := carries(log)) is not None]
    if not words:
        return None
    weakest_word = weakest(word for word, _ in words)
    if all(word.verdict == weakest_word.verdict for word, _ in words):
        return weakest_word.sentence
    # Where logs do not agree it is said whose word this is.
    log = next(log for word, log in words if word is weakest_word)
    return f"By the log {log_title(log.facts)}: {numbers.uncapital(weakest_word.sentence)}"


def _bank(check: BankCheck) -> list[str]:
    """Say whether the bank gives what is asked, and how far its voltage falls."""
    if check.verdict is None:
        sentences = [f"The bank was not judged: {to_add(check)}."]
    else:
        # Where it holds, no single comparison decided: every one of them held.
        part = None if check.verdict == "holds" else check.worst_part
        why = f": {part.sentence}" if isinstance(part, Judged) else " by its voltage at a start." if part else "."
        sentences = [f"The bank {WORD[check.verdict]}{why}"]
    if isinstance(check.sag, Sag):
        sentences.append(_sag(check.sag))
    return sentences


def _inverter(report: InverterReport) -> str:
    seen = report.seen
    assert isinstance(seen, MeasuredAc)
    name = numbers.shortened(report.planned.inverter)
    planned = "is not judged" if report.planned.verdict is None else WORD[report.planned.verdict]
    return (
        f"By the plates the {name} {planned}; seen were {numbers.amount(seen.peak_W, 'W')} at most "
        f"and {numbers.amount(seen.sustained_W, 'W')} sustained behind it."
    )


def _sag(sag: Sag) -> str:
    compared = f"At the next start the bank falls to about {sag_said(sag)}"
    return worded(compared, sag.verdict, sag.by_figures, sag.conditions)


def sag_said(sag: Sag) -> str:
    """Return the lowest voltage at the next start beside the cut-off, without the word on it."""
    cut_off = numbers.amount(sag.cut_off_V, "V")
    return f"{within(sag.lowest_V, 'V')}; {sag.below} below {cut_off}"


def returned_by(log: LogReport) -> list[str]:
    """Say what came back from the sun and what from a charger, or that something unnamed seems to charge the bank.

    Nothing where the site file has no charger and the log shows none, or where the sign seems wrong.
    """
    site = log.by_site
    if site is None or is_swapped(log.findings):
        return []
    if site.unnamed is not None:
        when = clock.clock(site.unnamed.at_us, log.facts)
        return [
            f"At {when}, in the dark, {numbers.amount(site.unnamed.current_A, 'A')} began to flow into the bank: a "
            "source other than the sun seems to be there. Name it in the site file ([[chargers]] with name and "
            "rated_A), and its part is told from the sun's."
        ]
    return [] if site.sources is None else [_from_charger(site.sources)]


def _from_charger(sources: Sources) -> str:
    """Say what of the returned was from a charger, and how sure that is."""
    whole, name = sources.whole, by_name(sources)
    charge, energy = whole.charger_Ah, whole.charger_Wh
    most = numbers.amount(charge.high, "Ah")
    if charge.value <= 0 and charge.high <= 0:
        return f"Nothing that came back in this log was from {name}."
    if charge.value <= 0:
        return f"Whether {name} gave anything cannot be told, up to {most}: {_LOOKS_THE_SAME}."
    if charge.high > _MUCH_MORE * charge.value:
        # Its interval reaches so far that the figure's own digits would be lost in it.
        least = numbers.amount(charge.low, "Ah")
        least += "" if energy is None else f" ({numbers.amount(energy.low, 'Wh')})"
        return f"Into the bank came at least {least} from {name}, perhaps up to {most}: {_LOOKS_THE_SAME}."
    sun = f" and {both(whole.sun_Ah, whole.sun_Wh)} from the sun" if sources.sun else ""
    return f"Into the bank came {both(charge, energy)} from {name}{sun}."


def by_name(sources: Sources) -> str:
    """Return what a site's charger is called in a sentence."""
    return f"'{numbers.shortened(sources.chargers[0])}'" if len(sources.chargers) == 1 else "the chargers"


def both(charge_Ah: Within, energy_Wh: Within | None) -> str:
    """Return charge and energy, each with its interval."""
    return ", ".join([within(charge_Ah, "Ah"), *([] if energy_Wh is None else [within(energy_Wh, "Wh")])])


def paid_back(log: LogReport) -> list[str]:
    """Say of each demo when it was paid back, and by what."""
    sources = None if log.by_site is None else log.by_site.sources
    back = {} if sources is None else dict(zip(log.paybacks, sources.paybacks, strict=True))
    return [
        _paid(line, payback, log, _payers(log, None if sources is None else by_name(sources), back.get(payback)))
        for line, payback in zip(log.ledger.demos, paybacks_of(log.ledger.demos, log.paybacks), strict=True)
        if payback is not None
    ]


def _payers(log: LogReport, charger: str | None, back: ReturnedFrom | None) -> tuple[str, str]:
    """Return who paid a demo back, and how much of it each, where it was more than one."""
    if charger is None or (back is not None and back.charger_Ah.high <= 0 and log.has_array):
        return "the array", ""
    if not log.has_array:
        return charger, ""
    if back is None:
        return f"the array or {charger}", ""
    parts = f"{both(back.charger_Ah, back.charger_Wh)} from {charger}, {both(back.sun_Ah, back.sun_Wh)} from the sun"
    return f"the array and {charger}", f"; since its end came {parts}"


def _paid(line: LedgerLine, payback: Payback, log: LogReport, payers: tuple[str, str]) -> str:
    who, shares = payers
    name = f"“{numbers.shortened(line.text)}”"
    # Without a later note a demo has no end: all that is known is what is owed at the end of the log.
    if payback.owed_Ah is None and payback.still_owed_Ah <= 0:
        return f"{name} was not ended by a later note; at the log's end the bank was short of nothing by it."
    if payback.owed_Ah is None:
        owed = numbers.amount(payback.still_owed_Ah, "Ah")
        return f"{name} was not ended by a later note; at the log's end the bank was short of {owed} by it."
    if payback.owed_Ah <= 0:
        return f"{name} owed the bank nothing: {who} had carried it meanwhile."
    owed = numbers.amount(payback.owed_Ah, "Ah")
    if payback.paid_us is None:
        still = numbers.amount(payback.still_owed_Ah, "Ah")
        unpaid = f"{name} owed the bank {owed}; at the log's end {still} of it had not been paid back{shares}"
        if payback.more_since_Ah <= 0:
            return f"{unpaid}."
        return f"{unpaid}, and the bank was short of {numbers.amount(payback.more_since_Ah, 'Ah')} more, drawn since."
    # The date only where it was not paid back on the day of the demo.
    when = clock.clock(payback.paid_us, log.facts, near_us=line.stop_us)
    zone = clock.in_zone(log.facts)
    after = numbers.duration((payback.paid_us - payback.stop_us) / 1e6)
    gaps = f", {numbers.duration(payback.uncovered_s)} without readings left out" if payback.uncovered_s else ""
    return (
        f"{name} owed the bank {owed} at its end; {who} had paid that back by {when} ({zone}), "
        f"{after} later{gaps}{shares}."
    )


def full_again(owed: Recharge) -> str:
    """Say what it takes until the bank is full."""
    sentence = f"Until it is full the bank wants {owed_and_sun(owed)}."
    # A reason with nothing to add to the site file is about this log or the sun; what to add stands elsewhere.
    if isinstance(owed.days, Missing) and not owed.days.add:
        sentence += f" {numbers.capital(owed.days.because)}."
    return sentence


def owed_and_sun(owed: Recharge) -> str:
    """Return what is owed to the bank, and how much sun pays it back."""
    both = f"{numbers.amount(owed.owed_Ah, 'Ah')} ({numbers.amount(owed.owed_Wh, 'Wh')})"
    sun = f"{both}: at least {numbers.duration(owed.sun_h * 3600)} of good sun"
    idle = "with nothing drawn meanwhile"
    if isinstance(owed.days, Missing):
        return f"{sun} {idle}"
    days = f"{numbers.number(owed.days)} {'usual days' if owed.days >= 1 else 'of a usual day'}"
    # Where no use is known, the days are those of a sun that has nothing else to feed.
    if owed.daily_use_Wh.high > 0:
        return f"{sun} {idle}, or {days} at this log's use"
    return f"{sun}, or {days}, {idle}"


def by_charger(by: ChargerTime, *, ends: bool = False) -> str:
    """Return which charger takes how long for what is owed, for instance ``'generator' in 2 h or more, at 40.0 A``."""
    hours = by.hours
    between = f" ({numbers.duration(hours.low * 3600)} to {numbers.duration(hours.high * 3600)})" if ends else ""
    how_long = f"{numbers.duration(hours.value * 3600)}{between} or more"
    return f"'{numbers.shortened(by.charger)}' in {how_long}, at {numbers.amount(by.current_A, 'A')}"


def water(log: LogReport) -> list[str]:
    """Say what the pump's runs tell of the tank, and what the water costs."""
    report = log.by_site.water if log.by_site is not None else None
    if not isinstance(report, WaterReport):
        return []
    sentences = []
    if isinstance(report.cost, Missing):
        sentences += ["What the water costs is not judged: the tank's air is in doubt."] if report.air_in_doubt else []
    else:
        sentences.append(f"The water costs {water_energy(report.cost, report.shown)}, at the meter.")
    plan = report.plan
    if not isinstance(plan, Missing) and plan.fill_s is not None and report.run_s:
        # Filling is reckoned with no tap open: water drawn meanwhile can only lengthen a run.
        short = report.run_s < plan.fill_s
        sentences.append(
            f"With its pre-charge the tank takes {report.shown.of_volume(plan.drawdown_L)}, so no run should be "
            f"shorter than {numbers.duration(plan.fill_s)}; the usual run is {numbers.duration(report.run_s)}"
            + (": the tank takes less than it should." if short else ", longer by what is drawn meanwhile.")
        )
    return sentences


def water_energy(cost: WaterCost, shown: DisplayUnits) -> str:
    """Return what water costs, for instance ``347 Wh for 1,000 L``."""
    energy_Wh, of_water = shown.water_energy(cost.Wh_per_1000_L)
    return f"{numbers.amount(energy_Wh, 'Wh')} for {of_water}"


def assumptions(parts: Sequence[object]) -> tuple[str, ...]:
    """Return what results rest on, each sentence once; those that could not be had rest on nothing."""
    sentences = [text for part in parts if not isinstance(part, Missing) for text in getattr(part, "assumptions", ())]
    return tuple(dict.fromkeys(sentences))
