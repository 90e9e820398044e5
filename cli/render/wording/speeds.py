"""What a load of several speeds draws, and for how long: in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .numbers import amount, duration

if TYPE_CHECKING:
    from ....analysis.cycles.cycle import Cycle, Cycles, Speed


def speed_name(speed: Speed) -> str:
    """Return a draw, in watts where they are known."""
    return amount(speed.draw_A, "A") if speed.draw_W is None else amount(speed.draw_W, "W")


def at_speeds(cycles: Cycles) -> str:
    """Say at which draws a load ran, and for how long at each in all."""
    held = [f"{speed_name(speed)} for {duration(speed.lasted_s)}" for speed in cycles.speeds if speed.lasted_s > 0]
    listed = " and ".join(filter(None, [", ".join(held[:-1]), *held[-1:]]))
    if cycles.fixed_speeds:
        return f"It runs at {len(held)} speeds: {listed}." if len(held) > 1 else f"It runs at one speed: {listed}."
    return f"It draws what is asked of it: about {listed}."


def times_at(cycle: Cycle) -> str:
    """Return how long one run held each of its load's draws, the lowest first."""
    return ", ".join(duration(lasted_s) if lasted_s > 0 else "-" for lasted_s in cycle.at_speeds)
