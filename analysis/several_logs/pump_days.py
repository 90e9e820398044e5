"""What several logs say of a pump's flow and water: day by day, and as a trend over all of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from ..health.finding import Check
from ..not_known import Missing
from ..pump_pulse.days import PulseDay
from ..pump_pulse.flow_trend import FlowTrend, flow_falls, flow_trend
from ..site.units import SI, DisplayUnits
from ..stats.interval95 import Within
from .day_pieces import DayPiece, Pool


@dataclass(frozen=True)
class PumpOverLogs:
    """The pump's days over several logs, the trend of its flow, the check of it, and the water of a usual day. [L]

    `per_day_L` is the mean over the time that was measured; None where no day has any.
    """

    days: tuple[PulseDay, ...]
    trend: FlowTrend | Missing
    falls: Check
    per_day_L: Within | None
    shown: DisplayUnits = SI


def pump_over_logs(pool: Pool) -> PumpOverLogs | None:
    """Return what the logs of a pool say of their pump; None where no tank of it is known."""
    pulses = [piece.log.pulse for piece in pool.pieces]
    if not any(pulse is not None and pulse.has_tank for pulse in pulses):
        return None
    shown = next(pulse.shown for pulse in pulses if pulse is not None)
    days = tuple(day for pieces in pool.days() if (day := _day(pieces)) is not None)
    trend = flow_trend(days)
    return PumpOverLogs(days, trend, flow_falls(trend, shown), _per_day(days), shown)


def _day(pieces: Sequence[DayPiece]) -> PulseDay | None:
    """Return a day of several logs as one: its water adds up, its flow is that of the log with the most runs."""
    parts = sorted(_parts(pieces), key=lambda part: part.starts, reverse=True)
    if len(parts) < 2:
        return parts[0] if parts else None
    known = next((part for part in parts if part.flow_L_per_min is not None), parts[0])
    quiets = [part.without_start for part in parts if part.without_start is not None]
    litres = [part.pumped_L for part in parts if part.pumped_L is not None]
    return replace(
        known,
        measured_s=sum(part.measured_s for part in parts),
        running_s=sum(part.running_s for part in parts),
        starts=sum(part.starts for part in parts),
        pumped_L=_sum(litres) if len(litres) == len(parts) else None,
        without_start=max(quiets, key=lambda quiet: quiet.lasted_s, default=None),
    )


def _parts(pieces: Sequence[DayPiece]) -> Iterator[PulseDay]:
    for piece in pieces:
        for day in piece.log.pulse.days if piece.log.pulse is not None else ():
            if day.start_us == piece.line.start_us:
                yield day


def _sum(parts: Sequence[Within]) -> Within:
    """Return the sum of figures that are off the same way, as those of one tank are."""
    return Within(*(sum(getattr(part, end) for part in parts) for end in ("value", "low", "high")))


def _per_day(days: Sequence[PulseDay]) -> Within | None:
    known = [(day.pumped_L, day.measured_s) for day in days if day.pumped_L is not None]
    measured_s = sum(seconds for _, seconds in known)
    return _sum([litres for litres, _ in known]).scaled(86400 / measured_s) if measured_s > 0 else None
