"""The folds that a site's report needs beside charge and cycles, bundled to one."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from datetime import tzinfo
from typing import Final

from ..bank.state_of_charge import charge_efficiency
from ..bank.wear import SHALLOWEST
from ..charge.between_notes import MarkedSums
from ..charge.completed import CompletedReadings, Reader
from ..ledger.falls import Falls, FallsFold
from ..ledger.ledger import Ledger, LedgerFold, demos_of
from ..ledger.loads_use import ClockHours, ClockHoursFold
from ..ledger.payback import Payback, PaybackFold
from ..ledger.running_charge import FineReturn, RunningCharge, RunningChargeFold
from ..readings.chunk import Chunk
from ..readings.measured_span import HowRead
from ..site.site import Site

#: So many points tell what came back when: a day of readings every 5 s, a month by the two minutes. [1]
_FINE: Final = 20_000
#: Where no note ends a demo, it has not ended yet, and never will in the log. [us]
_NEVER_US: Final = 1 << 62


@dataclass(frozen=True)
class SiteRecord:
    """What was followed over a whole log.

    `running` is what had gone out and come back over time, `hours` what flowed by the hour of the day; None without
    amps at the bank. `falls` are how far its charge fell each time; None also without a site. `paybacks` tell when the
    array had paid each demo back, in the order of the notes; empty without a site or without amps at the bank.
    `returned` is what had come back by each of many instants; None where the site has no charger. `zone` is that
    of the ledger's days.
    """

    ledger: Ledger
    running: RunningCharge | None
    hours: ClockHours | None
    paybacks: tuple[Payback, ...]
    falls: Falls | None = None
    returned: FineReturn | None = None
    zone: tzinfo | None = None


class SiteFolds:
    """Follow a log for the ledger and the bank, as a fold; it carries what its parts carry.

    Parameters
    ----------
    markers : sequence of (int, str)
        Instants [us] and texts; those that begin and end demos count.
    site : Site or None
        Its bank says how much of a return it keeps.
    zone : tzinfo or None
        Whose midnights part the days; None where the log has no dates.
    """

    def __init__(
        self,
        how: HowRead,
        quantities: AbstractSet[str],
        markers: Sequence[tuple[int, str]],
        *,
        site: Site | None,
        zone: tzinfo | None,
    ) -> None:
        demos, self._zone = demos_of(markers), zone
        self._reader = Reader(how, quantities)
        self._ledger = LedgerFold(how, quantities, zone=zone, demos=demos)
        # What a bank holds is counted in amp-hours: watts alone, or a meter behind an inverter, say nothing of it.
        at_bank = how.side == "dc" and "current_A" in quantities
        self._running = RunningChargeFold(how, quantities) if at_bank else None
        self._hours = ClockHoursFold(how, quantities) if at_bank else None
        self._falls = None
        if at_bank and site is not None:
            self._falls = FallsFold(how, quantities, least_Ah=SHALLOWEST * site.bank.capacity_Ah)
        has_charger = at_bank and site is not None and bool(site.chargers)
        self._fine = _FineReturnFold(how, quantities) if has_charger else None
        self._payback = None
        if at_bank and site is not None and demos:
            ended = [(start, _NEVER_US if stop is None else stop, text) for start, stop, text in demos]
            self._payback = PaybackFold(how, quantities, ended, efficiency=charge_efficiency(site.bank)[0])

    def share(self, marked: MarkedSums) -> None:
        """Take the sums of demos from those of notes, which are to be fed each part before; before any reading."""
        self._ledger.share(marked)

    def add(self, chunk: Chunk) -> None:
        """Take the next readings in."""
        if len(chunk):
            for part in self.parts(self._reader.take(chunk)):
                self.take(part)

    def parts(self, read: CompletedReadings) -> Iterator[CompletedReadings]:
        """Yield what the next readings complete in parts, of which each line of the ledger holds all or nothing."""
        return self._ledger.parts(read)

    def take(self, read: CompletedReadings) -> None:
        """Take in what the next readings complete, where somebody else reads them."""
        self._ledger.take(read)
        for fold in (self._running, self._hours, self._payback, self._falls):
            if fold is not None and read.current is not None:
                fold.take(read.current)
        if self._fine is not None:
            self._fine.take(read)

    def result(self) -> SiteRecord:
        """Return what was followed so far."""
        running = self._running.result() if self._running is not None else None
        hours = self._hours.result() if self._hours is not None else None
        paybacks = self._payback.result() if self._payback is not None else ()
        falls = self._falls.result() if self._falls is not None else None
        fine = self._fine.result() if self._fine is not None else None
        return SiteRecord(self._ledger.result(), running, hours, paybacks, falls, fine, self._zone)


class _FineReturnFold:
    """Follow what comes back, charge and energy, as a fold; it carries one reading and at most `_FINE` points."""

    def __init__(self, how: HowRead, quantities: AbstractSet[str]) -> None:
        self._charge = RunningChargeFold(how, quantities, most=_FINE)
        # Running sums are those of whatever is integrated: of power they are watt-hours.
        has_energy = "voltage_V" in quantities or "power_W" in quantities
        self._energy = RunningChargeFold(how, quantities, most=_FINE) if has_energy else None

    def take(self, read: CompletedReadings) -> None:
        if read.current is not None:
            self._charge.take(read.current)
        if read.power is not None and self._energy is not None:
            self._energy.take(read.power)

    def result(self) -> FineReturn:
        return FineReturn(self._charge.result(), None if self._energy is None else self._energy.result())
