"""What came straight from the array: never more than did, whatever the sun and other loads do."""

import numpy as np
import pytest
from examples import examples
from hypothesis import given
from hypothesis import strategies as st
from readings import how

from shuntbook.analysis.cycles.cycles import CycleFold
from shuntbook.analysis.readings.chunk import SECONDS_PER_HOUR, Chunk

US = 1_000_000
DRAW_A = 30.0
SLOT_S = 600


def seen(base_A, run_s, *, steps=()):
    """The cycles that readings once a second show of a load on this base, and what of each truly came past the bank.

    A run of `run_s` begins in the middle of each slot of the base; `steps` are changes of the base within runs: the
    slot, how long after its start, and by how much.
    """
    second = np.arange(len(base_A) * SLOT_S)
    base = np.repeat(np.asarray(base_A, float), SLOT_S)
    for slot, after_s, by_A in steps:
        at = slot * SLOT_S + SLOT_S // 2 + after_s
        base[at : (slot + 1) * SLOT_S] += by_A
    since_s = second % SLOT_S - SLOT_S // 2
    on = (since_s >= 0) & (since_s < run_s)
    fold = CycleFold(how(usual_interval_s=1.0), {"current_A"})
    fold.add(Chunk(second * US, {"current_A": base + DRAW_A * on}))
    # What charges the bank without the load goes into the load, as far as that takes it.
    truly_A = np.where(on, np.clip(-base, 0.0, DRAW_A), 0.0)
    return fold.result().cycles, [
        float(truly_A[second // SLOT_S == k].sum()) / SECONDS_PER_HOUR for k in range(len(base_A))
    ]


def test_what_charged_the_bank_goes_into_the_load():
    """A minute at 30 A on a bank that is charged with 12 A, then one that is not: 0.2 Ah, then nothing."""
    cycles, _ = seen([-12.0, 5.0, -12.0, 5.0], 60)
    assert [cycle.straight_Ah for cycle in cycles] == [
        pytest.approx(0.2, rel=0.03),
        0.0,
        pytest.approx(0.2, rel=0.03),
        0.0,
    ]


def test_a_load_smaller_than_the_sun_takes_no_more_than_it_took():
    """Charged with 50 A, a load of 30 A takes all of its own from there."""
    cycles, _ = seen([-50.0] * 4, 60)
    for cycle in cycles:
        assert cycle.straight_Ah == pytest.approx(cycle.charge_Ah)


def test_a_cloud_within_a_run_counts_from_where_it_comes():
    """Charged with 12 A for the first 30 s of a run of 90 s, then the sun is gone: 0.1 Ah and no more."""
    cycles, truly_Ah = seen([3.0, -12.0, 3.0, 3.0], 90, steps=[(1, 30, 12.0)])
    assert truly_Ah[1] == pytest.approx(0.1)
    assert cycles[1].straight_Ah <= truly_Ah[1] * 1.03 + 1e-9


def test_a_load_takes_at_no_moment_more_than_it_draws():
    """Charged with 35 A, then 21 A: a load of 30 A took 30 A for 15 s and 21 A for 25 s; 5 A went on into the bank."""
    cycles, truly_Ah = seen([0.0, 0.0, -35.0, 0.0], 40, steps=[(2, 15, 14.0)])
    assert truly_Ah[2] == pytest.approx((30 * 15 + 21 * 25) / SECONDS_PER_HOUR)
    assert cycles[2].straight_Ah == pytest.approx(truly_Ah[2], rel=0.02)


def test_a_sun_that_sinks_slowly_within_a_run_counts_by_its_weaker_end():
    """From 10 A of charging to 6 A over a run of five minutes: what truly came is more than what is told."""
    second = np.arange(3 * SLOT_S)
    base = np.interp(second, [0, 900, 1200, 1800], [-10.0, -10.0, -6.0, -6.0])
    on = (second >= 900) & (second < 1200)
    fold = CycleFold(how(usual_interval_s=1.0), {"current_A"})
    fold.add(Chunk(second * US, {"current_A": base + DRAW_A * on}))
    (cycle,) = fold.result().cycles
    assert cycle.straight_Ah == pytest.approx(6.0 * 300 / SECONDS_PER_HOUR, rel=0.05)


@examples(20, 60)
@given(
    base_A=st.lists(st.integers(-40, 12), min_size=4, max_size=10),
    run_s=st.integers(40, 200),
    steps=st.lists(st.tuples(st.integers(0, 3), st.integers(15, 30), st.integers(-8, 8)), max_size=2),
)
def test_it_is_never_more_than_did(base_A, run_s, steps):
    """Any sun, any other loads, clouds within runs too: the least that is told is no more than the truth.

    Within a reading at either edge, and where the runs were found as they are.
    """
    cycles, truly_Ah = seen(base_A, run_s, steps=steps)
    edge_Ah = 2 * DRAW_A / SECONDS_PER_HOUR
    for cycle in cycles:
        slot = int(cycle.start_us // US // SLOT_S)
        if cycle.run_s is None or abs(cycle.run_s - run_s) > 1.5 or abs(cycle.run_A - DRAW_A) > 0.5:
            continue
        assert cycle.straight_Ah <= truly_Ah[slot] + edge_Ah
