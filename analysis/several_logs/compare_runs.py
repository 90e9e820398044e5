"""What the runs of two logs are like, side by side: how long, how hard, and what each takes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import exp, hypot, log
from typing import Final, NamedTuple

import numpy as np

from ..not_known import Missing
from ..one_log.log_report import LogReport
from ..readings.chunk import FloatArray
from ..stats.interval95 import Within
from ..stats.ranks import median_read, shift, widened
from ..sureness.meter_figures import MeterFigures
from .compared import Compared, too_brief_in
from .day_pieces import values_of

#: A ratio known no better than to a factor of a million tells nobody anything. [ln 1]
_SAYS_NOTHING: Final = 6 * log(10)


class _RunFigure(NamedTuple):
    """A figure that is told by the runs one by one, and the field of a cycle that holds it."""

    code: str
    name: str
    unit: str
    field: str


_FIGURES: Final = (
    _RunFigure("median_run_s", "usual run", "s", "run_s"),
    _RunFigure("median_rest_s", "usual rest", "s", "off_before_s"),
    _RunFigure("run_W", "running draw", "W", "run_W"),
    _RunFigure("run_A", "running current", "A", "run_A"),
    _RunFigure("surge_A", "highest at a start", "A", "surge_A"),
    _RunFigure("energy_per_start_Wh", "energy a start", "Wh", "energy_Wh"),
    _RunFigure("charge_per_start_Ah", "charge a start", "Ah", "charge_Ah"),
)
#: What brief runs have less of than others, so that without them it is too much.
_OF_ALL: Final = frozenset({"run_s", "off_before_s", "energy_Wh", "charge_Ah"})


def runs_of_two(before: LogReport, after: LogReport, *, one_meter: bool) -> Iterator[Compared | Missing]:
    """Yield what the runs of two logs of one side are like; `one_meter` where one and the same meter read both."""
    reports = (before, after)
    if not all(report.cycles.cycles for report in reports):
        return
    too_brief = too_brief_in(reports)
    # An instant is known to half the spacing of the readings; times as short as that may come out alike or not.
    slack_s = hypot(*((report.facts.usual_interval_s or 0.0) / 2 for report in reports))
    for figure in _FIGURES:
        # An inverter takes watts: its amps follow the bank's voltage.
        if figure.field == "run_A" and all(len(_values(report, "run_W")) for report in reports):
            continue
        values = [_values(report, figure.field) for report in reports]
        if not all(len(x) for x in values):
            if figure.unit == "s" or before.facts.side == "dc":
                yield Missing(f"word on the {figure.name}", (), "no run of a log has it")
        elif too_brief and figure.field in _OF_ALL:
            yield Missing(f"word on the {figure.name}", (), too_brief)
        elif figure.field == "surge_A" and not all(
            c.surge_resolved for report in reports for c in report.cycles.cycles
        ):
            why = "the readings of a log are too far apart to show whole starts"
            yield Missing(f"word on the {figure.name}", (), why)
        else:
            factors = [_factor(report.figures, figure.field) for report in reports]
            slack = slack_s if figure.unit == "s" else 0.0
            yield _compared(figure, values, factors, slack, one_meter=one_meter)


def _compared(
    figure: _RunFigure, values: Sequence[FloatArray], factors: Sequence[float], slack: float, *, one_meter: bool
) -> Compared:
    # One meter's factor is in both logs alike, and so in neither a part of what lies between them.
    own = [0.0, 0.0] if one_meter else factors
    in_common = "the meter's zero" + (", and its factor in the ratio" if one_meter else "")
    return Compared(
        figure.code,
        figure.name,
        figure.unit,
        median_read(values[0], factors[0]),
        median_read(values[1], factors[1]),
        _shift(values, own, slack),
        _times(values, own, slack),
        "" if figure.unit == "s" else in_common,
    )


def _values(report: LogReport, field: str) -> FloatArray:
    """Return a field of the runs; what the array may have shared takes no part where amounts are compared."""
    return values_of(report.cycles.cycles, field, alone=not field.endswith("_s"))


def _factor(figures: MeterFigures, field: str) -> float:
    """Return the limit of the meter's factor on a field [1]."""
    if field.endswith(("_A", "_Ah")):
        return figures.current.gain
    if field.endswith(("_W", "_Wh")):
        return figures.power_gain
    return 0.0


def _shift(values: Sequence[FloatArray], factors: Sequence[float], slack: float) -> Within | Missing:
    """Return by how much the runs of the second log lie above those of the first, the meters' factors in it."""
    apart = shift(values[0], values[1])
    if apart is None:
        return Missing("difference", (), f"{len(values[0])} and {len(values[1])} runs are too few to tell")
    off = hypot(slack, *(0.95 * factor * float(np.median(x)) for factor, x in zip(factors, values, strict=True)))
    return widened(apart, off)


def _times(values: Sequence[FloatArray], factors: Sequence[float], slack: float) -> Within | None:
    """Return how many times the runs of the first log those of the second are; None where that says nothing."""
    if any((x <= 0).any() for x in values):
        return None
    # On logarithms a ratio is a shift, and a factor the same addition to either log.
    apart = shift(*(np.log(x) for x in values))
    if apart is None:
        return None
    # An instant weighs most where times are shortest.
    smallest = min(float(np.median(x)) for x in values)
    off = hypot(slack / smallest, *(0.95 * factor for factor in factors))
    apart = widened(apart, off)
    if abs(apart.value) + max(apart.value - apart.low, apart.high - apart.value) > _SAYS_NOTHING:
        return None
    return Within(exp(apart.value), exp(apart.low), exp(apart.high))
