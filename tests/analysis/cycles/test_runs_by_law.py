"""A law of runs, on any signal: nothing runs while nothing is drawn, and no more is found than was read."""

from itertools import pairwise

import numpy as np
from examples import examples
from hypothesis import example, given
from hypothesis import strategies as st
from load_scenes import cycles_of
from readings import T0_US, US, chunk_of

from shuntbook.analysis.cycles.on_off_path import STAYS
from shuntbook.analysis.cycles.run_figures import ABOUT
from shuntbook.analysis.signal_levels.level_record import REST_S

#: Settled draw is a median over a run, its law is held level by level: a draw may fall within a run by a quarter more.
GOOD_PART = 0.5 * STAYS
#: Share by which readings scatter. [1]
NOISE = 0.003


def windows(x, count=5):
    """Medians of so many readings in a row: a moment is no level."""
    return np.median(np.lib.stride_tricks.sliding_window_view(x, count), axis=1)


def lowest_draw(result, cycle, own):
    """What a run drew at its lowest speed; `own` of a load that is on or off."""
    if not result.speeds:
        return own
    lowest = result.speeds[next(k for k, lasted_s in enumerate(cycle.at_speeds) if lasted_s > 0)]
    return lowest.draw_A if lowest.draw_W is None else lowest.draw_W


def assert_law(time_s, x, result, draw_of, every_s):
    """Hold runs against the readings that they were found in, three readings within their edges."""
    noise = 4 * NOISE * np.abs(x).max()
    for cycle, after in pairwise([*result.cycles, None]):
        assert after is None or cycle.start_us < after.start_us
        assert after is None or cycle.stop_us is None or cycle.stop_us <= after.start_us
    for cycle in result.cycles:
        start_s = (cycle.start_us - T0_US) / US
        stop_s = time_s[-1] if cycle.stop_us is None else (cycle.stop_us - T0_US) / US
        inside = x[(time_s > start_s + 3 * every_s) & (time_s < stop_s - 3 * every_s)]
        rest = x[(time_s > start_s - REST_S) & (time_s < stop_s + 3 * every_s)].min()
        own = draw_of(cycle)
        if len(inside) >= 8:
            least = lowest_draw(result, cycle, own)
            assert windows(inside).min() >= rest + GOOD_PART * least - noise
            # At several speeds it is a mean, of all that was read within the run.
            highest = x[(time_s > start_s) & (time_s < stop_s)].max() if result.speeds else windows(inside).max()
            assert rest + own <= highest + ABOUT * own + noise


def levelled(levels, every_s, seed):
    """Readings of a signal that holds each level for a time. [s], [unit]."""
    edges = np.cumsum([0.0, *(length for _, length in levels)])
    time_s = np.arange(0.0, edges[-1], every_s)
    true = np.array([level for level, _ in levels])[np.searchsorted(edges[1:], time_s, side="right")]
    rng = np.random.default_rng(seed)
    return time_s, np.round(true * (1 + rng.normal(0, NOISE, len(time_s))), 1)


def power_runs(levels, every_s, seed, side="ac"):
    """Instants, readings, and what is found in them."""
    time_s, x = levelled(levels, every_s, seed)
    name = "power_W" if side == "ac" else "current_A"
    return time_s, x, cycles_of(chunk_of(time_s, **{name: x}), every_s, side=side)


ANY_LEVELS = st.lists(
    st.tuples(st.sampled_from([0.0, 5.0, 20.0, 45.0, 70.0, 110.0, 300.0]), st.floats(10.0, 900.0)),
    min_size=3,
    max_size=40,
)


@examples(50, 400)
@given(
    levels=ANY_LEVELS, every_s=st.sampled_from([1.0, 5.0]), seed=st.integers(0, 9), side=st.sampled_from(["ac", "dc"])
)
def test_nothing_runs_while_nothing_is_drawn(levels, every_s, seed, side):
    """Any signal: within a run a good part of its draw is there at all times, above the least of the hours before."""
    time_s, x, result = power_runs(levels, every_s, seed, side)
    assert_law(time_s, x, result, lambda cycle: cycle.run_W if side == "ac" else cycle.run_A, every_s)


SPEEDS = st.lists(st.tuples(st.sampled_from([5.0, 20.0, 45.0, 70.0]), st.floats(60.0, 900.0)), min_size=1, max_size=8)
STRETCHES = st.lists(st.tuples(SPEEDS, st.floats(400.0, 3000.0)), min_size=4, max_size=10)


def several_speeds(stretches):
    """Levels of a pump that changes its speed, and rests at nought between."""
    return [(0.0, 600.0), *(level for speeds, rest_s in stretches for level in (*speeds, (0.0, rest_s)))]


#: A run that falls late to a lower speed covers one that alone would pass for a dry one.
LATE_FALL = [
    ([(70.0, 60.0)], 400.0),
    ([(70.0, 60.0), (20.0, 60.0), (45.0, 60.0)], 400.0),
    ([(5.0, 60.0)], 400.0),
    ([(45.0, 131.0), (70.0, 900.0), (5.0, 60.0), (70.0, 60.0)], 400.0),
]


@examples(50, 400)
@example(stretches=LATE_FALL, every_s=10.0, seed=0)
@given(stretches=STRETCHES, every_s=st.sampled_from([10.0, 30.0, 60.0]), seed=st.integers(0, 9))
def test_a_pump_of_several_speeds_has_no_run_through_its_rests(stretches, every_s, seed):
    """Speeds are not told apart, but what is called a run lies within one stretch from rest to rest."""
    levels = several_speeds(stretches)
    time_s, x, result = power_runs(levels, every_s, seed)
    assert_law(time_s, x, result, lambda cycle: cycle.run_W, every_s)
    is_rest = x < 0.5
    for cycle in result.cycles:
        stop_s = time_s[-1] if cycle.stop_us is None else (cycle.stop_us - T0_US) / US
        inside = (time_s > (cycle.start_us - T0_US) / US + every_s) & (time_s < stop_s - every_s)
        assert not is_rest[inside].any()
