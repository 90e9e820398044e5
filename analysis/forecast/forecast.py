"""What a load will take in some time to come, and what its bank and its inverter make of that.

From the plate alone, before anything was measured; or from the load's own behaviour in a log. The two are never mixed
without a word: each step of the chain says where its figure is from.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from ..bank.sag import Sag
from ..bank.system_word import InverterWord, SystemWord, absent_parts, system_word
from ..cautions import CAUTIONS
from ..equipment.conductor import ConductorCheck, check_conductors
from ..equipment.demand import power_behind, va_of_watts
from ..equipment.inverter_check import InverterCheck, check_inverter, check_seen
from ..equipment.inverter_losses import given_W, losses_of
from ..equipment.judged import Judged, Judgement, worst
from ..nameplate.estimate import Estimate
from ..nameplate.lesson import Lesson, lesson
from ..not_known import Missing, Refusal
from ..site.site import Inverter, Load, Site
from .bank_use import BankForecast, bank_forecast
from .measured_load import MeasuredLoad
from .taken import Taken, by_log, by_plate, plate_for

#: A load made for more than so many times the bank's nominal voltage needs an inverter: a bank under charge stands no
#: higher than about 1.3 times its own (common practice, no source). [1]
NOT_OFF_A_BANK: Final = 1.5


@dataclass(frozen=True)
class InverterForecast:
    """What the load's inverter makes of it.

    `alone` and `together` are the load by itself, and with all else that hangs on it: by the plates. `seen_running` and
    `seen_starting` are what the log showed, against the ratings; None without a log. `verdict` is the worst word on the
    load by itself: the ratings, what the log showed, and the bank's sag, as far as known; None, not judged, where none
    of these is wrong and a rating is missing.
    """

    inverter: str
    alone: InverterCheck
    together: InverterCheck
    seen_running: Judged | None
    seen_starting: Judged | Missing | None
    verdict: Judgement | None
    assumptions: tuple[str, ...]


@dataclass(frozen=True)
class Forecast:
    """A forecast for one load and some time.

    `word` is that on the whole; `inverter` is None for a load on the DC side; `conductors` are all of the site,
    whatever they carry; `seen` is the load's behaviour in a log, None without one; `by_plate` is the plate's estimate
    beside a measured forecast, None where that is the forecast itself or the plate says too little. `lesson` sets the
    sum on paper beside what is taken, step by step.
    """

    load: str
    hours: float
    word: SystemWord
    taken: Taken
    lesson: Lesson
    bank: BankForecast
    inverter: InverterForecast | None
    conductors: tuple[ConductorCheck, ...]
    seen: MeasuredLoad | None
    by_plate: Estimate | None
    cautions: tuple[str, ...]


def forecast(site: Site, load_name: str, *, hours: float, measured: MeasuredLoad | None = None) -> Forecast:
    """Say what a load will take in the `hours` to come, and what bank and inverter make of that.

    `measured` is how it behaved in a log; without it the plate speaks. What leaves the bank is positive.

    Raises
    ------
    Refusal
        If the site has no such load, the bank cannot feed it as it hangs, its plate says too little for a forecast
        without a log, or the time is not above 0.
    """
    load = site.load(load_name)
    _check_supply(site, load)
    plate = plate_for(site, load, hours, needed=measured is None)
    taken = by_plate(site, plate) if measured is None else by_log(site, load, hours, measured)
    inverter = site.inverter_of(load)
    # The inverter is judged twice: for this load as if it hung there by itself, and below with all that hangs on it.
    alone = None if inverter is None else check_inverter(inverter, site.model_copy(update={"loads": (load,)}))
    bank = bank_forecast(site, load, taken, hours, measured)
    judged = None if inverter is None or alone is None else _inverter(site, load, inverter, alone, measured, bank.sag)
    ohms = None if measured is None or isinstance(measured.resistance, Missing) else measured.resistance.mohm
    conductors, beside = check_conductors(site, ohms), None if measured is None else plate
    on = []
    if judged is not None:
        on = [InverterWord(f"the inverter '{judged.inverter}'", judged.verdict, judged.alone.to_add)]
    fails = any(check.failing for check in conductors)
    word = system_word(on, bank.check, conductor_fails=fails, absent=absent_parts(site.inverters, site.conductors))
    paper = lesson(site, load, taken.paper, taken.parts, plate=plate)
    return Forecast(load.name, hours, word, taken, paper, bank, judged, conductors, measured, beside, CAUTIONS)


def _check_supply(site: Site, load: Load) -> None:
    """Refuse a load that the bank cannot feed as it hangs: made for far more volts, and on no inverter."""
    volts = load.voltage_V
    if load.inverter is None and volts is not None and volts > NOT_OFF_A_BANK * site.bank.nominal_V:
        raise Refusal(
            f"'{load.name}' is made for {volts:g} V and hangs on no inverter in the site file, so a bank of "
            f"{site.bank.nominal_V:g} V cannot feed it; say which inverter it hangs on (loads.inverter)"
        )


def _inverter(
    site: Site, load: Load, inverter: Inverter, alone: InverterCheck, seen: MeasuredLoad | None, sags: Sag | Missing
) -> InverterForecast:
    running: Judged | None = None
    starting: Judged | Missing | None = None
    assumptions: tuple[str, ...] = ()
    if seen is not None:
        running, starting, assumptions = _seen(inverter, load, seen)
    # What could not be seen in a log, or not reckoned of the bank, leaves the word of the ratings as it is.
    known = [part.verdict for part in (running, starting, sags) if isinstance(part, Judged | Sag)]
    return InverterForecast(
        inverter=inverter.name,
        alone=alone,
        together=check_inverter(inverter, site),
        seen_running=running,
        seen_starting=starting,
        verdict=_word(alone, known),
        assumptions=assumptions,
    )


def _word(alone: InverterCheck, known: Sequence[Judgement]) -> Judgement | None:
    """Return the worst of the ratings' word and of what else is known; what is not judged is not made to hold by it."""
    word = worst(*([] if alone.verdict is None else [alone.verdict]), *known)
    return None if alone.unknown and word == "holds" else word


def _seen(inverter: Inverter, load: Load, seen: MeasuredLoad) -> tuple[Judged, Judged | Missing, tuple[str, ...]]:
    """Hold what the log showed against the inverter's ratings, on its AC side."""
    peak_W, run_W = seen.peak_W or seen.runs.run_W, seen.run_W.value if seen.run_W is not None else seen.runs.run_W
    assumptions = [va_of_watts(load)]
    # Ratings are for what an inverter gives, so what a meter at the bank saw is carried through it first.
    if seen.side == "dc":
        losses = losses_of(inverter)
        peak_W, run_W = given_W(losses, peak_W), given_W(losses, run_W)
        assumptions.append("What was seen at the bank was carried behind the inverter by the site file's losses.")
    sustained, peak = power_behind(load, inverter, running_W=run_W, peak_W=peak_W)
    running, starting = check_seen(inverter, sustained=sustained, peak=peak, resolved=seen.start_resolved)
    return running, starting, tuple(assumptions)
