"""Bank, inverters, conductors, water, sun and the ledger as JSON; what is left out says why under ``why_not``."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from shuntbook.analysis.ledger.payback import payback_of
from shuntbook.analysis.ledger.sustained import SUSTAINED_S
from shuntbook.analysis.not_known import Missing
from shuntbook.analysis.one_log.bank_report import BankReport
from shuntbook.analysis.one_log.inverter_report import MeasuredAc
from shuntbook.analysis.one_log.water_report import WaterReport
from shuntbook.analysis.stats.interval95 import Within

from .charge import amounts_document
from .parts import Document, fields, instant, told

if TYPE_CHECKING:
    from shuntbook.analysis.bank.limits import BankCheck
    from shuntbook.analysis.equipment.conductor import ConductorCheck
    from shuntbook.analysis.ledger.ledger import LedgerLine
    from shuntbook.analysis.ledger.payback import Payback
    from shuntbook.analysis.one_log.inverter_report import InverterReport
    from shuntbook.analysis.one_log.log_report import LogReport
    from shuntbook.analysis.one_log.site_report import Solar


def bank_check_document(check: BankCheck) -> Document:
    """Return the word on a bank, null and why where it was not judged, and the comparisons behind it."""
    return {
        "verdict": check.verdict,
        "not_judged": [each.sentence for each in check.not_judged],
        "add": list(check.decides),
        "compared": [told(each) for each in check.parts],
    }


def site_documents(log: LogReport) -> Document:
    """Return the parts of a log's report that need its site file, and the ledger; those without one are null."""
    found = log.by_site
    if found is None:
        return {"ledger": _ledger(log)} | dict.fromkeys(("bank", "inverters", "conductors", "water", "solar"))
    return {
        "ledger": _ledger(log),
        "bank": _bank(found.bank) | bank_check_document(found.bank_check),
        "inverters": [_inverter(each) for each in found.inverters],
        "conductors": [conductor_document(each) for each in found.conductors],
        "water": _water(found.water),
        "solar": {
            "day": _or_why(found.solar.day),
            "returned_Wh": found.solar.returned_Wh,
            **_use(found.solar),
        },
        "left_out": [each.sentence for each in found.missing],
    }


def _use(solar: Solar) -> Document:
    """Return what all loads take in a day, and what the bank gives of it."""
    use = solar.use
    day = None if use is None else use.day_Wh
    known = day if isinstance(day, Within) else None
    return {
        "daily_use_Wh": None if known is None else known.value,
        "daily_use_low_Wh": None if known is None else known.low,
        "daily_use_high_Wh": None if known is None else known.high,
        "daily_use_why_not": day.sentence if isinstance(day, Missing) else None,
        "daily_from_bank_Wh": None if use is None else use.from_bank_Wh,
    }


def _ledger(log: LogReport) -> Document:
    bank = log.by_site.bank if log.by_site is not None else None
    lines = (*log.ledger.days, *log.ledger.demos)
    states = bank.at_ends if isinstance(bank, BankReport) else (None,) * len(lines)
    documents = [_line(line, state) for line, state in zip(lines, states, strict=True)]
    days, demos = documents[: len(log.ledger.days)], documents[len(log.ledger.days) :]
    return {
        "zone": None if log.facts.undated else log.facts.zone,
        "sustained_over_s": SUSTAINED_S,
        "days": [{"date": line.text, **document} for line, document in zip(log.ledger.days, days, strict=True)],
        "demos": [
            {"text": line.text, **document, "payback": _payback(line, log.paybacks)}
            for line, document in zip(log.ledger.demos, demos, strict=True)
        ],
        "state_why_not": _state_why_not(bank),
    }


def _state_why_not(bank: BankReport | Missing | None) -> str | None:
    if bank is None:
        return Missing("state of charge", (), "it needs a site file").sentence
    missing = bank if isinstance(bank, Missing) else bank.state
    return missing.sentence if isinstance(missing, Missing) else None


def _line(line: LedgerLine, state: Within | None) -> Document:
    return {
        "start": instant(line.start_us),
        "stop": instant(line.stop_us),
        "length_s": (line.stop_us - line.start_us) / 1e6,
        "measured_s": line.measured_s,
        "not_measured_s": line.not_measured_s,
        "charge": amounts_document(line.whole.charge, "Ah"),
        "energy": amounts_document(line.whole.energy, "Wh"),
        "highest_A": line.current.highest,
        "sustained_A": line.current.sustained,
        "highest_W": line.power.highest,
        "sustained_W": line.power.sustained,
        "starts": line.starts,
        "state_at_end_pct": _within(state),
        "state_at": None if state is None else instant(min(line.stop_us, line.whole.span.stop_us or line.stop_us)),
    }


def _payback(line: LedgerLine, paybacks: tuple[Payback, ...]) -> Document | None:
    found = payback_of(line, paybacks)
    if found is None:
        return None
    return {
        "owed_Ah": found.owed_Ah,
        "paid": instant(found.paid_us),
        "still_owed_Ah": found.still_owed_Ah,
        "more_since_Ah": found.more_since_Ah,
        "not_measured_s": found.uncovered_s,
        "assumptions": list(found.assumptions),
    }


def _bank(bank: BankReport | Missing) -> Document:
    if isinstance(bank, Missing):
        return _or_why(bank)
    state = bank.state
    over_time = None
    if not isinstance(state, Missing):
        over_time = {
            "time": [instant(us) for us in state.time_us.tolist()],
            **{name: getattr(state, name).tolist() for name in ("state_pct", "low_pct", "high_pct")},
        }
    return {
        "resistance": _or_why(bank.resistance),
        "state": _or_why(state) if isinstance(state, Missing) else _state(state) | {"over_time": over_time},
        "draws": [
            {"what": draw.what, **fields(draw.rate), "rate_h": draw.rate.hours, "runtime": _or_why(draw.runtime)}
            for draw in bank.draws
        ],
        "sag": _or_why(bank.sag),
        "recharge_to_full": _recharge(bank.to_full),
        "recharge_of_log": _recharge(bank.of_log),
    }


def _state(state: Any) -> Document:  # noqa: ANN401 - a StateOfCharge
    kept = ("start_pct", "end_pct", "uncovered_s", "assumptions")
    return {"why_not": None, **{name: told(getattr(state, name)) for name in kept}}


def _recharge(owed: Any) -> Document:  # noqa: ANN401 - a Recharge or Missing
    document = _or_why(owed)
    if not isinstance(owed, Missing) and isinstance(owed.days, Missing):
        document |= {"days": None, "days_why_not": owed.days.sentence}
    return document


def _inverter(report: InverterReport) -> Document:
    planned, seen = report.planned, report.seen
    return {
        "name": planned.inverter,
        "verdict": report.verdict,
        "planned": {
            "running": _or_why(planned.running),
            "starting": _or_why(planned.starting),
            "hardest": planned.hardest,
            "loads": [told(each) for each in planned.loads],
            "left_out": [each.sentence for each in planned.left_out],
            "assumptions": list(planned.assumptions),
        },
        "seen": _or_why(seen) | ({"peak": _or_why(seen.peak)} if isinstance(seen, MeasuredAc) else {}),
    }


def conductor_document(check: ConductorCheck) -> Document:
    """Return what a conductor loses, and the words on it and its fuse."""
    ohms = check.resistance_mohm
    return {
        "name": check.conductor,
        "verdict": check.verdict,
        "protection": told(check.protection),
        "resistance_mohm": None if isinstance(ohms, Missing) else ohms,
        "resistance_why_not": ohms.sentence if isinstance(ohms, Missing) else None,
        "running": _or_why(check.running),
        "starting": _or_why(check.starting),
        "screened": [told(each) for each in check.screened],
        "assumptions": list(check.assumptions),
    }


def _water(report: WaterReport | Missing) -> Document:
    if isinstance(report, Missing):
        return _or_why(report)
    return {
        "plan": _or_why(report.plan),
        "seen": _or_why(report.seen),
        "usual_run_s": report.run_s,
        "usual_rest_s": report.off_s,
        "cycle_Wh": report.cycle_Wh,
        "cost": _or_why(report.cost),
        "lifting": _or_why(report.lifting),
    }


def _within(figure: Within | None) -> Document | None:
    return None if figure is None else fields(figure)


def _or_why(part: Any) -> Document:  # noqa: ANN401 - any result, or a Missing
    """Return a result with all in it, or why there is none."""
    if isinstance(part, Missing):
        return {"why_not": part.sentence, "add": list(part.add)}
    return {"why_not": None, **told(part)}
