"""Stationary logs of an invented pump, a fridge and a cloudy array, cut in two: what chance alone makes differ.

``python tests/tools compare_scenes [PAIRS]`` prints how often each figure shows no difference.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace

import numpy as np
from load_scenes import Load
from readings import T0_US, US, chunk_of, how
from report_scenes import make_log

from shuntbook.analysis.charge.between_notes import MarkedFold
from shuntbook.analysis.one_log.log_analysis import LogAnalysis
from shuntbook.analysis.several_logs.compare import compare_logs
from shuntbook.analysis.several_logs.compare_rates import even_cuts
from shuntbook.analysis.several_logs.compared import ComparedLog
from shuntbook.analysis.sureness.meter_figures import Accuracy, MeterFigures

EVERY_S, HALF_S = 2.0, 3 * 3600.0
FIGURES = MeterFigures(current=Accuracy(0.5, 0.02, 500.0), voltage=Accuracy(0.2, 0.0))


def runs_of(chance, run_s, rest_s, span_s):
    """Runs and rests that come as they please, about these lengths."""
    count = int(span_s / (run_s + rest_s) * 2) + 10
    lengths = np.stack([rest_s * chance.gamma(3, 1 / 3, count), run_s * chance.uniform(0.7, 1.3, count)], axis=1)
    edges = lengths.ravel().cumsum().reshape(-1, 2) - chance.uniform(0, rest_s)
    return [(float(a), float(b)) for a, b in edges if b < span_s]


def stationary(chance, span_s=2 * HALF_S, *, run_s=60.0, rest_s=400.0, draw_A=None):
    """Readings in which nothing changes but by chance: amps and volts."""
    time_s = np.arange(0, span_s, EVERY_S)
    pump = Load(draw_A or chance.uniform(25, 40), runs_of(chance, run_s, rest_s, span_s))
    fridge = Load(chance.uniform(3, 6), runs_of(chance, 300.0, 500.0, span_s))
    clouds_s = np.arange(0, span_s + 240, 240.0)
    sun_A = np.interp(time_s, clouds_s, chance.uniform(0, 12, len(clouds_s)))
    draws = pump.current_A(time_s) * chance.normal(1, 0.004, len(time_s))
    current_A = 2.0 + draws + fridge.current_A(time_s) - sun_A + chance.normal(0, 0.03, len(time_s))
    gain, zero_A = 1 + chance.uniform(-0.005, 0.005), chance.uniform(-0.1, 0.1)
    return time_s, np.round(gain * current_A + zero_A, 2), np.round(25.4 - 0.012 * current_A, 2)


def log_of(time_s, current_A, voltage_V, name="a", meter="bank shunt"):
    """A log of these readings, ready to be compared."""
    chunk = chunk_of(time_s, current_A=current_A, voltage_V=voltage_V)
    facts = replace(make_log(name).facts, meter=meter, usual_interval_s=EVERY_S)
    reading, quantities = how(usual_interval_s=EVERY_S), set(chunk.quantities)
    cuts = even_cuts(T0_US + round(time_s[0] * US), T0_US + round(time_s[-1] * US))
    analysis = LogAnalysis(facts, reading, quantities, figures=FIGURES)
    stretches = MarkedFold(reading, quantities, [(at, "") for at in cuts])
    for fold in (analysis, stretches):
        fold.add(chunk)
    return ComparedLog(analysis.result(), stretches.result())


def halves(chance):
    """The two halves of a stationary log, set beside each other."""
    time_s, current_A, voltage_V = stationary(chance)
    first = time_s < HALF_S
    return compare_logs(*(log_of(time_s[part], current_A[part], voltage_V[part]) for part in (first, ~first)))


def no_difference(pairs, seed=1):
    """How often each figure shows no difference where there is none."""
    chance = np.random.default_rng(seed)
    seen = {}
    for _ in range(pairs):
        for row in halves(chance).rows:
            if row.differs is not None:
                seen.setdefault(row.code, []).append(not row.differs)
    return {code: (float(np.mean(same)), len(same)) for code, same in seen.items()}


def main():
    """Print a row a figure."""
    asked = argparse.ArgumentParser(description=main.__doc__)
    asked.add_argument("logs", type=int, nargs="?", default=200)
    for code, (share, count) in no_difference(asked.parse_args().logs).items():
        sys.stdout.write(f"{code:28} {100 * share:6.1f} %  of {count}\n")
