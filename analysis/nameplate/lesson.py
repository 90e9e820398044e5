"""The sum as people do it on paper beside what is really taken, step by step: there from the plate, and back again.

Every figure is one of the three sums (paper, plate, measured); what each step makes of the difference is the
decomposition that parts these, so nothing is reckoned a second time.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import fsum, isclose

from ..equipment.inverter_losses import given_W, losses_of
from ..not_known import Missing
from ..site.site import Bank, Inverter, Load, Site
from ..wording import figure
from .decomposition import Basis, Decomposition
from .estimate import Estimate, PaperSum
from .measured_chain import DrawnSum, drawn_by_plate, paper_against
from .reasons import DUTY, FROM_HP, FROM_VA, IDLE, INVERTER, LOAD, STARTS, TOGETHER, VOLTAGE

#: Factors of the decomposition by the step that tells of them.
_OF_LOAD = (FROM_VA, FROM_HP, LOAD, TOGETHER)


@dataclass(frozen=True)
class LessonStep:
    """One step of both sums.

    Parameters
    ----------
    name, unit : str
        Which step it is, and the unit of its figures, such as ``watts`` in ``W``.
    paper, plate, measured : float or None
        The figure on paper; by the plate with all its losses; and by a log. None where it is not known.
    basis : {'measured', 'estimated', 'assumed'} or None
        What the figure beside the one on paper rests on.
    how_on_paper, how_really : str
        How each is come by, as it stands before the figure.
    why : str
        Why the two differ, in short sentences.
    energy_Wh, charge_Ah : float or None
        What this step makes of the whole difference; None of a step that only carries on.
    """

    name: str
    unit: str
    paper: float | None
    plate: float | None
    measured: float | None
    basis: Basis | None
    how_on_paper: str
    how_really: str
    why: str
    energy_Wh: float | None = None
    charge_Ah: float | None = None

    @property
    def real(self) -> float | None:
        """The figure beside the one on paper: measured, else by the plate."""
        if self.basis is None:
            return None
        return self.plate if self.measured is None else self.measured


@dataclass(frozen=True)
class Lesson:
    """Both sums in both directions: `steps` from the plate to amp-hours, `back` from the measured ones to watts.

    `difference_Ah` is what is really taken less the sum on paper, to which the steps' parts add up; None where no
    amp-hours are known.
    """

    load: str
    measured: bool
    steps: tuple[LessonStep, ...]
    back: tuple[LessonStep, ...] | Missing
    difference_Wh: float
    difference_Ah: float | None


@dataclass(frozen=True)
class _Sums:
    """All that the steps are told of."""

    load: Load
    inverter: Inverter | None
    bank: Bank
    paper: PaperSum
    drawn: DrawnSum
    estimate: Estimate | None
    plate: DrawnSum | None
    energy: Decomposition
    charge: Decomposition | None
    running_only: bool

    @property
    def at_load(self) -> bool:
        """Whether the load's own watts are known apart from its inverter's loss."""
        return self.inverter is not None and self.drawn.load_W is not None

    def step(
        self,
        name: str,
        unit: str,
        figures: tuple[float | None, float | None, float | None],
        how: tuple[str, str],
        why: str,
        *,
        basis: Basis = "measured",
        parts: tuple[str, ...] = (),
    ) -> LessonStep:
        """Return a step; `figures` are on paper, by the plate and really, `parts` the factors that it tells of."""
        paper, plate, real = figures
        by_log = self.drawn.measured
        of_Wh, of_Ah = _part(self.energy, parts), _part(self.charge, parts)
        known = None if real is None else basis if by_log else "estimated"
        return LessonStep(
            name, unit, paper, plate if by_log else real, real if by_log else None, known, *how, why, of_Wh, of_Ah
        )


def _part(split: Decomposition | None, names: tuple[str, ...]) -> float | None:
    if split is None or not names:
        return None
    return fsum(part.effect for part in split.parts if part.factor.name in names)


def lesson(
    site: Site,
    load: Load,
    paper: PaperSum,
    drawn: DrawnSum,
    *,
    plate: Estimate | None = None,
    running_only: bool = False,
) -> Lesson:
    """Set the sum on paper beside what is taken, step by step.

    Parameters
    ----------
    drawn : DrawnSum
        What is taken in the same hours, by the log or by the plate.
    plate : Estimate, optional
        The plate's own estimate for these hours, where it gives one.
    running_only : bool
        Whether the hours are those that the load ran, so that its pauses are in neither sum.
    """
    inverter = site.inverter_of(load)
    energy, charge = paper_against(paper, drawn, on_inverter=inverter is not None)
    by_plate = None if plate is None else drawn_by_plate(plate)
    sums = _Sums(load, inverter, site.bank, paper, drawn, plate, by_plate, energy, charge, running_only)
    return Lesson(
        load.name,
        drawn.measured,
        tuple(_there(sums)),
        _back(sums),
        energy.difference,
        None if charge is None else charge.difference,
    )


def _there(sums: _Sums) -> Iterator[LessonStep]:
    """Yield the steps from the plate to the share of the bank."""
    yield _watts(sums)
    if sums.at_load:
        yield _at_bank(sums)
    yield _hours(sums)
    if sums.drawn.measured:
        yield _starts(sums)
    if sums.drawn.idle_Wh:
        yield _idle(sums)
    yield _watt_hours(sums)
    yield _volts(sums)
    yield _amp_hours(sums)
    yield _share(sums)


def _watts(sums: _Sums) -> LessonStep:
    drawn, plate = sums.drawn, sums.plate
    if sums.inverter is None or drawn.load_W is not None:
        real, basis = drawn.load_W, drawn.load_basis
        of_plate = None if plate is None else plate.load_W
        how = "at the load while it ran" if drawn.measured else "what it takes while it runs"
    else:
        real, basis = drawn.running_W, drawn.power_basis
        of_plate = None if plate is None else plate.running_W
        how = "at the bank while it ran"
    figures = sums.paper.power_W, of_plate, real
    on_paper = sums.paper.words
    if sums.paper.of == "W":
        on_paper = "as a display shows them" if sums.paper.by_display else "the plate's watts"
    return sums.step("watts", "W", figures, (on_paper, how), _why_watts(sums), basis=basis, parts=_OF_LOAD)


def _why_watts(sums: _Sums) -> str:
    paper, on_inverter = sums.paper, sums.inverter is not None
    if paper.by_display:
        sentences = ["The plate says too little, so the watts that the log shows stand in for it."]
    elif paper.of == "hp":
        sentences = ["Horsepower is what the shaft gives. The motor takes in more than that."]
    elif paper.of == "VA" and on_inverter:
        sentences = [*_volt_amperes(sums)]
    else:
        direct = "On direct current volts times amps are watts."
        sentences = [direct if paper.of == "VA" else "A plate's watts are watts already."]
        if sums.drawn.measured:
            sentences = ["A plate tells one figure, and in use the load takes what its work asks."]
    if on_inverter and sums.drawn.load_W is None:
        sentences.append("The meter sits at the bank, so the inverter's loss is in what was measured.")
    return " ".join(sentences)


def _volt_amperes(sums: _Sums) -> Iterator[str]:
    yield "Volts times amps are volt-amperes, and watts are only a part of these."
    if sums.load.phases == 3:
        yield "Three phases count the root of 3 on top."
    if sums.estimate is not None and sums.estimate.ac_W is not None and sums.load.phases != 3:
        share = figure(100 * sums.estimate.ac_W / sums.paper.power_W, "%")
        whose = "the plate's" if sums.load.power_factor is not None else "a usual"
        yield f"By {whose} power factor {share} are watts."


def _at_bank(sums: _Sums) -> LessonStep:
    drawn, plate = sums.drawn, sums.plate
    assert drawn.load_W is not None
    lost = 1 - drawn.load_W / drawn.through_W
    sentences = [f"The inverter keeps {figure(100 * lost, '%')} of what goes into it."] if lost > 0 else []
    if drawn.running_W > drawn.through_W:
        sentences.append(
            f"While it is on it takes another {figure(drawn.running_W - drawn.through_W, 'W')} for itself."
        )
    return sums.step(
        "watts at the bank",
        "W",
        (sums.paper.power_W, None if plate is None else plate.running_W, drawn.running_W),
        ("the same, as if nothing were lost", "what the bank gives while it runs"),
        " ".join(sentences),
        basis=drawn.power_basis,
        parts=(INVERTER,),
    )


def _hours(sums: _Sums) -> LessonStep:
    paper, drawn, plate = sums.paper, sums.drawn, sums.plate
    how = "all of the time", "the time it ran" if drawn.measured else "the time it runs"
    figures = paper.hours, None if plate is None else plate.run_h, drawn.run_h
    return sums.step("hours", "h", figures, how, _why_hours(sums), parts=(DUTY,))


def _why_hours(sums: _Sums) -> str:
    paper, drawn = sums.paper, sums.drawn
    if sums.running_only:
        return "Both sums are for the time that it ran, so no pause is in them."
    share = figure(100 * drawn.run_h / paper.hours, "%")
    pauses = not isclose(drawn.run_h, paper.hours, rel_tol=1e-9)
    if drawn.measured:
        return f"It pauses: it ran {share} of the time." if pauses else "In the log it never paused."
    if sums.load.duty_pct is None:
        return "How much of the time it runs is not given, so all of it is taken."
    return f"It pauses: the site file gives {share} of the time." if pauses else "The site file says it never pauses."


def _starts(sums: _Sums) -> LessonStep:
    drawn = sums.drawn
    if drawn.start_Wh >= 0:
        why = "Each start takes more than running does, and no plate tells it."
    else:
        why = "The draw sank in the runs by more than the starts took."
    if drawn.start_A is not None:
        least = "" if drawn.start_resolved else "at least "
        why += (
            f" For a moment one asked {least}{figure(drawn.start_A, 'A')} of the bank: cable, fuse and inverter must "
            "bear that."
        )
    how = "no start is reckoned", "what starts took beyond running"
    figures = 0.0, None if sums.plate is None else sums.plate.start_Wh, drawn.start_Wh
    return sums.step("starts", "Wh", figures, how, why, basis=drawn.power_basis, parts=(STARTS,))


def _idle(sums: _Sums) -> LessonStep:
    drawn, plate = sums.drawn, sums.plate
    figures = 0.0, None if plate is None else plate.idle_Wh, drawn.idle_Wh
    how = "no idling is reckoned", "what the inverter takes for itself"
    why = "An inverter that is on draws this whether or not anything runs."
    return sums.step("idling", "Wh", figures, how, why, basis="estimated", parts=(IDLE,))


def _watt_hours(sums: _Sums) -> LessonStep:
    paper, drawn, plate = sums.paper, sums.drawn, sums.plate
    how = "watts times hours", "all that was taken" if drawn.measured else "all that it takes"
    why = "A watt is how fast it goes. A watt-hour is how much has gone."
    figures = paper.energy_Wh, None if plate is None else plate.energy_Wh, drawn.energy_Wh
    return sums.step("watt-hours", "Wh", figures, how, why, basis=drawn.power_basis)


def _volts(sums: _Sums) -> LessonStep:
    paper, drawn, plate = sums.paper, sums.drawn, sums.plate
    how = "the bank's nominal voltage", _how_volts(drawn)
    figures = paper.nominal_V, None if plate is None else plate.bank_V, drawn.bank_V
    why = _why_volts(sums)
    return sums.step("volts", "V", figures, how, why, basis=drawn.volts_basis, parts=(VOLTAGE,))


def _how_volts(drawn: DrawnSum) -> str:
    if drawn.bank_V is None:
        return "the log has no amps to tell them by"
    return "what the bank stood at under it" if drawn.volts_basis == "measured" else "a bank under load"


def _why_volts(sums: _Sums) -> str:
    volts, nominal_V = sums.drawn.bank_V, sums.paper.nominal_V
    if volts is None:
        return "Without them no watt-hour becomes an amp-hour."
    if isclose(volts, nominal_V, rel_tol=5e-4):
        return "Here the two agree."
    stood = "stood" if sums.drawn.volts_basis == "measured" else "stands"
    lower = volts < nominal_V
    return (
        f"Nominal volts are a name. The bank {stood} {'lower' if lower else 'higher'}, so the same watt-hours are "
        f"{'more' if lower else 'fewer'} amp-hours."
    )


def _amp_hours(sums: _Sums) -> LessonStep:
    paper, drawn, plate = sums.paper, sums.drawn, sums.plate
    counted = drawn.charge_basis == "measured"
    how = (
        "watt-hours over nominal volts",
        "what the meter counted" if counted else "watt-hours over the volts under load",
    )
    why = "The bank's plate is written in amp-hours, so here the two can be held together."
    figures = paper.charge_Ah, None if plate is None else plate.charge_Ah, drawn.charge_Ah
    return sums.step("amp-hours", "Ah", figures, how, why, basis=drawn.charge_basis)


def _share(sums: _Sums) -> LessonStep:
    bank, paper, drawn, plate = sums.bank, sums.paper, sums.drawn, sums.plate
    size_Ah, usable_Ah = bank.capacity_Ah, bank.usable_Ah
    why = f"Both are shares of the {figure(size_Ah, 'Ah')} on the bank's plate."
    if usable_Ah is not None and drawn.charge_Ah is not None and usable_Ah < size_Ah:
        why += f" Of what you allow to be used it is {figure(100 * drawn.charge_Ah / usable_Ah, '%')}."
    charges = paper.charge_Ah, None if plate is None else plate.charge_Ah, drawn.charge_Ah
    on_paper, by_plate, real = (None if x is None else 100 * x / size_Ah for x in charges)
    how = "of a full bank", "of a full bank"
    return sums.step("share of the bank", "%", (on_paper, by_plate, real), how, why, basis=drawn.charge_basis)


def _back(sums: _Sums) -> tuple[LessonStep, ...] | Missing:
    """Return the steps from the measured amp-hours to watts and hours."""
    what, drawn = "way back from amp-hours to watts and hours", sums.drawn
    if not drawn.measured:
        return Missing(what, (), "nothing was measured")
    if drawn.charge_Ah is None or drawn.volts_basis != "measured":
        return Missing(what, (), "the log does not tell at which volts the bank gave its amp-hours")
    if drawn.charge_Ah <= 0 or drawn.run_h <= 0:
        return Missing(what, (), "the load took nothing")
    return tuple(_steps_back(sums, drawn.charge_Ah, drawn.bank_V or 0.0))


def _steps_back(sums: _Sums, charge_Ah: float, bank_V: float) -> Iterator[LessonStep]:
    paper, drawn = sums.paper, sums.drawn
    paper_Wh = charge_Ah * paper.nominal_V
    yield sums.step(
        "amp-hours",
        "Ah",
        (charge_Ah, None, charge_Ah),
        ("what the meter counted", "the same"),
        "Both begin with what went out of the bank.",
    )
    yield sums.step(
        "volts",
        "V",
        (paper.nominal_V, None, bank_V),
        ("the bank's nominal voltage", "what the bank stood at under it"),
        "Nominal volts are a name, and a bank seldom stands at them.",
    )
    yield sums.step(
        "watt-hours",
        "Wh",
        (paper_Wh, None, drawn.energy_Wh),
        ("amp-hours times nominal volts", "amp-hours times the volts that there were"),
        _not_nominal(charge_Ah, paper.nominal_V, bank_V),
    )
    yield sums.step(
        "hours",
        "h",
        (paper_Wh / paper.power_W, None, drawn.run_h),
        ("watt-hours over the plate's watts", "the time it ran"),
        _why_hours_back(paper_Wh / paper.power_W, drawn.run_h),
    )
    yield sums.step(
        "watts at the bank",
        "W",
        (paper_Wh / paper.hours, None, drawn.running_W),
        ("watt-hours over all of the time", "what the bank gave while it ran"),
        _why_watts_back(sums),
    )
    if sums.inverter is not None:
        yield _load_back(sums, sums.inverter, paper_Wh / paper.hours)


def _not_nominal(charge_Ah: float, nominal_V: float, bank_V: float) -> str:
    if isclose(bank_V, nominal_V, rel_tol=5e-4):
        return "The bank stood at its nominal voltage, so here the two agree."
    amps = figure(charge_Ah, "Ah")
    return (
        f"{amps} at {figure(nominal_V, 'V')} are not {amps.removesuffix(' Ah')} x {figure(nominal_V, 'Wh')}: the bank "
        f"stood at {figure(bank_V, 'V')}."
    )


def _why_hours_back(paper_h: float, run_h: float) -> str:
    if isclose(paper_h, run_h, rel_tol=5e-3):
        return "Here the plate's watts lead to the time that it ran."
    if paper_h < run_h:
        return "With more watts on paper than it drew, the time comes out too short."
    return "With fewer watts on paper than it drew, the time comes out too long."


def _why_watts_back(sums: _Sums) -> str:
    if sums.running_only:
        return "The starts' share and the volts make the difference."
    if isclose(sums.drawn.run_h, sums.paper.hours, rel_tol=1e-9):
        return "It never paused, so the volts and the starts make the difference."
    return "Spread over its pauses it looks small. Cable, fuse and inverter must bear what it draws while it runs."


def _load_back(sums: _Sums, inverter: Inverter, paper_W: float) -> LessonStep:
    """Return the last step of a load on an inverter: what comes out behind it."""
    drawn = sums.drawn
    losses = losses_of(inverter)
    load_W = given_W(losses, drawn.running_W) if drawn.load_W is None else drawn.load_W
    basis: Basis = drawn.load_basis
    if drawn.load_W is None:
        basis = "assumed" if losses.key is None else "estimated"
    why = f"The inverter keeps {figure(100 * (1 - load_W / drawn.running_W), '%')} of it."
    if sums.paper.of == "VA" and not sums.paper.by_display:
        why += f" On the plate volts times amps come to {figure(sums.paper.power_W, 'VA')}."
    elif not sums.paper.by_display:
        why += f" The plate led to {figure(sums.paper.power_W, 'W')}."
    how = "the same, as if nothing were lost", "at the load, behind the inverter"
    return sums.step("watts of the load", "W", (paper_W, None, load_W), how, why, basis=basis)
