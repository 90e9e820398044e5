"""The one Report, of one log or of several, that terminal, page and JSON are rendered from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from ..one_log.log_report import LogReport

if TYPE_CHECKING:
    from ..inverter_sides.paired_logs import InverterMeasured
    from ..site.site import Site
    from ..what_if.what_if import WhatIf
    from .over_logs import OverLogs


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
    log in which nobody named a change. ``what_if`` is what changes of the system would do, where they were asked for.
    """

    site: Site | None
    logs: tuple[LogReport, ...]
    cautions: tuple[str, ...]
    version: str
    paired: tuple[PairedLogs, ...] = ()
    over: OverLogs | None = None
    what_if: WhatIf | None = None
