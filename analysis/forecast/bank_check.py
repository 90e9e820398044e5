"""The word on a site's bank: by the plates of its loads, by a load's own behaviour, or by a log."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import isfinite
from statistics import median
from typing import TYPE_CHECKING

from ..bank.draw import BankDraw, amps, bank_draw, loaded_bank_V, voltage_said
from ..bank.limits import Asked, BankCheck, charging_judged, check_bank
from ..bank.resistance import Resistance, resistance_of_cycles, stated_resistance
from ..bank.sag import Sag, sag, sag_of_starts, through_cable
from ..bank.seen_starts import SeenStarts, seen_starts
from ..cycles.cycle import Cycles
from ..equipment.bank_voltage import voltage_floor
from ..equipment.demand import starting
from ..equipment.inverter_losses import losses_of
from ..equipment.plate_power import supply_V
from ..ledger.ledger import Ledger
from ..not_known import Missing
from ..readings.measured_span import HowRead
from ..site.motor_kinds import usual_start_s
from ..site.site import Load, Site
from ..stats.interval95 import Within
from ..sureness.meter_figures import MeterFigures

if TYPE_CHECKING:
    from .measured_load import MeasuredLoad

_SAG = "word on the sag at start"
_DIRECT = "A motor on the DC side is taken to draw its plate's amps at a start; at falling voltage it draws fewer."


def bank_by_plates(site: Site, loads: Sequence[Load], *, returned_A: float | None = None) -> BankCheck:
    """Judge the bank for loads by their plates, all of them running while the hardest starts.

    `returned_A` is the highest that a log shows going into the bank.
    """
    draw, ohms, before_V = bank_draw(site, loads), stated_resistance(site.bank), _before_V(site)
    running_A = draw.running_W / loaded_bank_V(site) if draw.running_W > 0 else None
    direct_A = _direct_A(site, loads, draw)
    hardest = next((load for load in loads if load.name == draw.hardest), None)
    starting_A: Within | Missing | None = direct_A
    if starting_A is None:
        starting_A = draw.unknown_start if draw.starting_W is None else amps(site, draw.starting_W, before_V, ohms)
    left_out = draw.left_out
    # Beside a start that is known it makes of that one a lower bound.
    if draw.unknown_start is not None and starting_A is not draw.unknown_start:
        left_out = (*left_out, draw.unknown_start)
    assumptions = (*draw.assumptions, voltage_said(site), *((_DIRECT,) if direct_A else ()))
    asked = Asked(
        None if running_A is None else Within.exactly(running_A),
        starting_A,
        draw.start_s,
        "" if hardest is None else starting(hardest),
        None if direct_A else draw.starting_W,
        left_out,
        assumptions=assumptions if running_A is not None else (),
    )
    sag_planned = _sag_by_plates(site, loads, draw, before_V, direct_A, starting_A)
    check = check_bank(
        site.bank,
        asked,
        sag_planned,
        ohms,
        before_V=before_V,
        charging=charging_judged(site.bank, site.array, returned_A, chargers=site.chargers),
    )
    switches_off = any(not isinstance(voltage_floor(site, load), Missing) for load in loads)
    return replace(check, volts_open=switches_off and isinstance(sag_planned, Missing))


def _direct_A(site: Site, loads: Sequence[Load], draw: BankDraw) -> Within | None:
    """Return the amps while a motor on the bank itself starts; None where the hardest start is on an inverter. [A]"""
    # An inverter asks for more amps as the voltage falls, since it gives the same watts; a motor that stands still is
    # a resistance, and asks for fewer: those of its plate are the most.
    hardest = next((load for load in loads if load.name == draw.hardest), None)
    if hardest is None or hardest.inverter is not None or draw.starting_W is None:
        return None
    return draw.starting_W.scaled(1 / supply_V(hardest, site))


def _sag_by_plates(
    site: Site,
    loads: Sequence[Load],
    draw: BankDraw,
    before_V: float,
    direct_A: Within | None,
    starting_A: Within | Missing | None,
) -> Sag | Missing:
    load = next((load for load in loads if load.name == draw.hardest), loads[0] if loads else None)
    if load is None:
        return Missing(_SAG, ("loads",), "the site file has no load")
    if draw.unknown_start is not None:
        return Missing(_SAG, draw.unknown_start.add, draw.unknown_start.because)
    ohms, limit = stated_resistance(site.bank), voltage_floor(site, load)
    if isinstance(ohms, Missing):
        return Missing(_SAG, ohms.add, ohms.because)
    asked_W = None if direct_A else draw.starting_W or Within.exactly(draw.running_W)
    planned = sag(before_V, ohms.mohm, limit, extra_A=direct_A, extra_W=asked_W)
    if isinstance(planned, Missing):
        return planned
    planned = replace(planned, assumptions=(*ohms.assumptions, *planned.assumptions))
    return through_cable(planned, site, load, starting_A)


def _before_V(site: Site, seen: MeasuredLoad | None = None) -> float:
    """Return the voltage before a start: as measured, as rested, else the nominal one, which is on the low side."""
    if seen is not None and seen.before_V is not None:
        return seen.before_V
    return site.bank.rested_V or site.bank.nominal_V


def bank_by_runs(site: Site, load: Load, seen: MeasuredLoad, running_A: float) -> BankCheck:
    """Judge the bank for a load by its own behaviour in a log, and nothing else drawing.

    `running_A` is what it takes from the bank while running.
    """
    # What the log shows goes before the site file, here and below: resistance, draw, starts.
    ohms: Resistance | Missing = seen.resistance
    if isinstance(ohms, Missing):
        ohms = stated_resistance(site.bank)
    before_V = _before_V(site, seen)
    running = seen.run_A if seen.side == "dc" and seen.run_A is not None and isfinite(seen.run_A.high) else None
    # A start can be whole in its volts where single readings of amps are too far apart to be.
    whole = seen.start_resolved or (isinstance(seen.starts, SeenStarts) and seen.starts.whole)
    asked = Asked(
        running or Within.exactly(running_A),
        _starting_A(site, load, seen, whole, before_V, ohms),
        usual_start_s(load, []),
        starting(load),
        seen_in_part=not whole,
    )
    charging = charging_judged(site.bank, site.array, chargers=site.chargers)
    at_start = through_cable(_sag_by_runs(site, load, seen, ohms), site, load, asked.starting_A)
    return check_bank(site.bank, asked, at_start, ohms, before_V=before_V, charging=charging)


def _starting_A(
    site: Site, load: Load, seen: MeasuredLoad, whole: bool, before_V: float, ohms: Resistance | Missing
) -> Within | Missing:
    """Return the amps of a start as they were seen; the highest of all where each was seen in part. [A]"""
    if seen.side == "ac":
        inverter = site.inverter_of(load)
        if not whole or seen.peak_W is None or inverter is None:
            return Missing("word on the amps of a start", (), f"the readings of {seen.log} are too far apart for it")
        return amps(site, Within.exactly(losses_of(inverter).dc_W(seen.peak_W)), before_V, ohms)
    if seen.start_A is None:
        return Missing("word on the amps of a start", (), f"{seen.log} shows none in amps")
    return seen.start_A if seen.start_resolved else Within.exactly(seen.start_A.high)


def _sag_by_runs(site: Site, load: Load, seen: MeasuredLoad, ohms: Resistance | Missing) -> Sag | Missing:
    """Return the sag at the load's start by the log's starts."""
    limit = voltage_floor(site, load)
    # Volts that were seen to fall come first; then amps of a start through the resistance; then, behind an inverter,
    # watts through its losses.
    if isinstance(seen.starts, SeenStarts):
        return sag_of_starts(seen.starts, limit)
    if isinstance(ohms, Missing) or not seen.start_resolved:
        return seen.starts
    before_V = _before_V(site, seen)
    if seen.start_A is not None:
        return sag(before_V, ohms.mohm, limit, extra_A=seen.start_A)
    inverter = site.inverter_of(load)
    if seen.peak_W is None or inverter is None:
        return seen.starts
    return sag(before_V, ohms.mohm, limit, extra_W=Within.exactly(losses_of(inverter).dc_W(seen.peak_W)))


def starts_of_log(load: Load | None, cycles: Cycles, figures: MeterFigures, how: HowRead) -> SeenStarts | Missing:
    """Return what the starts of a log did to the bank's voltage."""
    start_s = 0.0 if load is None else usual_start_s(load, [])
    interval_s, sampling = how.usual_interval_s, how.sampling
    return seen_starts(
        cycles.cycles,
        figures.voltage,
        start_s=start_s,
        interval_s=interval_s,
        sampling=sampling,
        instants=figures.instants,
    )


def sag_of_log(
    site: Site, load: Load | None, cycles: Cycles, starts: SeenStarts | Missing, ohms: Resistance | Missing
) -> Sag | Missing:
    """Return the sag at the next start, by those of a log; without any there is none to tell it by."""
    if load is None:
        return Missing(_SAG, ("loads",), "no load was looked for")
    limit = voltage_floor(site, load)
    if isinstance(starts, SeenStarts):
        return sag_of_starts(starts, limit)
    if isinstance(limit, Missing):
        return limit
    # No volts of a start were seen: its amps through the resistance, from the lowest voltage before any start.
    seen_A = [cycle.surge_A for cycle in cycles.cycles if cycle.surge_resolved and cycle.surge_A is not None]
    before_V = [cycle.before_V for cycle in cycles.cycles if cycle.before_V is not None]
    if isinstance(ohms, Missing) or not seen_A or not before_V:
        return starts
    return sag(min(before_V), ohms.mohm, limit, extra_A=Within(median(seen_A), min(seen_A), max(seen_A)))


def bank_by_log(
    site: Site,
    load: Load | None,
    cycles: Cycles,
    ledger: Ledger,
    figures: MeterFigures,
    how: HowRead,
    *,
    returned_A: float,
) -> BankCheck:
    """Judge the bank by a log of a meter on it: by what it gave, and running also by all plates together.

    `load` is that whose runs were sought, `returned_A` the highest that went into the bank.
    """
    planned = bank_by_plates(site, site.loads, returned_A=returned_A)
    surges = [cycle.surge_A for cycle in cycles.cycles if cycle.surge_A is not None]
    # Without a start seen there is nothing a log knows better than the plates.
    if load is None or not surges:
        return planned
    ohms = resistance_of_cycles(cycles.cycles, current=figures.current, voltage=figures.voltage)
    if isinstance(ohms, Missing):
        ohms = stated_resistance(site.bank)
    starts = starts_of_log(load, cycles, figures, how)
    resolved = all(cycle.surge_resolved for cycle in cycles.cycles)
    # Other loads may have drawn more than any start of this one: the bank gave it, so it is what was asked.
    highest_A = max(*surges, ledger.current.highest or 0.0)
    asked = Asked(
        _running_A(site, cycles, ledger),
        Within(median(surges), min(surges), highest_A) if resolved else Within.exactly(highest_A),
        usual_start_s(load, []),
        "at most in this log",
        seen_in_part=not (resolved or (isinstance(starts, SeenStarts) and starts.whole)),
    )
    at_start = through_cable(sag_of_log(site, load, cycles, starts, ohms), site, load, asked.starting_A)
    charging = charging_judged(site.bank, site.array, returned_A, chargers=site.chargers)
    return check_bank(site.bank, asked, at_start, ohms, before_V=_before_V(site), charging=charging)


def _running_A(site: Site, cycles: Cycles, ledger: Ledger) -> Within | None:
    """Return the draw that lasts: as seen, and up to what all loads together take by their plates. [A]"""
    running = [cycle.run_A for cycle in cycles.cycles if cycle.run_A is not None]
    seen_A = max(median(running) if running else 0.0, ledger.current.sustained or 0.0)
    if seen_A <= 0:
        return None
    # Not all loads need have run in the log: what they ask together by their plates is the upper end.
    planned_A = bank_draw(site, site.loads).running_W / loaded_bank_V(site)
    return Within(seen_A, seen_A, max(seen_A, planned_A))
