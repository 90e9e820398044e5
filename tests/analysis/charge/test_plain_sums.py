"""The sums of `charge` beside the same written plainly, reading by reading; and what lets them be made quickly."""

import math
import threading
from itertools import groupby, pairwise

import numpy as np
import pytest
from examples import examples
from hypothesis import given
from hypothesis import strategies as st
from readings import T0_US, assert_same, chunk_of, fed, how

from shuntbook.analysis.charge.charge import ChargeFold
from shuntbook.analysis.charge.completed import CURRENT, PieceReader, Signal
from shuntbook.analysis.charge.error_facts import Parts
from shuntbook.analysis.charge.grouped_sums import sums_by_sign
from shuntbook.analysis.readings.chunk import Chunk
from shuntbook.analysis.readings.integral import Intervals
from shuntbook.analysis.signal_levels.step_threshold import _least_above_zero
from shuntbook.analysis.sureness.amount_intervals import AmountsAnalysis
from shuntbook.analysis.sureness.meter_figures import figures_of
from shuntbook.cli.parallel.two_threads import feed

#: Values that repeat, change sign and are nought, as rounded readings do; and spacings with gaps among them.
CURRENTS_A = st.sampled_from([-3.5, -0.5, 0.0, 0.25, 0.5, 2.0, 2.0, 2.01, 30.0])
SPACINGS_S = st.sampled_from([1.0, 1.0, 1.0, 0.5, 2.5, 40.0])
LOGS = st.lists(st.tuples(CURRENTS_A, st.sampled_from([24.0, 24.5, 25.0]), SPACINGS_S), min_size=2, max_size=120)
CUTS = st.lists(st.integers(0, 200), max_size=5)


def intervals(log):
    """Both ends of each interval no longer than the gap limit: amps, volts and length, one after the other."""
    return [(a[0], b[0], a[1], b[1], b[2]) for a, b in pairwise(log) if b[2] <= how().gap_limit_s]


def split(i0, i1, v0, v1, length_s):
    """What a straight line of amps draws and returns, and that times a straight line of volts [A s], [W s]."""
    share = i0 / (i0 - i1) if i0 * i1 < 0 else 1.0
    drawn, returned, energy = 0.0, 0.0, [0.0, 0.0]
    for begin, end in ((0.0, share), (share, 1.0)):
        ia, ib, va, vb = (x0 + part * (x1 - x0) for x0, x1 in ((i0, i1), (v0, v1)) for part in (begin, end))
        if end == share < 1.0:
            ib = 0.0
        dt = (end - begin) * length_s
        amount, watts = (ia + ib) / 2 * dt, (2 * va * ia + va * ib + vb * ia + 2 * vb * ib) / 6 * dt
        drawn, returned = drawn + max(amount, 0.0), returned + max(-amount, 0.0)
        energy[watts < 0] += abs(watts)
    return drawn, returned, *energy


def runs2(log):
    """Sum of the squares of the times that equal readings stand; of four and more of one value all together [s2]."""
    still, total = {}, 0.0
    for value, run in groupby(intervals(log), key=lambda part: part[1]):
        lengths_s = [part[4] for part in run]
        if len(lengths_s) >= 4:
            still[value] = still.get(value, 0.0) + sum(lengths_s)
        else:
            total += sum(lengths_s) ** 2
    return total, still


@examples(50, 150)
@given(log=LOGS, cuts=CUTS)
def test_sums_are_those_of_plain_arithmetic(log, cuts):
    """Integrals split at zero (Simpson's rule for a product of two lines), and the sums that intervals rest on."""
    parts = intervals(log)
    time_s = np.cumsum([row[2] for row in log])
    chunk = chunk_of(time_s, current_A=[row[0] for row in log], voltage_V=[row[1] for row in log])
    charge = fed(ChargeFold(how(), set(chunk.quantities)), chunk, cuts).result()
    if not parts:
        assert charge.charge is None
        return
    drawn, returned, drawn_Ws, returned_Ws = (math.fsum(x) for x in zip(*(split(*p) for p in parts), strict=True))
    got = (charge.charge.drawn, charge.charge.returned, charge.energy.drawn, charge.energy.returned)
    assert [3600 * x for x in got] == pytest.approx([drawn, returned, drawn_Ws, returned_Ws], rel=1e-12, abs=1e-10)
    facts = charge.evidence.current
    changes = [(i1 - i0) * length_s for i0, i1, _, _, length_s in parts]
    assert facts.lengths2 == pytest.approx(math.fsum(p[4] ** 2 for p in parts), rel=1e-12)
    assert facts.steps2.net == pytest.approx(math.fsum(x**2 for x in changes), rel=1e-12)
    assert facts.steps4.net == pytest.approx(math.fsum(x**4 for x in changes), rel=1e-12)
    for got_of, sign in ((facts.steps2.drawn, 1), (facts.steps2.returned, -1)):
        above = [(max(sign * i1, 0.0) - max(sign * i0, 0.0)) * length_s for i0, i1, _, _, length_s in parts]
        assert got_of == pytest.approx(math.fsum(x**2 for x in above), rel=1e-12, abs=1e-12)
    assert facts.all_s == pytest.approx(math.fsum(p[4] for p in parts), rel=1e-12)
    assert facts.time_s.drawn == pytest.approx(math.fsum(p[4] for p in parts if p[0] + p[1] > 0), rel=1e-12)


@examples(50, 150)
@given(log=LOGS, cuts=CUTS)
def test_runs_of_equal_readings_are_those_found_one_by_one(log, cuts):
    """A run counts once, however long; where a reading stands still its runs count as one, the open one among them."""
    parts = intervals(log)
    time_s = np.cumsum([row[2] for row in log])
    chunk = chunk_of(time_s, current_A=[row[0] for row in log])
    facts = fed(ChargeFold(how(), {"current_A"}), chunk, cuts).result().evidence.current
    if parts:
        whole = [part[1] for part in parts]
        open_count = next(len(list(run)) for _, run in groupby(reversed(whole)))
        total, still = runs2(log)
        open_s = sum(part[4] for part in parts[-open_count:])
        if open_count < 4:  # the run that goes on counts with those that stand still
            total -= open_s**2
            still[whole[-1]] = still.get(whole[-1], 0.0) + open_s
        assert facts.runs2().net == pytest.approx(total + sum(s**2 for s in still.values()), rel=1e-12)


def test_two_threads_work_out_two_pieces_at_once():
    """Each waits until the other is at work, too; with one lock for all pieces none would come to its end."""
    both = threading.Barrier(2)

    def integral(measured, line):
        both.wait(timeout=10)
        return CURRENT.integral(measured, line)

    readers = [PieceReader(how(), Signal("i", integral, CURRENT.at)) for _ in range(2)]
    pieces = [reader.take(Chunk(np.arange(5) * 1_000_000, {"i": np.arange(5.0)})) for reader in readers]
    other = threading.Thread(target=pieces[1].work_out)
    other.start()
    pieces[0].work_out()
    other.join()
    assert [each.sums.net for each in pieces] == [8.0, 8.0]


class Listing:
    """A fold that lists what it was given, and can be made to fail."""

    def __init__(self, fails=False):
        self.seen, self._fails = [], fails

    def add(self, chunk):
        """Note the chunk."""
        if self._fails:
            raise ValueError("cannot")
        self.seen.append(chunk)


def test_folds_side_by_side_see_every_chunk_in_order():
    """Each fold has all of them; what one raises in its thread reaches the caller."""
    folds = [Listing() for _ in range(3)]
    feed(range(50), *folds)
    assert [fold.seen for fold in folds] == [list(range(50))] * 3
    with pytest.raises(ValueError, match="cannot"):
        feed(range(3), Listing(), Listing(fails=True))


class LateAhead:
    """An analysis whose work ahead ends in turned order, and can be made to fail; it tells what was taken when."""

    def __init__(self, amounts, fails_at=None):
        self._amounts, self._fails_at = amounts, fails_at
        self._second_begun, self.begun, self.taken = threading.Event(), [], []

    def add(self, chunk):
        """Is not asked for where work is done ahead."""
        raise AssertionError

    def read(self, chunk):
        """Note when the chunk began."""
        self.begun.append(int(chunk.time_us[0]))
        return self._amounts.read(chunk)

    def work_out(self, read):
        """Let the first chunk wait until the second is worked out."""
        at_us = int(read.chunk.time_us[0])
        if at_us == self._fails_at:
            raise ValueError("cannot")
        if at_us == self.begun[0]:
            assert self._second_begun.wait(timeout=10)
        self._amounts.work_out(read)
        self._second_begun.set()

    def take(self, read):
        """Note which chunk was taken."""
        self.taken.append(int(read.chunk.time_us[0]))
        self._amounts.take(read)


def analysis_of(chunk, **window):
    """What `charge` asks of a log with a note in its middle."""
    note = int(chunk.time_us[len(chunk) // 2]), "pump on"
    return AmountsAnalysis(how(), set(chunk.quantities), figures_of(None), [note], **window)


@pytest.mark.parametrize("window", [{}, {"from_us": T0_US + 7_000_000, "to_us": T0_US + 61_500_000}])
def test_work_ahead_changes_no_bit(window):
    """Chunks worked out in threads, the second before the first, give what they give one after the other."""
    rng = np.random.default_rng(5)
    current_A = np.round(rng.normal(0, 3, 90), 1)
    chunk = chunk_of(np.cumsum(rng.choice([0.5, 1.0, 30.0], 90)), current_A=current_A, voltage_V=25 - current_A / 50)
    parts = [chunk.part(k, min(k + 13, 90)) for k in range(0, 90, 13)]
    plain, ahead, seen = analysis_of(chunk, **window), LateAhead(analysis := analysis_of(chunk, **window)), Listing()
    for part in parts:
        plain.add(part)
    feed([parts[0].part(0, 0), *parts], ahead, seen)
    assert_same(analysis.result(), plain.result(), within=0.0)
    assert ahead.taken == [int(part.time_us[0]) for part in parts]
    assert seen.seen == parts


def test_what_work_ahead_raises_reaches_the_caller():
    """It comes in its place: chunks before it are taken, none after it, and no more than four were begun."""
    chunk = chunk_of(range(60), current_A=2.0)
    parts = [chunk.part(k, k + 5) for k in range(0, 60, 5)]
    ahead = LateAhead(analysis_of(chunk), fails_at=int(parts[2].time_us[0]))
    with pytest.raises(ValueError, match="cannot"):
        feed(parts, ahead)
    assert ahead.taken == [int(part.time_us[0]) for part in parts[:2]]
    assert len(ahead.begun) <= 2 + 4


def test_the_least_above_nought_is_found_by_bits():
    """Of each row: 0.25 beside noughts, 2 alone, and nothing where all is nought."""
    rows = np.array([[0.0, 3.0, 0.25], [2.0, 2.0, 2.0], [0.0, 0.0, 0.0]])
    assert _least_above_zero(rows).tolist() == [0.25, 2.0, math.inf]


def test_sums_by_sign_are_the_same_by_runs_and_one_by_one():
    """Nought counts as not below; two runs of one sign, and signs that change each time."""
    amounts = np.array([1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0, 128.0, 256.0, 512.0, 1024.0, 2048.0])
    runs = np.array([0.0, 1, 1, 1, 1, 1, -1, -1, -1, -1, -1, -1])
    assert sums_by_sign(runs, amounts).tolist() == [[63.0, 4032.0]]
    in_turn = np.tile([1.0, -1.0], 6)
    assert sums_by_sign(in_turn, amounts, amounts * 2).tolist() == [[1365.0, 2730.0], [2730.0, 5460.0]]


@pytest.mark.parametrize("crossings", [1, 30])
def test_steps_through_zero_are_parted_at_it(crossings):
    """From 2 A to -1 A and back draw changes by 2, return by 1, both by 3, be they few or many among 60 intervals."""
    first = np.tile([2.0, -1.0], 16)[: crossings + 1]
    current_A = np.concatenate([first, np.full(60 - crossings, first[-1])])
    facts = fed(ChargeFold(how(), {"current_A"}), chunk_of(range(61), current_A=current_A)).result().evidence.current
    assert facts.steps2 == Parts(4.0 * crossings, 1.0 * crossings, 9.0 * crossings)
    assert facts.steps4 == Parts(16.0 * crossings, 1.0 * crossings, 81.0 * crossings)


def test_one_length_for_all_is_that_of_each():
    """Readings a tenth of a second apart stand for what they stand for among others."""
    even, uneven = (Intervals(t[:-1], t[1:], {}, {}) for t in (np.arange(5) * 100_000, np.arange(5) ** 2 * 100_000))
    assert even.length_s.tolist() == [0.1] * 4
    assert uneven.length_s.tolist() == [0.1, 0.3, 0.5, 0.7]
