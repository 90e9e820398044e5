"""The bank: Peukert, cold, size, rate, runtime, recharge, against published figures."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shuntbook.analysis.bank.bank import Recharge, Runtime, bank_size, rate, recharge, runtime
from shuntbook.analysis.bank.peukert import cold_multiplier, peukert_Ah, peukert_h
from shuntbook.analysis.not_known import Missing, Refusal
from shuntbook.analysis.site.tables import Array, Bank
from shuntbook.analysis.stats.interval95 import Within


def bank(**more):
    """The demo's bank, invented."""
    usual = {"chemistry": "flooded_lead_acid", "nominal_V": 24.0, "capacity_Ah": 420.0, "hour_rate_h": 20.0}
    return Bank(**{**usual, "usable_depth_pct": 50.0, **more})


def exactly(x):
    """A figure that is known without doubt."""
    return Within(x, x, x)


@given(st.floats(1, 5000), st.floats(1, 100), st.floats(1, 2))
def test_at_its_own_rate_a_bank_lasts_its_own_hours(capacity_Ah, hour_rate_h, exponent):
    """The identity of Peukert's law: I = C/H gives H, whatever the exponent."""
    got = peukert_h(capacity_Ah, hour_rate_h, capacity_Ah / hour_rate_h, exponent)
    assert got == pytest.approx(hour_rate_h, rel=1e-9)


@given(st.floats(1, 2000), st.floats(0.1, 500), st.floats(1, 2), st.floats(1.001, 3))
def test_a_harder_draw_never_gives_more(capacity_Ah, current_A, exponent, harder):
    """More amps, no more amp-hours; the rated charge at every draw where the exponent is 1."""
    got_Ah = peukert_Ah(capacity_Ah, 20, current_A, exponent)
    assert peukert_Ah(capacity_Ah, 20, harder * current_A, exponent) <= got_Ah * (1 + 1e-12)
    assert peukert_Ah(capacity_Ah, 20, current_A, 1) == pytest.approx(capacity_Ah)


@pytest.mark.worked("Peukert's law with an hour-rated capacity, an algebra page (read)")
def test_peukert_with_an_hour_rated_capacity():
    """100 Ah at 20 h, 10 A, k = 1.2: 8.706 h and 87.06 Ah (t = H (C / I H)^k, the form of an algebra page)."""
    assert peukert_h(100, 20, 10, 1.2) == pytest.approx(8.706, abs=0.0005)
    assert peukert_Ah(100, 20, 10, 1.2) == pytest.approx(87.06, abs=0.005)


@pytest.mark.parametrize(
    ("current_A", "right_Ah", "printed_Ah"),
    # A trade page prints 89/79/65/58 Ah for 100 Ah at 20 h and k = 1.1; the law gives 93.30/87.06/79.43/74.11.
    [(10, 93.30, 89), (20, 87.06, 79), (50, 79.43, 65), (100, 74.11, 58)],
)
def test_peukert_is_not_the_misprinted_table(current_A, right_Ah, printed_Ah):
    """A published table that the law does not give stays away."""
    got = peukert_Ah(100, 20, current_A, 1.1)
    assert got == pytest.approx(right_Ah, abs=0.005)
    assert abs(got - printed_Ah) > 3


@pytest.mark.parametrize(
    ("capacity_Ah", "current_A", "exponent", "printed_h", "right_h"),
    [
        # A calculator's page takes the 20-h capacity for that at one ampere: 5.0886 h where 10.856 h is right.
        (250, 20, 1.3, 5.0886, 10.856),
        # An electrical page gives a 100 Ah battery 14.5 h at its own 5 A, where it must last its own 20 h.
        (100, 5, 1.2, 14.5, 20.0),
    ],
)
@pytest.mark.worked("two pages with Peukert slips: what they print (read)")
def test_published_slips_are_not_repeated(capacity_Ah, current_A, exponent, printed_h, right_h):
    """The slip is C / I^k with an hour-rated C; ours starts from the hour rate."""
    assert capacity_Ah / current_A**exponent == pytest.approx(printed_h, rel=0.005)  # how they got it
    assert peukert_h(capacity_Ah, 20, current_A, exponent) == pytest.approx(right_h, rel=1e-4)


@pytest.mark.parametrize(
    "figures", [(0, 20, 10, 1.2), (100, 0, 10, 1.2), (100, 20, 0, 1.2), (100, 20, 10, 0.9), (100, 20, 10, 2.1)]
)
def test_impossible_peukert_figures_are_refused(figures):
    """No capacity, no hours, no draw, an exponent under 1 or over 2."""
    with pytest.raises(Refusal):
        peukert_h(*figures)


@pytest.mark.parametrize(
    ("fahrenheit", "multiplier"),
    # Cold multipliers of lead-acid banks: two pages of battery sizing that agree.
    [(80, 1.00), (70, 1.04), (60, 1.11), (50, 1.19), (40, 1.30), (30, 1.40), (20, 1.59)],
)
@pytest.mark.worked("two pages of battery sizing that agree (read)")
def test_cold_multipliers_are_those_printed(fahrenheit, multiplier):
    """Each row of the table, from degrees Celsius."""
    assert cold_multiplier((fahrenheit - 32) / 1.8) == pytest.approx(multiplier, abs=1e-9)


def test_cold_multiplier_between_and_beyond_the_rows():
    """45 F is half-way from 1.30 to 1.19; above 80 F nothing is gained; below 20 F the last row holds."""
    assert cold_multiplier((45 - 32) / 1.8) == pytest.approx((1.30 + 1.19) / 2)
    assert (cold_multiplier(40.0), cold_multiplier(-30.0)) == (1.0, 1.59)


@pytest.mark.worked("'simplified IEEE method' of battery sizing, a trade page (read)")
def test_bank_size_by_a_simplified_worksheet():
    """A page's "simplified IEEE method": 1000 Wh, 2.5 days, 50 %, 40 F: 2500, 5000, 6500 Wh, 541.67 Ah at 12 V."""
    got = bank_size(1000, days=2.5, usable_depth_pct=50, nominal_V=12, multiplier=cold_multiplier(40 / 9))
    assert (got.autonomy_Wh, got.with_depth_Wh) == (2500, 5000)
    assert got.cold_Wh == pytest.approx(6500, rel=1e-3)  # 40 F is 4.44 degC
    assert got.capacity_Ah == pytest.approx(541.67, rel=1e-3)


@pytest.mark.worked("design of a small off-grid power system, 750 Wh, 62.5 Ah (read)")
def test_bank_size_of_a_small_lithium_bank():
    """A published design: 300 Wh a day, 2 days, 80 %, 12 V: 750 Wh, 62.5 Ah."""
    got = bank_size(300, days=2, usable_depth_pct=80, nominal_V=12)
    assert (got.cold_Wh, got.capacity_Ah) == pytest.approx((750, 62.5))


def test_a_bank_may_be_sized_to_be_emptied_but_not_further():
    """100 % of depth is the end: 300 Wh x 2 days / 12 V are 50 Ah; 101 % is a slip of the pen, and so is no voltage."""
    assert bank_size(300, days=2, usable_depth_pct=100, nominal_V=12).capacity_Ah == pytest.approx(50)
    with pytest.raises(Refusal, match="at most 100, not 101"):
        bank_size(300, days=2, usable_depth_pct=101, nominal_V=12)
    with pytest.raises(Refusal, match="nominal_V must be a number above 0"):
        bank_size(300, days=2, usable_depth_pct=80, nominal_V=0)


def test_rate_of_the_hour_rate():
    """100 Ah at 20 h is 5 A for 20 h (a page on hour rates): C/20."""
    got = rate(bank(capacity_Ah=100.0), 5.0)
    assert (got.rated_A, got.hours) == pytest.approx((5.0, 20.0))
    assert rate(bank(capacity_Ah=100.0), 0.1).hours == pytest.approx(1000)


@pytest.mark.parametrize("current_A", [0.0, -1.0, float("inf")])
def test_a_rate_and_a_runtime_need_a_draw(current_A):
    """Nothing drawn empties nothing, and the draw is what is named."""
    for ask in (lambda: rate(bank(), current_A), lambda: runtime(bank(), exactly(90.0), current_A)):
        with pytest.raises(Refusal, match="the draw must be a number above 0"):
            ask()


@pytest.mark.parametrize(("chemistry", "exponent"), [("flooded_lead_acid", 1.25), ("gel", 1.15), ("agm", 1.1)])
def test_without_an_exponent_the_usual_one_of_its_kind_is_taken_and_said(chemistry, exponent):
    """Flooded 1.2 to 1.6, gel 1.1 to 1.25, AGM 1.05 to 1.15 (trade pages); 4 x the rated draw gives 4^(1 - k) of it."""
    got = runtime(bank(chemistry=chemistry), exactly(80.0), 84.0)
    assert isinstance(got, Runtime)
    assert got.peukert_h is not None
    assert got.peukert_h.value / got.counted_h.value == pytest.approx(4 ** (1 - exponent))
    assert any(f"taken as {exponent:g}, usual" in said for said in got.assumptions)
    assert any("steady draw" in said for said in got.assumptions)


def test_runtime_by_counting_and_by_peukert():
    """From 80 % to 50 % of 420 Ah are 126 Ah; at the rated 21 A Peukert gives the same 6 h, at 84 A less."""
    easy, hard = (runtime(bank(peukert_exponent=1.25), Within(80, 75, 85), amps) for amps in (21.0, 84.0))
    assert isinstance(easy, Runtime)
    assert isinstance(hard, Runtime)
    assert easy.counted_Ah == Within(*map(pytest.approx, (126.0, 105.0, 147.0)))
    assert easy.peukert_h is not None
    assert easy.peukert_h.value == pytest.approx(easy.counted_h.value) == pytest.approx(6.0)
    # C_eff / C = (I H / C)^(1 - k): four times the rated draw gives 4^-0.25 = 0.7071 of the charge.
    assert hard.peukert_h is not None
    assert hard.peukert_h.value == pytest.approx(0.70711 * hard.counted_h.value, rel=1e-4)


def test_a_gentle_draw_is_not_credited_with_more_than_was_rated():
    """Below the rated draw the law promises more than the rated charge; that is not counted on."""
    got = runtime(bank(), exactly(100.0), 2.0)
    assert isinstance(got, Runtime)
    assert got.peukert_h == got.counted_h


def test_the_cold_shortens_the_estimate_but_not_the_count():
    """At 40 F a lead-acid bank gives 1/1.30 of its charge; the amp-hours counted stay as they are."""
    warm, cold = (runtime(bank(temperature_degF=f), exactly(90.0), 21.0) for f in (80.0, 40.0))
    assert isinstance(warm, Runtime)
    assert isinstance(cold, Runtime)
    assert cold.counted_h == warm.counted_h
    assert cold.peukert_h is not None
    assert warm.peukert_h is not None
    assert cold.peukert_h.value == pytest.approx(warm.peukert_h.value / 1.30)
    assert any("1/1.3" in said for said in cold.assumptions)
    assert not any("gives 1/" in said for said in warm.assumptions)


def test_no_peukert_without_lead_acid_or_hour_rate():
    """LiFePO4 has none, and an hour rate is needed; each is said."""
    for more, words in (({"chemistry": "lifepo4"}, "lead-acid"), ({"hour_rate_h": None}, "bank.hour_rate_h")):
        got = runtime(bank(**more), exactly(90.0), 21.0)
        assert isinstance(got, Runtime)
        assert got.peukert_h is None
        assert any(words in said for said in got.assumptions)


@pytest.mark.parametrize(("degC", "is_told"), [(-5.0, True), (0.0, False), (0.5, False), (None, False)])
def test_what_the_frost_takes_from_lithium_is_not_judged(degC, is_told):
    """No table holds for all of its makers, and in the frost that is said."""
    got = runtime(bank(chemistry="lifepo4", temperature_degC=degC), exactly(90.0), 21.0)
    assert isinstance(got, Runtime)
    assert ("frost" in " ".join(got.assumptions)) == is_told


def test_below_its_floor_a_bank_has_nothing_left():
    """At 40 % of a bank that may go down to 50 % nothing remains, and never less than nothing."""
    got = runtime(bank(), Within(40, 30, 55), 10.0)
    assert isinstance(got, Runtime)
    assert got.counted_Ah == Within(0.0, 0.0, pytest.approx(21.0))


def test_runtime_needs_a_usable_depth():
    """What is missing is named by its key."""
    got = runtime(bank(usable_depth_pct=None), exactly(90.0), 10.0)
    assert isinstance(got, Missing)
    assert got.add == ("bank.usable_depth_pct",)
    with pytest.raises(Refusal, match="above 0"):
        runtime(bank(), exactly(90.0), 0.0)


def known(use_Wh):
    """A daily use without a doubt."""
    return Within(use_Wh, use_Wh, use_Wh)


def test_recharge_in_hours_of_full_sun():
    """40 Ah, 90 % charge efficiency, 12 A x 0.86 in full sun: 4.3 h (the usual sum, from memory), plus the taper."""
    array = Array(power_W=200.0, controller="pwm", current_A=12.0, performance_ratio=0.86, sun_hours_h=4.0)
    got = recharge(bank(charge_efficiency_pct=90.0), array, 40.0)
    assert isinstance(got, Recharge)
    assert got.owed_Ah == pytest.approx(44.44, abs=0.005)
    assert got.sun_h == pytest.approx(4.3, abs=0.05)
    assert any("lower bound" in said for said in got.assumptions)


def test_recharge_in_days_counts_what_the_loads_take_meanwhile():
    """1150 W x 4.2 h x 0.62 = 2994.6 Wh a day; half of it used by the loads doubles the days."""
    array = Array(power_W=1150.0, sun_hours_h=4.2, performance_ratio=0.62)
    alone, beside = (recharge(bank(), array, 40.0, daily_use_Wh=known(use)) for use in (0.0, 2994.6 / 2))
    assert isinstance(alone, Recharge)
    assert isinstance(beside, Recharge)
    assert alone.days == pytest.approx(alone.owed_Wh / 2994.6)
    assert isinstance(alone.days, float)
    assert beside.days == pytest.approx(2 * alone.days)
    never = recharge(bank(), array, 40.0, daily_use_Wh=known(3000.0))
    assert isinstance(never, Recharge)
    assert isinstance(never.days, Missing)
    assert "take 3,000 Wh a day and the array brings 2,995 Wh on a usual day: at this use it never gets full" in (
        never.days.sentence
    )
    unsure = recharge(bank(), array, 40.0, daily_use_Wh=Within(2900.0, 2700.0, 3100.0))
    assert isinstance(unsure, Recharge)
    assert isinstance(unsure.days, Missing)
    assert "2,700 Wh to 3,100 Wh a day" in unsure.days.sentence
    assert "is not known" in unsure.days.sentence
    full = recharge(bank(), array, 0.0, daily_use_Wh=known(3000.0))
    assert isinstance(full, Recharge)
    assert full.days == 0.0


def test_what_is_owed_is_put_in_at_charging_voltage():
    """40 Ah over 90 % at 28.8 V are 44.4 Ah and 1,280 Wh; 1,150 W x 0.62 at 28.8 V are 24.76 A: 1.795 h of full sun."""
    full = {"power_W": 1150.0, "performance_ratio": 0.62, "sun_hours_h": 4.2}
    here = bank(charge_efficiency_pct=90.0, charging_V=28.8)
    got = recharge(here, Array(**full), 40.0)
    assert isinstance(got, Recharge)
    assert (got.owed_Ah, got.owed_Wh, got.sun_h) == pytest.approx((44.444, 1280.0, 1.795), rel=1e-3)
    assert got == recharge(here, Array(**full), 40.0, daily_use_Wh=known(0.0))
    cloudy = recharge(here, Array(power_W=1150.0, performance_ratio=0.62), 40.0)
    assert isinstance(cloudy, Recharge)
    assert isinstance(cloudy.days, Missing)
    assert cloudy.days.add == ("array.sun_hours_h",)


@pytest.mark.parametrize(("use_Wh", "days"), [(999.5, 2.0), (1000.0, None)])
def test_loads_that_leave_a_little_take_long_and_those_that_leave_nothing_never_end(use_Wh, days):
    """500 W x 4 h x 0.5 are 1,000 Wh a day: half a watt-hour left over puts 1 Wh back in two days."""
    array = Array(power_W=500.0, sun_hours_h=4.0, performance_ratio=0.5)
    got = recharge(bank(charge_efficiency_pct=100.0, charging_V=25.0), array, 0.04, daily_use_Wh=known(use_Wh))
    assert isinstance(got, Recharge)
    if days is None:
        assert isinstance(got.days, Missing)
    else:
        assert got.days == pytest.approx(days)


@pytest.mark.parametrize(
    ("array", "key"),
    [
        (None, "array"),
        (Array(power_W=1150.0), "array.performance_ratio"),
    ],
)
def test_recharge_without_an_array_says_what_to_add(array, key):
    """A missing array or ratio leaves the result out, by key."""
    got = recharge(bank(), array, 40.0)
    assert isinstance(got, Missing)
    assert key in got.add


def test_nothing_is_owed_where_more_came_back():
    """A negative debt is none, and said; a charge that is no number is a mistake."""
    array = Array(power_W=100.0, performance_ratio=0.6)
    got = recharge(bank(), array, -1.0)
    assert isinstance(got, Missing)
    assert "nothing is owed" in got.sentence
    even = recharge(bank(), array, 0.0)
    assert isinstance(even, Recharge)
    assert (even.owed_Ah, even.sun_h) == (0.0, 0.0)
    for figures in ((float("nan"), 0.0), (1.0, -1.0)):
        with pytest.raises(Refusal, match="needs the charge taken out"):
            recharge(bank(), array, figures[0], daily_use_Wh=known(figures[1]))
