"""What a bank drives into a short circuit, and whether a fuse can break it."""

from __future__ import annotations

from typing import Final

from ..not_known import Missing
from ..site.tables import Bank, Conductor
from ..stats.interval95 import Within
from ..wording import figure
from .judged import under
from .protection import Screened

#: Volts before a short circuit over nominal ones: 1.05 (IEC 61660-1, stationary lead-acid; from memory). [1]
VOLTS_BEFORE: Final = 1.05
#: In the first instant more may flow than volts over the resistance that starts show: part of a start's sag is slow and
#: limits nothing then (from memory; half as much again is common practice, no source). [1]
FIRST_INSTANT: Final = 1.5
#: Cold, age and state of charge move a resistance that was stated (common practice, no source). [1]
STATED_WITHIN: Final = 0.25
SHORT_CIRCUIT_SOURCE: Final = (
    "volts over the bank's resistance: 1.05 times the nominal ones (IEC 61660-1, from memory), and up to half as much "
    "again in the first instant (common practice, no source)"
)
_WHAT: Final = "word on whether the fuse of '{}' can break a short circuit"


def stated_mohm(bank: Bank) -> Within | None:
    """Return the bank's resistance as the site file states it, within a quarter; None where it does not. [mohm]"""
    mohm = bank.resistance_mohm
    return None if mohm is None else Within(mohm, (1 - STATED_WITHIN) * mohm, (1 + STATED_WITHIN) * mohm)


def prospective_A(nominal_V: float, mohm: Within) -> Within:
    """Return the current that a short circuit right at a bank draws, by its resistance with the ends of it. [A]"""
    volts = VOLTS_BEFORE * nominal_V
    # The least resistance drives the most; one that may be nothing sets no limit, and none is made up.
    most_A = FIRST_INSTANT * 1000 * volts / mohm.low if mohm.low > 0 else float("inf")
    return Within(1000 * volts / mohm.value, 1000 * volts / mohm.high, most_A)


def breaking(conductor: Conductor, bank: Bank, mohm: Within | None) -> Screened | Missing | None:
    """Judge whether a conductor's fuse can break a short circuit right behind it; None where no fuse is given.

    `mohm` is the bank's resistance as measured or stated; the cable's own is left out, which is on the safe side.
    """
    if conductor.fuse_A is None:
        return None
    what = _WHAT.format(conductor.name)
    if mohm is None:
        add = ("bank.resistance_mohm",) if conductor.fuse_kA is not None else ("conductors.fuse_kA",)
        return Missing(what, add)
    flows_A = prospective_A(bank.nominal_V, mohm)
    flow = f"{_kA(flows_A.low)} to {_kA(flows_A.high)} may flow in a short circuit right behind the fuse"
    if conductor.fuse_kA is None:
        return Missing(what, ("conductors.fuse_kA",), flow)
    verdict = under(flows_A.low, flows_A.high, 1000 * conductor.fuse_kA)
    ends = {
        "holds": "can break that",
        "doubtful": "may not break that",
        "fails": "cannot break that: it may burst, and burn on",
    }
    return Screened(verdict, f"{flow}: one of {_kA(1000 * conductor.fuse_kA)} {ends[verdict]}.", SHORT_CIRCUIT_SOURCE)


def _kA(amps: float) -> str:
    return "without a limit known" if amps == float("inf") else figure(amps / 1000, "kA", digits=2)
