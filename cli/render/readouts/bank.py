"""What the charts of the bank tell: its voltage at each start, and its state of charge."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ..still_charts.axis import ends
from ..wording import numbers
from .readout import ms, of_instants, one_ms
from .whole_log import gaps_of

if TYPE_CHECKING:
    from ....analysis.bank.state_of_charge import StateOfCharge
    from ....analysis.one_log.log_report import LogReport
    from ..still_charts.bank import Sags


def sag_at_starts(sags: Sags, log: LogReport) -> str:
    """Return what the chart of the sag tells, as JSON for the page."""
    readout, at = of_instants(log.facts, *ends(log)), ms(sags.start_us)
    pairs = zip(sags.before_V.tolist(), sags.lowest_V.tolist(), strict=True)
    sentences = [
        f"start from {numbers.amount(before, 'V')} down to {numbers.amount(lowest, 'V')}" for before, lowest in pairs
    ]
    readout.span(at, at, sentences)
    if (coming := sags.next_V) is not None:
        ends_V = f"{numbers.amount(coming.low, 'V')} to {numbers.amount(coming.high, 'V')}"
        end = [one_ms(ends(log)[1])]
        readout.span(end, end, [f"the next start falls to {numbers.amount(coming.value, 'V')} ({ends_V})"])
    return readout.as_json()


def state_over_time(state: StateOfCharge, log: LogReport) -> str:
    """Return what the chart of the state tells, as JSON for the page; it has at least one instant."""
    start_us, stop_us = ends(log)
    readout, t = of_instants(log.facts, start_us, stop_us), np.array(ms(state.time_us))
    # The state holds between its instants wherever the finger is, also in a gap: the count goes on from there.
    reach = one_ms(stop_us - start_us)
    readout.reading("state of charge", "%", t, np.round(state.state_pct, 2), reach)
    readout.reading("95 % interval from", "%", t, np.round(state.low_pct, 2), reach)
    readout.reading("to", "%", t, np.round(state.high_pct, 2), reach)
    gaps_of(readout, log)
    return readout.as_json()
