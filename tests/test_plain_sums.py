"""The sums of `charge` beside the same written plainly, reading by reading; and what lets them be made quickly."""

import math
from itertools import groupby, pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from readings import chunk_of, fed, how

from shuntbook.analysis.charge import ChargeFold
from shuntbook.cli.side_by_side import feed

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
    """Sum of the squares of the times that equal readings stand; of eight and more of one value all together [s2]."""
    still, total = {}, 0.0
    for value, run in groupby(intervals(log), key=lambda part: part[1]):
        lengths_s = [part[4] for part in run]
        if len(lengths_s) >= 8:
            still[value] = still.get(value, 0.0) + sum(lengths_s)
        else:
            total += sum(lengths_s) ** 2
    return total, still


@settings(max_examples=150)
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
    assert facts.all_s == pytest.approx(math.fsum(p[4] for p in parts), rel=1e-12)
    assert facts.time_s.drawn == pytest.approx(math.fsum(p[4] for p in parts if p[0] + p[1] > 0), rel=1e-12)


@settings(max_examples=150)
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
        if open_count < 8:  # the run that goes on counts with those that stand still
            total -= open_s**2
            still[whole[-1]] = still.get(whole[-1], 0.0) + open_s
        assert facts.runs2.net == pytest.approx(total + sum(s**2 for s in still.values()), rel=1e-12)


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
