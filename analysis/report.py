"""The one Report that terminal, page and JSON are rendered from."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from .ledger import Ledger
from .meter_figures import NOTHING_STATED, MeterFigures

if TYPE_CHECKING:  # light commands take `LogFacts` from here and must not load what all the rest is made of
    from .amounts import Charge
    from .chunk import Chunk, Sampling, Side
    from .cycle_record import Cycle, Cycles
    from .envelope import Envelope
    from .finding import Check, Finding
    from .marked import MarkedStretch
    from .over_logs import OverLogs
    from .paired_logs import InverterMeasured
    from .payback import Payback
    from .plate_check import PlateCheck
    from .site import Site
    from .site_report import SiteReport
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
    other_gap_limit_s: float | None = None


@dataclass(frozen=True)
class CloseUp:
    """The readings around one start, for the picture of it."""

    cycle: Cycle
    readings: Chunk


@dataclass(frozen=True)
class LogReport:
    """Everything worked out from one log.

    ``envelopes`` holds the whole log by quantity name; ``close_up`` is None where no start was seen. ``plate`` is None
    where there is nothing to compare; where a plate was to be compared, ``no_plate`` says why not. ``checks`` are all
    limits that were looked at, ``findings`` those that were crossed; ``trends`` is empty where a log is too short.
    ``starts_known`` tells whether surges that fall between readings are in the intervals. ``paybacks`` are those of the
    ledger's demos; ``by_site`` is what log and site file say together, None without a site file.
    """

    facts: LogFacts
    charge: Charge
    cycles: Cycles
    findings: tuple[Finding, ...]
    envelopes: dict[str, Envelope] = field(default_factory=dict)
    close_up: CloseUp | None = None
    plate: PlateCheck | None = None
    no_plate: str | None = None
    marked: tuple[MarkedStretch, ...] = ()
    figures: MeterFigures = NOTHING_STATED
    starts_known: bool = False
    checks: tuple[Check, ...] = ()
    trends: tuple[Trend, ...] = ()
    ledger: Ledger = field(default_factory=Ledger)
    paybacks: tuple[Payback, ...] = ()
    by_site: SiteReport | None = None


@dataclass(frozen=True)
class PairedLogs:
    """A log at the bank and one behind an inverter, by name, and what they say together; or why they say nothing."""

    at_bank: str
    behind: str
    measured: InverterMeasured | None
    why_not: str | None = None


@dataclass(frozen=True)
class Report:
    """One site, one log or several.

    ``paired`` holds those that show both sides of an inverter; ``over`` what several logs show together, None for one
    log in which nobody named a change.
    """

    site: Site | None
    logs: tuple[LogReport, ...]
    cautions: tuple[str, ...]
    version: str
    paired: tuple[PairedLogs, ...] = ()
    over: OverLogs | None = None
