"""Cycles on their way to another process arrive as they were, and the runs that drawings look at with them."""

import pickle
from dataclasses import replace

from health_cycles import cycles

from shuntbook.analysis.cycles.cycle import Cycle
from shuntbook.cli.assembling.sent_cycles import SentCycles
from shuntbook.cli.render.still_charts.runs import DrawnRuns


def some_cycles():
    """Runs of which figures are missing, equal, without a fraction, nought from below, and not a number."""
    made = cycles([60.0, 61.5, 60.0, 60.0, 59.0], 300.0)
    changes = (
        {"run_A": None, "load": "well pump"},
        {"straight_Ah": -0.0, "at_speeds": (1.0, 2.0)},
        {"straight_Ah": 0.0, "stop_us": None, "run_s": None, "complete": False},
        {"surge_A": float("nan"), "off_before_s": None},
        {"base_A": 7},
    )
    changed = tuple(replace(cycle, **change) for cycle, change in zip(made.cycles, changes, strict=True))
    return replace(made, cycles=changed)


def test_cycles_arrive_as_they_were():
    """Every figure, its type and its sign among it; and the summary, to which nothing is done."""
    sent = some_cycles()
    arrived = pickle.loads(pickle.dumps(SentCycles.of(sent))).arrived()
    assert [type(cycle) for cycle in arrived.cycles] == [Cycle] * 5
    assert repr(arrived) == repr(sent)


def test_equal_figures_are_one_object():
    """Tens of thousands of runs have a few hundred lengths."""
    made = cycles([60.0, 75.0] * 20, 300.0)
    plain = replace(made, cycles=tuple(replace(cycle, run_s=float(cycle.run_s)) for cycle in made.cycles))
    arrived = SentCycles.of(plain).arrived()
    assert len({id(cycle.run_s) for cycle in arrived.cycles}) == 2


def test_drawings_see_the_same_runs():
    """What they look at of each, whichever is asked for."""
    runs = some_cycles().cycles
    drawn = pickle.loads(pickle.dumps(DrawnRuns(runs)))
    assert [tuple(run) for run in drawn] == [(run.start_us, run.stop_us, run.run_s, run.off_before_s) for run in runs]
    assert len(drawn) == 5
    assert drawn[1] == list(drawn)[1]
    assert drawn[3:] == list(drawn)[3:]
