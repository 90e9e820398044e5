"""When the array had paid a demo back."""

import numpy as np
import pytest
from examples import examples
from hypothesis import given
from hypothesis import strategies as st
from readings import T0_US, chunk_of, fed, how

from shuntbook.analysis.ledger.payback import PaybackFold
from shuntbook.analysis.not_known import Refusal


def at(seconds):
    """An instant, counted from the first reading [us]."""
    return T0_US + round(seconds * 1e6)


def paid(chunk, *demos, efficiency=1.0, sampling="mean", cuts=()):
    """The paybacks of some readings; means, so that each reading is a plain rectangle of its spacing."""
    how_read = how(sampling=sampling, gap_limit_s=120.0, usual_interval_s=60.0)
    named = [(at(start), at(stop), f"demo {k}") for k, (start, stop) in enumerate(demos)]
    return fed(PaybackFold(how_read, {"current_A"}, named, efficiency=efficiency), chunk, cuts).result()


def a_demo(*, returned_A=10.0, minutes=121):
    """Ten minutes at 30 A, then the sun."""
    minute = np.arange(minutes)
    return chunk_of(60.0 * minute, current_A=np.where(minute <= 10, 30.0, -returned_A))


def test_a_demo_is_paid_when_as_much_has_come_back():
    """Ten minutes at 30 A are 5 Ah; 10 A bring them back in thirty minutes."""
    (got,) = paid(a_demo(), (0, 600))
    assert got.owed_Ah == pytest.approx(5.0)
    assert got.paid_us == at(600 + 1800)
    assert got.still_owed_Ah == 0.0


def test_what_charging_loses_delays_it():
    """At 80 % charge efficiency the thirty minutes become thirty-seven and a half, within a reading."""
    (got,) = paid(a_demo(), (0, 600), efficiency=0.8)
    assert got.paid_us == at(600 + 1800 / 0.8)
    assert any("80 %" in sentence for sentence in got.assumptions)


def test_what_is_not_paid_is_still_owed():
    """After ten minutes of 10 A, 5 - 1.667 Ah are left."""
    (got,) = paid(a_demo(minutes=21), (0, 600))
    assert got.paid_us is None
    assert got.still_owed_Ah == pytest.approx(5.0 - 10 / 6)


def test_what_others_draw_afterwards_is_not_owed_by_the_demo():
    """Ten minutes at 30 A owe 5 Ah; two hours at 6 A more are 12 Ah that the demo does not owe."""
    (got,) = paid(a_demo(returned_A=-6.0, minutes=131), (0, 600))
    assert (got.owed_Ah, got.still_owed_Ah, got.more_since_Ah) == pytest.approx((5.0, 5.0, 12.0))


@given(st.lists(st.floats(-40, 40), min_size=2, max_size=60), st.integers(0, 20), st.integers(1, 20))
def test_no_demo_owes_more_than_it_took(current_A, start_minute, minutes):
    """Whatever flows: what is still owed lies between nothing and what was owed, and both come to the whole."""
    chunk = chunk_of(60.0 * np.arange(len(current_A)), current_A=np.array(current_A))
    (got,) = paid(chunk, (60 * start_minute, 60 * (start_minute + minutes)), efficiency=0.9)
    if got.owed_Ah is not None:
        assert 0 <= got.still_owed_Ah <= max(got.owed_Ah, 0.0)
        assert got.more_since_Ah >= 0


def test_a_demo_that_the_array_carried_owes_nothing():
    """The bank was fuller at the end than at the beginning."""
    (got,) = paid(chunk_of(60.0 * np.arange(30), current_A=-5.0), (0, 600))
    assert got.owed_Ah is not None
    assert got.owed_Ah < 0
    assert got.paid_us == at(600)


def test_each_demo_has_its_own_debt():
    """A second demo before the first is paid: the first waits for both, the second only for itself."""
    minute = np.arange(200)
    i = np.where((minute <= 10) | ((minute > 20) & (minute <= 30)), 30.0, -10.0)
    first, second = paid(chunk_of(60.0 * minute, current_A=i), (0, 600), (1200, 1800))
    assert first.owed_Ah == pytest.approx(5.0)
    assert first.paid_us == at(1800 + 3000)  # 10 Ah less 1.667 paid in between, at 10 A
    assert second.paid_us == at(1800 + 1800)


def test_a_demo_whose_end_was_not_reached_is_open():
    """Nothing is owed yet; what was drawn so far is."""
    (got,) = paid(a_demo(minutes=6), (0, 600))
    assert (got.owed_Ah, got.paid_us) == (None, None)
    assert got.still_owed_Ah == pytest.approx(2.5)


def test_gaps_until_paid_are_counted_and_later_ones_are_not():
    """Ten minutes without readings while the debt stands; an hour after it was paid."""
    minute = np.concatenate([np.arange(15), np.arange(25, 60), np.arange(120, 130)])
    chunk = chunk_of(60.0 * minute, current_A=np.where(minute <= 10, 30.0, -10.0))
    (got,) = paid(chunk, (0, 600))
    assert got.paid_us is not None
    assert got.uncovered_s == pytest.approx(600.0)  # 11 min from reading to reading, less the usual minute of a mean


@examples(20, 60)
@given(
    st.lists(st.floats(-60, 60).map(lambda x: round(x, 3)), min_size=3, max_size=60),
    st.integers(1, 20),
    st.lists(st.integers(0, 60), max_size=5),
)
def test_cut_anywhere_the_debt_is_the_same(amps, stop, cuts):
    """As for every fold; and the debt at the end is that of a plain sum."""
    chunk = chunk_of(60.0 * np.arange(len(amps)), current_A=amps)
    (whole,), (parts,) = (paid(chunk, (0, 60.0 * stop), efficiency=0.9, cuts=c) for c in ((), cuts))
    assert (whole.owed_Ah, whole.still_owed_Ah) == pytest.approx((parts.owed_Ah, parts.still_owed_Ah), abs=1e-9)
    assert whole.paid_us == pytest.approx(parts.paid_us, abs=1)
    if len(amps) > stop:
        during = np.array(amps[1 : stop + 1]) / 60
        owed = np.where(during > 0, during, 0.9 * during).sum()
        assert whole.owed_Ah == pytest.approx(owed, abs=1e-9)


@pytest.mark.parametrize("cuts", [(), (11, 21, 31, 41)])
@pytest.mark.parametrize("order", [(0, 1, 2), (2, 0, 1), (1, 2, 0)])
def test_demos_within_each_other_are_each_followed_from_their_own_beginning(order, cuts):
    """Ten minutes at 30 A each within an hour, and another from its end, named in any order: 5, 15 and 5 Ah."""
    minute = np.arange(91)
    chunk = chunk_of(60.0 * minute, current_A=np.where(minute % 20 < 10, 30.0, 0.0))
    demos = [(1200 - 60, 1800 - 60), (60 - 60, 3600 - 60), (3600 - 60, 4200 - 60)]
    got = paid(chunk, *(demos[k] for k in order), cuts=cuts)
    assert [each.owed_Ah for each in got] == pytest.approx([(5.0, 14.5, 5.0)[k] for k in order])


def test_payback_needs_amps_at_the_bank():
    """Behind an inverter there is no return to count."""
    with pytest.raises(Refusal, match="DC side"):
        PaybackFold(how(side="ac"), {"current_A"}, [], efficiency=0.9)
