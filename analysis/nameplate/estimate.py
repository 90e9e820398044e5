"""What a load should take out of the bank, estimated from its plate, and how a measurement compares.

An estimate is never a measurement: every step says where its figure is from, and what is assumed is listed. The chain
goes from the plate to AC watts, through the inverter's losses to DC watts, and at a stated bank voltage to amp-hours.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite

from ..equipment.bank_voltage import usual_loaded_V
from ..equipment.inverter_losses import DESIGN_SOURCE, Losses, efficiency, losses_of
from ..equipment.plate_power import Chain, ChainStep, PaperOf, ac_power_W, dc_power_W, paper_of, paper_W
from ..not_known import Refusal
from ..site.site import Bank, Inverter, Load, Site


@dataclass(frozen=True)
class PaperSum:
    """The sum as people do it: what they take for a load's watts, times all the hours, over the nominal voltage.

    `of` tells of what the watts are made, and `words` say it: ``230 V x 5 A, taken for watts``. `by_display` tells that
    they were read off a display and not off the plate.
    """

    power_W: float
    hours: float
    nominal_V: float
    of: PaperOf
    words: str
    by_display: bool = False

    @property
    def energy_Wh(self) -> float:
        """Its watt-hours."""
        return self.power_W * self.hours

    @property
    def charge_Ah(self) -> float:
        """Its amp-hours."""
        return self.energy_Wh / self.nominal_V


@dataclass(frozen=True)
class Estimate:
    """What a load should take in some hours, and how that was reckoned.

    The first of the `steps` is ``paper``, the sum as people do it, with all the `hours`; `run_h` is how long the load
    is taken to run in them. `ac_W` and `efficiency` [1] are None for a load on the DC side; `dc_W` is while running,
    with as much of the inverter's idle draw, `idle_W`, as is this load's. `assumptions` are sentences.
    """

    load: str
    hours: float
    steps: tuple[ChainStep, ...]
    ac_W: float | None
    dc_W: float
    dc_A: float
    charge_Ah: float
    energy_Wh: float
    paper: PaperSum
    assumptions: tuple[str, ...]
    dc_voltage_V: float
    efficiency: float | None
    idle_W: float
    run_h: float

    @property
    def paper_Wh(self) -> float:
        """The sum on paper."""
        return self.paper.energy_Wh

    @property
    def paper_Ah(self) -> float:
        """The sum on paper."""
        return self.paper.charge_Ah


@dataclass(frozen=True)
class PlateComparison:
    """Measured beside estimated, for the same load and time.

    Each ratio is measured over estimated, or over the sum on paper; None where no charge was measured. [1]
    """

    load: str
    measured_energy_Wh: float
    estimated_energy_Wh: float
    paper_energy_Wh: float
    energy_ratio: float
    paper_energy_ratio: float
    measured_charge_Ah: float | None
    estimated_charge_Ah: float
    paper_charge_Ah: float
    charge_ratio: float | None
    paper_charge_ratio: float | None
    sentence: str


@dataclass(frozen=True)
class _Draw:
    """What a load makes the bank give: while running (idle included) and, through the inverter's idling, at rest."""

    ac_W: float | None
    efficiency: float | None
    idle_W: float
    dc_W: float


def estimate(
    site: Site,
    load_name: str,
    *,
    hours: float,
    dc_voltage_V: float | None = None,
    running: bool = False,
    displayed_W: float | None = None,
) -> Estimate:
    """Estimate from the plate what a load takes out of the bank; what leaves it is positive.

    Parameters
    ----------
    hours : float
        Time to look at; the load runs for ``duty_pct`` of it where that is given, else for all of it. [h]
    dc_voltage_V : float, optional
        Bank voltage to reckon with, best a measured one; else 95 % of nominal (IEEE 1013-2007, 5.2). [V]
    running : bool
        Whether `hours` is time that the load was running, so that its duty cycle does not count.
    displayed_W : float, optional
        What a display showed, for the sum on paper; else the plate's figure. [W]

    Raises
    ------
    Refusal
        If the site has no such load, its plate says too little, or `hours` or the voltage is not above 0.

    Notes
    -----
    An efficiency given as one figure is taken to leave out the inverter's idle draw, which is then added for the
    whole time, as is that of a loss model. An efficiency curve is taken to hold the idle draw, as such curves are
    measured; it is then added only while the load rests. The idle draw of an inverter that is ``always_on`` belongs to
    the standing draw and is not added. The extra draw of starts is left out: no plate tells it.
    """
    _check_above_zero("hours", hours)
    load, chain = site.load(load_name), Chain()
    paper = paper_sum(chain, load, site, hours, displayed_W)
    draw = _draw(chain, load, site)
    voltage_V = _bank_voltage_V(chain, site.bank, dc_voltage_V)
    dc_A = chain.add("DC current", draw.dc_W / voltage_V, "A", "DC power / bank voltage")
    run_h = _run_h(chain, load, hours, running)
    # `dc_W` holds the idle draw of the time that the load runs, whichever way its efficiency is given.
    resting_Wh = draw.idle_W * (hours - run_h)
    idle = " + idle draw x the rest of the time" if resting_Wh else ""
    energy_Wh = chain.add("energy", draw.dc_W * run_h + resting_Wh, "Wh", f"DC power x running time{idle}")
    charge_Ah = chain.add("charge", energy_Wh / voltage_V, "Ah", "energy / bank voltage")
    return Estimate(
        load=load.name,
        hours=hours,
        steps=tuple(chain.steps),
        ac_W=draw.ac_W,
        dc_W=draw.dc_W,
        dc_A=dc_A,
        charge_Ah=charge_Ah,
        energy_Wh=energy_Wh,
        paper=paper,
        assumptions=tuple(chain.assumptions),
        dc_voltage_V=voltage_V,
        efficiency=draw.efficiency,
        idle_W=draw.idle_W,
        run_h=run_h,
    )


def compare(
    estimate: Estimate, *, measured_energy_Wh: float, measured_charge_Ah: float | None = None
) -> PlateComparison:
    """Set what was measured at the bank beside the estimate for the same load and time.

    Raises
    ------
    Refusal
        If a measured value is not a finite number, or negative.
    """
    for what, value in (("measured energy", measured_energy_Wh), ("measured charge", measured_charge_Ah)):
        if value is not None and not (isfinite(value) and value >= 0):
            raise Refusal(f"the {what} is {value:g}; for a comparison it must be a number from 0 up")
    charge_Ah = measured_charge_Ah
    return PlateComparison(
        load=estimate.load,
        measured_energy_Wh=measured_energy_Wh,
        estimated_energy_Wh=estimate.energy_Wh,
        paper_energy_Wh=estimate.paper_Wh,
        energy_ratio=measured_energy_Wh / estimate.energy_Wh,
        paper_energy_ratio=measured_energy_Wh / estimate.paper_Wh,
        measured_charge_Ah=charge_Ah,
        estimated_charge_Ah=estimate.charge_Ah,
        paper_charge_Ah=estimate.paper_Ah,
        charge_ratio=None if charge_Ah is None else charge_Ah / estimate.charge_Ah,
        paper_charge_ratio=None if charge_Ah is None else charge_Ah / estimate.paper_Ah,
        sentence=_sentence(estimate, measured_energy_Wh, charge_Ah),
    )


def paper_sum(chain: Chain, load: Load, site: Site, hours: float, displayed_W: float | None = None) -> PaperSum:
    """Add the sum as people do it, and return it; Refusal if neither plate nor display gives a figure."""
    if displayed_W is None:
        (power_W, words), of = paper_W(load, site), paper_of(load)
    else:
        _check_above_zero("the watts a display showed", displayed_W)
        power_W, words, of = displayed_W, f"{displayed_W:g} W from a display", "W"
    paper = PaperSum(power_W, hours, site.bank.nominal_V, of, words, by_display=displayed_W is not None)
    origin = (
        f"the sum as people do it: {words}, / {site.bank.nominal_V:g} V nominal x {hours:.4g} h; "
        "no power factor, losses, duty cycle or real voltage"
    )
    chain.add("paper", paper.charge_Ah, "Ah", origin)
    return paper


def _draw(chain: Chain, load: Load, site: Site) -> _Draw:
    """Add the steps from the plate to the power out of the bank while the load runs."""
    inverter = site.inverter_of(load)
    if inverter is None:
        return _Draw(None, None, 0.0, dc_power_W(chain, load, site))
    ac_W = ac_power_W(chain, load, inverter)
    losses = losses_of(inverter)
    share = _efficiency(chain, inverter, losses, ac_W)
    running_W = chain.add("power through the inverter", ac_W / share, "W", "AC power / efficiency")
    idle_W = _idle_W(chain, inverter)
    # A curve is measured at the inverter's terminals and so holds the idle draw: adding it would count it twice.
    if losses.curve_W is not None:
        dc_W = chain.add("DC power", running_W, "W", "while running; the efficiency curve holds the idle draw")
    else:
        dc_W = chain.add("DC power", running_W + idle_W, "W", "while running: power through the inverter + idle draw")
    return _Draw(ac_W, share, idle_W, dc_W)


def _efficiency(chain: Chain, inverter: Inverter, losses: Losses, ac_W: float) -> float:
    """Add the efficiency: that of a curve with the idle draw, any other without it."""
    if losses.curve_W is not None:
        chain.assumptions += _off_the_curve(*losses.curve_W, ac_W)
        return chain.add("inverter efficiency", efficiency(losses, ac_W), "", f"{losses.key} at {ac_W:.0f} W")
    share = efficiency(losses, ac_W, with_idle=False)
    if losses.key is None:
        because = f"The efficiency of '{inverter.name}' is not given"
        return chain.assume("inverter efficiency", share, "", source=DESIGN_SOURCE, because=because)
    where = "of the site file" if losses.key == "efficiency_pct" else f"at {ac_W:.0f} W, without its idle draw"
    return chain.add("inverter efficiency", share, "", f"{losses.key} {where}")


def _off_the_curve(first_W: float, last_W: float, ac_W: float) -> list[str]:
    """Say what was taken beyond the points of a curve."""
    # Above its last point losses grow with the load, so the efficiency is carried on; below its first point an
    # efficiency carried on would lose fewer and fewer watts, which no inverter does.
    if first_W <= ac_W <= last_W:
        return []
    taken = "the efficiency" if ac_W > last_W else "the watts lost"
    at = "last" if ac_W > last_W else "first"
    lies = f"{ac_W:.0f} W lies outside the efficiency curve ({first_W:g} to {last_W:g} W)"
    return [f"{lies}; {taken} at its {at} point {'is' if ac_W > last_W else 'are'} used."]


def _idle_W(chain: Chain, inverter: Inverter) -> float:
    if inverter.always_on:
        return chain.add("idle draw", 0.0, "W", "not counted: the inverter is always on, so it is standing draw")
    if (idle_W := inverter.standby_W) is None:
        chain.assumptions.append(f"The idle draw of '{inverter.name}' is not given and not counted.")
        return 0.0
    return chain.add("idle draw", idle_W, "W", "idle_W of the site file: the inverter is on for this load")


def _bank_voltage_V(chain: Chain, bank: Bank, stated_V: float | None) -> float:
    if stated_V is not None:
        _check_above_zero("the bank voltage", stated_V)
        return chain.add("bank voltage", stated_V, "V", "stated")
    volts, source = usual_loaded_V(bank)
    because = "The bank's voltage under load is not stated"
    return chain.assume("bank voltage", volts, "V", source=source, because=because)


def _run_h(chain: Chain, load: Load, hours: float, running: bool) -> float:
    if running:
        return chain.add("running time", hours, "h", "the time that the load was running")
    if load.duty_pct is not None:
        duty = chain.add("duty cycle", load.duty_pct / 100, "", "duty_pct of the site file")
    else:
        # A bank that is planned for too much running lasts; one planned for too little does not.
        because = f"The duty cycle of '{load.name}' is not given"
        duty = chain.assume("duty cycle", 1.0, "", source="the most it can be", because=because)
    return chain.add("running time", hours * duty, "h", f"duty cycle x {hours:.4g} h")


def _check_above_zero(what: str, value: float) -> None:
    if not (isfinite(value) and value > 0):
        raise Refusal(f"{what} must be a number above 0, not {value:g}")


def _sentence(estimate: Estimate, measured_Wh: float, measured_Ah: float | None) -> str:
    parts = [f"{measured_Wh:.4g} Wh, {_against(measured_Wh, estimate.energy_Wh)} Wh estimated"]
    if measured_Ah is None:
        parts.append(f"{_against(measured_Wh, estimate.paper_Wh)} Wh of the sum on paper")
    else:
        parts.append(f"{measured_Ah:.4g} Ah, {_against(measured_Ah, estimate.charge_Ah)} Ah estimated")
        parts.append(f"{_against(measured_Ah, estimate.paper_Ah)} Ah of the sum on paper")
    return f"'{estimate.load}' took {'; '.join(parts)}."


def _against(measured: float, expected: float) -> str:
    # What a whole percent does not show is told as the same: no plate is that exact.
    percent = round(100 * (measured / expected - 1))
    difference = f"{abs(percent)} % {'more' if percent > 0 else 'less'} than" if percent else "the same as"
    return f"{difference} the {expected:.4g}"
