"""What a start asks that is not that of a motor switched straight on alternating current."""

from __future__ import annotations

from typing import Final

from ..not_known import Missing
from ..site.motor_kinds import SOFT_START, UsualRange, motor_of, turns
from ..site.tables import Load
from ..stats.interval95 import Within
from .modified_wave import SOURCE, more_amps, more_heat, torque

ONLY_ITS_DRIVE: Final = (
    "A usual drive feeds a motor of three phases. A single-phase motor with a start capacitor or a switch inside is "
    "not to be fed by one: it is then another motor, here taken to take as many watts."
)
NO_DRIVE_ON_STEPS: Final = (
    "many drives refuse a modified sine or are damaged by it; ask the drive's maker (common practice, no source)"
)
ONLY_ITS_STARTER: Final = (
    "A soft starter must be made for single-phase motors; one with a start capacitor or a switch inside may stay on "
    "its start winding and burn it. Ask the motor's maker."
)


def soft_start(load: Load, running_VA: float, direct_VA: Within, notes: list[str]) -> tuple[Within, UsualRange]:
    """Return what a motor asks by a soft starter, and its power factor meanwhile. [VA], [1]

    Parameters
    ----------
    running_VA : float
        While it runs. [VA]
    direct_VA : Within
        What it would ask switched straight on. [VA]
    notes : list of str
        What this rests on is added to them.
    """
    times, still = SOFT_START.within, motor_of(load).standstill
    # A starter holds back: no more comes than the motor would draw by itself.
    asked = times.scaled(running_VA)
    asked = Within(*(min(one, other) for one, other in zip(_ends(asked), _ends(direct_VA), strict=True)))
    share = soft_share(asked, direct_VA)
    notes.append(
        f"A soft starter is taken to let {times.low:g} to {times.high:g} times the running draw of '{load.name}' "
        f"through ({SOFT_START.source}); as its setting is."
    )
    notes.append(torque_left(load, share))
    # With less voltage the waves are cut: volt-amperes fall with the voltage, watts with its square.
    low, value = share.low * still.low, (1 + share.value) / 2 * still.value
    return asked, UsualRange(value, low, still.high, f"{still.source}, and less with cut waves")


def soft_share(soft: Within, direct: Within) -> Within:
    """Return the amps of a soft start over those of a direct one: the motor's voltage over its whole one. [1]"""
    value, low, high = soft.value / direct.value, soft.low / direct.high, soft.high / direct.low
    return Within(min(value, 1.0), min(low, 1.0), min(high, 1.0))


def torque_known(load: Load) -> Missing | None:
    """Return what is missing of a plate for what a soft start leaves of a motor's torque; None where nothing is."""
    if load.locked_rotor_A is not None or (load.code_letter is not None and load.hp is not None):
        return None
    return Missing(
        f"word on the torque that a soft start leaves '{load.name}'",
        ("loads.locked_rotor_A", "loads.code_letter"),
        "it falls with the square of the amps, and what it draws switched straight on is not given",
    )


def torque_left(load: Load, share: Within) -> str:
    """Say what is left of a motor's torque, which falls with the square of its voltage and so of its amps."""
    unknown = torque_known(load)
    if unknown is not None:
        return f"{unknown.sentence} Only a try, watched, tells whether it still turns."
    low, high = (100 * each**2 for each in (share.low, share.high))
    return (
        f"That leaves '{load.name}' {low:.0f} to {high:.0f} % of its torque at standstill, which falls with the square "
        "of its amps; only a try, watched, tells whether it still turns."
    )


def direct_current_start_A(load: Load, running_A: float) -> Within | Missing:
    """Return the amps of a load on direct current while it starts, by its plate.

    Without the amps of its motor held still, which no table has, Missing; behind electronics no more than running. [A]
    """
    if not turns(load):
        return Within.exactly(running_A)
    if load.locked_rotor_A is None:
        return Missing(
            f"word on the start of '{load.name}'",
            ("loads.locked_rotor_A", "loads.start"),
            "what a motor for direct current draws before it turns (stalled) is only on its data sheet",
        )
    stalled_A = max(load.locked_rotor_A, running_A)
    # What a starter lets through is its setting: somewhere between the two.
    return (
        Within((running_A + stalled_A) / 2, running_A, stalled_A) if load.start == "soft" else Within.exactly(stalled_A)
    )


def on_modified(load: Load) -> str:
    """Say what an inverter's modified sine does to a load's motor, as it stands within a sentence."""
    times = motor_of(load).start.within
    amps, heat, left = more_amps(times, load.phases), more_heat(times, load.phases), torque(load.phases)
    share = f"{100 * left.low:.0f} to {100 * left.high:.0f}" if load.phases == 1 else f"{100 * left.low:.0f}"
    return (
        f"the motor of '{load.name}' takes {amps.low:.2f} to {amps.high:.2f} times the amps, its windings get "
        f"{heat.low:.1f} to {heat.high:.1f} times the heat, and it starts with {share} % of its torque ({SOURCE})"
    )


def _ends(amount: Within) -> tuple[float, float, float]:
    return amount.value, amount.low, amount.high
