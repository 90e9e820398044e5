"""A forecast as it is asked for, in what a person types; the command and the desk answer from here."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Final

from ...analysis.bank.draw import loaded_bank_V
from ...analysis.cycles.cycles import CycleFold
from ...analysis.equipment.water import tank_plan
from ...analysis.forecast.forecast import Forecast, forecast
from ...analysis.forecast.load_from_log import measured_load
from ...analysis.not_known import Missing
from ...analysis.one_log.watched_load import watched_load
from ...analysis.pump_pulse.pulse import air_doubt
from ...analysis.quality.sign_check import SignFold
from ...analysis.readings.chunk import SECONDS_PER_HOUR
from ...analysis.site.motor_kinds import usual_start_s
from ...analysis.what_if.what_if import WhatIf, what_if
from ...ingest.durations import seconds
from ...ingest.errors import InputError
from ..opening.prepared_log import Corrections, prepared
from ..render.terminal.forecast import forecast_answer
from ..render.terminal.what_if import what_if_answer
from .changes_asked import changes_of

if TYPE_CHECKING:
    from ...analysis.cycles.cycle import Cycles
    from ...analysis.forecast.measured_load import MeasuredLoad
    from ...analysis.site.site import Site
    from ..opening.prepared_log import Prepared
    from ..render.terminal.answer import Reply

#: How long, in place of a time: until the pump's pressure tank is full.
UNTIL_FULL: Final = "full"
_DAY_H: Final = 24.0


@dataclass(frozen=True)
class ForecastAsked:
    """What a forecast is asked for.

    Parameters
    ----------
    load : str
        By its name in the site file.
    how_long : str
        A time such as ``1h30m``, or `UNTIL_FULL`.
    sun : str
        Hours of full sun of the day that is to pay it back, such as ``4.5``; empty for those of the site file.
    measured : Path or None
        A log in which the load ran; its own behaviour then stands in place of its plate.
    drop_spikes : bool
        Whether lone spikes of that log are left out.
    changes : tuple of str
        What would be changed, such as ``tank 300 L``; with any, the answer is what they would do.
    """

    load: str
    how_long: str
    sun: str = ""
    measured: Path | None = None
    drop_spikes: bool = False
    changes: tuple[str, ...] = ()

    @property
    def log(self) -> str | None:
        """The name of the log that was named."""
        return None if self.measured is None else self.measured.name

    def result(self, site: Site) -> Forecast | WhatIf:
        """Return the forecast; with changes what they would do.

        Raises
        ------
        InputError, Refusal
            If something of it cannot be so. An `InputError` has a sentence for each option that is wrong, which begins
            with its name.
        """
        site.load(self.load)  # a name that the site has not is told before a log is read
        sunny, length_s = site, 0.0
        sentences: list[object] = []
        try:
            sunny = _with_sun(site, self.sun)
        except InputError as error:
            sentences += error.args
        try:
            length_s = _until_full_s(site, self.load) if self._until_full else seconds(self.how_long, what="--for")
        except InputError as error:
            sentences += error.args
        try:
            changes = changes_of(self.changes)
        except InputError as error:
            sentences += error.args
        if sentences:
            raise InputError(*sentences)
        seen = None if self.measured is None else self._seen(self.measured, sunny)
        if self._until_full and seen is not None and seen.air_doubt:
            raise InputError(
                "--for: how long the tank takes to fill is not known: by the log its air is in doubt; say how long "
                "instead, such as 15m"
            )
        hours = length_s / SECONDS_PER_HOUR
        if changes:
            return what_if(sunny, self.load, changes, hours=hours, measured=seen)
        return forecast(sunny, self.load, hours=hours, measured=seen)

    def reply(self, result: Forecast | WhatIf) -> Reply:
        """Return what is said of it."""
        if isinstance(result, WhatIf):
            return what_if_answer(result, self.log)
        sun_h = None if not self.sun else hours_of_sun(self.sun)
        return forecast_answer(result, self.log, until_full=self._until_full, sun_h=sun_h)

    @property
    def _until_full(self) -> bool:
        return self.how_long.strip().lower() == UNTIL_FULL

    def _seen(self, path: Path, site: Site) -> MeasuredLoad:
        """Return how the load behaved in a log."""
        ready = prepared(path, site, Corrections(drop_spikes=self.drop_spikes))
        watched = watched_load(site, self.load, ready.how, ready.quantities)
        fold = CycleFold(ready.how, ready.quantities, load=watched.name, expected=watched.expected, drive=watched.drive)
        sign = SignFold.of(ready.how, ready.quantities)
        ready.feed(fold, sign)
        seen = sign.result()
        if seen is not None and seen.plausible is False:
            raise refusal_of_swapped("--measured", path)
        return behaviour_in(fold.result(), self.load, ready, site)


def refusal_of_swapped(option: str, path: Path) -> InputError:
    """Return why nothing is foretold by a log in which draw and return seem swapped."""
    # What looks like runs are then the rests between them: a forecast from these would be any figure.
    return InputError(
        f"{option}: {path}: draw and return seem to be swapped, the voltage rises with the draw; turn the log first "
        f"with 'shuntbook convert {path} --reverse-sign --out OTHER', and forecast by OTHER"
    )


def behaviour_in(cycles: Cycles, load: str, ready: Prepared, site: Site) -> MeasuredLoad:
    """Return how a load behaved by its runs in a log; Refusal where it shows no whole one."""
    # At the bank amps alone may have been read: their watts need volts, those that the site file lets one expect.
    at_bank = ready.how.side == "dc"
    seen = measured_load(
        cycles,
        log=ready.facts.name,
        how=ready.how,
        figures=ready.figures,
        start_s=usual_start_s(site.load(load), []),
        assumed_V=loaded_bank_V(site) if at_bank else None,
    )
    return replace(seen, air_doubt=air_doubt(site, site.load(load), cycles, ready.how))


def hours_of_sun(text: str) -> float:
    """Return the hours of full sun that a person typed, with a decimal point or comma. [h]

    `InputError` if it is no number above 0 and up to a day's 24.
    """
    try:
        hours = float(text.strip().lower().removesuffix("h").replace(",", "."))
    except ValueError:
        hours = 0.0
    if not 0 < hours <= _DAY_H:
        raise InputError(f"--sun: {text!r} is no number of hours of full sun; write it like 4.5, at most 24")
    return hours


def _with_sun(site: Site, sun: str) -> Site:
    """Return the site on a day with so many hours of full sun."""
    if not sun:
        return site
    hours = hours_of_sun(sun)
    if site.array is None:
        raise InputError("--sun: the site file has no array for the sun to shine on; add [array], or leave it out")
    return site.model_copy(update={"array": site.array.model_copy(update={"sun_hours_h": hours})})


def _until_full_s(site: Site, load: str) -> float:
    """Return how long a pump runs until its pressure tank is full, from cut-in, with no water drawn meanwhile. [s]"""
    if site.water is None or site.load(site.water.load).name != site.load(load).name:
        raise InputError(
            f"--for: {load!r} fills no tank in the site file, so it is never 'full'; say how long instead, such as 15m"
        )
    plan = tank_plan(site.water)
    if isinstance(plan, Missing):
        raise InputError(f"--for: how long the tank takes to fill is not known. {plan.sentence}")
    if plan.fill_s is None:
        raise InputError(
            "--for: how long the tank takes to fill is not known; add the pump's flow (water.flow_L_per_min or "
            "water.flow_gal_per_min), or say how long instead, such as 15m"
        )
    return plan.fill_s
