"""How many values of a film may be wrong, by its own evidence: patterns that are no figure, and segments that stray."""

import numpy as np
import pytest
from film_frames import States, at_most, read_states, told_of_states
from film_plans import Plan
from film_reading import flowed_Ah

from shuntbook.ingest.film.field_reader import Glimpse
from shuntbook.ingest.film.figures import DisplayValue
from shuntbook.ingest.film.live_reading import HoldTimes, MisreadSums
from shuntbook.ingest.film.one_digit import NO_FIGURE
from shuntbook.ingest.film.patterns import others_for_none
from shuntbook.ingest.film.seen import Seen


def after(*stretches):
    """Return what is told after stretches: what stood (None: no figure), for how many looks, and how far it strays."""
    sums, k = MisreadSums(1), 0
    for text, looks, stray in stretches:
        for _ in range(looks):
            figure = DisplayValue("current_A", 1.0, 0.1, text) if text else None
            reason = "" if text else f"digit 1 {NO_FIGURE}"
            sums.add([Seen(k, k * 0.2, Glimpse(text or "?", -1, reason, (1.0,), (stray,)), figure, reason)])
            k += 1
    return sums.result()


def test_a_clean_film_is_as_good_as_others_and_a_longer_one_better():
    """Nothing stood that is no figure: a short film tells little of itself, so what is usual of films counts."""
    short, long, longest = (after(("25.1", looks, 0.05)) for looks in (50, 5000, 50000))
    assert (short.seconds, long.seconds, short.no_figures) == (10, 1000, 0)
    assert 1 / 4000 < short.share < 1 / 1000 and 1 / 1500 < short.at_most < 1 / 400
    assert short.share > long.share > longest.share and long.at_most < 0.7 * short.at_most
    assert longest.at_most < 1 / 4000


def test_what_is_no_figure_tells_of_others():
    """For each there are some that became another figure; a moment of a change is none."""
    clean, bad, moment = (after(*[("25.1", 50, 0.05), (None, looks, 0.0)] * 20) for looks in (0, 5, 2))
    assert bad.no_figures == 20 and bad.share > 10 * clean.share and bad.at_most > 0.03
    assert moment.no_figures == 0


def test_a_few_patterns_that_are_no_figure_are_as_usual():
    """Hands and glares leave some in any film, and hardly ever a wrong value beside them."""
    clean, few = (after(*[("25.1", 50, 0.05), (None, looks, 0.0)] * 3) for looks in (0, 5))
    assert few.no_figures == 3 and clean.share < few.share < 1.5 * clean.share


def test_segments_that_stray_make_it_less_sure():
    """The further, the more may have strayed all the way."""
    shares = [after(("25.1", 5000, stray)).share for stray in (0.1, 0.3, 0.36)]
    assert shares[0] < shares[1] < shares[2]


def test_one_segment_makes_no_figure_more_often_than_another_one():
    """By the patterns alone."""
    assert 0.1 < others_for_none() < 1


def test_nothing_read_is_nothing_known():
    """All of it may be wrong."""
    assert after().at_most == 1.0


def test_single_states_are_read_by_the_hundred():
    """With glare, hands and half changes: of those that nothing is before all but a few are read, and none wrong."""
    states = States()
    read_states(1, 25, states)
    assert states.clear_read > 0.9 * states.clear > 0 and not any("clear" in one for one in states.wrong)
    assert f"of {states.accepted} accepted" in told_of_states(states)
    assert at_most(0, 3000) == pytest.approx(1e-3, rel=0.01)


@pytest.mark.parametrize(("shown", "usual_s"), [((5, 5, 5, 5, 40), 0.5), ((5, 40, 5), 0.5), ((40, 40), 0.0), ((), 0.0)])
def test_how_often_a_display_shows_a_new_value_is_seen(shown, usual_s):
    """By values that follow one another, not by a steady draw or what was hidden before."""
    holds, k = HoldTimes(1), 0
    for n, looks in enumerate((3, *shown, 2)):
        for _ in range(looks):
            holds.add([Seen(k, k * 0.1, Glimpse("    ", -1), DisplayValue("current_A", n, 0.1, f"{n}"))])
            k += 1
    assert holds.usual_s == pytest.approx(usual_s)
    holds.add([Seen(k, k * 0.1, Glimpse("????", None))])
    assert holds.usual_s == pytest.approx(usual_s)


def test_a_value_that_comes_again_does_not_make_a_display_seem_slow():
    """Most of its values come twice, and one of its two displays stands still: it shows a new one twice a second."""
    holds, k = HoldTimes(2), 0
    for n, looks in enumerate((5, 10, 10, 5, 10, 10, 15, 5, 10)):
        for _ in range(looks):
            amps, volts = (DisplayValue(f"{name}", x, 0.1, f"{x}") for name, x in (("current_A", n), ("voltage_V", 25)))
            holds.add([Seen(k, k * 0.1, Glimpse("    ", -1), amps), Seen(k, k * 0.1, Glimpse("    ", -1), volts)])
            k += 1
    assert holds.usual_s == pytest.approx(0.5)


def test_films_with_known_truth_know_what_their_means_stand_for():
    """The first of a film, and one after a gap, stands for the usual time before it; a moment does not."""
    plan = Plan(1, "led", 30.0, 20.0, mean=True)
    plan.signal_s, plan.signal_A = np.arange(0, 20, 0.01), np.full(2000, 36.0)
    # Between the steps of 0.01 s in which it is summed up.
    at_s = np.concatenate([np.arange(5.005, 8.1, 0.2), np.arange(12.005, 15.1, 0.2)])
    assert flowed_Ah(plan, at_s) == pytest.approx((3.0 + 3.0 + 2 * 0.2) / 100)
    plan.mean = False
    assert flowed_Ah(plan, at_s) == pytest.approx((3.0 + 3.0) / 100)
