"""Another way to bring a motor up to speed: by a soft starter, a drive, or switched straight on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from ..bank.draw import bank_draw
from ..equipment.demand import demand
from ..equipment.motor_start import NO_DRIVE_ON_STEPS, ONLY_ITS_DRIVE, ONLY_ITS_STARTER, soft_share, torque_left
from ..not_known import Missing
from ..site.motor_kinds import DRIVE_EFFICIENCY, TURNING, feeds_drive
from ..site.tables import Inverter, Load, StartKind
from .changes import Setup

_WHAT: Final = "word on another start"


@dataclass(frozen=True)
class StartChange:
    """Another way to bring the motor up to speed."""

    text: str
    start: StartKind

    def made_in(self, setup: Setup) -> Setup | Missing:
        """Return the setup with the load started that way."""
        load, was = setup.load, setup.load.start or "direct"
        if load.kind not in TURNING:
            return Missing(_WHAT, ("loads.kind",), f"'{load.name}' has no motor by its kind")
        if self.start == was:
            return setup
        if was == "drive" and not feeds_drive(load):
            because = f"the plate of '{load.name}' is taken to be of its drive, which says nothing of the motor"
            return Missing(_WHAT, (), because)
        # How long a start takes is of the way that it had.
        keys: dict[str, object] = {"start": self.start, "start_s": None}
        inverter = setup.site.inverter_of(load)
        if inverter is None:
            changed = setup.with_load(**keys)
            unknown = bank_draw(changed.site, (changed.load,)).unknown_start
            return changed if unknown is None else Missing(_WHAT, unknown.add, unknown.because)
        watts = _motor_W(load, inverter)
        if isinstance(watts, Missing):
            return Missing(_WHAT, watts.add, watts.because)
        # A motor's plate becomes that of its drive, of what goes in; a motor of three phases keeps its own.
        if self.start == "drive" and load.phases == 1:
            keys |= {"power_W": watts / DRIVE_EFFICIENCY.value, "current_A": None, "power_factor": None}
        return setup.with_load(**keys)

    def cautions(self, setup: Setup) -> tuple[str, ...]:
        """Return what stands in the way of such a start of a setup's motor."""
        load, inverter = setup.load, setup.site.inverter_of(setup.load)
        if inverter is None or self.start in (load.start or "direct", "direct") or load.kind not in TURNING:
            return ()
        # Those of three phases are what starters and drives are made for.
        if self.start == "drive":
            steps = inverter.waveform == "modified"
            refused = (f"'{inverter.name}' gives a modified sine: {NO_DRIVE_ON_STEPS}.",) if steps else ()
            return refused if load.phases == 3 else (ONLY_ITS_DRIVE, *refused)
        torque = _torque(load, inverter)
        return (*torque, *(() if load.phases == 3 else (ONLY_ITS_STARTER,)))


def _torque(load: Load, inverter: Inverter) -> tuple[str, ...]:
    """Say what a soft start leaves of a motor's torque; nothing where its draw is not known either."""
    direct, soft = (demand(load.model_copy(update={"start": start}), inverter) for start in ("direct", "soft"))
    if isinstance(direct, Missing) or isinstance(soft, Missing):
        return ()
    return (torque_left(load, soft_share(soft.start_VA, direct.start_VA)),)


def _motor_W(load: Load, inverter: Inverter) -> float | Missing:
    """Return what a motor takes on a sine, as a drive gives it [W]."""
    asked = demand(load, inverter.model_copy(update={"waveform": None}))
    return asked if isinstance(asked, Missing) else asked.running_W
