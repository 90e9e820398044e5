"""A forecast as JSON: the keys scripts rely on."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .parts import Document, fields, part
from .site import bank_check_document, conductor_document

if TYPE_CHECKING:
    from shuntbook.analysis.forecast.bank_use import BankForecast
    from shuntbook.analysis.forecast.forecast import Forecast


def forecast_document(found: Forecast, log: str | None = None) -> Document:
    """Return a forecast; ``low``, ``high`` and ``u95`` of Ah and Wh are null where nothing was measured."""
    taken = found.taken
    amounts: Document = {}
    for unit, within in (("charge_Ah", taken.charge_Ah), ("energy_Wh", taken.energy_Wh)):
        name, symbol = unit.split("_")
        ends = (within.low, within.high) if taken.measured else (None, None)
        half = max(within.high - within.value, within.value - within.low) if taken.measured else None
        amounts |= {unit: within.value, f"{name}_u95_{symbol}": half}
        amounts |= {f"{name}_low_{symbol}": ends[0], f"{name}_high_{symbol}": ends[1]}
    plate = found.by_plate
    return {
        "load": found.load,
        "hours": found.hours,
        "measured": log if taken.measured else None,
        "chain": [{"step": s.step, "value": s.value, "unit": s.unit, "from": s.origin} for s in taken.chain],
        **amounts,
        "duty_cycle": taken.duty,
        "running_W": taken.running_W,
        "running_A": taken.running_A,
        "bank_voltage_V": taken.voltage_V,
        "without_a_break": {"charge_Ah": taken.unbroken_Ah, "energy_Wh": taken.unbroken_Wh},
        "as_measured": part(found.seen),
        "by_plate": None if plate is None else {"charge_Ah": plate.charge_Ah, "energy_Wh": plate.energy_Wh},
        "system": part(found.word),
        "bank": _bank(found.bank),
        "inverter": part(found.inverter),
        "conductors": [conductor_document(each) for each in found.conductors],
        "assumptions": list(taken.assumptions),
        "cautions": list(found.cautions),
    }


def _bank(found: BankForecast) -> Document:
    together = None if found.together is None else bank_check_document(found.together)
    kept = {name: part(value) for name, value in fields(found).items() if name not in ("check", "together")}
    return bank_check_document(found.check) | kept | {"sag": part(found.sag), "together": together}
