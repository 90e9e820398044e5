"""What is usual of each kind of motor and of each way to start it: the one place, each figure with where it is from.

A plate goes before any of these. The ranges hold what is built; nothing here is of one motor.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from ..stats.interval95 import Within
from .motor_tables import LEAST_AT_START, MOST_AT_START, USUAL_START_S
from .tables import Capacitor, Load

TURNING: Final = ("pump", "motor", "compressor")


@dataclass(frozen=True)
class UsualRange:
    """A figure that is usual of a kind, the range it may lie in, and where that is from."""

    value: float
    low: float
    high: float
    source: str

    @property
    def within(self) -> Within:
        """The figure with its range."""
        return Within(self.value, self.low, self.high)


@dataclass(frozen=True)
class MotorKind:
    """The figures of a kind of motor.

    Parameters
    ----------
    word : str
        What it is called in the trade.
    start : UsualRange
        What it draws before it turns, over what it draws running. [1]
    standstill : UsualRange
        Watts over volt-amperes while it stands still. [1]
    running : UsualRange or None
        The same while it runs; None where that is by the kind of load. [1]
    """

    word: str
    start: UsualRange
    standstill: UsualRange
    running: UsualRange | None = None


_MEMORY: Final = "from memory"
_SMALL: Final = "from memory, of small single-phase motors"
#: A textbook's third of a horsepower draws 22 A at 0.95 with a start capacitor, and 32 A at 0.84 without one, of 7.2 A
#: running (A. E. Fitzgerald and others, Electric Machinery, on a capacitor-start motor; from memory); 4-inch
#: submersibles have 4.6 to 5.1 times with a capacitor in a box, 5.9 to 6.4 without (a motor manual, from memory).
_STARTS_WITH: Final = "a textbook's motor and a submersible-motor manual, from memory"

#: A single-phase motor of which nothing more is known. 6 is behind NEC Table 430.251(A) (from memory).
ANY_SINGLE: Final = MotorKind(
    "single-phase motor",
    UsualRange(6.0, LEAST_AT_START, MOST_AT_START, "usual for pumps and compressors"),
    UsualRange(0.7, 0.5, 0.85, _SMALL),
)
THREE_PHASE: Final = MotorKind(
    "three-phase motor",
    # NEC Table 430.251(B) over Table 430.250, 230 V, from half a horsepower (9.1) to ten (5.8).
    UsualRange(6.5, 5.5, 9.5, "NEC Table 430.251(B) over 430.250, from memory"),
    UsualRange(0.6, 0.4, 0.8, _MEMORY),
    UsualRange(0.8, 0.65, 0.9, _MEMORY),
)
BY_CAPACITOR: Final[dict[Capacitor, MotorKind]] = {
    "none": MotorKind(
        "split-phase motor",
        UsualRange(6.0, 4.4, 8.0, _STARTS_WITH),
        UsualRange(0.8, 0.6, 0.9, _STARTS_WITH),
        UsualRange(0.62, 0.5, 0.75, _MEMORY),
    ),
    "start": MotorKind(
        "capacitor-start motor",
        UsualRange(4.8, 3.0, 6.5, _STARTS_WITH),
        UsualRange(0.9, 0.7, 0.98, _STARTS_WITH),
        UsualRange(0.62, 0.5, 0.75, _MEMORY),
    ),
    "run": MotorKind(
        "permanent split-capacitor motor",
        UsualRange(4.0, 2.5, 6.0, "common practice, no source"),
        UsualRange(0.8, 0.6, 0.95, _MEMORY),
        UsualRange(0.92, 0.85, 0.98, _MEMORY),
    ),
    "both": MotorKind(
        "capacitor-start, capacitor-run motor",
        UsualRange(4.8, 3.0, 6.5, "as with a start capacitor alone, from memory"),
        UsualRange(0.9, 0.7, 0.98, "as with a start capacitor alone, from memory"),
        UsualRange(0.92, 0.85, 0.98, _MEMORY),
    ),
}

#: What a soft starter lets through, over the running draw; never more than a direct start. [1]
SOFT_START: Final = UsualRange(3.0, 2.0, 4.0, "common practice, no source")
#: Ramps of soft starters and drives are set to one second for a submersible, up to ten for other motors. [s]
RAMP_S: Final = UsualRange(3.0, 1.0, 10.0, "common practice, no source")
#: Watts out of a drive over watts into it at its rating. [1]
DRIVE_EFFICIENCY: Final = UsualRange(0.97, 0.95, 0.98, "common practice, no source")
#: Watts over volt-amperes of what a drive takes from one phase: a plain rectifier, or one with correction. [1]
DRIVE_POWER_FACTOR: Final = UsualRange(0.65, 0.55, 0.98, _MEMORY)
#: A motor of direct current that stands still draws no more than so many times its running amps. [1]
MOST_STALLED: Final = 10.0
MOST_STALLED_SOURCE: Final = "from memory, of small magnet motors"


def turns(load: Load) -> bool:
    """Tell whether a load has a motor that hangs on what feeds it: one behind a drive hangs on the drive."""
    return load.kind in TURNING and load.start != "drive"


def motor_of(load: Load) -> MotorKind:
    """Return the kind of a load's motor, as far as its table says."""
    if load.phases == 3:
        return THREE_PHASE
    return ANY_SINGLE if load.capacitor is None else BY_CAPACITOR[load.capacitor]


def feeds_drive(load: Load) -> bool:
    """Tell whether a load's plate is that of a motor behind a drive, which is fed with other amps and watts."""
    # A pump with its drive built in has one plate, of what goes in; a motor of three phases has its own.
    return load.start == "drive" and load.phases == 3


def usual_start_s(load: Load, notes: list[str]) -> float:
    """Return how long a load's start lasts, the usual time where the site file says none, which is then said [s]."""
    if load.start_s is not None or load.kind not in TURNING:
        return load.start_s or 0.0
    if load.start in ("soft", "drive"):
        what = "soft starter" if load.start == "soft" else "drive"
        notes.append(
            f"How long '{load.name}' takes to start is not given; {RAMP_S.value:g} s was assumed: a {what}'s ramp is "
            f"set to {RAMP_S.low:g} to {RAMP_S.high:g} s ({RAMP_S.source}; add start_s)."
        )
        return RAMP_S.value
    notes.append(
        f"How long '{load.name}' takes to start is not given; {USUAL_START_S:g} s was assumed (common practice, no "
        "source; no standard says; add start_s)."
    )
    return USUAL_START_S
