"""What a display that is read in a film does to an integral: its delay, and the time in which it was hidden."""

import math
from dataclasses import replace

import numpy as np
import pytest
from film_plans import Plan, Shown, draw_of, fill_in
from film_shapes import BUILDS
from hypothesis import given
from hypothesis import strategies as st
from readings import chunk_of, fed

from shuntbook.analysis.charge.charge import ChargeFold
from shuntbook.analysis.charge.display_delay import DelayFacts, DelaySums, StartFacts, StartSums
from shuntbook.analysis.cycles.cycles import CycleFold
from shuntbook.analysis.readings.measured_span import HowRead
from shuntbook.analysis.sureness.amount_intervals import with_intervals
from shuntbook.analysis.sureness.cycle_intervals import cycles_with_intervals
from shuntbook.analysis.sureness.meter_figures import NOTHING_STATED, Accuracy, MeterFigures

#: A meter whose display is right to the last figure: what is left is the display's.
PERFECT = Accuracy(reading_pct=0.0, range_pct=0.0)
EXACT = MeterFigures(PERFECT, PERFECT, clock_ppm=0.0)
HOLDS, ENDS = "how long the display holds a value", "the log's two ends"


def parts_of(time_s, current_A, *, sampling="mean", delay_s=1.0, holds_s=0.5, misread_share=None):
    """Return what each source adds to the ± of what was drawn. [Ah]"""
    how = HowRead("dc", sampling, 60.0, 0.2, delay_s=delay_s, holds_s=holds_s, misread_share=misread_share)
    fold = fed(ChargeFold(how, {"current_A"}), chunk_of(time_s, current_A=current_A), ())
    return {part.source: part.u for part in with_intervals(fold.result(), NOTHING_STATED).charge.sure.drawn.components}


@given(
    st.lists(
        st.tuples(st.floats(-99, 99), st.integers(1, 90), st.sampled_from([0, 0, 0, 50])), min_size=1, max_size=30
    ),
    st.integers(0, 30),
    st.booleans(),
)
def test_where_the_readings_are_cut_does_not_matter(intervals, cut, held):
    """A fold: the change across the cut counts like any other, and a gap there, too."""
    x, lengths, gaps = (np.array(column) for column in zip(*intervals, strict=True))
    stop_us = np.cumsum(lengths + gaps) * 100_000
    start_us = stop_us - lengths * 100_000
    whole, parts = (DelaySums(1.0, 0.5, held=held) for _ in range(2))
    whole.add(x, start_us, stop_us)
    for part in (slice(None, cut), slice(cut, None)):
        if len(x[part]):
            parts.add(x[part], start_us[part], stop_us[part])
    for one, other in zip(vars(whole.result()).values(), vars(parts.result()).values(), strict=True):
        assert other == pytest.approx(one, rel=1e-9)


@pytest.mark.parametrize(("held", "unseen_s"), [(True, (1.0, 2.0)), (False, (2.0, 3.0))])
def test_facts_of_a_displays_delay_by_hand(held, unseen_s):
    """0.5 A for 1 s, 2.5 A for 2 s, -1 A for 3 s: a change comes unseen while the value before, or after it, stands.

    It is late by that and by the half second for which a value is shown; 3 s are more than 1 + 0.5 + 1 s, so hidden.
    """
    sums = DelaySums(1.0, 0.5, held=held)
    sums.add(np.array([0.5, 2.5, -1.0]), np.array([0, 1, 3]) * 1_000_000, np.array([1, 3, 6]) * 1_000_000)
    changes = {"drawn": (2.0, -2.5), "returned": (0.0, 1.0), "net": (2.0, -3.5)}
    late_s = [0.5 + each_s for each_s in unseen_s]
    squares = {name: [(x * s) ** 2 for x, s in zip(both, late_s, strict=True)] for name, both in changes.items()}
    assert sums.result() == DelayFacts(
        squares={name: sum(each) for name, each in squares.items()},
        fourths={name: sum(x**2 for x in each) for name, each in squares.items()},
        rises={"drawn": -0.5, "returned": 1.0, "net": -1.5},
        changes2={"drawn": 4 + 6.25, "returned": 1.0, "net": 4 + 12.25},
        unseen={name: sum(x * s for x, s in zip(both, unseen_s, strict=True)) for name, both in changes.items()},
        hidden2=9.0,
        stretches=1,
        all_s=6.0,
    )


def test_what_starts_settle_to_by_hand():
    """From nothing to 28 A and in 5 s to 20 A, which is no surge that was met; 10 A for long; 40 A and soon nothing.

    Up to 50 A and soon 20 A was a surge that was met; 7 A at the end are a start.
    """
    amps = [0.0, 28.0, 20.0, 0.0, 10.0, 0.0, 40.0, 0.0, 50.0, 20.0, 0.0, -3.0, 7.0]
    length_s = [9.0, 5.0, 60.0, 9.0, 60.0, 9.0, 5.0, 9.0, 5.0, 60.0, 9.0, 9.0, 9.0]
    for cut in range(len(amps) + 1):
        sums = StartSums(soon_s=5.5)
        for part in (slice(None, cut), slice(cut, None)):
            if amps[part]:
                sums.add(np.array(amps[part]), np.array(length_s[part]))
        assert sums.result() == StartFacts(20 + 10 + 7, 400 + 100 + 49)
    # Falls that come later than soon are loads that stop: 40 A and 50 A count as well.
    sums = StartSums(soon_s=4.5)
    sums.add(np.array(amps), np.array(length_s))
    assert sums.result() == StartFacts(28 + 10 + 40 + 50 + 7, 784 + 100 + 1600 + 2500 + 49)


@pytest.mark.parametrize("sampling", ["mean", "held"])
def test_each_change_came_at_some_moment_since_the_value_before(sampling):
    """70 A for ten seconds, shown twice and read five times a second: two changes, each by itself so late."""
    time_s = np.arange(0, 30, 0.2)
    current_A = np.where((time_s > 10) & (time_s < 20), 70.0, 0.0)
    parts = parts_of(time_s, current_A, sampling=sampling)
    assert parts[HOLDS] == pytest.approx(70 * 0.7 * math.sqrt(2) / math.sqrt(12) / 3600, rel=1e-6)
    assert "while the display was hidden" not in parts
    assert "between readings by eye" not in parts
    assert HOLDS not in parts_of(time_s, current_A, sampling=sampling, delay_s=None)


@pytest.mark.parametrize(("sampling", "late_s"), [("mean", 0.5 + 0.5 - 0.1), ("held", 0.5 + 0.25 + 0.1)])
def test_a_film_that_ends_while_more_is_drawn_than_at_first_shows_too_little(sampling, late_s):
    """70 A of its last seconds are not shown any more: the interval lies above what was read, not about it."""
    time_s = np.arange(0, 30, 0.2)
    how = HowRead("dc", sampling, 60.0, 0.2, delay_s=1.0, holds_s=0.5)

    def middle_and_ends(current_A):
        fold = fed(ChargeFold(how, {"current_A"}), chunk_of(time_s, current_A=current_A), ())
        charge = with_intervals(replace(fold.result(), evidence=without_starts(fold.result())), EXACT).charge
        net = charge.sure.net
        return (net.low + net.high) / 2 - charge.net, {part.source: part.u for part in net.components}[ENDS]

    shift_Ah, on_Ah = middle_and_ends(np.where(time_s > 20, 70.0, 0.0))
    assert shift_Ah == pytest.approx(70 * late_s / 3600, rel=0.01)
    back_Ah, off_Ah = middle_and_ends(np.where((time_s > 10) & (time_s < 20), 70.0, 0.0))
    assert back_Ah == pytest.approx(0, abs=1e-9)
    # What came and went may still begin or end unseen: 1.5 s at each end of 30 s, either change.
    unseen = 2 * 1.5**3 / 3 / 30
    assert on_Ah * 3600 / 70 == pytest.approx(math.sqrt((1 + 0.25) / 12 + unseen), rel=0.01)
    assert off_Ah * 3600 / 70 == pytest.approx(math.sqrt(2 * unseen), rel=0.01)


@pytest.mark.parametrize(("sampling", "share"), [("mean", -0.5), ("held", 0.5)])
def test_what_changed_while_a_hand_was_before_it_is_likely_to_have_come_half_way(sampling, share):
    """60 A more after two seconds: a moment read before stands through them, a mean read after is taken for all."""
    time_s = np.array([0.0, 1, 2, 3, 5, 6, 7, 8])
    chunk = chunk_of(time_s, current_A=np.where(time_s < 4, 10.0, 70.0))
    how = HowRead("dc", sampling, 3.0, 1.0, delay_s=0.0)
    charge = fed(ChargeFold(how, {"current_A"}), chunk, ()).result()
    net = with_intervals(replace(charge, evidence=without_starts(charge)), EXACT).charge.sure.net
    assert (net.low + net.high) / 2 - charge.charge.net == pytest.approx(share * 2 * 60 / 3600)


def without_starts(charge):
    """Return the evidence of a charge without what starts may have drawn unseen."""
    return replace(charge.evidence, current=replace(charge.evidence.current, starts=None))


def test_what_changed_over_a_gap_is_no_change_of_the_film():
    """Its two sides are two films, each with its own ends."""
    time_s = np.arange(0, 30, 0.2)
    current_A = np.where(time_s < 15, 10.0, 80.0)
    seen = (time_s < 12) | (time_s > 18)
    how = HowRead("dc", "held", 3.0, 0.2, delay_s=1.0, holds_s=0.5)
    fold = fed(ChargeFold(how, {"current_A"}), chunk_of(time_s[seen], current_A=current_A[seen]), ())
    charge = fold.result()
    late = charge.evidence.current.late
    assert (late.stretches, late.rises["net"], late.changes2["net"], late.hidden2) == (2, 0.0, 0.0, 0.0)
    assert len(charge.span.gaps) == 1 and charge.charge.net == pytest.approx((11.8 * 10 + 11.6 * 80) / 3600)


def test_a_hidden_stretch_makes_it_less_sure():
    """While a hand is before it the load may have done anything."""
    time_s = np.arange(0, 30, 0.2)
    current_A = np.where((time_s > 10) & (time_s < 20), 70.0, 0.0)
    seen = (time_s < 22) | (time_s > 28)
    assert parts_of(time_s[seen], current_A[seen])["while the display was hidden"] > 0.03


def test_a_display_that_stands_still_has_no_delay():
    """Whenever it showed the value, it was the same."""
    time_s = np.arange(0, 30, 0.2)
    assert parts_of(time_s, np.full(len(time_s), 5.0)).get(HOLDS, 0) == 0


def shown_in_a_film(seed, length_s, *, mean):
    """Return what a display shows five times a second [A], how long it shows each value [s], and what flowed [Ah]."""
    rng = np.random.default_rng([seed, 77])
    plan = Plan(seed, "led", 30, length_s, delay_s=rng.uniform(0.05, 0.9), mean=mean)
    plan.signal_s, plan.signal_A = draw_of(rng, length_s, signed=bool(rng.random() < 0.25))
    shown, every_s = Shown("current_A", 5, 1, 17, 12, 8, BUILDS[0]), rng.uniform(0.35, 1.0)
    fill_in(plan, shown, plan.signal_A, every_s, rng.uniform(0, every_s))
    time_s = np.arange(rng.uniform(0, 0.2), length_s, 0.2)
    flowed_Ah = plan.true_Ah(time_s[-1]) - plan.true_Ah(time_s[0])
    return time_s, np.array([float(shown.text_at(at)) for at in time_s]), every_s, flowed_Ah


@pytest.mark.parametrize("films", [60, pytest.param(200, marks=pytest.mark.night)])
@pytest.mark.parametrize(
    ("mean", "sampling", "length_s", "widest"),
    [
        (True, "mean", 14.0, 0.25),
        (True, "mean", 60.0, 0.08),
        # Nobody said that this one shows moments.
        (False, "mean", 14.0, 0.28),
        (False, "held", 14.0, 0.36),
        (False, "held", 60.0, 0.13),
    ],
)
def test_what_flowed_lies_within_and_no_wider_than_it_must(mean, sampling, length_s, widest, films):
    """Displays that average and displays that do not, updated every third of a second to every second."""
    held, halves = 0, []
    for seed in range(films):
        time_s, current_A, every_s, flowed_Ah = shown_in_a_film(seed, length_s, mean=mean)
        how = HowRead("dc", sampling, 60.0, 0.2, delay_s=1.0, holds_s=every_s)
        fold = fed(ChargeFold(how, {"current_A"}), chunk_of(time_s, current_A=current_A), ())
        net = with_intervals(fold.result(), EXACT).charge.sure.net
        held += net.low <= flowed_Ah <= net.high
        halves.append((net.high - net.low) / 2 / abs(flowed_Ah))
    assert held >= 0.95 * films
    assert np.median(halves) < widest


def test_a_run_is_as_long_as_the_display_shows_to_within_its_delay():
    """Two of 30 A, each of them late by its own: 30 A x 1.2 s at both edges, and sqrt(2) of that for both runs."""
    time_s = np.arange(0, 120, 0.2)
    on = ((time_s > 20) & (time_s < 40)) | ((time_s > 70) & (time_s < 90))
    chunk = chunk_of(time_s, current_A=np.where(on, 32.0, 2.0), voltage_V=25.0)
    how = HowRead("dc", "mean", 10.0, 0.2, delay_s=1.0)
    plain = fed(CycleFold(how, set(chunk.quantities)), chunk).result()
    cycles = cycles_with_intervals(plain, EXACT, how, noise=0.0)
    each_Ah = 1.901766 * 30 * 1.2 * math.sqrt(2 / 12) / 3600
    assert [cycle.charge_u95_Ah for cycle in cycles.cycles] == pytest.approx([each_Ah] * 2, rel=1e-3)
    assert cycles.summary.charge_u95_Ah == pytest.approx(each_Ah * math.sqrt(2), rel=1e-3)


def test_values_read_wrong_have_their_share():
    """One second in a hundred, each by itself: it may be off by up to the highest reading."""
    time_s = np.arange(0, 200, 0.2)
    current_A = np.where(time_s // 2 % 2 == 1, 70.0, 69.0)
    u = parts_of(time_s, current_A, misread_share=0.01)["digits read wrong"]
    assert u == pytest.approx(70 * math.sqrt((2 + 2**2) / 3) / 3600, rel=0.02)
    assert "digits read wrong" not in parts_of(time_s, current_A)
