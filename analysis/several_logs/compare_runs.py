"""What the runs of two logs are like, side by side: how long, how hard, and what each takes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import exp, hypot, log
from typing import Final

import numpy as np

from shuntbook.analysis.not_known import Missing
from shuntbook.analysis.one_log.log_report import LogReport
from shuntbook.analysis.readings.chunk import FloatArray
from shuntbook.analysis.stats.interval95 import Within
from shuntbook.analysis.stats.ranks import median_read, shift
from shuntbook.analysis.sureness.meter_figures import MeterFigures

from .compared import Compared

#: A ratio known no better than to a factor of a million tells nobody anything. [ln 1]
_SAYS_NOTHING: Final = 6 * log(10)
#: What is told by the runs one by one: its code, its name, its unit, and the field of a cycle.
_FIGURES: Final = (
    ("median_run_s", "usual run", "s", "run_s"),
    ("median_rest_s", "usual rest", "s", "off_before_s"),
    ("run_W", "running draw", "W", "run_W"),
    ("run_A", "running current", "A", "run_A"),
    ("surge_A", "highest at a start", "A", "surge_A"),
    ("energy_per_start_Wh", "energy a start", "Wh", "energy_Wh"),
    ("charge_per_start_Ah", "charge a start", "Ah", "charge_Ah"),
)


def runs_of_two(before: LogReport, after: LogReport, *, one_meter: bool) -> Iterator[Compared | Missing]:
    """Yield what the runs of two logs are like.

    Parameters
    ----------
    before, after : LogReport
        Both, of one side.
    one_meter : bool
        Whether one and the same meter read both.
    """
    reports = (before, after)
    if not all(report.cycles.cycles for report in reports):
        return
    # An instant is known to half the spacing of the readings; times as short as that may come out alike or not.
    slack_s = hypot(*((report.facts.usual_interval_s or 0.0) / 2 for report in reports))
    for code, name, unit, field in _FIGURES:
        if field == "run_A" and all(len(_values(report, "run_W")) for report in reports):
            continue  # an inverter takes watts: its amps follow the bank's voltage
        values = [_values(report, field) for report in reports]
        if not all(len(x) for x in values):
            if field.endswith("_s") or reports[0].facts.side == "dc":
                yield Missing(f"word on the {name}", (), "no run of a log has it")
        elif field == "surge_A" and not all(_resolved(report) for report in reports):
            yield Missing(f"word on the {name}", (), "the readings of a log are too far apart to show whole starts")
        else:
            factors = [_factor(report.figures, field) for report in reports]
            slack = slack_s if unit == "s" else 0.0
            yield _compared((code, name, unit), values, factors, slack, one_meter=one_meter)


def _compared(
    what: tuple[str, str, str], values: Sequence[FloatArray], factors: Sequence[float], slack: float, *, one_meter: bool
) -> Compared:
    own = [0.0, 0.0] if one_meter else factors
    in_common = "the meter's zero" + (", and its factor in the ratio" if one_meter else "")
    return Compared(
        *what,
        median_read(values[0], factors[0]),
        median_read(values[1], factors[1]),
        _shift(values, own, slack),
        _times(values, own, slack),
        "" if what[2] == "s" else in_common,
    )


def _values(report: LogReport, field: str) -> FloatArray:
    """Return a field of the runs; what the array may have shared takes no part where amounts are compared."""
    of_draw = field not in ("run_s", "off_before_s")
    cycles = [cycle for cycle in report.cycles.cycles if not (of_draw and cycle.array_may_share)]
    return np.array([x for cycle in cycles if (x := getattr(cycle, field)) is not None], dtype=np.float64)


def _resolved(report: LogReport) -> bool:
    return all(cycle.surge_resolved for cycle in report.cycles.cycles)


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
    down, up = hypot(apart.value - apart.low, off), hypot(apart.high - apart.value, off)
    return Within(apart.value, apart.value - down, apart.value + up)


def _times(values: Sequence[FloatArray], factors: Sequence[float], slack: float) -> Within | None:
    """Return how many times the runs of the first log those of the second are; None where that says nothing."""
    if any((x <= 0).any() for x in values):
        return None
    apart = shift(*(np.log(x) for x in values))
    if apart is None:
        return None
    smallest = min(float(np.median(x)) for x in values)
    off = hypot(slack / smallest, *(0.95 * factor for factor in factors))
    down, up = hypot(apart.value - apart.low, off), hypot(apart.high - apart.value, off)
    if abs(apart.value) + max(down, up) > _SAYS_NOTHING:
        return None
    return Within(exp(apart.value), exp(apart.value - down), exp(apart.value + up))
