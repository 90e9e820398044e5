"""Bank, inverters, conductors, water, sun, the ledger and forecasts as JSON; ``why_not`` says why a part is missing."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ....analysis.ledger.payback import paybacks_of
from ....analysis.ledger.sustained import SUSTAINED_S
from ....analysis.not_known import Missing
from ....analysis.one_log.bank_report import BankReport
from .charge_and_runs import amounts_document, lesson_document
from .parts import Document, document_of, instant, named, or_why

if TYPE_CHECKING:
    from collections.abc import Mapping

    from ....analysis.bank.bank import Recharge
    from ....analysis.bank.state_of_charge import StateOfCharge
    from ....analysis.bank.wear import StretchWear
    from ....analysis.forecast.bank_use import BankForecast
    from ....analysis.forecast.forecast import Forecast
    from ....analysis.forecast.measured_load import MeasuredLoad
    from ....analysis.ledger.ledger import LedgerLine
    from ....analysis.ledger.payback import Payback
    from ....analysis.ledger.sources import ReturnedFrom
    from ....analysis.one_log.inverter_report import InverterReport
    from ....analysis.one_log.log_report import LogReport
    from ....analysis.stats.interval95 import Within
    from ....analysis.what_if.what_if import WhatIf

_SOURCES = "chargers whole spells assumptions"
_PLANNED = "running:or_why starting:or_why hardest loads left_out:why assumptions"


def site_documents(log: LogReport) -> Document:
    """Return the parts of a log's report that need its site file, and the ledger; those without one are null."""
    site = log.by_site
    if site is None:
        return {"ledger": _ledger(log)} | dict.fromkeys(
            ("bank", "inverters", "conductors", "water", "solar", "sources")
        )
    return {
        "ledger": _ledger(log),
        "bank": _bank(site.bank) | document_of(site.bank_check),
        "inverters": [_inverter(report) for report in site.inverters],
        "conductors": document_of(site.conductors),
        "water": or_why(site.water) if isinstance(site.water, Missing) else document_of(site.water),
        "solar": document_of(site.solar),
        "sources": None if site.sources is None else named(site.sources, _SOURCES),
        "unnamed_source": document_of(site.unnamed),
        "left_out": [part.sentence for part in site.missing],
    }


def _inverter(report: InverterReport) -> Document:
    # A forecast writes its plans field by field.
    return {**document_of(report), "planned": named(report.planned, _PLANNED)}


def _ledger(log: LogReport) -> Document:
    bank, ledger = log.by_site.bank if log.by_site is not None else None, log.ledger
    lines = (*ledger.days, *ledger.demos)
    known = bank if isinstance(bank, BankReport) else None
    states = (None,) * len(lines) if known is None else known.at_ends
    wears = (None,) * len(lines) if known is None or known.wear is None else known.wear.lines
    sources = log.by_site.sources if log.by_site is not None else None
    back = (None,) * len(lines) if sources is None else sources.lines
    since = {} if sources is None else dict(zip(log.paybacks, sources.paybacks, strict=True))
    documents = [_line(*each) for each in zip(lines, states, wears, back, strict=True)]
    return {
        "zone": None if log.facts.undated else log.facts.zone,
        "sustained_over_s": SUSTAINED_S,
        "days": [{"date": line.text, **each} for line, each in zip(ledger.days, documents, strict=False)],
        "demos": [
            {"text": line.text, **each, "payback": _payback(payback, since)}
            for line, each, payback in zip(
                ledger.demos, documents[len(ledger.days) :], paybacks_of(ledger.demos, log.paybacks), strict=True
            )
        ],
        "state_why_not": _state_why_not(bank),
    }


def _payback(payback: Payback | None, since: Mapping[Payback, ReturnedFrom | None]) -> Document | None:
    if payback is None:
        return None
    return {**document_of(payback), "returned_since": document_of(since.get(payback))}


def _state_why_not(bank: BankReport | Missing | None) -> str | None:
    if bank is None:
        return Missing("state of charge", (), "it needs a site file").sentence
    state = bank if isinstance(bank, Missing) else bank.state
    return state.sentence if isinstance(state, Missing) else None


def _line(line: LedgerLine, state: Within | None, worn: StretchWear | None, back: ReturnedFrom | None) -> Document:
    return {
        **named(line, "start_us stop_us"),
        "length_s": (line.stop_us - line.start_us) / 1e6,
        **named(line, "measured_s not_measured_s"),
        "charge": amounts_document(line.whole.charge, "Ah"),
        "energy": amounts_document(line.whole.energy, "Wh"),
        "returned_from": document_of(back),
        **named(line, "highest_A=current.highest sustained_A=current.sustained"),
        **named(line, "highest_W=power.highest sustained_W=power.sustained starts"),
        "wear": document_of(worn),
        "state_at_end_pct": document_of(state),
        # The last day lasts until midnight, its readings may not: the state is that at the last of them.
        "state_at": None if state is None else instant(min(line.stop_us, line.whole.span.stop_us or line.stop_us)),
    }


def _bank(bank: BankReport | Missing) -> Document:
    if isinstance(bank, Missing):
        return or_why(bank)  # type: ignore[no-any-return]
    return {
        "resistance": or_why(bank.resistance),
        "state": or_why(bank.state) if isinstance(bank.state, Missing) else _state(bank.state),
        "draws": document_of(bank.draws),
        "sag": or_why(bank.sag),
        "recharge_to_full": _recharge(bank.to_full),
        "recharge_of_log": _recharge(bank.of_log),
        "chargers_to_full": document_of(bank.chargers),
        "wear": document_of(bank.wear),
    }


def _state(state: StateOfCharge) -> Document:
    return {
        "why_not": None,
        **named(state, "start_pct end_pct uncovered_s assumptions"),
        "over_time": {
            "time": [instant(us) for us in state.time_us.tolist()],
            **{name: getattr(state, name).tolist() for name in ("state_pct", "low_pct", "high_pct")},
        },
    }


def _recharge(owed: Recharge | Missing) -> Document:
    document: Document = or_why(owed)
    if not isinstance(owed, Missing) and isinstance(owed.days, Missing):
        document |= {"days": None, "days_why_not": owed.days.sentence}
    return document


def forecast_document(forecast: Forecast, log: str | None = None) -> Document:
    """Return a forecast; ``low``, ``high`` and ``u95`` of Ah and Wh are null where nothing was measured."""
    taken = forecast.taken
    return {
        "load": forecast.load,
        "hours": forecast.hours,
        "measured": log if taken.measured else None,
        "chain": document_of(taken.chain),
        # The chain tells where each figure is from; these are the steps that people do on paper, beside it.
        **lesson_document(forecast.lesson),
        **_amount("charge", "Ah", taken.charge_Ah, measured=taken.measured),
        **_amount("energy", "Wh", taken.energy_Wh, measured=taken.measured),
        **named(taken, "duty_cycle=duty running_W running_A bank_voltage_V=voltage_V"),
        "without_a_break": named(taken, "charge_Ah=unbroken_Ah energy_Wh=unbroken_Wh"),
        "as_measured": None if forecast.seen is None else _as_measured(forecast.seen),
        "by_plate": None if forecast.by_plate is None else named(forecast.by_plate, "charge_Ah energy_Wh"),
        "system": document_of(forecast.word),
        "bank": _bank_forecast(forecast.bank),
        "inverter": document_of(forecast.inverter),
        "conductors": document_of(forecast.conductors),
        "assumptions": list(taken.assumptions),
        "cautions": list(forecast.cautions),
    }


def document_of_answer(result: Forecast | WhatIf, log: str | None = None) -> Document:
    """Return a forecast, or what changes would do."""
    from ....analysis.what_if.what_if import WhatIf  # only a forecast needs it

    return what_if_document(result, log) if isinstance(result, WhatIf) else forecast_document(result, log)


def what_if_document(result: WhatIf, log: str | None = None) -> Document:
    """Return what changes would do: the figures side by side, then the forecast before and after."""
    return {
        "load": result.load,
        "changes": list(result.changes),
        "measured": log if result.before.taken.measured else None,
        "not_judged": [named(each, "what why_not=sentence add") for each in result.not_judged],
        "sizes": list(result.sizes),
        "figures": [document_of(each) | {"differs": each.differs} for each in result.figures],
        "runs": or_why(result.runs),
        "assumptions": list(result.assumptions),
        "before": forecast_document(result.before, log),
        "after": forecast_document(result.after, log),
    }


def _as_measured(seen: MeasuredLoad) -> Document:
    # What was made of the runs is told; the timeline they make is the log's own, run by run in `cycles`.
    return {key: value for key, value in document_of(seen).items() if not key.startswith("stretches_")}


def _amount(name: str, unit: str, within: Within, *, measured: bool) -> Document:
    half = max(within.high - within.value, within.value - within.low)
    return {
        f"{name}_{unit}": within.value,
        f"{name}_u95_{unit}": half if measured else None,
        f"{name}_low_{unit}": within.low if measured else None,
        f"{name}_high_{unit}": within.high if measured else None,
    }


def _bank_forecast(bank: BankForecast) -> Document:
    # The word on the bank stands at the top, as in a report; with all loads of the site it follows as a part.
    figures = {key: value for key, value in document_of(bank).items() if key not in ("check", "together")}
    return {
        **document_of(bank.check),
        **figures,
        "sag": document_of(bank.sag),
        "together": document_of(bank.together),
    }
