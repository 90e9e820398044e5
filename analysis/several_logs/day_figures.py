"""The figures that matter of a log, or of a local day that one log or several hold."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np

from ..charge.amounts import Amounts, Charge
from ..cycles.cycle import Cycle, lower_end
from ..health.finding import is_swapped
from ..health.runs import busiest_hour
from ..one_log.log_report import LogReport
from ..pump_pulse.starts import heights_of
from ..readings.chunk import SECONDS_PER_HOUR
from ..readings.measured_span import Span
from ..sureness.too_brief import too_brief_within
from .day_pieces import DayPiece, running_s, usual_of
from .pooled import pooled_charge


@dataclass(frozen=True)
class LoadUse:
    """What a load took by itself, with half of the 95 % intervals; None where it is not known, or there was no run.

    ``at_least``: there were runs beside those measured, and the amounts are lower bounds.
    """

    charge_Ah: float | None = None
    charge_u95_Ah: float | None = None
    energy_Wh: float | None = None
    energy_u95_Wh: float | None = None
    at_least: bool = False

    def least(self) -> LoadUse:
        """Return the least of it that is sure."""
        charge_Ah = lower_end(self.charge_Ah, self.charge_u95_Ah)
        return LoadUse(charge_Ah, energy_Wh=lower_end(self.energy_Wh, self.energy_u95_Wh), at_least=True)


@dataclass(frozen=True)
class DayFigures:
    """What a log or a day shows; None where it cannot tell.

    `measured_s` is the time that readings stand for; what is told by the hour is told by an hour of that. Draw and sag
    are medians of the runs, the draw without runs whose draw the array may have shared. `busiest_hour` is the most
    starts that any 60 minutes hold. `use` is what the runs took that began then. `start_s` is how long the usual start
    took, `start_height` its top over the running draw, where the readings show it. `too_brief` is how many more starts
    there were at the least, of runs too brief to be measured.
    """

    measured_s: float
    charge: Amounts | None
    energy: Amounts | None
    drawn_Ah_per_h: float | None
    drawn_Wh_per_h: float | None
    starts: int
    starts_per_h: float | None
    duty_cycle: float | None
    median_run_s: float | None
    median_rest_s: float | None
    run_W: float | None
    run_A: float | None
    sag_V: float | None
    busiest_hour: int | None
    use: LoadUse = LoadUse()
    start_s: float | None = None
    start_height: float | None = None
    too_brief: int = 0

    @property
    def at_least(self) -> bool:
        """Whether starts and running time, and what the load took, are lower bounds."""
        return self.too_brief > 0 or self.use.at_least

    @property
    def runs(self) -> int | None:
        """How many runs began; None where nothing was measured or the sign seems wrong."""
        return None if self.starts_per_h is None else self.starts


class FollowedFigure(NamedTuple):
    """A figure that is followed from day to day: its code, a field of `DayFigures`, its name and its unit."""

    code: str
    name: str
    unit: str


FIGURES: Final = (
    FollowedFigure("drawn_Wh_per_h", "energy drawn in an hour", "Wh"),
    FollowedFigure("drawn_Ah_per_h", "charge drawn in an hour", "Ah"),
    FollowedFigure("starts_per_h", "starts an hour", ""),
    FollowedFigure("busiest_hour", "starts in the busiest hour", ""),
    FollowedFigure("duty_cycle", "share of the time it ran", "%"),
    FollowedFigure("median_run_s", "usual run", "s"),
    FollowedFigure("median_rest_s", "usual rest", "s"),
    FollowedFigure("run_W", "running draw", "W"),
    FollowedFigure("run_A", "running current", "A"),
    FollowedFigure("sag_V", "voltage sag at a start", "V"),
    FollowedFigure("start_s", "length of a start", "s"),
    FollowedFigure("start_height", "top of a start over running", ""),
)


def figures_of_log(log: LogReport) -> DayFigures:
    """Return the figures of a whole log."""
    summary, charge = log.cycles.summary, log.charge
    if is_swapped(log.findings):
        return _unknown(charge.span.covered_s)
    return _figures(
        charge.span.covered_s,
        charge,
        log.cycles.cycles,
        summary.duty_cycle,
        _use_of_log(log),
        summary.too_brief,
    )


def use_together(uses: Iterable[LoadUse]) -> LoadUse:
    """Return what a load took in several stretches; what one is off the others may be off the same way."""
    parts = list(uses)
    # One lower bound makes the sum one.
    at_least = any(part.at_least for part in parts)
    parts = [part.least() for part in parts] if at_least else parts
    charge = _sum([(part.charge_Ah, part.charge_u95_Ah) for part in parts])
    return LoadUse(*charge, *_sum([(part.energy_Wh, part.energy_u95_Wh) for part in parts]), at_least)


def _sum(parts: Sequence[tuple[float | None, float | None]]) -> tuple[float | None, float | None]:
    values, halves = [x for x, _ in parts if x is not None], [u95 for x, u95 in parts if x is not None]
    known = [u95 for u95 in halves if u95 is not None]
    return (sum(values) if values else None), (sum(known) if known and len(known) == len(halves) else None)


def _use_of_log(log: LogReport) -> LoadUse:
    summary = log.cycles.summary
    if not log.cycles.cycles:
        return LoadUse()
    amounts = summary.charge_Ah, summary.charge_u95_Ah, summary.energy_Wh, summary.energy_u95_Wh
    return LoadUse(*amounts, summary.too_brief > 0)


def _use_of(piece: DayPiece) -> LoadUse:
    # A log of one day has worked it out, its last run without an end among it.
    if len(piece.log.ledger.days) == 1:
        return _use_of_log(piece.log)
    return use_together(
        LoadUse(
            cycle.so_far_Ah if cycle.charge_Ah is None else cycle.charge_Ah,
            cycle.charge_u95_Ah,
            cycle.so_far_Wh if cycle.energy_Wh is None else cycle.energy_Wh,
            cycle.energy_u95_Wh,
            piece.log.cycles.summary.too_brief > 0,
        )
        for cycle in piece.cycles
    )


def figures_of(pieces: Sequence[DayPiece]) -> DayFigures:
    """Return the figures of a day's pieces, or of all of them; at least one, and none that overlap."""
    whole = pooled_charge([piece.line.whole for piece in pieces])
    covered_s = whole.span.covered_s
    cycles = tuple(cycle for piece in pieces for cycle in piece.cycles)
    # Watts may have been read for longer than amps; a day counts the longer of the two.
    measured_s = max(covered_s, sum(piece.line.measured_s for piece in pieces))
    if any(is_swapped(piece.log.findings) for piece in pieces):
        return _unknown(measured_s)
    return _figures(
        measured_s,
        whole,
        cycles,
        running_s(pieces) / covered_s if covered_s > 0 else None,
        use_together(_use_of(piece) for piece in pieces),
        too_brief_of(pieces),
    )


def too_brief_of(pieces: Iterable[DayPiece]) -> int:
    """Return how many more starts some pieces hold at the least, of runs too brief to be measured."""
    by_log: dict[int, list[DayPiece]] = {}
    for piece in pieces:
        by_log.setdefault(id(piece.log), []).append(piece)
    return sum(_too_brief_in(own) for own in by_log.values())


def _too_brief_in(pieces: Sequence[DayPiece]) -> int:
    log = pieces[0].log
    if len(pieces) == len(log.ledger.days):
        return log.cycles.summary.too_brief
    # Of the other days nothing counts here: another log may hold them as well.
    days = [(piece.began, piece.line.start_us, piece.line.stop_us) for piece in pieces]
    return sum(too_brief_within(log.cycles, *day) for day in days)


def _unknown(measured_s: float) -> DayFigures:
    """Return the figures of what is the wrong way round: its rests would be its runs, what came back its draw."""
    return DayFigures(measured_s, None, None, None, None, 0, None, None, None, None, None, None, None, None)


def _figures(
    measured_s: float, charge: Charge, cycles: Sequence[Cycle], duty_cycle: float | None, use: LoadUse, too_brief: int
) -> DayFigures:
    heights = heights_of(cycles)
    return DayFigures(
        measured_s=measured_s,
        charge=charge.charge,
        energy=charge.energy,
        drawn_Ah_per_h=_an_hour(charge.charge, charge.span),
        drawn_Wh_per_h=_an_hour(charge.energy, charge.energy_span or charge.span),
        starts=len(cycles),
        starts_per_h=len(cycles) * SECONDS_PER_HOUR / measured_s if measured_s > 0 else None,
        duty_cycle=duty_cycle,
        median_run_s=usual_of(cycles, "run_s"),
        median_rest_s=usual_of(cycles, "off_before_s"),
        run_W=usual_of(cycles, "run_W", alone=True),
        run_A=usual_of(cycles, "run_A", alone=True),
        sag_V=usual_of(cycles, "sag_V"),
        busiest_hour=busiest_hour(np.array([cycle.start_us for cycle in cycles], dtype=np.int64)) if cycles else None,
        use=use,
        start_s=usual_of(cycles, "start_s"),
        start_height=float(np.nanmedian(heights)) if np.isfinite(heights).any() else None,
        too_brief=too_brief,
    )


def _an_hour(amounts: Amounts | None, span: Span) -> float | None:
    return None if amounts is None or span.covered_s <= 0 else amounts.drawn * SECONDS_PER_HOUR / span.covered_s
