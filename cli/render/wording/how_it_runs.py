"""How a load runs, in words: its speeds, and what the runs of a pump say of flow and water."""

from __future__ import annotations

from statistics import median
from typing import TYPE_CHECKING, Final

from ....analysis.not_known import Missing
from ....analysis.pump_pulse.flow_trend import FlowTrend
from . import numbers
from .numbers import amount, duration
from .site_sentences import within

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from ....analysis.cycles.cycle import Cycle, Cycles, Speed
    from ....analysis.pump_pulse.pulse import PumpPulse
    from ....analysis.pump_pulse.quiet import WithoutStart
    from ....analysis.site.units import DisplayUnits
    from ....analysis.stats.interval95 import Within


#: Said of draws that were told while an array gave.
UNDER_ARRAY: Final = (
    "An array gave meanwhile, and a passing cloud can look like its steps: measure by night, or behind the inverter, "
    "to be surer of its runs and Ah."
)


def flow_text(flow_L_per_min: Within, shown: DisplayUnits) -> str:
    """Return a flow with its interval, for instance ``9.8 gal/min (8.7 to 11.1)``."""
    scale, unit = shown.flow_scale
    return within(flow_L_per_min.scaled(scale), unit)


def volume_text(volume_L: Within, shown: DisplayUnits) -> str:
    """Return a volume with its interval, for instance ``330 gal (290 to 370)``."""
    scale, unit = shown.volume_scale
    return within(volume_L.scaled(scale), unit)


def pump_sentences(pulse: PumpPulse) -> Iterator[str]:
    """Yield what the runs say, the answer first: flow, the site file's beside it, water, the longest time of rest."""
    flow = pulse.flow
    if isinstance(flow, Missing):
        yield from [flow.sentence] if pulse.has_tank else []
    elif flow.flow_L_per_min is None:
        yield "What the pump gives is not judged: the tank's air is in doubt."
    else:
        plate = flow.plate_L_per_min
        beside = "" if plate is None else f"; the site file says {pulse.shown.of_flow(plate)}"
        yield f"If its tank has its air, the pump gives {flow_text(flow.flow_L_per_min, pulse.shown)}{beside}."
    if not isinstance(pulse.pumped, Missing):
        yield pumped_sentence(pulse)
    if pulse.without_start is not None:
        yield f"The longest time without a start was {quiet_text(pulse.without_start)}."
    if isinstance(pulse.trend, FlowTrend):
        yield trend_sentence(pulse.trend)


def air_sentence(pulse: PumpPulse) -> list[str]:
    """Say whether the tank can have its air; nothing where no flow is known."""
    flow = pulse.flow
    return [] if isinstance(flow, Missing) else [f"The tank's air: {flow.air}; {flow.air_why}."]


def pump_rests_on(pulse: PumpPulse) -> list[str]:
    """Return what the flow rests on."""
    return [] if isinstance(pulse.flow, Missing) else list(pulse.flow.assumptions)


def pumped_sentence(pulse: PumpPulse) -> str:
    """Say how much water was pumped, and how much that is a day."""
    pumped = pulse.pumped
    if isinstance(pumped, Missing):
        return pumped.sentence
    in_time = f"in {duration(pumped.measured_s)} of readings"
    if pumped.per_day_L is None:
        return f"It pumped {volume_text(pumped.pumped_L, pulse.shown)} {in_time}."
    whole = pulse.shown.of_volume(pumped.pumped_L.value)
    return f"It pumped {volume_text(pumped.per_day_L, pulse.shown)} a day, {whole} {in_time}."


def quiet_text(quiet: WithoutStart) -> str:
    """Return how long nothing started: ``7 h 20 min``, ``at least 7 h 20 min`` where its end was not seen."""
    return f"{'at least ' if quiet.at_least else ''}{duration(quiet.lasted_s)}"


def trend_sentence(trend: FlowTrend | Missing) -> str:
    """Say whether the flow changes from day to day."""
    if isinstance(trend, Missing):
        return trend.sentence
    over = f"over {trend.span_d:.0f} days"
    if trend.verdict == "no change to be told":
        return f"The pump's flow: no change that can be told from chance {over}."
    change = _share(trend.change)
    if trend.verdict == "falling":
        return f"The pump's flow falls, by {change} {over}: something clogs or wears, or the well falls."
    return (
        f"The pump's flow seems to rise, by {change} {over}: a pump does not gain by itself, so the tank may be losing "
        "air, unless something was cleaned or set."
    )


def _share(change: Within) -> str:
    """Return a change without its sign and its interval, for instance ``42 % (36 to 48)``."""
    sign = 1.0 if change.value > 0 else -1.0
    ends = sorted((100 * sign * change.low, 100 * sign * change.high))
    value, low, high = numbers.value_and_ends(100 * sign * change.value, *ends)
    return f"{value} % ({low} to {high})"


def speed_name(speed: Speed) -> str:
    """Return a draw, in watts where they are known."""
    return amount(speed.draw_A, "A") if speed.draw_W is None else amount(speed.draw_W, "W")


def at_speeds(cycles: Cycles) -> str:
    """Say at which draws a load ran, and for how long at each in all; empty for one that is on or off."""
    if not cycles.speeds:
        return ""
    held = [f"{speed_name(speed)} for {duration(speed.lasted_s)}" for speed in cycles.speeds if speed.lasted_s > 0]
    listed = " and ".join(filter(None, [", ".join(held[:-1]), *held[-1:]]))
    if not cycles.fixed_speeds:
        text = f"It draws what is asked of it: about {listed}."
    else:
        text = f"It runs at {len(held)} speeds: {listed}." if len(held) > 1 else f"It runs at one speed: {listed}."
    return f"{text} {UNDER_ARRAY}" if cycles.under_array else text


def usual_draw(cycles: Cycles) -> str:
    """Return what a load that is on or off usually draws while it runs, such as ``31.6 A, 783 W``; else empty."""
    if cycles.speeds:
        return ""
    runs = cycles.cycles
    both = (([run.run_A for run in runs], "A"), ([run.run_W for run in runs], "W"))
    known = [([x for x in values if x is not None], unit) for values, unit in both]
    return ", ".join(amount(median(values), unit) for values, unit in known if values)


def highest_start(cycles: Cycles) -> str:
    """Return the highest start that was seen, above what was drawn before it: ``at least 138 A``; empty without one."""
    surges = [run for run in cycles.cycles if run.surge_A is not None and not cycles.speeds]
    highest = max(surges, key=lambda run: run.surge_A or 0.0, default=None)
    if highest is None:
        return ""
    return f"{'' if highest.surge_resolved else 'at least '}{amount(highest.surge_A, 'A')}"


def times_at(cycle: Cycle, speeds: Sequence[Speed]) -> str:
    """Return how long one run held each of its load's draws, the lowest first."""
    at_each = zip(speeds, cycle.at_speeds, strict=True)
    return ", ".join(f"{speed_name(speed)} for {duration(lasted_s)}" for speed, lasted_s in at_each if lasted_s > 0)
