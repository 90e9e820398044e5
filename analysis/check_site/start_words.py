"""What a load's start asks of what feeds it, in plain words."""

from __future__ import annotations

from ..equipment.demand import demand
from ..equipment.judged import between
from ..equipment.motor_start import direct_current_start_A, torque_known
from ..equipment.plate_power import supply_V
from ..not_known import Missing
from ..site.motor_kinds import TURNING, turns, usual_start_s
from ..site.site import Load, Site
from ..wording import figure


def start_words(load: Load, site: Site) -> list[str]:
    """Say what a motor asks while it starts and runs, and what of that is not known; nothing of other loads."""
    if load.kind not in TURNING:
        return []
    inverter = site.inverter_of(load)
    if inverter is None:
        return _on_the_bank(load, site)
    asked = demand(load, inverter)
    if isinstance(asked, Missing):
        return []
    words = [f"Start of '{load.name}': {_held(between(asked.start_VA), 'VA', load, between(asked.running))}."]
    torque = torque_known(load) if load.start == "soft" and turns(load) else None
    return [*words, *([torque.sentence] if torque is not None else [])]


def _on_the_bank(load: Load, site: Site) -> list[str]:
    if load.current_A is None and load.power_W is None:
        return []
    running_A = load.current_A or (load.power_W or 0.0) / supply_V(load, site)
    start_A = direct_current_start_A(load, running_A)
    if isinstance(start_A, Missing):
        return [start_A.sentence]
    return [f"Start of '{load.name}': {_held(between(start_A), 'A', load, figure(running_A, '').strip())}."]


def _held(starting: str, unit: str, load: Load, running: str) -> str:
    """Say two amounts of one unit, or that they are the same."""
    if not turns(load):
        return f"no more than the {running} {unit} that it takes running"
    return f"{starting} {unit} for {usual_start_s(load, []):g} s, of {running} {unit} running"
