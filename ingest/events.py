"""What a source gives: a reading, a row refused, or a remark."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

#: The kind of remark that says how much of what was refused is counted only; each says so of all so far.
NOT_KEPT: Final = "not kept"
#: The kind of remark whose text is the share of all values so far that may have been read wrong.
MISREAD: Final = "misread"
#: The kind whose text is how long a display shows each of its values. [s]
HOLDS: Final = "holds"
#: The kinds that are no trouble: the log carries the last of each.
OF_DISPLAY: Final = frozenset({MISREAD, HOLDS})


@dataclass(frozen=True)
class Reading:
    """One time stamp and the quantities a meter gave at it, by name, in their own units; draw positive.

    ``time_us`` counts since 1970-01-01T00:00:00Z, on the capture's clock. A quantity the meter gave no value for is
    absent.
    """

    time_us: int
    values: Mapping[str, float]


@dataclass(frozen=True)
class Refused:
    """Something that came and is no reading: a torn line, a wrong checksum, an answer of the wrong shape."""

    time_us: int
    kind: str
    text: str
    reason: str


@dataclass(frozen=True)
class Remark:
    """Something that happened to the source: a reconnection, a time-out, a refusal by the device, a clock step."""

    time_us: int
    kind: str
    text: str


Event = Reading | Refused | Remark
