"""The page's tables of the nameplate, and its words on how sure the amounts are."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ....analysis.charge.amounts import budget_of
from ....analysis.not_known import Missing
from ..wording import numbers
from ..wording.lesson import basis_of, in_unit
from ..wording.sureness import in_gaps_lines, of_figure, sureness_lines
from .log_tables import Table

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ....analysis.nameplate.lesson import Lesson
    from ....analysis.nameplate.lesson_step import LessonStep
    from ....analysis.nameplate.plate_check import PlateCheck
    from ....analysis.nameplate.reasons import Explained
    from ....analysis.one_log.log_report import LogReport


def budget(log: LogReport) -> Table | None:
    """Return where the uncertainty of one figure comes from, and say of which; None where nothing is known of it."""
    known = budget_of(log.charge)
    if known is None:
        return None
    rows = tuple(
        (
            source,
            *(
                numbers.amount(of[source].u, unit) if source in of else "none"
                for of, unit in ((known.charge, "Ah"), (known.energy, "Wh"))
            ),
            "none" if (share := known.share(source)) is None else numbers.percent(share),
            component.reason,
        )
        for source, component in known.sources.items()
    )
    head = ("Source", "Of Ah", "Of Wh", "Share", "Why")
    return Table(f"Where the ± {of_figure(known)} comes from: standard uncertainty by source", head, rows, prose=True)


def leading(log: LogReport) -> str | None:
    """Say which source of error a ± comes from most, and of which figure; None where nothing is known of it."""
    known = budget_of(log.charge)
    if known is None or not known.sure.components:
        return None
    first = max(known.sure.components, key=known.sure.share)
    return f"Of the ± {of_figure(known)}, {first.source} is the most: {numbers.percent(known.sure.share(first))}."


def remarks(log: LogReport) -> tuple[str, ...]:
    """Return in sentences what was assumed of the meter, what was corrected, and what gaps may have held."""
    # The shares are the table beside it.
    sure = sureness_lines(log.charge, log.figures, starts_known=log.starts_known, with_shares=False)
    return (*in_gaps_lines(log.charge), *sure)


def steps(check: PlateCheck) -> Table:
    """Return the steps of the estimate from the nameplate, each with where it comes from."""
    rows = tuple(
        (numbers.shortened(step.step, 200), numbers.amount(step.value, step.unit), numbers.shortened(step.origin, 300))
        for step in check.estimate.steps
    )
    return Table("The estimate, step by step", ("Step", "Value", "Where it comes from"), rows, prose=True)


def compared(check: PlateCheck) -> Table:
    """Return paper, estimate and measurement beside each other."""
    estimate, seen, runs = check.estimate, check.comparison, check.runs
    rows = (
        ("On paper", estimate.paper_Wh, estimate.paper_Ah, seen.paper_energy_ratio, (None, None)),
        ("From the nameplate", estimate.energy_Wh, estimate.charge_Ah, seen.energy_ratio, (None, None)),
        # Last, since it is what the two above are measured by.
        ("Measured", seen.measured_energy_Wh, seen.measured_charge_Ah, 1.0, (runs.energy_u95_Wh, runs.charge_u95_Ah)),
    )
    return Table(
        f"The same {numbers.duration(estimate.hours * 3600)}, three ways",
        ("", "Energy", "Charge", "Measured / this"),
        tuple(
            (what, numbers.plus_minus(Wh, u95_Wh, "Wh"), numbers.plus_minus(Ah, u95_Ah, "Ah"), numbers.percent(ratio))
            for what, Wh, Ah, ratio, (u95_Wh, u95_Ah) in rows
        ),
    )


def in_short(check: PlateCheck) -> str:
    """Say in one sentence how nameplate and paper stand to what was measured, in the whole per cents of the table."""
    seen, name = check.comparison, numbers.shortened(check.estimate.load)
    measured = numbers.plus_minus(seen.measured_energy_Wh, check.runs.energy_u95_Wh, "Wh")
    plate, paper = _beside(seen.energy_ratio), _beside(seen.paper_energy_ratio)
    return f"The {name} took {measured}: {plate} its nameplate with losses says, {paper} volts × amps × hours on paper."


def _beside(ratio: float) -> str:
    percent = round(100 * ratio) - 100
    return f"{abs(percent)} % {'more' if percent > 0 else 'less'} than" if percent else "as much as"


def lesson(of: Lesson) -> tuple[Table, ...]:
    """Return the sum on paper beside the measured one, step by step, and the way back where there is one."""
    tables = [_lesson("From the plate to amp-hours", of.steps)]
    if not isinstance(of.back, Missing):
        tables.append(_lesson("Back from the measured amp-hours", of.back))
    return tuple(tables)


def _lesson(caption: str, steps: Sequence[LessonStep]) -> Table:
    rows = tuple(
        (
            numbers.capital(step.name),
            f"{in_unit(step, step.paper)}: {numbers.shortened(step.how_on_paper, 200)}",
            # Under a head that says measured, what was not says so.
            f"{in_unit(step, step.real)}{'' if step.basis == 'measured' else f', {basis_of(step).lower()}'}: "
            f"{step.how_really}",
            numbers.shortened(step.why, 400),
        )
        for step in steps
    )
    return Table(caption, ("", "On paper", "Measured", "Why they differ"), rows, prose=True)


def left_out_on_paper(check: PlateCheck) -> Table:
    """Return what lies between the sum on paper and the estimate."""
    return _reasons("From the sum on paper to the estimate", check.left_out_on_paper)


def why(check: PlateCheck) -> Table:
    """Return what lies between the estimate and the measurement, for the time the load ran."""
    return _reasons("From the estimate to the measurement", check.why)


def by_habit(check: PlateCheck) -> Table | None:
    """Return what lies between the estimate for all the time measured and what was taken; None where not known."""
    if check.by_habit is None:
        return None
    return _reasons("All the time measured: from the estimate to the measurement", check.by_habit)


def _reasons(caption: str, explained: Explained) -> Table:
    rows = [
        (
            f"{numbers.capital(reason.source)} ({reason.basis}): {numbers.shortened(reason.because, 300)}.",
            numbers.signed(reason.energy_Wh, "Wh"),
            numbers.signed(reason.charge_Ah, "Ah"),
            numbers.percent(reason.share),
        )
        for reason in explained.reasons
    ]
    charge = numbers.signed(None if explained.charge is None else explained.charge.difference, "Ah")
    # The parts sum to this by construction, so the reader can check the column.
    rows.append(("Together", numbers.signed(explained.energy.difference, "Wh"), charge, ""))
    return Table(caption, ("Reason", "Energy", "Charge", "Share of the energy"), tuple(rows), prose=True)
