"""One step of the sum on paper beside what is really taken, and all that the steps are told of."""

from __future__ import annotations

from dataclasses import dataclass
from math import fsum

from ..site.site import Bank, Inverter, Load
from .decomposition import Basis, Decomposition
from .estimate import Estimate, PaperSum
from .measured_chain import DrawnSum


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
class BothSums:
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

    @property
    def must_bear(self) -> str:
        """What lies between the bank and the load, at the beginning of a sentence."""
        return "Cable and fuse" if self.inverter is None else "Cable, fuse and inverter"

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
        # Without a log the plate is what stands beside the paper, and nothing of it may pass for a measurement.
        by_log = self.drawn.measured
        of_Wh, of_Ah = _part(self.energy, parts), _part(self.charge, parts)
        known = None if real is None else basis if by_log else "estimated"
        return LessonStep(
            name, unit, paper, plate if by_log else real, real if by_log else None, known, *how, why, of_Wh, of_Ah
        )


def _part(split: Decomposition | None, names: tuple[str, ...]) -> float | None:
    # A step that only carries on, as from watts to watt-hours, adds nothing to the difference.
    if split is None or not names:
        return None
    return fsum(part.effect for part in split.parts if part.factor.name in names)
