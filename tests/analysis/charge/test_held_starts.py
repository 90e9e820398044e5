"""What starts may have drawn between two values of a display that shows moments, or that a person reads off."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from readings import chunk_of, fed

from shuntbook.analysis.charge.charge import ChargeFold
from shuntbook.analysis.charge.display_delay import StartFacts, StartSums
from shuntbook.analysis.readings.measured_span import HowRead
from shuntbook.analysis.stats.interval95 import Component, judged
from shuntbook.analysis.sureness.amount_intervals import with_intervals
from shuntbook.analysis.sureness.meter_figures import NOTHING_STATED


def starts_of(values, *, length_s=0.5, soon_s=1.0):
    """The starts among values that stand for so long each."""
    sums = StartSums(soon_s)
    sums.add(np.array(values, dtype=float), np.full(len(values), length_s))
    return sums.result()


@given(
    st.lists(
        st.tuples(st.sampled_from([-5.0, 0.0, 2.0, 60.0, 61.0, 180.0]), st.floats(0.1, 3)), min_size=1, max_size=20
    ),
    st.integers(0, 20),
)
def test_where_the_values_are_cut_does_not_matter(pairs, cut):
    """A fold: a rise may be in one part and its fall in the next."""
    x, length_s = (np.array(column) for column in zip(*pairs, strict=True))
    whole, parts = StartSums(1.0), StartSums(1.0)
    whole.add(x, length_s)
    for part in (slice(None, cut), slice(cut, None)):
        if len(x[part]):
            parts.add(x[part], length_s[part])
    assert vars(parts.result()) == pytest.approx(vars(whole.result()))


@pytest.mark.parametrize(
    ("values", "settled"),
    [
        ([2, 2, 62, 62, 62, 62, 2, 2, 42, 42, 42], [60, 40]),
        # It comes up in two values, and wavers.
        ([2, 30, 62, 61, 62, 62], [59, 1]),
        # A surge that a value met: nothing of it is missed; a little more than the run is none.
        ([2, 2, 182, 62, 62, 62], []),
        ([2, 2, 72, 62, 62, 62], [60]),
        # What ends later ends the run.
        ([2, 62, 62, 62, 2], [60]),
        # What is given back does not start.
        ([-60, -60, -5, -5, 2], [2]),
        ([5, 5, 5], []),
    ],
)
def test_starts_are_rises_of_what_is_drawn_that_show_no_surge(values, settled):
    """Each with what it draws once it has settled."""
    facts = starts_of(values)
    assert (facts.sum, facts.squares) == pytest.approx((sum(settled), sum(x * x for x in settled)))


def test_a_surge_between_two_values_is_no_longer_than_they_are_apart():
    """Seven times 60 A at first, down to it evenly: 180 A beyond it in the mean, for half a second at most."""
    facts = starts_of([0, 60, 60, 60, 60])
    assert facts.missed(10.0, all_alike=False) == pytest.approx(180 * 0.5)
    assert facts.missed(0.35, all_alike=False) == pytest.approx(180 * 0.35)
    # Those that a display misses and those that it meets even out; a person notes no surge at all.
    four = StartFacts(4 * 60.0, 4 * 60.0**2)
    assert four.missed(10.0, all_alike=False) == pytest.approx(2 * 180 * 0.5)
    assert four.missed(10.0, all_alike=True) == pytest.approx(4 * 180 * 0.5)


@pytest.mark.parametrize(("sampling", "noted"), [("held", False), ("held", True), ("mean", False), ("instant", False)])
def test_the_upper_end_has_it_where_values_are_read_off(sampling, noted):
    """Of what was drawn and the net, not of what came back; an average holds every surge."""
    time_s, current_A = np.arange(0, 600, 10.0), np.where(np.arange(60) % 20 < 10, 2.0, 62.0)
    sure = {}
    for stands in (current_A, -current_A):
        fold = fed(
            ChargeFold(HowRead("dc", sampling, 60.0, 10.0, noted=noted), {"current_A"}),
            chunk_of(time_s, current_A=stands),
        )
        charge = with_intervals(fold.result(), NOTHING_STATED).charge
        # The last of the values stands for no time.
        sure[stands[0]] = [(one.high - one.low) / 2 < one.u95 * 0.999 for one in (charge.sure.drawn, charge.sure.net)]
    assert sure[2.0] == [sampling == "held"] * 2
    assert sure[-2.0] == [False, False] or sampling == "held"


def test_what_can_only_be_missing_moves_the_upper_end_alone():
    """Anything up to 2 is as likely as any other: with nothing else, 97.5 % of it; with much else, half of it."""
    alone = judged(10.0, [], missed=2.0)
    assert (alone.low, alone.high) == pytest.approx((10.0, 11.95), abs=1e-3)
    much = judged(10.0, [Component("much", 5.0)], missed=2.0)
    assert (10 - much.low, much.high - 10) == pytest.approx((9.8, 10.865), rel=2e-3)
    assert much.components == judged(10.0, [Component("much", 5.0)]).components


def in_one_number(more, lasts_s, every_s, rng):
    """Draw for a minute, with a start of `more` times its run; return what a display shows, and what flowed. [A s]"""
    t = np.arange(0, 60, 0.01)
    x = np.full(len(t), 3.0)
    for at_s in rng.uniform(2, 8) + np.arange(4) * 14:
        on = (t >= at_s) & (t < at_s + 8)
        x[on] += 60 * (1 + (more - 1) * np.maximum(1 - (t[on] - at_s) / lasts_s, 0))
    at = np.arange(rng.uniform(0, every_s), 60, every_s)
    return at, x[np.minimum((at * 100).astype(int), len(x) - 1)], float(x[(t >= at[0]) & (t < at[-1])].sum() * 0.01)


@pytest.mark.parametrize("more", [1.0, 3.0, 5.0])
def test_what_flowed_lies_within_whatever_a_start_takes(more):
    """No surge at all, and what is usual: a display that takes a value every half second to a second."""
    inside, beside = 0, 0
    for seed in range(60):
        rng = np.random.default_rng([seed, 31])
        every_s = rng.uniform(0.5, 1.0)
        at, x, flowed_As = in_one_number(more, rng.uniform(0.1, 0.5), every_s, rng)
        reading = HowRead("dc", "held", 3.0, every_s, delay_s=0.0, holds_s=every_s)
        net = with_intervals(
            fed(ChargeFold(reading, {"current_A"}), chunk_of(at, current_A=x)).result(), NOTHING_STATED
        )
        inside += net.charge.sure.net.low * 3600 <= flowed_As <= net.charge.sure.net.high * 3600
        beside += flowed_As > (net.charge.net + net.charge.sure.net.u * 1.96) * 3600
    assert inside >= 57
    # Without the upper end's share it does not.
    assert beside > 3 or more < 5
