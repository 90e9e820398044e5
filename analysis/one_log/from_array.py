"""Of what a load took, the least that did not come out of the bank: how much of it is sure enough to be said."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final, Literal

from ..health.finding import is_swapped
from ..readings.chunk import SECONDS_PER_HOUR

if TYPE_CHECKING:
    from ..charge.amounts import Amounts
    from .log_report import LogReport

#: Less than this share of what the load took is not worth a sentence: common practice, no source. [1]
_WORTH_SAYING: Final = 0.01


def sure_from_array(log: LogReport, unit: Literal["Ah", "Wh"]) -> float | None:
    """Return the least that the load took straight from what charged the bank; None where nothing is sure. [unit].

    Two things show it. The load took more than the bank gave to all, further than both intervals reach; or the bank was
    being charged before runs, by more than the meter's zero may be off, and that went on into the load.
    """
    summary = log.cycles.summary
    took, u95, amounts = (
        (summary.charge_Ah, summary.charge_u95_Ah, log.charge.charge)
        if unit == "Ah"
        else (summary.energy_Wh, summary.energy_u95_Wh, log.charge.energy)
    )
    two = log.cycles.two_kinds
    # Runs that may be another load's, and a sign that may be turned, tell nothing of whence it came.
    doubtful = (two is not None and two.own is None) or is_swapped(log.findings)
    if log.facts.side != "dc" or not took or u95 is None or amounts is None or amounts.sure is None or doubtful:
        return None
    by_balance = took - u95 - amounts.sure.drawn.high
    # It is no surer than the runs themselves: their lengths and the meter's gain are in both.
    least = max(by_balance, (1 - u95 / took) * _by_runs(log, unit, amounts))
    return min(least, took) if least > _WORTH_SAYING * took else None


def straight_in(log: LogReport) -> tuple[float, Literal["Ah", "Wh"]]:
    """Return the least that is sure, 0 where nothing is, and its unit: Ah where there are any, else Wh."""
    unit: Literal["Ah", "Wh"] = "Ah" if log.charge.charge is not None else "Wh"
    return sure_from_array(log, unit) or 0.0, unit


def straight_in_all(logs: Sequence[LogReport], runs: int) -> tuple[float, Literal["Ah", "Wh"]]:
    """Return the same of logs together, of which `runs` count: what is sure of each adds up to what is sure of all.

    Nothing where some of their runs do not count, because others hold them too.
    """
    if not logs or sum(log.cycles.summary.count for log in logs) != runs:
        return 0.0, "Ah"
    each = [straight_in(log) for log in logs]
    unit = each[0][1]
    return sum(least for least, of in each if of == unit), unit


def _by_runs(log: LogReport, unit: Literal["Ah", "Wh"], amounts: Amounts) -> float:
    """Return what runs took of what was charging the bank, less what the meter may be wrong by. [unit]."""
    # A zero that is off by more than is stated would look like the sun; then nothing surely came back either.
    if amounts.sure is None or amounts.sure.returned.low <= 0:
        return 0.0
    zero = _zero_A(log)
    given = 0.0
    for cycle in log.cycles.cycles:
        run_s = cycle.so_far_s if cycle.run_s is None else cycle.run_s
        volts = 1.0 if unit == "Ah" else cycle.before_V
        straight = cycle.straight_Ah if unit == "Ah" else cycle.straight_Wh
        if straight is not None and run_s is not None and volts is not None:
            given += max(straight - zero * volts * run_s / SECONDS_PER_HOUR, 0.0)
    return given


def _zero_A(log: LogReport) -> float:
    """Return by how much the meter's zero may be off. [A]"""
    if log.figures.zero_check is not None:
        return 2 * log.figures.zero_check.u_A
    seen = [cycle.surge_A or cycle.run_A or 0.0 for cycle in log.cycles.cycles]
    evidence = log.charge.evidence
    highest = (
        evidence.current.highest if evidence is not None and evidence.current is not None else max(seen, default=0)
    )
    return sum(limit_A for _, limit_A, _ in log.figures.zero_limits(highest))
