"""What changes would do: the forecast of a load before and after, the figures side by side, and what was not judged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from ..bank.charger_time import charger_fits
from ..equipment.demand import Demand, demand
from ..equipment.judged import worst
from ..equipment.water import PRECHARGE_BELOW_KPA, below_cut_in
from ..forecast.forecast import Forecast, forecast
from ..forecast.measured_load import MeasuredLoad
from ..health.limits import limits_for
from ..not_known import Missing
from ..site.site import Load, Site
from ..site.units import KPA_PER_PSI, SI, DisplayUnits
from .cables import CableChange, cable_of
from .changes import (
    BankChange,
    InverterChange,
    PrechargeChange,
    PressureChange,
    Setup,
    SystemChange,
    TankChange,
    UseChange,
    make,
)
from .charger_change import ChargerChange
from .figures import ChangedFigure, figures_of
from .load_after import factors, load_after
from .sizes import BankFor, TankFor
from .start_change import StartChange
from .tank_runs import TankRuns, tank_runs

_SAME_LOSSES: Final = (
    "The other inverter is taken to lose what the one that is there loses; ask with its own, such as "
    '"{}, 92 %, idle 8 W".'
)
_SAME_STOP: Final = "The other inverter is taken to stop at the voltage of the one that is there."
_OTHER_VOLTS: Final = (
    "Cells of another kind stand at other volts, so the same watts are other amps: by what is usual of both kinds."
)
_ASK_CABLE: Final = ' Ask also for "cable".'
_OTHER_CELLS: Final = (
    "Cells of another kind want chargers, cut-offs and protection set for them, and fuses judged anew: what theirs "
    "drive into a short circuit is not known."
)
_BY_PLATE: Final = (
    "The log's starts are of the motor as it is started now; what another start makes of them is by its plate, or by "
    "what is usual where that says too little."
)
_DRIVE: Final = (
    "What a drive saves by running slower is not reckoned with; what it loses itself is, 2 to 5 % of the watts (common "
    "practice, no source)."
)
_OF_THE_TANK: Final = (TankChange, TankFor, PrechargeChange, PressureChange)
#: What leaves a tank with its air as it is written, whatever it was before.
_MENDS: Final = (TankChange, TankFor, PrechargeChange)
_PER_DAY_H: Final = 24.0


@dataclass(frozen=True)
class WhatIf:
    """What some changes would do to a load.

    Parameters
    ----------
    changes : tuple of str
        As they were asked for.
    before, after : Forecast
        Of the system as it is, and with the changes made.
    figures : tuple of ChangedFigure
        Side by side, also those that do not change.
    runs : TankRuns or Missing
        How a pump with a pressure tank runs before and after.
    not_judged : tuple of Missing
        Changes that nothing is known about, left out of `after`.
    sizes : tuple of str
        Answers to changes that ask for a size, in plain sentences.
    amiss : tuple of str
        What does not go together in the changed system, with what to ask for as well.
    assumptions : tuple of str
        What the comparison rests on beyond the forecasts.
    shown : DisplayUnits
        The site's.
    """

    changes: tuple[str, ...]
    before: Forecast
    after: Forecast
    figures: tuple[ChangedFigure, ...]
    runs: TankRuns | Missing
    not_judged: tuple[Missing, ...]
    sizes: tuple[str, ...]
    amiss: tuple[str, ...]
    assumptions: tuple[str, ...]
    shown: DisplayUnits = SI

    @property
    def load(self) -> str:
        """The load that is asked about."""
        return self.before.load

    @property
    def nothing_judged(self) -> bool:
        """Whether nothing is known of any of the changes."""
        return len(self.not_judged) == len(self.changes)

    def figure(self, code: str) -> ChangedFigure | None:
        """Return one of the figures; None where it is not known."""
        return next((each for each in self.figures if each.code == code), None)


def what_if(
    site: Site, load_name: str, changes: Sequence[SystemChange], *, hours: float, measured: MeasuredLoad | None = None
) -> WhatIf:
    """Say what changes, all made at once, would do to a load in the `hours` to come.

    `measured` is how it behaved in a log; without it the plate speaks. Refusal as `forecast` has it.
    """
    load = site.load(load_name)
    before = forecast(site, load_name, hours=hours, measured=measured)
    # What asks for a size wants the system that the other changes make: they are made first.
    setup, unknown = make([change for change in changes if not _asks_for_size(change)], Setup(site, load))
    use = _times_used(setup.load, changes, measured)
    day_Wh = _day_Wh(setup, measured)
    setup = replace(setup, day_Wh=None if day_Wh is None else use * day_Wh if measured else day_Wh)
    sizing = [change for change in changes if _asks_for_size(change)]
    made, unsized = make(sizing, setup)
    runs = tank_runs(site, made.site, measured, use, mends=any(isinstance(each, _MENDS) for each in changes))
    if site.water is None or site.load(site.water.load).name != load.name:
        runs = Missing("word on the pump's runs", (), f"'{load.name}' fills no tank in the site file")
    elif made.load.start == "drive":
        # It follows the use at a speed of its own: neither a run nor a start is what it was.
        runs = Missing("word on the pump's runs", (), "behind a drive it follows the use instead of filling the tank")
    # By the plate the changed site says it all; a log has to be carried over to it.
    by = None if measured is None else factors(site, made.site, load, measured, runs, use)
    seen = None if measured is None or by is None else load_after(measured, by)
    after = forecast(made.site, load_name, hours=hours, measured=seen)
    # The cable keeps its name through any change: by it both of them are found.
    cable = cable_of(setup)
    return WhatIf(
        tuple(change.text for change in changes),
        before,
        after,
        figures_of(
            (site, before),
            (made.site, after),
            runs,
            limits_for(site, load),
            None if isinstance(cable, Missing) else cable.name,
        ),
        runs,
        (*unknown, *unsized),
        tuple(_sizes(sizing, setup)),
        (
            *_other_cells(site, made.site),
            *_start_unknown(changes, after),
            *_starts_amiss(changes, Setup(site, load)),
            *_cables_amiss(before, after, None if isinstance(cable, Missing) else cable.name),
            *_tank_amiss(changes, made, runs),
            *_charger_amiss(changes, made),
        ),
        (*_assumed(changes, setup, measured), *(runs.assumptions if isinstance(runs, TankRuns) else ())),
        site.shown,
    )


def _asks_for_size(change: SystemChange) -> bool:
    return isinstance(change, TankFor | BankFor) or (
        isinstance(change, CableChange) and change.area_mm2 is None and change.gauge_AWG is None
    )


def _day_Wh(setup: Setup, seen: MeasuredLoad | None) -> float | None:
    """Return what the load takes in a day at the bank; None where nothing says how much of it it runs. [Wh]"""
    if seen is None and setup.load.duty_pct is None:
        return None
    return forecast(setup.site, setup.load.name, hours=_PER_DAY_H, measured=seen).taken.energy_Wh.value


def _times_used(changed: Load, changes: Sequence[SystemChange], seen: MeasuredLoad | None) -> float:
    """Return how many times as much the load is used after the changes. [1]"""
    # By the plate alone the changed share of the day says it all.
    if seen is None or changed.duty_pct is None or not any(isinstance(change, UseChange) for change in changes):
        return 1.0
    return changed.duty_pct / (100 * seen.duty.value)


def _sizes(changes: Sequence[SystemChange], setup: Setup) -> list[str]:
    """Return the answers to changes that ask for a size, in the system that the other changes make."""
    sizing = [each for each in changes if isinstance(each, TankFor | BankFor | CableChange) and _asks_for_size(each)]
    return [text for each in sizing if (text := each.answer(setup))]


def _tank_amiss(changes: Sequence[SystemChange], made: Setup, runs: TankRuns | Missing) -> list[str]:
    """Say why a changed tank's runs are not known, and where its air does not go with its switch."""
    water, asked = made.site.water, any(isinstance(change, _OF_THE_TANK) for change in changes)
    if not asked or water is None or water.load != made.load.name:
        return []
    return [*([runs.sentence] if isinstance(runs, Missing) else []), *precharge_amiss(made.site)]


def _other_cells(site: Site, changed: Site) -> list[str]:
    """Say what has to change with the kind of cells; charging one kind as another can set it on fire."""
    return [] if site.bank.chemistry == changed.bank.chemistry else [_OTHER_CELLS]


def _charger_amiss(changes: Sequence[SystemChange], made: Setup) -> list[str]:
    """Say where a charger puts in more than suits the bank."""
    if not any(isinstance(change, ChargerChange) for change in changes):
        return []
    fits = (charger_fits(made.site.bank, charger) for charger in made.site.chargers[:1])
    return [f"The charger: {fit.sentence}." for fit in fits if fit.verdict != "holds"]


def _cables_amiss(before: Forecast, after: Forecast, own: str | None) -> list[str]:
    """Say which cables or fuses are worse with the changes and do not fail, which is told before all else.

    `own` is the load's cable, for which another can be asked.
    """
    sentences = []
    for was, will in zip(before.conductors, after.conductors, strict=True):
        if will.failing or worst(was.verdict, will.verdict) == was.verdict:
            continue
        why = next((each.sentence for each in will.screened if each.verdict == will.verdict), "Its load is not known.")
        sentences.append(
            f"Cable and fuse '{will.conductor}' are then {will.verdict}: {why[0].lower()}{why[1:]}"
            + (_ASK_CABLE if will.conductor == own else "")
        )
    return sentences


def _start_unknown(changes: Sequence[SystemChange], after: Forecast) -> list[str]:
    """Say how to ask for an inverter whose surge rating decides."""
    starting = None if after.inverter is None else after.inverter.alone.starting
    asked = next((change for change in changes if isinstance(change, InverterChange)), None)
    if asked is None or not isinstance(starting, Missing):
        return []
    return [
        f"Whether it starts the load is not judged: {starting.because}; ask with its surge, such as "
        f'"{asked.text}, surge 6000 VA for 5 s".'
    ]


def _starts_amiss(changes: Sequence[SystemChange], setup: Setup) -> list[str]:
    """Say for which motors another start is made."""
    return [text for change in changes if isinstance(change, StartChange) for text in change.cautions(setup)]


def _assumed(changes: Sequence[SystemChange], setup: Setup, seen: MeasuredLoad | None) -> list[str]:
    sentences: list[str] = []
    for change in changes:
        if isinstance(change, CableChange) and _asks_for_size(change):
            sentences += change.reasons(setup)
    for change in changes:
        if isinstance(change, InverterChange):
            unsaid = change.efficiency_pct is None
            sentences += [*([_SAME_LOSSES.format(change.text)] if unsaid else []), _SAME_STOP]
    if seen is not None and any(isinstance(change, BankChange) and change.chemistry for change in changes):
        sentences.append(_OTHER_VOLTS)
    if any(isinstance(change, StartChange) and change.start == "drive" for change in changes):
        sentences.append(_DRIVE)
    if any(isinstance(change, StartChange) for change in changes):
        sentences += [*_of_start(setup), *([_BY_PLATE] if seen is not None else [])]
    return sentences


def _of_start(setup: Setup) -> tuple[str, ...]:
    """Return what the changed start rests on."""
    inverter = setup.site.inverter_of(setup.load)
    asked = None if inverter is None else demand(setup.load, inverter)
    return asked.assumptions if isinstance(asked, Demand) else ()


def precharge_amiss(site: Site) -> list[str]:
    """Say where the air of the changed tank does not go with its switch."""
    water = site.water
    if water is None or water.air_kPa is None or water.start_kPa is None:
        return []
    if abs(water.start_kPa - water.air_kPa - PRECHARGE_BELOW_KPA) <= KPA_PER_PSI:
        return []
    shown = water.shown
    right = shown.of_pressure(max(water.start_kPa - PRECHARGE_BELOW_KPA, 0.0))
    return [
        f"The pre-charge is then {shown.of_pressure(water.air_kPa)}; it should be about {below_cut_in(shown)}: "
        f'ask also for "pre-charge {right}".'
    ]
