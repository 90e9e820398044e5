"""Everything that was worked out from one log."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from ..ledger.ledger import Ledger
from ..readings.log_facts import LogFacts
from ..sureness.meter_figures import NOTHING_STATED, MeterFigures

if TYPE_CHECKING:
    from ..charge.amounts import Charge
    from ..charge.between_notes import MarkedStretch
    from ..cycles.cycle import Cycle, Cycles
    from ..health.finding import Check, Finding
    from ..health.trends import Trend
    from ..ledger.payback import Payback
    from ..nameplate.plate_check import PlateCheck
    from ..pump_pulse.pulse import PumpPulse
    from ..pump_pulse.starts import LoadStarts
    from ..readings.chunk import Chunk
    from ..readings.envelope import Envelope
    from .site_report import SiteReport


@dataclass(frozen=True)
class CloseUp:
    """The readings around one start, for the picture of it."""

    cycle: Cycle
    readings: Chunk


@dataclass(frozen=True)
class LogReport:
    """Everything worked out from one log.

    ``envelopes`` holds the whole log by quantity name; ``close_up`` is None where no start was seen, ``starts`` are
    many of them, empty where the readings are too slow. ``plate`` is None where there is nothing to compare; where a
    plate was to be compared, ``no_plate`` says why not. ``checks`` are all limits that were looked at, ``findings``
    those that were crossed; ``trends`` is empty where a log is too short.
    ``starts_known`` tells whether surges that fall between readings are in the intervals. ``paybacks`` are those of the
    ledger's demos; ``by_site`` is what log and site file say together, None without a site file or where nobody asked;
    ``has_array`` tells whether the site file names an array. ``pulse`` is what the load's runs say of flow and water,
    ``load_starts`` how long its starts take and how high they go; None where it is no motor.
    """

    facts: LogFacts
    charge: Charge
    cycles: Cycles
    findings: tuple[Finding, ...]
    envelopes: dict[str, Envelope] = field(default_factory=dict)
    close_up: CloseUp | None = None
    starts: tuple[CloseUp, ...] = ()
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
    has_array: bool = False
    pulse: PumpPulse | None = None
    load_starts: LoadStarts | None = None

    def in_short(self) -> LogReport:
        """Return it without what its charts are drawn from: all figures stay, of each quantity its two extremes."""
        return replace(
            self,
            charge=replace(self.charge, evidence=None),
            cycles=replace(self.cycles, stairs=()),
            envelopes={name: whole.in_one() for name, whole in self.envelopes.items()},
            close_up=None,
            starts=(),
        )
