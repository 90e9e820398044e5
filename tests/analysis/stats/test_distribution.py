"""How errors add up: the law of propagation, and the interval of a convolved distribution."""

import math

import numpy as np
import pytest
import uncertainties
from examples import examples
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from shuntbook.analysis.stats.interval95 import (
    Component,
    combine,
    effective_dof,
    halves_of_even,
    judged,
    limit,
    t_factor,
)

# JCGM 100:2008 (GUM), H.1, calibration of an end gauge: standard uncertainties in nm with their degrees of freedom. The
# terms and the result were read in the documentation of a general library for uncertainty calculation, the degrees of
# freedom, effective degrees, k and U are from memory.
END_GAUGE = (
    Component("the standard's length", 25.0, dof=18),
    Component("observed difference", 5.8, dof=24),
    Component("comparator, random", 3.9, dof=5),
    Component("comparator, systematic", 6.7, dof=8),
    Component("difference in expansion", 2.9, dof=50),
    Component("difference in temperature", 16.6, dof=2),
)


def test_end_gauge_of_the_guide():
    """GUM H.1: u = 32 nm, 16 effective degrees of freedom, U = 93 nm at 99 % (k = 2.92)."""
    whole = combine(END_GAUGE, level=0.99)
    assert whole.u == pytest.approx(32, abs=0.5)  # printed to the whole nanometre; 31.66 before rounding
    assert math.floor(whole.dof) == 16
    assert whole.factor == pytest.approx(2.92, abs=0.005)
    assert whole.half == pytest.approx(93, abs=0.6)  # the Guide multiplies the rounded 32 nm


def test_many_sums_of_even_parts_at_once():
    """Each is what it is by itself, also where parts are nought or tiny; one part alone reaches 0.95 of its limit."""
    widths = 10 ** np.random.default_rng(1).uniform(-4, 1, (4, 60))
    widths[1, :20] = 0
    widths[2:, :5] = 0
    alone = [combine([limit(str(k), width) for k, width in enumerate(column)]).half for column in widths.T]
    assert halves_of_even(widths) == pytest.approx(np.array(alone), rel=1e-5)
    assert halves_of_even(np.array([[0.0, 2.0], [0.0, 0.0]])) == pytest.approx([0.0, 1.9], rel=1e-3)
    assert halves_of_even(np.array([[1.0], [1.0]])) == pytest.approx([2 - np.sqrt(0.2)])  # a triangle's ends


@examples(17, 50)
@given(parts=st.lists(st.floats(1e-6, 1e3), min_size=1, max_size=8))
def test_combined_as_an_independent_library_does(parts):
    """The combined standard uncertainty is that of the `uncertainties` package for a sum of independent variables."""
    ufloat = uncertainties.ufloat
    total = sum(ufloat(1.0, u) for u in parts)
    assert combine([Component(str(k), u) for k, u in enumerate(parts)]).u == pytest.approx(total.std_dev, rel=1e-12)


@pytest.mark.parametrize("dof", [1, 2, 5, 16, 50, 400])
@pytest.mark.parametrize("level", [0.5, 0.95, 0.99])
def test_student_t_is_scipys(dof, level):
    """Student's t against scipy."""
    assert t_factor(dof, level) == pytest.approx(stats.t.ppf((1 + level) / 2, dof), rel=1e-6)


def test_known_intervals():
    """One even part: 0.95 of its half-width; two like ones: of the triangle they make; a normal one: 1.96."""
    assert combine([Component("", 1, even=1)]).half == pytest.approx(0.95 * math.sqrt(3), rel=1e-4)
    two = 2 * math.sqrt(3) * (1 - math.sqrt(0.05))
    assert combine([Component("a", 1, even=1), Component("b", 1, even=1)]).half == pytest.approx(two, rel=1e-4)
    assert combine([Component("", math.sqrt(2), even=2)]).half == pytest.approx(two, rel=1e-4)
    assert combine([Component("", 1)]).half == pytest.approx(1.959964, rel=1e-4)
    assert combine([]).half == 0


@examples(7, 20)
@given(
    widths=st.lists(st.floats(0.05, 5), min_size=0, max_size=4),
    spread=st.floats(0.05, 5),
    seed=st.integers(0, 2**31),
)
def test_interval_is_that_of_random_draws(widths, spread, seed):
    """JCGM 101: the 2.5 and 97.5 % quantiles of 400,000 draws, to what so many draws can tell."""
    rng = np.random.default_rng(seed)
    draws = rng.normal(0, spread, 400_000) + sum(rng.uniform(-a, a, 400_000) for a in widths)
    parts = [Component("noise", spread), *(Component(str(a), a / math.sqrt(3), even=1) for a in widths)]
    assert combine(parts).half == pytest.approx(np.quantile(np.abs(draws), 0.95), rel=0.01)


@examples(17, 50)
@given(
    parts=st.lists(st.tuples(st.floats(0.01, 10), st.floats(0, 30)), min_size=1, max_size=6), scale=st.floats(0.01, 100)
)
def test_scaled_parts_scale_the_interval(parts, scale):
    """Units do not matter, nor does the order; the coverage factor lies between an even part's and a normal one's."""
    parts = [Component("", u, even=even if even >= 1 else 0.0) for u, even in parts]
    whole = combine(parts)
    scaled = combine([Component("", part.u * scale, even=part.even) for part in reversed(parts)])
    assert scaled.half == pytest.approx(whole.half * scale, rel=1e-3)
    assert 1.644 < whole.factor < 1.961


def test_effective_degrees_of_freedom():
    """Exact parts alone have infinitely many; two equal parts of n each have 2 n."""
    assert math.isinf(effective_dof([Component("", 1.0)]))
    assert effective_dof([Component("", 1.0, dof=7), Component("", 1.0, dof=7)]) == pytest.approx(14)


def test_one_sided_bounds_make_the_interval_lopsided():
    """What no distribution describes widens one side; u95 is the larger half, the quadrature stays as it is."""
    plain, bound = (judged(10.0, [Component("gain", 1.0)], higher=high) for high in (0.0, 5.0))
    assert bound.u == plain.u
    assert bound.low == plain.low
    assert bound.high == plain.high + 5
    assert bound.u95 == plain.u95 + 5
    assert bound.lopsided
    assert not plain.lopsided


def test_budget_sums_in_quadrature():
    """Shares sum to one, the largest first, and nothing that is nought is in it."""
    sure = judged(1.0, [Component("a", 0.3), Component("none", 0.0), Component("b", 0.4, even=1)])
    assert [part.source for part in sure.components] == ["b", "a"]
    assert sum(sure.share(part) for part in sure.components) == pytest.approx(1)
    assert sure.u == pytest.approx(0.5)
