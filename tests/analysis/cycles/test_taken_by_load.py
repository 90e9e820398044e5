"""What all runs took together: of what is not known nothing is made up, and it says how many runs are in the sum."""

from dataclasses import replace

import pytest
from health_cycles import cycles

from shuntbook.analysis.cycles.cycle import total_taken
from shuntbook.analysis.cycles.taken_by_load import taken_by_load


def runs(*amounts_Ah, u95_Ah=0.1):
    """Runs that took so many Ah; None where nobody knows."""
    made = cycles(90.0, [600.0] * len(amounts_Ah))
    each = [
        replace(cycle, charge_Ah=x, charge_u95_Ah=None if x is None else u95_Ah, energy_Wh=None)
        for cycle, x in zip(made.cycles, amounts_Ah, strict=True)
    ]
    return replace(made, cycles=tuple(each))


def test_where_one_run_is_not_known_the_others_are_counted_and_said():
    """Two of three runs: their sum, and halves of intervals that add up."""
    taken = taken_by_load(runs(1.0, None, 2.0))
    assert (taken.runs, taken.runs_with_Ah, taken.runs_with_Wh) == (3, 2, 0)
    assert (taken.charge_Ah, taken.charge_u95_Ah, taken.energy_Wh) == (3.0, pytest.approx(0.2), None)


def test_where_all_are_known_the_summary_has_it():
    """Also the interval of runs without an end, which a run by itself does not tell."""
    made = runs(1.0, 2.0)
    last = replace(made.cycles[-1], charge_Ah=None, so_far_Ah=2.0, stop_us=None, complete=False)
    made = replace(made, cycles=(made.cycles[0], last))
    whole = replace(made.summary, charge_Ah=total_taken(made.cycles, "Ah"), charge_u95_Ah=0.3)
    taken = taken_by_load(replace(made, summary=whole))
    assert (taken.charge_Ah, taken.charge_u95_Ah) == (3.0, 0.3)
    assert (taken.runs_with_Ah, taken.runs_in_part) == (2, 1)


def test_no_run_took_nothing_that_is_known():
    """Not nought: nobody saw it run."""
    taken = taken_by_load(runs())
    assert (taken.runs, taken.charge_Ah, taken.energy_Wh) == (0, None, None)
    assert total_taken(runs(1.0, None).cycles, "Ah") is None
