"""A note beside which the days' figures step is told as a change by itself; amid a slide, or by chance, none is."""

from dataclasses import replace

import numpy as np
import pytest
from day_logs import RECHARGED, us
from logs_of_days import DAY_US, day_log, days_from, zone_of

from shuntbook.analysis.several_logs.day_figures import DayFigures
from shuntbook.analysis.several_logs.day_trends import Day, DaySteps
from shuntbook.analysis.several_logs.over_logs import over_logs

NOTHING = dict.fromkeys(DayFigures.__dataclass_fields__)
NAMES = ("starts_per_h", "drawn_Wh_per_h", "busiest_hour", "duty_cycle", "median_run_s", "median_rest_s", "run_W")


def days_with(**figures):
    """Days with these figures, an array each, all of them read for 24 hours."""
    count = len(next(iter(figures.values())))
    starts = [us(f"{day}T00:00") for day in days_from("2026-06-01", count)]
    rows = ({name: float(x[k]) for name, x in figures.items()} for k in range(count))
    return [
        Day(day, at, at + DAY_US, DayFigures(**NOTHING | {"measured_s": 86400.0} | row))
        for day, at, row in zip(days_from("2026-06-01", count), starts, rows, strict=True)
    ]


def noon(days, k):
    """The middle of a day. [us]"""
    return days[k].start_us + DAY_US // 2


@pytest.mark.parametrize("count", [9, 30, *(pytest.param(n, marks=pytest.mark.night) for n in (12, 20, 90))])
@pytest.mark.parametrize("slope", [0.0, 3.0])
def test_chance_and_slides_make_no_note_a_change(count, slope):
    """Seven figures that scatter, one or all of them sliding, and a note on each of five days: 95 % of sites at least
    name none of them."""
    rng = np.random.default_rng(count)
    silent = []
    for _ in range(200):
        figures = {name: rng.normal(100, 10, count) + slope * np.arange(count) for name in NAMES}
        days = days_with(**figures)
        notes = [(noon(days, k), f"note {k}") for k in rng.choice(count, 5, replace=False)]
        silent.append(DaySteps(days).clearest(notes) is None)
    assert np.mean(silent) >= 0.95


def test_a_rise_and_the_recovery_after_a_note():
    """Runs that shorten from 76 s to 12 s and are long again after the note: the note is named, with both medians."""
    rng = np.random.default_rng(1)
    run_s = np.concatenate([np.full(9, 76.0), np.linspace(70, 12, 12), [60.0], np.full(8, 76.0)])
    days = days_with(median_run_s=run_s * rng.normal(1, 0.02, 30), run_W=rng.normal(760, 5, 30))
    notes = [(noon(days, 4), "crates washed"), (noon(days, 15), "fence mended"), (noon(days, 21), RECHARGED)]
    steps = DaySteps(days)
    assert steps.clearest(notes) == notes[2]
    assert steps.clearest(notes[:2]) is None
    (step,) = steps.at(notes[2][0])
    assert (step.code, step.before, step.after) == (
        "median_run_s",
        pytest.approx(17, abs=2),
        pytest.approx(76, abs=3),
    )


def test_notes_of_one_day_are_named_together():
    """Nobody can tell which of two notes of a day it was."""
    rng = np.random.default_rng(2)
    days = days_with(starts_per_h=np.concatenate([rng.normal(30, 1, 10), rng.normal(3, 0.3, 10)]))
    at_us = days[9].stop_us - DAY_US // 4
    notes = [(at_us, "valve shut"), (at_us + 60_000_000, "tank recharged")]
    # The day of the notes has part in neither side.
    assert DaySteps(days).clearest(notes) == (at_us, "valve shut; tank recharged")


@pytest.mark.parametrize("at", [1, 18])
def test_too_few_days_on_one_side_tell_nothing(at):
    """Three days are needed on either side."""
    rng = np.random.default_rng(3)
    level = np.where(np.arange(20) <= at, 30.0, 3.0)
    days = days_with(starts_per_h=level * rng.normal(1, 0.02, 20))
    assert DaySteps(days).clearest([(noon(days, at), "changed")]) is None
    assert DaySteps(days).at(noon(days, at)) == ()


def test_logs_with_such_a_note_are_set_before_and_after_it():
    """As if a person had named it: trends on either side, the steps; without the note the halves of the logs."""
    rng = np.random.default_rng(4)
    dates = days_from("2026-06-01", 20)
    at_us = us(f"{dates[11]}T10:40")
    logs = []
    for k, day in enumerate(dates):
        starts = np.sort(rng.uniform(6, 22, rng.poisson(90 if k < 11 else 20)))
        logs.append(day_log(day, starts, run_s=20.0 if k < 11 else 70.0))
    noted = list(logs)
    noted[11] = replace(logs[11], facts=replace(logs[11].facts, markers=((at_us, RECHARGED),)))
    over = over_logs(noted, zone_of)
    assert (over.change.named, over.change.at_us, over.change.text) == (True, at_us, RECHARGED)
    (run,) = [step for step in over.change.steps if step.code == "median_run_s"]
    assert (run.before, run.after) == (20.0, 70.0)
    assert {trend.stretch for trend in over.trends} == {"before", "after"}
    without = over_logs(logs, zone_of)
    assert (without.change.named, without.change.steps) == (False, ())
    assert {trend.stretch for trend in without.trends} == {"all"}
