"""What all runs took together: of what is not known nothing is made up, and it says how many runs are in the sum."""

from dataclasses import replace
from itertools import pairwise

import pytest
from health_cycles import cycles
from hypothesis import given
from hypothesis import strategies as st

from shuntbook.analysis.cycles.cycle import total_taken
from shuntbook.analysis.cycles.taken_by_load import taken_between, taken_by_load


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


@given(st.lists(st.floats(0.01, 9.0), min_size=1, max_size=8), st.data())
def test_parts_that_are_cut_in_rests_add_up_to_the_whole(amounts_Ah, data):
    """Wherever the cuts lie in rests: no run is lost between two parts, and none counts twice."""
    made = runs(*amounts_Ah)
    rests_us = [cycle.start_us - 1 for cycle in made.cycles]
    cuts_us = sorted(data.draw(st.sets(st.sampled_from(rests_us), min_size=1)))
    ends_us = [0, *cuts_us, made.cycles[-1].stop_us]
    parts, across = zip(*(taken_between(made, a, b) for a, b in pairwise(ends_us)), strict=True)
    assert set(across) == {0}
    assert sum(part.runs for part in parts) == len(amounts_Ah)
    assert sum(part.charge_Ah or 0.0 for part in parts) == pytest.approx(sum(amounts_Ah))


@pytest.mark.parametrize("cut", ["start_us", "stop_us"])
def test_of_a_run_that_goes_on_across_an_end_nothing_is_made_up(cut):
    """It counts neither before nor after; the others do, and an end at a run's own end cuts nothing."""
    made = runs(1.0, 2.0, 4.0)
    first, second, third = made.cycles
    inside_us = getattr(second, cut) + (10 if cut == "start_us" else -10)
    found = {
        (0, inside_us): (1, 1.0, 1),
        (inside_us, third.stop_us): (1, 4.0, 1),
        (0, first.stop_us): (1, 1.0, 0),
        (second.stop_us, third.stop_us): (1, 4.0, 0),
        (second.stop_us, third.start_us): (0, None, 0),
    }
    for ends_us, (count, charge_Ah, across) in found.items():
        taken = taken_between(made, *ends_us)
        assert (taken[0].runs, taken[0].charge_Ah, taken[1]) == (count, charge_Ah, across)
