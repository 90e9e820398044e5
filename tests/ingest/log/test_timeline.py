"""Readings in whatever order become readings in order."""

from __future__ import annotations

from itertools import groupby

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from shuntbook.ingest.errors import InputError
from shuntbook.ingest.log.clock_steps import FEW_ROWS
from shuntbook.ingest.log.gap_limit import IntervalCount
from shuntbook.ingest.log.log import Readings
from shuntbook.ingest.log.timeline import Settled, settle

S = 1_000_000


def settled(seconds: list[float], **quantities: list[float]) -> Settled:
    """Settle readings given in seconds; without quantities a current that counts the rows."""
    time_us = np.array([round(second * S) for second in seconds], dtype=np.int64)
    columns = quantities or {"current_A": [float(k) for k in range(len(seconds))]}
    return settle(Readings(time_us, {name: np.array(x) for name, x in columns.items()}))


def current(result: Settled) -> list[float]:
    """Return the currents."""
    return [float(x) for x in result.readings.quantities["current_A"]]


INSTANTS = st.lists(st.integers(0, 10_000), min_size=1, max_size=200)


@given(INSTANTS)
@example([8, 2, 1, 0, 8, 1, 0])  # newest first it is 0, 1, 8 and again 0, 1, 2, 8: which of them came first?
@example([7] * 30)
def test_times_always_increase_and_rows_are_accounted_for(seconds):
    """Whatever comes: strictly increasing and nothing lost but what was merged, or asked where it may be two logs."""
    try:
        result = settled([second + 0.1 for second in seconds])
    except InputError as error:
        stands = max(len(list(group)) for _, group in groupby(seconds)) >= 20
        begins_again = len(seconds) >= 2 * FEW_ROWS + 1 and "begins again at the first instant" in str(error)
        assert begins_again or (stands and "stood still" in str(error))
        return
    assert (np.diff(result.readings.time_us) > 0).all()
    assert len(result.readings.time_us) + result.merged == len(seconds)
    assert result.readings.quantities["current_A"].min() >= 0
    assert result.readings.quantities["current_A"].max() <= len(seconds) - 1


@given(st.sets(st.integers(0, 10**6), min_size=2, max_size=300))
def test_what_is_in_order_is_left_as_it_is(instants):
    """Bit by bit."""
    seconds = sorted(instants)
    result = settled([float(second) for second in seconds])
    assert result.readings.time_us.tolist() == [second * S for second in seconds]
    assert current(result) == list(range(len(seconds)))
    assert result.sentences() == []


@given(st.sets(st.integers(0, 10**6), min_size=3, max_size=300))
def test_newest_first_is_turned_round(instants):
    """The same log backwards."""
    seconds = sorted(instants, reverse=True)
    result = settled([float(second) for second in seconds])
    assert result.turned
    assert current(result) == list(range(len(seconds)))[::-1]


@pytest.mark.parametrize("late", [1, 2, 20, 100])
@pytest.mark.parametrize("after", [0, 5, 500])
def test_late_rows(late, after):
    """Rows that fill a hole are sorted in, however many follow them."""
    seconds = [*range(50), *range(50 + late, 300 + late), *range(50, 50 + late), *range(300 + late, 300 + late + after)]
    result = settled([second + 0.5 for second in seconds])
    assert np.diff(result.readings.time_us).tolist() == [S] * (len(seconds) - 1)
    assert result.late == late
    assert result.clock_steps == []


@pytest.mark.parametrize("step", [FEW_ROWS + 2, 60, 3600])
@pytest.mark.parametrize("length", [4000, 9000])
def test_a_clock_set_back(step, length):
    """The same stamps a second time, running on past the first: measured afterwards, and the step is recorded."""
    seconds = [*range(5000), *range(5000 - step, 5000 - step + length)]
    result = settled([float(second) for second in seconds])
    assert np.diff(result.readings.time_us).tolist() == [S] * (len(seconds) - 1)
    assert current(result) == list(range(len(seconds)))
    assert [s["step_s"] for s in result.clock_steps] == [step]


def test_a_clock_set_back_twice():
    """Each step is recorded, and the second counts from the first."""
    seconds = [*range(1000), *range(500, 1500), *range(1000, 2000)]
    result = settled([float(second) for second in seconds])
    assert [s["step_s"] for s in result.clock_steps] == [500, 500]
    assert np.diff(result.readings.time_us).tolist() == [S] * 2999


@pytest.mark.parametrize("at", [0, 1, 50, 299])
@pytest.mark.parametrize("leap_s", [3, 4, 20, 200, 10 * 365 * 86_400])
@pytest.mark.parametrize("count", [1, FEW_ROWS])
def test_a_few_rows_that_leap_ahead_move_no_others(at, leap_s, count):
    """A damaged digit of a stamp, or rows written too early: all others stay where they are."""
    seconds = [*range(at), *range(at + leap_s, at + leap_s + count), *range(at, 400)]
    result = settled([second + 0.5 for second in seconds])
    assert result.clock_steps == []
    stamps = set((result.readings.time_us // S).tolist())
    assert stamps == set(seconds)


def test_a_clock_is_set_back_although_a_row_leapt_ahead():
    """The step is found, and by its own length."""
    seconds = [*range(200), 10_000, *range(200, 1000), *range(500, 1500)]
    result = settled([second + 0.5 for second in seconds])
    assert [s["step_s"] for s in result.clock_steps] == [500]
    assert current(result)[-1] == 200  # the row that leapt


def test_rows_in_no_order_are_sorted_and_no_clock_step():
    """A hundred thousand rows as chance has it, each in its place."""
    seconds = np.random.default_rng(1).permutation(100_000).tolist()
    result = settled([second + 0.5 for second in seconds])
    assert result.clock_steps == []
    assert current(result) == np.argsort(seconds).tolist()


@pytest.mark.parametrize(
    "seconds",
    [
        [0, 2, 3, 4, 1, 8, 5, 6, 7, 8, 9, 10],  # rows 1 and 8 are misplaced, 8 was copied
        [*range(20), 7, *range(20, 32), 35, 25, *range(32, 40)],
    ],
)
def test_rows_that_fill_a_hole_are_no_clock_step(seconds):
    """Though a copied row lies beyond them: what a clock set back writes lies beside rows that are there."""
    result = settled([second + 0.5 for second in seconds], current_A=[float(second) for second in seconds])
    assert result.clock_steps == []
    assert current(result) == sorted(map(float, set(seconds)))


def test_files_in_another_order_are_no_clock_step():
    """They overlap nothing."""
    result = settled([*map(float, range(2000, 3000)), *map(float, range(1000)), *map(float, range(1000, 2000))])
    assert result.clock_steps == []
    assert np.diff(result.readings.time_us).tolist() == [S] * 2999


@pytest.mark.parametrize("step", [10, 300, 1500])
def test_exports_that_overlap_are_no_clock_step(step):
    """Rows that say again what is there are merged; the same stamps with other readings are a clock set back."""
    first, second = list(range(2000)), list(range(2000 - step, 4000))
    again = settled([float(t) for t in first + second], current_A=[t * 0.5 for t in first + second])
    assert (again.clock_steps, again.merged) == ([], step)
    assert current(again) == [t * 0.5 for t in range(4000)]
    other = settled([float(t) for t in first + second], current_A=[t * 0.5 for t in first] + [-1.0 - t for t in second])
    assert [s["step_s"] for s in other.clock_steps] == [step]


def test_merging():
    """Means of quantities, the last of a counter, and a missing reading does not spoil the mean."""
    nan = float("nan")
    result = settled(
        [0.5, 1.5, 1.5, 1.5, 2.5, 2.5],
        current_A=[1, 2, nan, 4, nan, nan],
        charge_Ah=[1, 2, 3, nan, nan, 5],
    )
    np.testing.assert_array_equal(result.readings.quantities["current_A"], [1, 3, nan])
    np.testing.assert_array_equal(result.readings.quantities["charge_Ah"], [1, 3, 5])
    assert result.merged == 3


@pytest.mark.parametrize("grain", [1, 60])
@pytest.mark.parametrize("rate", [2, 3, 4, 7])
def test_spreading(grain, rate):
    """Several rows a second, or a minute, are spread evenly within it."""
    result = settled([float(k // rate * grain) for k in range(rate * 20)])
    assert result.spread_us == grain * S
    assert result.merged == 0
    steps = np.diff(result.readings.time_us)
    assert abs(steps - grain * S / rate).max() <= 1


def test_a_few_shared_seconds_are_merged_not_spread():
    """A steady 1 Hz meter that now and then gives two rows a second is not taken for a 2 Hz one."""
    seconds = [float(k) for k in range(100)] + [50.0, 70.0]
    result = settled(sorted(seconds))
    assert (result.spread_us, result.merged) == (0, 2)


@given(st.lists(st.integers(1, 10**9), min_size=1, max_size=200), st.integers(0, 200))
def test_intervals_do_not_depend_on_where_they_are_cut(steps, cut):
    """One part or two: the same quantiles."""
    time_us = np.cumsum(np.array(steps, dtype=np.int64))
    whole, parts = IntervalCount(), IntervalCount()
    whole.add(time_us)
    parts.add(time_us[:cut])
    parts.add(time_us[cut:])
    assert [whole.quantile_s(q) for q in (0.05, 0.5, 0.95)] == [parts.quantile_s(q) for q in (0.05, 0.5, 0.95)]


@given(st.lists(st.integers(1, 500), min_size=1, max_size=200))
def test_quantiles_of_intervals(steps_ms):
    """The smallest interval that the share does not exceed, to the millisecond."""
    count = IntervalCount()
    count.add(np.cumsum(np.array([0, *steps_ms])) * 1000)
    ordered = sorted(steps_ms)
    for share in (0.5, 0.95):
        at = count.quantile_s(share)
        assert at is not None
        assert sum(step <= round(at * 1000) for step in ordered) >= share * len(ordered)
        assert sum(step < round(at * 1000) for step in ordered) < share * len(ordered)


def test_no_interval_gives_the_least_gap_limit():
    """One reading has no spacing: 10 s (DESIGN section 5)."""
    count = IntervalCount()
    count.add(np.array([5], dtype=np.int64))
    assert (count.median_s(), count.gap_limit().limit_s) == (None, 10.0)


def _minutes(stamps, current_A):
    """Readings at whole seconds after a start."""
    time_us = 1_780_000_000_000_000 + np.array(stamps, dtype=np.int64) * 1_000_000
    return Readings(time_us, {"current_A": np.array(current_A, dtype=float)})


def test_two_rows_of_one_second_at_a_step_are_both_kept():
    """A source of one row a minute that writes both sides of a step in one second loses none of its charge."""
    settled = settle(_minutes([0, 60, 120, 120, 180, 240], [0.0, 0.0, 0.0, 5.0, 5.0, 5.0]))
    assert settled.steps == 1
    assert settled.merged == 0
    assert (np.diff(settled.readings.time_us) / 1e6).tolist() == [60.0, 60.0, 0.5, 59.5, 60.0]
    assert settled.readings.quantities["current_A"].tolist() == [0.0, 0.0, 0.0, 5.0, 5.0, 5.0]


def test_two_rows_of_one_second_that_are_no_step_are_merged():
    """An odd second row, or one at a second's spacing, is merged by its mean."""
    odd = settle(_minutes([0, 60, 120, 120, 180, 240], [5.0, 5.0, 5.0, 7.0, 5.0, 5.0]))
    assert (odd.steps, odd.merged) == (0, 1)
    assert odd.readings.quantities["current_A"].tolist() == [5.0, 5.0, 6.0, 5.0, 5.0]
    dense = settle(_minutes([0, 1, 2, 2, 3, 4], [0.0, 0.0, 0.0, 5.0, 5.0, 5.0]))
    assert (dense.steps, dense.merged) == (0, 1)


def _switching(seed, hours=6):
    """Rows once a minute, both sides of each change in one second, 2 s apart after it; and the amp-seconds drawn."""
    rng = np.random.default_rng(seed)
    rows, drawn_As, at, level = [(0, 1.0)], 0.0, 0, 1.0
    while at < hours * 3600:
        stop = at + int(rng.integers(20, 400))
        after = list(range(at + 2, min(at + 10, stop), 2))
        rows += [(t, level) for t in [*after, *range((after or [at])[-1] + 60, stop - 10, 60), stop]]
        drawn_As += level * (stop - at)
        at, level = stop, float(rng.uniform(20, 40)) if level == 1.0 else 1.0
        rows.append((at, level))
    return rows[:-1], drawn_As


@pytest.mark.parametrize("seed", range(5))
def test_steps_are_kept_wherever_the_spacing_around_them_is_long(seed):
    """Usually 2 s apart, else a minute: merged, each change would be spread over the minute before it."""
    rows, drawn_As = _switching(seed)
    settled = settle(_minutes(*zip(*rows, strict=True)))
    time_s, x = settled.readings.time_us / 1e6, settled.readings.quantities["current_A"]
    assert np.median(np.diff(time_s)) < 10
    assert settled.merged == 0
    # The second side stands half a second late: half a second of each change, up here and down there.
    assert np.trapezoid(x, time_s) == pytest.approx(drawn_As, rel=5e-4)


def test_a_start_s_surge_after_a_step_does_not_hide_it():
    """The row after the step stands 2 s later, at another level: only across long spacings must the level go on."""
    settled = settle(_minutes([0, 60, 120, 120, 122, 124, 184], [1.0, 1.0, 1.0, 90.0, 30.0, 30.0, 30.0]))
    assert (settled.steps, settled.merged) == (1, 0)
