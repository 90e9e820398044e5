"""Whether the 95 % of a forecast hold what the next stretch of time takes, on simulated loads and meters."""

from dataclasses import dataclass

import numpy as np
import pytest
from readings import chunk_of, fed, how
from report_scenes import make_cycle

from shuntbook.analysis.cycles.cycle import Cycles, CycleSummary
from shuntbook.analysis.cycles.cycles import CycleFold
from shuntbook.analysis.forecast.load_from_log import measured_load
from shuntbook.analysis.sureness.meter_figures import Accuracy, MeterFigures

#: One factor of ± 1 % on amps for the whole log, and exact volts.
ONE_PERCENT = MeterFigures(current=Accuracy(1.0, 0.0), voltage=Accuracy(0.0, 0.0))
LOG_H = 4.0


@dataclass(frozen=True)
class Habit:
    """Rests and runs of a load: their means [s], and how far they scatter about these [1]."""

    rest_s: float
    rests_apart: float
    run_s: float
    runs_apart: float

    def spans(self, chance, hours):
        """Give starts and stops of a stretch that begins anywhere: of all runs that touch it, and one before. [s]"""
        at_s, spans = -chance.uniform(20, 30) * (self.rest_s + self.run_s), []
        while at_s < hours * 3600:
            start = at_s + chance.gamma(self.rests_apart**-2, self.rest_s * self.rests_apart**2)
            at_s = start + chance.gamma(self.runs_apart**-2, self.run_s * self.runs_apart**2)
            spans.append((start, at_s))
        first = next(k for k, (_, stop) in enumerate(spans) if stop > 0)
        return spans[max(first - 1, 0) :]


HABITS = {
    "like a clock": Habit(70, 0.05, 20, 0.03),
    "by a tank": Habit(300, 0.2, 90, 0.05),
    "as it pleases": Habit(500, 0.7, 80, 0.3),
    "long rests": Habit(1000, 0.3, 90, 0.05),
}


def running_h(spans, hours):
    """Hours that a load runs within a stretch."""
    return sum(max(min(b, hours * 3600) - max(a, 0.0), 0.0) for a, b in spans) / 3600


def load_of(spans, watts):
    """The load by the runs of a log that were seen whole, every start counted."""
    seen = [(k, start, stop) for k, (start, stop) in enumerate(spans) if 0 < start < LOG_H * 3600]
    cycles = [
        make_cycle(
            start,
            stop - start,
            off_before_s=start - spans[k - 1][1] if spans[k - 1][1] > 0 else None,
            run_W=watts,
            run_A=watts / 25,
            energy_Wh=watts * (stop - start) / 3600,
            charge_Ah=watts / 25 * (stop - start) / 3600,
        )
        for k, start, stop in seen
        if stop <= LOG_H * 3600
    ]
    record = Cycles(tuple(cycles), CycleSummary(len(cycles), None, 0.1, 60.0, 540.0), "current_A", "it", 30.0)
    # What the summary counts is starts, also of the run that the log's end cuts.
    per_h = len(cycles) / (LOG_H * len(cycles) / len(seen))
    record = Cycles(record.cycles, CycleSummary(len(cycles), per_h, 0.1, 60.0, 540.0), "current_A", "it", 30.0)
    return measured_load(record, log="day.parquet", how=how(), figures=ONE_PERCENT)


#: How many logs of each habit and stretch are tried, by day and by night; and of how many the interval must hold it.
TRIED = [(40, 0.85), pytest.param(250, 0.92, marks=pytest.mark.night)]


@pytest.mark.parametrize(("logs", "least"), TRIED)
@pytest.mark.parametrize("habit", HABITS)
@pytest.mark.parametrize("hours", [0.25, 1.0, 8.0])
def test_the_next_stretch_lies_within_it_as_often_as_stated(habit, hours, logs, least):
    """The log's meter is off by one factor; the stretch takes what it takes: short ones hold a run more or less."""
    chance = np.random.default_rng([11, list(HABITS).index(habit)])
    held = []
    for _ in range(logs):
        factor = 1 + chance.uniform(-0.01, 0.01)
        forecast = load_of(HABITS[habit].spans(chance, LOG_H), 800 * factor).amount(hours, "Ah")
        held.append(forecast.holds(32 * running_h(HABITS[habit].spans(chance, hours), hours)))
    # Of 250 at 95 %: 0.92 or more but once in seventy; of 40: 0.85 but once in seventy.
    assert np.mean(held) >= least


def test_no_number_of_runs_makes_the_meter_better():
    """From 40 runs to 4,000 all alike: what is left is the meter's factor and its digit, and not a tenth of it."""
    digit = MeterFigures(current=Accuracy(1.0, 0.0, resolution=1.0), voltage=Accuracy(0.0, 0.0))
    run = make_cycle(0.0, 60.0, 540.0, run_W=800.0, run_A=32.0, energy_Wh=13.5, charge_Ah=0.54)
    halves = {}
    for figures, runs in ((ONE_PERCENT, 40), (ONE_PERCENT, 4000), (digit, 4000)):
        record = Cycles((run,) * runs, CycleSummary(runs, 6.0, 0.1, 60.0, 540.0), "current_A", "it", 30.0)
        amount = measured_load(record, log="x", how=how(), figures=figures).amount(2, "Ah")
        halves[figures, runs] = amount.high - amount.value
    assert halves[ONE_PERCENT, 40] > halves[ONE_PERCENT, 4000] >= 0.95 * 0.01 * 6.48
    # Two levels, each even within a digit, over twelve minutes: 0.2 Ah at the very most, 0.155 in 95 %.
    assert halves[digit, 4000] == pytest.approx(np.hypot(0.155, 0.0616), rel=0.1)


def logged(chance, spans, hours, amps):
    """What a meter of whole amps shows each second, off by one factor, of a load above lights and a fridge. [A]"""
    time_s = np.arange(0.0, hours * 3600)
    running = sum(((time_s >= a) & (time_s < b)).astype(float) for a, b in spans)
    true_A = chance.uniform(2, 4) + amps * running
    return time_s, np.round(true_A * (1 + chance.uniform(-0.01, 0.01)) + chance.normal(0, 0.05, len(time_s)))


@pytest.mark.parametrize("logs", [25, pytest.param(60, marks=pytest.mark.night)])
def test_a_meters_digit_and_factor_are_within_it_from_reading_to_forecast(logs):
    """Logs of a second's readings in whole amps, through the search for runs: nine of ten and more hold the truth."""
    chance, habit, hours = np.random.default_rng(23), HABITS["like a clock"], 2.0
    figures = MeterFigures(current=Accuracy(1.0, 0.0, resolution=1.0), voltage=Accuracy(0.0, 0.0))
    held, without = [], []
    for _ in range(logs):
        amps = chance.uniform(9, 14)
        time_s, shown_A = logged(chance, habit.spans(chance, 1.5), 1.5, amps)
        chunk = chunk_of(time_s, current_A=shown_A, voltage_V=25.0)
        cycles = fed(CycleFold(how(), set(chunk.quantities)), chunk).result()
        truth_Ah = amps * running_h(habit.spans(chance, hours), hours)
        for into, of in ((held, figures), (without, ONE_PERCENT)):
            into.append(measured_load(cycles, log="x", how=how(), figures=of).amount(hours, "Ah").holds(truth_Ah))
    assert np.mean(held) >= 0.9
    assert np.mean(without) < 0.8  # the digit is what it takes
