"""What a load will take in some time to come, and what its bank and its inverter make of that.

From the plate alone, before anything was measured; or from the load's own behaviour in a log. The two are never mixed
without a word: each step of the chain says where its figure is from.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from .bank_voltage import usual_loaded_V
from .cautions import CAUTIONS
from .chain import Chain, Step
from .conductor import ConductorCheck, check_conductors
from .forecast_bank import BankForecast, bank_forecast
from .holds import Verdict, worst
from .inverter import InverterCheck, check_inverter, check_seen
from .inverter_losses import beyond_idle_W, given_W, losses_of
from .judged import Judged
from .load_power import VA_OF_WATTS, power_behind
from .measured_load import MeasuredLoad
from .missing import Missing
from .nameplate import Estimate, estimate, paper_sum
from .refusal import Refusal
from .sag import Sag
from .site import Inverter, Load, Site
from .system_word import SystemWord, system_word
from .within import Within

#: Loads within this factor of each other are not told apart by their draw: common practice, no source. [1]
ALIKE: Final = 1.3
#: A load made for more than so many times the bank's nominal voltage needs an inverter: a bank under charge stands no
#: higher than about 1.3 times its own (common practice, no source). [1]
NOT_OFF_A_BANK: Final = 1.5


@dataclass(frozen=True)
class Taken:
    """What a load takes out of the bank.

    Parameters
    ----------
    chain : tuple of Step
        How it was reckoned; the first step is ``paper``, the sum as people do it.
    charge_Ah, energy_Wh : Within
        In the time asked for; low and high are the value itself where nothing is known of how far off it may be, as
        with a plate. [Ah], [Wh]
    running_A, running_W : float
        At the bank, while it runs. [A], [W]
    unbroken_Ah, unbroken_Wh : float
        The same where it runs all the time. [Ah], [Wh]
    duty, voltage_V : float
        Share of the time that it runs, and bank voltage reckoned with. [1], [V]
    measured : bool
        Whether it is from a log.
    assumptions : tuple of str
        What it rests on, in plain sentences.
    """

    chain: tuple[Step, ...]
    charge_Ah: Within
    energy_Wh: Within
    running_A: float
    running_W: float
    unbroken_Ah: float
    unbroken_Wh: float
    duty: float
    voltage_V: float
    measured: bool
    assumptions: tuple[str, ...]


@dataclass(frozen=True)
class InverterForecast:
    """What the load's inverter makes of it.

    Parameters
    ----------
    inverter : str
        Its name.
    alone, together : InverterCheck
        The load by itself, and with all else that hangs on it: by the plates.
    seen_running, seen_starting : Judged or Missing or None
        What the log showed, against its ratings; None without a log.
    verdict : {'holds', 'doubtful', 'fails'}
        The worst word on the load by itself: its ratings, what the log showed, and the bank's sag, as far as known.
    assumptions : tuple of str
        What it rests on, in plain sentences.
    """

    inverter: str
    alone: InverterCheck
    together: InverterCheck
    seen_running: Judged | None
    seen_starting: Judged | Missing | None
    verdict: Verdict
    assumptions: tuple[str, ...]


@dataclass(frozen=True)
class Forecast:
    """A forecast for one load and some time.

    ``word`` is that on the whole; ``inverter`` is None for a load on the DC side; ``conductors`` are all of the site,
    whatever they carry;
    ``seen`` is the load's behaviour in a log, None without one;
    ``by_plate`` is the plate's estimate beside a measured forecast, None where that is the forecast itself or the plate
    says too little.
    """

    load: str
    hours: float
    word: SystemWord
    taken: Taken
    bank: BankForecast
    inverter: InverterForecast | None
    conductors: tuple[ConductorCheck, ...]
    seen: MeasuredLoad | None
    by_plate: Estimate | None
    cautions: tuple[str, ...]


def forecast(site: Site, load_name: str, *, hours: float, measured: MeasuredLoad | None = None) -> Forecast:
    """Say what a load will take, and what bank and inverter make of it.

    Parameters
    ----------
    site : Site
        The site.
    load_name : str
        The load's name.
    hours : float
        The time to come. [h]
    measured : MeasuredLoad, optional
        How it behaved in a log; without it the plate speaks.

    Returns
    -------
    Forecast
        What leaves the bank is positive.

    Raises
    ------
    Refusal
        If the site has no such load, the bank cannot feed it as it hangs, its plate says too little for a forecast
        without a log, or the time is not above 0.
    """
    load = site.load(load_name)
    _check_supply(site, load)
    plate = _plate(site, load, hours, needed=measured is None)
    taken = _by_plate(site, plate) if measured is None else _by_log(site, load, hours, measured)
    inverter = site.inverter_of(load)
    alone = None if inverter is None else check_inverter(inverter, site.model_copy(update={"loads": (load,)}))
    bank = bank_forecast(site, load, taken, hours, measured)
    judged = None if inverter is None or alone is None else _inverter(site, load, inverter, alone, measured, bank.sag)
    conductors, beside = check_conductors(site), None if measured is None else plate
    on = [] if judged is None else [(f"the inverter '{judged.inverter}'", judged.verdict)]
    word = system_word(on, bank.check, conductor_fails=any(check.failing for check in conductors))
    return Forecast(load.name, hours, word, taken, bank, judged, conductors, measured, beside, CAUTIONS)


def _check_supply(site: Site, load: Load) -> None:
    """Refuse a load that the bank cannot feed as it hangs: made for far more volts, and on no inverter."""
    volts = load.voltage_V
    if load.inverter is None and volts is not None and volts > NOT_OFF_A_BANK * site.bank.nominal_V:
        raise Refusal(
            f"'{load.name}' is made for {volts:g} V and hangs on no inverter in the site file, so a bank of "
            f"{site.bank.nominal_V:g} V cannot feed it; say which inverter it hangs on (loads.inverter)"
        )


def _plate(site: Site, load: Load, hours: float, *, needed: bool) -> Estimate | None:
    try:
        return estimate(site, load.name, hours=hours)
    except Refusal:
        if needed:
            raise
        return None


def _by_plate(site: Site, plate: Estimate | None) -> Taken:
    assert plate is not None
    unbroken_Wh = plate.dc_W * plate.hours
    said = list(plate.assumptions)
    inverter = site.inverter_of(site.load(plate.load))
    if inverter is not None:
        said += [*_switched(inverter), "What a start takes beyond running is left out: no plate tells it."]
    return Taken(
        chain=plate.steps,
        charge_Ah=Within.exactly(plate.charge_Ah),
        energy_Wh=Within.exactly(plate.energy_Wh),
        running_A=plate.dc_A,
        running_W=plate.dc_W,
        unbroken_Ah=unbroken_Wh / plate.dc_voltage_V,
        unbroken_Wh=unbroken_Wh,
        duty=plate.run_h / plate.hours,
        voltage_V=plate.dc_voltage_V,
        measured=False,
        assumptions=tuple(said),
    )


def _switched(inverter: Inverter) -> list[str]:
    if inverter.always_on:
        return []
    return [
        f"'{inverter.name}' is not always on: it is taken to be switched on for this time, and its idle draw counts; "
        "if it is never off, say always_on = true."
    ]


def _by_log(site: Site, load: Load, hours: float, seen: MeasuredLoad) -> Taken:
    """Return what the load takes by its behaviour in a log, with the steps."""
    chain = Chain()
    _paper(chain, site, load, hours, seen)
    of = f"measured in {seen.log}: "
    runs = seen.runs
    per_h, duty = seen.starts_per_h.value, seen.duty.value
    chain.add("settled draw", runs.run_W, "W", f"{of}mean of {runs.runs} runs by their length, at the {_where(seen)}")
    starts = chain.add("starts", per_h * hours, "", f"{of}{per_h:.3g} an hour x {hours:.4g} h")
    chain.add("duty cycle", duty, "", f"{of}starts an hour x mean run of {3600 * runs.run_h / runs.runs:.3g} s")
    run_h = chain.add("running time", duty * hours, "h", f"duty cycle x {hours:.4g} h")
    running_Wh = chain.add("energy of running", runs.run_W * run_h, "Wh", "settled draw x running time")
    extra_Wh = seen.start_Wh.value
    start_Wh = chain.add("energy of starts", extra_Wh * starts, "Wh", f"{of}{extra_Wh:.3g} Wh beyond running x starts")
    if seen.side == "ac":
        return _behind_inverter(site, load, hours, seen, chain, running_Wh + start_Wh)
    energy_Wh, charge_Ah = seen.amount(hours, "Wh"), seen.amount(hours, "Ah")
    assert energy_Wh is not None
    chain.add("energy", energy_Wh.value, "Wh", "energy of running + energy of starts")
    voltage_V, said = _bank_V(site, seen)
    whence = f"{of}energy of its runs / their charge"
    if seen.volts_assumed or said:
        whence = f"assumed: {usual_loaded_V(site.bank)[1]}"
    chain.add("bank voltage", voltage_V, "V", whence)
    charge_Ah = charge_Ah or energy_Wh.scaled(1 / voltage_V)
    chain.add("charge", charge_Ah.value, "Ah", "energy / bank voltage")
    unbroken_Wh = seen.without_a_break(hours, "Wh") or 0.0
    inverter = site.inverter_of(load)
    if inverter is not None and not inverter.always_on and inverter.standby_W:
        said.append(
            f"What '{inverter.name}' draws while idle lies under the runs and is not counted; if it is switched on "
            f"only for this load, that is up to {inverter.standby_W * hours:.3g} Wh more."
        )
    return Taken(
        chain=tuple(chain.steps),
        charge_Ah=charge_Ah,
        energy_Wh=energy_Wh,
        running_A=seen.run_A.value if seen.run_A is not None else runs.run_W / voltage_V,
        running_W=runs.run_W,
        unbroken_Ah=unbroken_Wh / voltage_V,
        unbroken_Wh=unbroken_Wh,
        duty=seen.duty.value,
        voltage_V=voltage_V,
        measured=True,
        assumptions=(*seen.remarks, *_alike(site, load, seen), *said),
    )


def _paper(chain: Chain, site: Site, load: Load, hours: float, seen: MeasuredLoad) -> None:
    """Add the sum as people do it: by the plate, else with the watts that were seen, as from a display."""
    try:
        paper_sum(chain, load, site, hours)
    except Refusal:
        paper_sum(chain, load, site, hours, displayed_W=round(seen.runs.run_W, 1))


def _alike(site: Site, load: Load, seen: MeasuredLoad) -> list[str]:
    """Name the site's other loads whose runs a log could not tell from these: they draw about as much."""
    said = []
    for other in site.loads:
        plate = None if other.name == load.name else _plate(site, other, 1.0, needed=False)
        watts = None if plate is None else plate.dc_W if seen.side == "dc" else plate.ac_W
        if watts and seen.runs.run_W / ALIKE <= watts <= seen.runs.run_W * ALIKE:
            said.append(f"'{other.name}' draws about as much by its plate: runs of it may be among those counted.")
    return said


def _where(seen: MeasuredLoad) -> str:
    return "bank" if seen.side == "dc" else "inverter's output"


def _bank_V(site: Site, seen: MeasuredLoad) -> tuple[float, list[str]]:
    if seen.runs.bank_V:
        return seen.runs.bank_V, []
    volts, source = usual_loaded_V(site.bank)
    return volts, [f"The bank's voltage was not measured; {volts:.4g} V was taken: {source}."]


def _behind_inverter(site: Site, load: Load, hours: float, seen: MeasuredLoad, chain: Chain, ac_Wh: float) -> Taken:
    """Carry what was measured behind the inverter to the bank, through the losses of the site file."""
    inverter = site.inverter_of(load)
    if inverter is None:
        raise Refusal(
            f"{seen.log} is from behind an inverter, and '{load.name}' hangs on none in the site file; "
            "say which (loads.inverter)"
        )
    losses = losses_of(inverter)
    ac_W = seen.runs.run_W
    through = beyond_idle_W(losses, ac_W) / ac_W  # DC watts for an AC watt
    chain.add("AC energy", ac_Wh, "Wh", "energy of running + energy of starts")
    chain.add("inverter efficiency", 1 / through, "", f"site file, at {ac_W:.0f} W, without its idle draw")
    idle_W = 0.0 if inverter.always_on else losses.idle_W
    idle_Wh = chain.add(
        "idle draw", idle_W * hours, "Wh", "not counted: always on" if inverter.always_on else "all the time"
    )
    at_meter = seen.amount(hours, "Wh")
    assert at_meter is not None
    energy_Wh = Within(*(x * through + idle_Wh for x in (at_meter.value, at_meter.low, at_meter.high)))
    chain.add("energy", energy_Wh.value, "Wh", "AC energy / efficiency + idle draw")
    volts, said = _bank_V(site, seen)
    chain.add("bank voltage", volts, "V", f"assumed: {usual_loaded_V(site.bank)[1]}")
    charge_Ah = energy_Wh.scaled(1 / volts)
    chain.add("charge", charge_Ah.value, "Ah", "energy / bank voltage")
    unbroken_Wh = (seen.without_a_break(hours, "Wh") or 0.0) * through + idle_Wh
    running_W = ac_W * through + idle_W
    more = (
        "The interval is that of the energy behind the inverter; its losses and the bank's voltage were not measured."
    )
    return Taken(
        chain=tuple(chain.steps),
        charge_Ah=charge_Ah,
        energy_Wh=energy_Wh,
        running_A=running_W / volts,
        running_W=running_W,
        unbroken_Ah=unbroken_Wh / volts,
        unbroken_Wh=unbroken_Wh,
        duty=seen.duty.value,
        voltage_V=volts,
        measured=True,
        assumptions=(
            *seen.remarks,
            *_alike(site, load, seen),
            *losses.assumptions,
            *said,
            more,
            *_switched(inverter),
        ),
    )


def _inverter(
    site: Site, load: Load, inverter: Inverter, alone: InverterCheck, seen: MeasuredLoad | None, sags: Sag | Missing
) -> InverterForecast:
    running: Judged | None = None
    starting: Judged | Missing | None = None
    said: tuple[str, ...] = ()
    if seen is not None:
        running, starting, said = _seen(inverter, load, seen)
    # What could not be seen in a log, or not reckoned of the bank, leaves the word of the ratings as it is.
    known = [part.verdict for part in (running, starting, sags) if isinstance(part, Judged | Sag)]
    return InverterForecast(
        inverter=inverter.name,
        alone=alone,
        together=check_inverter(inverter, site),
        seen_running=running,
        seen_starting=starting,
        verdict=worst(*([] if alone.verdict is None else [alone.verdict]), *known),
        assumptions=said,
    )


def _seen(inverter: Inverter, load: Load, seen: MeasuredLoad) -> tuple[Judged, Judged | Missing, tuple[str, ...]]:
    """Hold what the log showed against the inverter's ratings, on its AC side."""
    peak_W, run_W = seen.peak_W or seen.runs.run_W, seen.run_W.value if seen.run_W is not None else seen.runs.run_W
    said = [VA_OF_WATTS]
    if seen.side == "dc":
        losses = losses_of(inverter)
        peak_W, run_W = given_W(losses, peak_W), given_W(losses, run_W)
        said.append("What was seen at the bank was carried behind the inverter by the site file's losses.")
    sustained, peak = power_behind(load, inverter, running_W=run_W, peak_W=peak_W)
    running, starting = check_seen(inverter, sustained=sustained, peak=peak, resolved=seen.start_resolved)
    return running, starting, tuple(said)
