"""What feeds a load and does not suit it: direct current, one phase, a modified sine."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from ..equipment.motor_start import NO_DRIVE_ON_STEPS, on_modified
from ..site.motor_kinds import TURNING, turns
from ..site.site import Site
from ..site.tables import Inverter, Load
from .remark import Oddity, given, odd

#: What is of alternating current alone.
_OF_ALTERNATING: Final = ("power_factor", "code_letter", "capacitor")


def feeding(load: Load, site: Site) -> Iterator[Oddity]:
    """Name what a load is fed with and cannot run on, or runs worse on."""
    inverter = site.inverter_of(load)
    yield from _kind_of_motor(load)
    yield from _start_winding(load)
    if inverter is None:
        yield from _on_the_bank(load)
        return
    yield from _three_phases(load, inverter)
    if inverter.waveform == "modified":
        yield from _modified(load, inverter)


def _kind_of_motor(load: Load) -> Iterator[Oddity]:
    keys = given(load, "capacitor", "start")
    if load.kind not in TURNING and keys:
        yield odd(
            f"'{load.name}' has no motor by its kind, so {' and '.join(keys)} say nothing; check kind.",
            (load, ("kind", *keys)),
        )
    if load.phases == 3 and load.capacitor not in (None, "none"):
        yield odd(
            f"'{load.name}' is three-phase and has a capacitor by the file; only single-phase motors have one.",
            (load, "phases capacitor"),
        )


def _start_winding(load: Load) -> Iterator[Oddity]:
    """Name a motor whose start winding a starter or a drive may leave on."""
    if load.kind not in TURNING or load.phases == 3 or load.capacitor in (None, "run"):
        return
    if load.start in ("soft", "drive"):
        what = "a soft starter" if load.start == "soft" else "a drive"
        yield odd(
            f"'{load.name}' has a start winding by its capacitor, and {what} may leave that on and burn it; ask the "
            "motor's maker (common practice, no source).",
            (load, "start capacitor"),
        )


def _on_the_bank(load: Load) -> Iterator[Oddity]:
    if load.phases == 3 and load.start != "drive":
        yield odd(
            f"'{load.name}' is three-phase but on no inverter; give its inverter, or start = \"drive\" where a "
            "controller on the bank runs it.",
            (load, "inverter phases start"),
        )
    for key in given(load, *_OF_ALTERNATING):
        yield odd(
            f"'{load.name}' is on the bank, and direct current knows no {key}; give its inverter, or leave it out.",
            (load, ("inverter", key)),
        )


def _three_phases(load: Load, inverter: Inverter) -> Iterator[Oddity]:
    # That one phase does not do is told with the inverter's other words; here what is to be looked up.
    if load.phases == 3 and load.start != "drive" and inverter.phases is None:
        yield odd(
            f"'{load.name}' is three-phase; an inverter of one phase runs it only through a drive. Write phases = 3 "
            f"for '{inverter.name}' if it gives three, or start = \"drive\" for '{load.name}' if there is one.",
            (load, "phases start"),
            (inverter, "phases"),
        )


def _modified(load: Load, inverter: Inverter) -> Iterator[Oddity]:
    where, keys = f"'{inverter.name}' gives a modified sine", ((inverter, "waveform"), (load, "kind"))
    if turns(load):
        hot = " Its run capacitor gets hot as well and may fail." if load.capacitor in ("run", "both") else ""
        yield odd(
            f"{where}: {on_modified(load)}.{hot} Watch how hot it gets, or feed it with a sine.",
            *keys,
        )
    elif load.kind in TURNING:
        yield odd(
            f"{where}, and '{load.name}' is behind a drive: {NO_DRIVE_ON_STEPS}.",
            *keys,
        )
    elif load.kind == "electronics":
        yield odd(
            f"{where}: power supplies such as that of '{load.name}' may hum, get hot or refuse it; ask its maker "
            "(common practice, no source).",
            *keys,
        )
