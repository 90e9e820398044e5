"""The one Report that terminal, page and JSON are rendered from."""

from __future__ import annotations

from dataclasses import dataclass, field

from .charge import Charge
from .chunk import Chunk, Sampling, Side
from .cycle_record import Cycle, Cycles
from .envelope import Envelope
from .finding import Check, Finding
from .marked import MarkedStretch
from .nameplate import Comparison, Estimate
from .site import Site
from .trends import Trend


@dataclass(frozen=True)
class LogFacts:
    """What the reader of a report must know about a log's origin.

    ``zone`` is the zone its times are shown in; ``undated`` means its times count from the log's start only.
    ``said`` holds what was assumed or noticed when it was read, in plain sentences.
    """

    name: str
    meter: str | None
    side: Side
    sampling: Sampling
    gap_limit_s: float
    usual_interval_s: float | None
    zone: str
    zone_assumed: bool
    undated: bool
    source: str
    rows_read: int
    rows_kept: int
    rows_rejected: int
    rows_merged: int
    said: tuple[str, ...] = ()
    markers: tuple[tuple[int, str], ...] = ()


@dataclass(frozen=True)
class CloseUp:
    """The readings around one start, for the picture of it."""

    cycle: Cycle
    readings: Chunk


@dataclass(frozen=True)
class PlateCheck:
    """The nameplate's estimate for a load beside what the log measured for it, over the same running time."""

    estimate: Estimate
    comparison: Comparison


@dataclass(frozen=True)
class LogReport:
    """Everything worked out from one log.

    ``envelopes`` holds the whole log by quantity name; ``close_up`` is None where no start was seen. ``checks`` are all
    limits that were looked at, ``findings`` those that were crossed; ``trends`` is empty where a log is too short.
    """

    facts: LogFacts
    charge: Charge
    cycles: Cycles
    findings: tuple[Finding, ...]
    envelopes: dict[str, Envelope] = field(default_factory=dict)
    close_up: CloseUp | None = None
    plate: PlateCheck | None = None
    marked: tuple[MarkedStretch, ...] = ()
    checks: tuple[Check, ...] = ()
    trends: tuple[Trend, ...] = ()


@dataclass(frozen=True)
class Report:
    """One site, one log or several."""

    site: Site | None
    logs: tuple[LogReport, ...]
    cautions: tuple[str, ...]
    version: str
