"""What the runs of a pump say day by day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from ..health.runs import Runs
from ..not_known import Missing
from ..readings.chunk import MICROSECONDS, BoolArray
from ..stats.interval95 import Within
from .fill_time import fill_time
from .flow import PumpFlow, over
from .pumped import PumpedWater, water_of
from .quiet import WithoutStart, longest_without_start

if TYPE_CHECKING:
    from ..ledger.ledger import LedgerLine


@dataclass(frozen=True)
class PulseDay:
    """A local day: its two midnights, the time measured and run, and what its runs say; None where they say nothing.

    `fill_s` is by this day's shortest runs, `flow_L_per_min` by these; `pumped_L` by the flow of the whole log where
    the day's own is not known.
    """

    date: str
    start_us: int
    stop_us: int
    measured_s: float
    running_s: float
    starts: int
    fill_s: Within | None
    flow_L_per_min: Within | None
    pumped_L: Within | None
    without_start: WithoutStart | None


def pulse_days(
    flow: PumpFlow | Missing, pumped: PumpedWater | Missing, runs: Runs, lines: Sequence[LedgerLine]
) -> tuple[PulseDay, ...]:
    """Return the days of a log by the lines of its ledger, in order; `flow` and `pumped` are those of the log."""
    starts_us = runs.start_us
    stops_us = starts_us + np.rint(runs.lengths_s() * MICROSECONDS).astype(np.int64)
    days = []
    for line in lines:
        began = (starts_us >= line.start_us) & (starts_us < line.stop_us)
        within_us = np.minimum(stops_us, line.stop_us) - np.maximum(starts_us, line.start_us)
        running_s = float(np.maximum(within_us, 0).sum()) / MICROSECONDS
        fill_s = of_day = litres = None
        if isinstance(flow, PumpFlow):
            fill_s = _known(fill_time(runs, began))
            if fill_s is not None and flow.drawdown_L is not None:
                of_day = over(flow.drawdown_L, fill_s).scaled(60.0)
            if isinstance(pumped, PumpedWater) and flow.flow_L_per_min is not None:
                litres = water_of(of_day or flow.flow_L_per_min, running_s)
        days.append(
            PulseDay(
                date=line.text,
                start_us=line.start_us,
                stop_us=line.stop_us,
                measured_s=line.measured_s,
                running_s=running_s,
                starts=int(began.sum()),
                fill_s=fill_s,
                flow_L_per_min=of_day,
                pumped_L=litres,
                without_start=_quiet(runs, began, line),
            )
        )
    return tuple(days)


def _known(fill_s: Within | Missing) -> Within | None:
    return None if isinstance(fill_s, Missing) else fill_s


def _quiet(runs: Runs, began: BoolArray, line: LedgerLine) -> WithoutStart | None:
    span = line.whole.span
    if span.start_us is None or span.stop_us is None:
        return None
    return longest_without_start(runs.start_us[began], span.start_us, span.stop_us, span.gaps)
