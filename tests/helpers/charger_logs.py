"""Logs with a charger beside the sun, made by hand: whole amps from one hour of a day to another."""

from dataclasses import replace
from datetime import UTC

import numpy as np
from readings import US, fed, how

from shuntbook.analysis.one_log.log_analysis import LogAnalysis
from shuntbook.analysis.one_log.site_folds import SiteFolds
from shuntbook.analysis.readings.chunk import Chunk
from shuntbook.analysis.readings.log_facts import LogFacts
from shuntbook.analysis.site.site import Site

#: 12 June 2026, midnight in UTC, whose clock the logs go by.
MIDNIGHT_US = 1_781_222_400 * US
EVERY_S, BASE_A, VOLTS = 10.0, 3.0, 25.0
HOUR = 3600.0


def a_site(*, array=True, chargers=(("generator", 40.0),), loads=()):
    """A site with an array and a generator."""
    tables = {"name": "place", "bank": {"nominal_V": 24, "capacity_Ah": 400, "charge_efficiency_pct": 100}}
    tables |= {"array": {"power_W": 800}} if array else {}
    tables["chargers"] = [{"name": name, "rated_A": amps} for name, amps in chargers]
    tables["loads"] = [{"name": name, "current_A": amps, "voltage_V": 24} for name, amps in loads]
    return Site.model_validate(tables)


def a_log(from_h, to_h, *flows, gap=None):
    """A log from one hour of the day to another: the base, and flows of so many amps between two hours."""
    second = np.arange(from_h * HOUR, to_h * HOUR, EVERY_S)
    current_A = np.full(len(second), BASE_A)
    for start_h, stop_h, amps in flows:
        on = (second >= start_h * HOUR) & (second < stop_h * HOUR)
        given = amps(second / HOUR) if callable(amps) else amps
        current_A = current_A + np.where(on, given, 0.0)
    if gap is not None:
        measured = (second < gap[0] * HOUR) | (second > gap[1] * HOUR)
        second, current_A = second[measured], current_A[measured]
    time_us = MIDNIGHT_US + np.rint(second * US).astype(np.int64)
    # A meter's last digits: without any scatter everything would be a step.
    current_A = current_A + 0.02 * np.sin(second * 1.7)
    return Chunk(time_us, {"current_A": current_A, "voltage_V": np.full(len(second), VOLTS)})


def reported(chunk, site, *, notes=(), cuts=(), zone=UTC, assumed=False):
    """The report of a log with a site."""
    reading = how(gap_limit_s=60.0, usual_interval_s=EVERY_S)
    facts = LogFacts("a", None, "dc", "instant", 60.0, EVERY_S, "UTC", assumed, zone is None, "", 1, 1, 0, 0)
    marks = tuple((MIDNIGHT_US + round(at_h * HOUR) * US, text) for at_h, text in notes)
    names = set(chunk.quantities)
    folds = SiteFolds(reading, names, marks, site=site, zone=zone)
    analysis = LogAnalysis(replace(facts, markers=marks), reading, names, site=site, site_folds=folds)
    return fed(analysis, chunk, cuts).result()


def told(chunk, site, **more):
    """What is told of where the returned charge of a log came from."""
    return reported(chunk, site, **more).by_site.sources


def sun(hour):
    """What the array gives over the loads: half a sine from 6 to 18 h. [A]"""
    return -15.0 * np.maximum(np.sin(np.pi * (hour - 6) / 12), 0)
