"""The split of a difference among its factors: nothing left over, nothing for a factor that agrees."""

from math import copysign, fsum, log, log1p, prod, ulp

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from shuntbook.analysis.nameplate.decomposition import Factor, Term, decompose, log_mean
from shuntbook.analysis.nameplate.reasons import LOAD, VOLTAGE, explained
from shuntbook.cli.render.wording.lesson import reason_said
from shuntbook.cli.render.wording.numbers import signed

ABOVE_ZERO = st.floats(1e-3, 1e5)


def term(name, *pairs, divides=()):
    """A term with a factor for each pair of estimated and measured value."""
    return Term(name, tuple(Factor(f"{name}{k}", a, b, divides=k in divides) for k, (a, b) in enumerate(pairs)))


@st.composite
def chains(draw):
    """Some terms with factors above zero, some of which divide, and some of which agree."""
    terms = []
    for k in range(draw(st.integers(1, 4))):
        pairs = draw(st.lists(st.tuples(ABOVE_ZERO, ABOVE_ZERO, st.booleans(), st.booleans()), min_size=1, max_size=5))
        factors = [Factor(f"{k}.{j}", a, a if same else b, divides=d) for j, (a, b, same, d) in enumerate(pairs)]
        terms.append(Term(str(k), tuple(factors)))
    return terms


@given(a=ABOVE_ZERO, b=ABOVE_ZERO)
def test_log_mean_is_the_published_formula(a, b):
    """L(a, b) = (a - b) / ln(a / b), the same either way round, and between geometric and arithmetic mean."""
    # Ang 2004, from memory; the inequality sqrt(ab) <= L <= (a + b) / 2 is a classic one (from memory).
    assume(abs(a - b) > 1e-3 * a)  # nearer together the plain formula loses digits
    assert log_mean(a, b) == pytest.approx((a - b) / log(a / b), rel=1e-9)
    assert log_mean(a, b) == pytest.approx(log_mean(b, a), rel=1e-12)
    assert (a * b) ** 0.5 <= log_mean(a, b) * (1 + 1e-12)
    assert log_mean(a, b) <= (a + b) / 2 * (1 + 1e-12)


def test_log_mean_of_equal_numbers_is_the_number():
    """The limit by continuity, and close to it no digit is lost."""
    assert log_mean(5.0, 5.0) == 5.0
    assert log_mean(5.0, 5.0 + 1e-9) == pytest.approx(5.0 + 0.5e-9, rel=1e-15)


def test_two_factors_by_hand():
    """2 h x 100 W = 200 Wh estimated, 3 h x 80 W = 240 Wh measured: +88.97 Wh of time, -48.97 Wh of power."""
    # By hand: L = (240 - 200) / ln(1.2) = 40 / 0.182322 = 219.393; x ln(1.5) = 0.405465 -> 88.956;
    # x ln(0.8) = -0.223144 -> -48.956; together 40.
    result = decompose([term("running", (2, 3), (100, 80))])

    assert [part.effect for part in result.parts] == pytest.approx([88.956, -48.956], abs=0.001)
    assert result.difference == 40
    assert [result.share(part) for part in result.parts] == pytest.approx([2.2239, -1.2239], abs=0.0001)


def test_what_divides_counts_the_other_way():
    """100 W / 0.8 against 100 W / 0.5: all of the 75 W are the efficiency's, and more of it would mean less."""
    result = decompose([term("loss", (100, 100), (0.8, 0.5), divides={1})])

    assert [(part.factor.name, part.effect) for part in result.parts] == [("loss1", pytest.approx(75))]


@given(terms=chains())
def test_parts_sum_to_the_difference(terms):
    """To 1e-9 of the difference, or to the rounding of the sums where these nearly agree."""
    result = decompose(terms)
    rounding = 1e-13 * sum(abs(t.estimated) + abs(t.measured) for t in terms)

    assert sum(part.effect for part in result.parts) == pytest.approx(result.difference, rel=1e-9, abs=rounding)
    assert result.estimated == pytest.approx(sum(t.estimated for t in terms))
    assert result.measured == pytest.approx(sum(t.measured for t in terms))


@given(terms=chains())
def test_each_part_is_the_formulas(terms):
    """L(V', V) ln(x' / x), with V and V' multiplied out here and L as published."""
    for each in terms:
        before = prod(f.estimated ** (-1 if f.divides else 1) for f in each.factors)
        after = prod(f.measured ** (-1 if f.divides else 1) for f in each.factors)
        assume(abs(after - before) > 1e-3 * before)
        mean = (after - before) / log(after / before)
        for part in decompose([each]).parts:
            ratio = part.factor.measured / part.factor.estimated
            expected = mean * log(ratio) * (-1 if part.factor.divides else 1)
            assert part.effect == pytest.approx(expected, rel=1e-6, abs=1e-9 * mean)


@given(terms=chains())
def test_a_factor_that_agrees_has_no_part(terms):
    """Only what differs made a difference; where nothing differs there is no part at all."""
    names = [part.factor.name for part in decompose(terms).parts]

    assert names == [f.name for t in terms for f in t.factors if f.estimated != f.measured]
    same = [Term(t.name, tuple(Factor(f.name, f.estimated, f.estimated) for f in t.factors)) for t in terms]
    assert decompose(same).parts == ()
    assert decompose(same).difference == 0


@given(terms=chains(), data=st.data())
def test_order_does_not_matter(terms, data):
    """Terms and factors in another order: the same parts."""
    turned = [Term(t.name, tuple(data.draw(st.permutations(t.factors)))) for t in data.draw(st.permutations(terms))]
    here, there = ({p.factor.name: p.effect for p in decompose(ts).parts} for ts in (terms, turned))
    largest = max((abs(effect) for effect in here.values()), default=0.0)

    assert here == pytest.approx(there, rel=1e-9, abs=1e-12 * largest)


@given(terms=chains())
def test_there_and_back_is_nothing(terms):
    """With estimate and measurement exchanged each part changes its sign: no direction is preferred."""
    back = [
        Term(t.name, tuple(Factor(f.name, f.measured, f.estimated, divides=f.divides) for f in t.factors))
        for t in terms
    ]
    here, there = ([p.effect for p in decompose(ts).parts] for ts in (terms, back))
    largest = max((abs(effect) for effect in here), default=0.0)

    assert here == pytest.approx([-effect for effect in there], rel=1e-9, abs=1e-12 * largest)


@given(a=ABOVE_ZERO, b=ABOVE_ZERO, c=ABOVE_ZERO, d=ABOVE_ZERO)
def test_a_factor_that_goes_to_or_from_zero_makes_all_of_it(a, b, c, d):
    """The limit of the formula: as x goes to 0, L ln(x' / x) goes to the whole, and the others' parts to nothing."""
    gone, come = decompose([term("t", (a, 0), (b, c))]), decompose([term("t", (0, a), (b, c))])

    assert [(p.factor.name, p.effect) for p in gone.parts] == [("t0", pytest.approx(-a * b))]
    assert [(p.factor.name, p.effect) for p in come.parts] == [("t0", pytest.approx(a * c))]
    tiny = decompose([term("t", (1e-300, a), (b, d))])
    # The formula's way to its limit is slow, like 1 / ln: with 1e-300 within about ln(range) / 690.
    assert tiny.parts[0].effect == pytest.approx(a * d, rel=0.06)


def test_two_factors_that_come_from_zero_share_it_equally():
    """The same small value in the place of both zeros gives both the same part."""
    assert [p.effect for p in decompose([term("t", (0, 2), (0, 3), (5, 7))]).parts] == pytest.approx([21, 21])


def test_nothing_on_both_sides_has_no_part():
    """A term that is zero before and after made no difference, whatever its factors did."""
    assert decompose([term("t", (0, 0), (2, 3))]).parts == ()
    assert decompose([term("t", (0, 1), (2, 0))]).parts == ()


@pytest.mark.parametrize(("before", "after"), [(2.0, -1.0), (0.0, -3.0), (-2.0, 3.0)])
def test_a_factor_that_changes_its_sign_makes_all_of_it(before, after):
    """On its way through zero it made all; the other factors nothing."""
    result = decompose([term("t", (before, after), (4, 5))])

    assert [(p.factor.name, p.effect) for p in result.parts] == [("t0", pytest.approx(5 * after - 4 * before))]


def test_a_term_below_zero_on_both_sides_is_split_as_its_mirror_image():
    """-200 to -240: the parts of 200 to 240 with their signs turned."""
    above, below = decompose([term("t", (2, 3), (100, 80))]), decompose([term("t", (-2, -3), (100, 80))])

    assert [p.effect for p in below.parts] == pytest.approx([-p.effect for p in above.parts])


@pytest.mark.parametrize(
    "factors",
    [
        [Factor("efficiency", 0.8, 0.0, divides=True)],
        [Factor("voltage", -12.0, 12.0, divides=True)],
        [Factor("power", float("nan"), 1.0)],
        [Factor("a", 1.0, -1.0), Factor("b", 1.0, -1.0)],
    ],
)
def test_what_has_no_split_is_an_error(factors):
    """Dividing by nothing, what is no number, and two signs changed at once."""
    with pytest.raises(ValueError, match="t: "):
        decompose([Term("t", tuple(factors))])


def test_no_difference_has_no_shares():
    """Parts that cancel have a size but no share."""
    result = decompose([term("t", (2, 4), (4, 2))])

    assert [p.effect for p in result.parts] == pytest.approx([8 * log(2), -8 * log(2)])
    assert result.share(result.parts[0]) is None


@given(terms=chains())
def test_the_parts_of_a_term_leave_nothing_over(terms):
    """What rounding leaves goes to the largest part: the exact sum is the difference, to that part's last digit."""
    for each in terms:
        effects = [part.effect for part in decompose([each]).parts]
        largest = max(map(abs, effects), default=0.0)
        assert abs(fsum([*effects, each.estimated, -each.measured])) <= ulp(largest)


def test_what_is_left_over_does_not_spoil_a_small_part():
    """Beside one that doubles, a factor that grows by 1e-12 keeps its part: their ratio is ln(1 + 1e-12) / ln 2."""
    for hours in (1e6, 3e6, 7e6, 11e6):
        large, small = decompose([term("t", (hours, 2 * hours), (1.0, 1.0 + 1e-12))]).parts
        assert small.effect / large.effect == pytest.approx(log1p(1.0 + 1e-12 - 1.0) / log(2), rel=1e-12)


def reasons_of(*pairs, charge=None):
    """The reasons for one term of the load's power, and of the voltage for the charge."""
    energy = decompose([Term("t", tuple(Factor(LOAD, a, b, "W") for a, b in pairs))])
    return explained("pump", energy, charge).reasons


def test_a_reason_has_its_share_of_the_difference():
    """Two terms of 100 W: +30 Wh of a difference of +40 Wh is 75 %."""
    energy = decompose([term("a", (100.0, 130.0)), Term("b", (Factor(LOAD, 100.0, 110.0, "W"),))])
    named = decompose([Term(t, (Factor(n, 100.0, m, "W"),)) for t, n, m in (("a", LOAD, 130.0), ("b", VOLTAGE, 110.0))])
    assert energy.difference == 40
    assert [r.share for r in explained("pump", named, None).reasons] == pytest.approx([0.75, 0.25])


def test_what_changed_the_charge_alone_has_no_share_and_no_minus_before_it():
    """With less energy than estimated, nothing over a difference below nothing would be minus nothing."""
    charge = decompose([Term("t", (Factor(VOLTAGE, 24.0, 25.0, "V", divides=True),))])
    load, voltage = reasons_of((100.0, 90.0), charge=charge)
    assert load.share == 1.0
    assert (voltage.energy_Wh, voltage.share, copysign(1, voltage.share)) == (0.0, 0.0, 1.0)
    assert "fewer amp-hours" in voltage.because


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        (100.0, 100.5, "drew more than its plate, 100 W for 100 W: +0.500 Wh"),
        (999.5, 3000.0, "drew more than its plate, 3,000 W for 1,000 W: +2,000 Wh"),
        (999.4, 998.0, "drew less than its plate, 998 W for 999 W: −1.40 Wh"),
    ],
)
def test_a_reason_is_told_with_its_direction_and_amount(before, after, words):
    """Also where it made little; a thousand and more are told whole."""
    (reason,) = reasons_of((before, after))
    assert words in reason_said(reason)


@pytest.mark.parametrize(
    ("x", "text"), [(999.5, "+1,000 Wh"), (-1500.4, "−1,500 Wh"), (0.0, "0 Wh"), (12.34, "+12.3 Wh")]
)
def test_amounts_have_their_sign_and_three_digits(x, text):
    """With a true minus; nothing has no sign."""
    assert signed(x, "Wh") == text
