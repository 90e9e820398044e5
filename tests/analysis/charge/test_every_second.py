"""What stood at each second: against plain interpolation, and against the integral of the same span."""

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from readings import T0_US, US, assert_same, charge_of, chunk_of, how

from shuntbook.analysis.charge.every_second import EachSecond, EverySecond
from shuntbook.analysis.not_known import Refusal

SUM = 1e-9


def seconds_of(chunk, reading=None, *, from_s=0.0, to_s=1e4, cuts=(), step_us=US):
    """All seconds of some readings, as one."""
    first_us, end_us = (T0_US + round(s * US) for s in (from_s, to_s))
    stream = EverySecond(reading or how(), set(chunk.quantities), from_us=first_us, to_us=end_us, step_us=step_us)
    bounds = [0, *sorted(cut % (len(chunk) + 1) for cut in cuts), len(chunk)]
    # The film may lie outside the log: then there are none.
    parts = [EachSecond(np.empty(0, np.int64), *(np.empty(0) for _ in range(7)))]
    parts += [part for a, b in pairwise(bounds) for part in stream.add(chunk.part(a, b))]
    parts += stream.rest(int(chunk.time_us[-1]))
    return EachSecond(*(np.concatenate([getattr(part, name) for part in parts]) for name in vars(parts[0])))


def after_s(seconds):
    """When the seconds are, after the tests' own instant. [s]"""
    return ((seconds.at_us - T0_US) / US).tolist()


def test_instants_are_read_off_the_line_between_them():
    """From 0 A to 8 A within 4 s: at each second the line's height, and the triangle below it."""
    told = seconds_of(chunk_of([0.0, 4.0], current_A=[0.0, 8.0], voltage_V=[12.0, 14.0]))
    assert told.current_A.tolist() == [0, 2, 4, 6, 8]
    assert told.voltage_V.tolist() == pytest.approx([12, 12.5, 13, 13.5, 14])
    assert told.power_W.tolist() == pytest.approx([0, 25, 52, 81, 112])
    assert told.drawn_Ah.tolist() == pytest.approx([t * t / 3600 for t in range(5)], rel=SUM)


def test_steps_may_be_shorter_than_a_second():
    """Then each tells what stood at its own first moment, and the sums up to it."""
    told = seconds_of(chunk_of([0.0, 1.0], current_A=[0.0, 8.0]), step_us=US // 4)
    assert after_s(told) == [0, 0.25, 0.5, 0.75, 1]
    assert told.current_A.tolist() == [0, 2, 4, 6, 8]
    assert told.drawn_Ah.tolist() == pytest.approx([4 * (k / 4) ** 2 / 3600 for k in range(5)], rel=SUM)


@pytest.mark.parametrize(
    ("sampling", "amps"),
    [("mean", [5, 5, 7, 7, 7]), ("held", [5, 5, 7, 7, 9])],
)
def test_means_and_held_readings_stand_still(sampling, amps):
    """A mean tells of the time before it, a held one of the time after it; at its last reading that reading stands."""
    time_s = [2.0, 4.0] if sampling == "mean" else [0.0, 2.0, 4.0]
    given_A = [5.0, 7.0] if sampling == "mean" else [5.0, 7.0, 9.0]
    told = seconds_of(chunk_of(time_s, current_A=given_A), how(sampling=sampling, usual_interval_s=2.0))
    assert after_s(told) == [0, 1, 2, 3, 4]
    assert told.current_A.tolist() == amps
    assert told.drawn_Ah.tolist() == pytest.approx(np.array([0, 5, 10, 17, 24]) / 3600, rel=SUM)


def test_nothing_is_known_in_a_gap_and_nothing_added():
    """30 s without readings, with a limit of 10 s: no value, and the sum stands."""
    told = seconds_of(chunk_of([0.0, 1.0, 2.0, 32.0, 33.0], current_A=3.6))
    in_gap = (told.at_us > T0_US + 2 * US) & (told.at_us < T0_US + 32 * US)
    assert np.isnan(told.current_A[in_gap]).all()
    assert not told.measured[in_gap].any()
    assert told.measured[~in_gap].all()
    assert set(told.drawn_Ah[in_gap].tolist()) == {told.drawn_Ah[2]}
    assert told.drawn_Ah[-1] == pytest.approx(3 * 3.6 / 3600, rel=SUM)


def test_before_the_log_and_after_it_there_are_no_seconds():
    """A film that begins 5 s before the log, off its beat, and goes on after it."""
    told = seconds_of(chunk_of([0.0, 1.0, 2.0], current_A=1.0), from_s=-4.5, to_s=60.0)
    assert after_s(told) == [0.5, 1.5]


def test_the_first_mean_begins_before_its_reading():
    """A mean of 60 s stands for the minute before its stamp, also where it is the first."""
    told = seconds_of(chunk_of([0.0, 60.0], current_A=2.0), how(sampling="mean", usual_interval_s=60.0), from_s=-61.0)
    assert after_s(told)[0] == -60.0


def test_behind_an_inverter_amps_are_shown_and_not_counted():
    """Watts are summed up; amps are no charge of the bank."""
    told = seconds_of(chunk_of([0.0, 10.0], current_A=4.0, voltage_V=230.0, power_W=900.0), how(side="ac"))
    assert set(told.current_A.tolist()) == {4.0}
    assert set(told.drawn_Ah.tolist()) == {0.0}
    assert told.drawn_Wh[-1] == pytest.approx(900 * 10 / 3600, rel=SUM)


def test_volts_alone_are_refused():
    """There is nothing to sum up."""
    with pytest.raises(Refusal, match="nothing to integrate"):
        EverySecond(how(), {"voltage_V"}, from_us=0, to_us=US)


@st.composite
def recordings(draw):
    """Readings off any beat, with gaps, missing values and both directions."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    count = draw(st.integers(1, 60))
    # Some on the second itself, where a gap, a chunk or the film may begin.
    steps = np.where(rng.random(count) < 0.4, rng.integers(1, 15, count), rng.uniform(0.05, 4.0, count))
    amps, volts = rng.normal(0, 20, count), rng.uniform(22, 28, count)
    for x in (amps, volts):
        x[rng.random(count) < draw(st.sampled_from([0.0, 0.2, 0.9]))] = np.nan
    return chunk_of(np.cumsum(steps), current_A=amps, voltage_V=volts)


@given(
    chunk=recordings(),
    sampling=st.sampled_from(["instant", "mean", "held"]),
    from_s=st.sampled_from([-3.0, 0.0, 2.5, 7.0]),
    cuts=st.lists(st.integers(0, 80), max_size=5),
)
def test_cut_anywhere_it_is_the_same(chunk, sampling, from_s, cuts):
    """Where chunks end makes no difference."""
    reading = how(sampling=sampling)
    whole = seconds_of(chunk, reading, from_s=from_s, to_s=from_s + 90)
    assert_same(seconds_of(chunk, reading, from_s=from_s, to_s=from_s + 90, cuts=cuts), whole)


@given(chunk=recordings(), sampling=st.sampled_from(["instant", "mean", "held"]), k=st.integers(1, 89))
def test_each_second_holds_the_integral_up_to_it(chunk, sampling, k):
    """What a second says was drawn, and returned, is what the integral of that span says."""
    reading = how(sampling=sampling)
    told = seconds_of(chunk, reading, from_s=0.5, to_s=90.5)
    assume(len(told) > 0)
    k = min(k, len(told) - 1)
    span = charge_of(chunk, reading, from_us=T0_US + US // 2, to_us=int(told.at_us[k]))
    for amounts, drawn, returned in (
        (span.charge, told.drawn_Ah, told.returned_Ah),
        (span.energy, told.drawn_Wh, told.returned_Wh),
    ):
        assert drawn[k] == pytest.approx(amounts.drawn if amounts else 0.0, rel=SUM, abs=1e-12)
        assert returned[k] == pytest.approx(amounts.returned if amounts else 0.0, rel=SUM, abs=1e-12)
