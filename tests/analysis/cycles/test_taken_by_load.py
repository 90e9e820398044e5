"""What all runs took together: of what is not known nothing is made up, and it says how many runs are in the sum."""

from dataclasses import replace
from itertools import pairwise

import pytest
from health_cycles import cycles
from hypothesis import given
from hypothesis import strategies as st

from shuntbook.analysis.cycles.cycle import total_taken
from shuntbook.analysis.cycles.taken_by_load import seen_until, taken_between, taken_by_load


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


def test_of_watt_hours_the_summary_says_the_same():
    """Where it knows the energy its interval stands, not the sum of the runs' own."""
    made = runs(1.0, 2.0)
    made = replace(made, cycles=tuple(replace(run, energy_Wh=25.0, energy_u95_Wh=2.0) for run in made.cycles))
    apart = taken_by_load(made)
    assert (apart.energy_Wh, apart.energy_u95_Wh, apart.runs_with_Wh) == (50.0, 4.0, 2)
    whole = replace(made.summary, energy_Wh=50.0, energy_u95_Wh=3.0)
    assert taken_by_load(replace(made, summary=whole)).energy_u95_Wh == 3.0


def test_one_run_without_an_interval_leaves_the_sum_without():
    """The half of another's says nothing of it."""
    first, second = runs(1.0, 2.0).cycles
    made = replace(runs(1.0, 2.0), cycles=(first, replace(second, charge_u95_Ah=None)))
    assert (taken_by_load(made).charge_Ah, taken_by_load(made).charge_u95_Ah) == (3.0, None)


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
    parts, cut = zip(*(taken_between(made, a, b) for a, b in pairwise(ends_us)), strict=True)
    assert {pieces.runs for pieces in cut} == {0}
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
        assert (taken[0].runs, taken[0].charge_Ah, taken[1].runs) == (count, charge_Ah, across)


@given(st.lists(st.floats(0.0, 1.0), min_size=1, max_size=6, unique=True))
def test_the_pieces_of_a_run_add_up_to_it(shares):
    """Wherever notes cut it; each is what its settled draw comes to, and its first has what the start took beside."""
    (run,) = cycles(3600.0, [3600.0]).cycles
    run = replace(run, run_A=10.0, charge_Ah=10.5, energy_Wh=None)
    made = replace(runs(1.0), cycles=(replace(run, run_s=3600.0, stop_us=run.start_us + 3600 * 10**6),))
    (run,) = made.cycles
    cuts_us = sorted({run.start_us + round(share * 3600e6) for share in shares} - {run.start_us, run.stop_us})
    ends_us = [run.start_us - 10**6, *cuts_us, run.stop_us + 10**6]
    pieces = [taken_between(made, a, b)[1] for a, b in pairwise(ends_us)]
    if cuts_us:
        assert sum(piece.charge_Ah for piece in pieces) == pytest.approx(10.5)
        first_h = (cuts_us[0] - run.start_us) / 3600e6
        assert pieces[0].charge_Ah == pytest.approx(0.5 + 10.0 * first_h)
        assert {piece.energy_Wh for piece in pieces} == {None}


def test_a_run_cut_off_by_the_log_has_its_interval():
    """Beside whole ones the halves add up as theirs do."""
    made = runs(1.0, 2.0, 4.0)
    cut = replace(
        made.cycles[2],
        charge_Ah=None,
        charge_u95_Ah=None,
        so_far_Ah=3.0,
        so_far_u95_Ah=0.3,
        stop_us=None,
        complete=False,
    )
    made = replace(made, cycles=(*made.cycles[:2], cut))
    taken, pieces = taken_between(made, made.cycles[1].start_us, cut.start_us + 10**12)
    assert (taken.charge_Ah, taken.charge_u95_Ah) == (5.0, pytest.approx(0.4))
    assert (taken.runs, taken.runs_in_part, taken.runs_too_brief, pieces.runs) == (2, 1, 0, 0)
    # It is seen to its last reading; a single one counts as an instant after its start.
    assert seen_until(replace(cut, so_far_s=90.0)) == cut.start_us + 90 * 10**6
    assert seen_until(replace(cut, so_far_s=0.0)) == seen_until(replace(cut, so_far_s=None)) == cut.start_us + 1
