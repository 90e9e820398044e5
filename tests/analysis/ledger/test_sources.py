"""What came back, by where it came from: the sun, or a charger."""

from datetime import UTC

import numpy as np
import pytest
from charger_logs import EVERY_S, HOUR, MIDNIGHT_US, VOLTS, a_log, a_site, reported, sun, told
from examples import examples
from hypothesis import given
from hypothesis import strategies as st
from readings import US, how

from shuntbook.analysis.ledger.sources import dark_stretches
from shuntbook.analysis.one_log.site_folds import SiteFolds
from shuntbook.analysis.readings.chunk import Chunk


def test_without_an_array_all_that_comes_back_is_the_chargers():
    """Two hours at 38 A less the base of 3 A."""
    got = told(a_log(9, 14, (10, 12, -38.0)), a_site(array=False))
    assert got.whole.charger_Ah.value == pytest.approx(2 * 35.0, rel=2e-3)
    assert got.whole.charger_Wh.value == pytest.approx(2 * 35.0 * VOLTS, rel=2e-3)
    assert got.whole.sun_Ah.value == pytest.approx(0.0, abs=0.1)
    assert got.whole.charger_Ah.low < 70 < got.whole.charger_Ah.high


def test_what_comes_back_in_the_dark_is_the_chargers_also_where_it_tapers():
    """From 38 A it falls to nothing in four hours; the sun of the morning is the sun's."""
    taper = lambda hour: -38.0 * np.clip((27.5 - hour) / 4, 0, 1)  # noqa: E731
    chunk = a_log(20, 34, (23.2, 27.2, taper), (30, 34, lambda hour: sun(hour - 24)))
    back = np.maximum(-chunk.quantities["current_A"], 0)
    dark = chunk.time_us < MIDNIGHT_US + 28 * 3600 * US
    got = told(chunk, a_site()).whole
    assert got.charger_Ah.value == pytest.approx(back[dark].sum() * EVERY_S / HOUR, rel=5e-3)
    assert got.sun_Ah.value == pytest.approx(back[~dark].sum() * EVERY_S / HOUR, rel=0.02)
    assert got.charger_Ah.low < got.charger_Ah.value < got.charger_Ah.high


def test_by_day_sun_and_charger_are_told_apart_by_the_step():
    """The sun leaves what it gives without the charger; that adds its 40 A over an hour and a half."""
    chunk = a_log(8, 16, (6, 18, sun), (11, 12.5, -40.0))
    got = told(chunk, a_site())
    (spell,) = got.spells
    assert spell.decided
    assert (spell.first_A, spell.last_A) == pytest.approx((40.0, 40.0), abs=0.2)
    assert got.whole.charger_Ah.value == pytest.approx(60.0, rel=0.01)
    back_Ah = np.maximum(-chunk.quantities["current_A"], 0).sum() * EVERY_S / HOUR
    assert got.whole.charger_Ah.value + got.whole.sun_Ah.value == pytest.approx(back_Ah, rel=2e-3)


def test_of_a_charger_that_carries_loads_only_what_reached_the_bank_came_back():
    """A heater of 25 A draws all the while: of 40 A the bank sees 12, and that is what came back."""
    got = told(a_log(8, 12, (8, 12, 25.0), (9, 11, -40.0)), a_site())
    assert got.whole.charger_Ah.value == pytest.approx(2 * 12.0, rel=0.01)
    assert got.whole.sun_Ah.value == pytest.approx(0.0, abs=0.05)


def test_a_load_that_draws_as_much_leaves_it_undecided():
    """A saw of 41 A by its plate stops and starts as a charger starts and stops: told as perhaps, not as so."""
    chunk = a_log(8, 16, (6, 18, sun), (11, 12.5, -40.0))
    got = told(chunk, a_site(loads=[("saw", 41.0)]))
    assert got.whole.charger_Ah.value == 0
    assert 60.0 < got.whole.charger_Ah.high < 66.0
    assert got.whole.sun_Ah.low < got.whole.sun_Ah.value
    assert any("look alike" in text for text in got.assumptions)


def test_a_loads_run_is_no_charger():
    """38 A that begin and end again beside the sun: something ran and stopped, and nothing was given."""
    got = told(a_log(8, 16, (6, 18, sun), (9, 9.5, 38.0), (11, 11.7, 38.0), (13, 14, 38.0)), a_site())
    assert got.whole.charger_Ah.value == 0


def test_the_sun_behind_clouds_is_no_charger():
    """Clouds that cut the sun to nothing at once and let it through again, deep and often."""
    clouds = [(9 + k / 3, 9 + k / 3 + 0.12 + 0.01 * (k % 5), lambda hour: -5.0 * sun(hour)) for k in range(18)]
    strong = [(6, 18, lambda hour: 5.0 * sun(hour)), *clouds]
    got = told(a_log(8, 16, *strong), a_site())
    assert got.whole.charger_Ah.value == 0
    assert got.whole.sun_Ah.value > 100


def test_a_charger_on_from_the_dark_into_the_day_goes_on_being_the_chargers():
    """On at 2 h, off at 6:30 h: two hours of it in the dark, two and a half by day."""
    chunk = a_log(0, 12, (6, 18, sun), (2, 6.5, -40.0))
    got = told(chunk, a_site())
    assert got.whole.charger_Ah.value == pytest.approx(4.5 * 37.0, rel=0.02)


def test_gaps_are_never_bridged():
    """An hour of the charger's two was not measured: nothing is added for it."""
    whole, cut = (
        told(a_log(20, 26, (22.5, 24.5, -40.0), gap=gap), a_site()).whole.charger_Ah for gap in (None, (23, 24))
    )
    assert whole.value == pytest.approx(74.0, rel=5e-3)
    assert cut.value == pytest.approx(37.0, rel=0.02)


def test_no_step_over_a_gap_is_a_chargers():
    """Nobody saw it begin: by day it is not told."""
    got = told(a_log(8, 14, (6, 18, sun), (10.5, 12, -40.0), gap=(10.2, 10.8)), a_site())
    assert got.whole.charger_Ah.value == 0


def test_days_add_up_to_the_whole_and_a_demo_is_paid_by_its_source():
    """A demo at 21 h, the charger from 23 to 1 h: all that came back until it was paid is the charger's."""
    chunk = a_log(20, 30, (21, 21.5, 30.0), (23, 25, -40.0))
    report = reported(chunk, a_site(), notes=[(21, "crates"), (21.5, "end")])
    got = report.by_site.sources
    days = got.lines[: len(report.ledger.days)]
    assert len(days) == 2
    assert sum(day.charger_Ah.value for day in days) == pytest.approx(got.whole.charger_Ah.value, rel=1e-6)
    assert [day.charger_Ah.value for day in days] == pytest.approx([37.0, 37.0], rel=5e-3)
    (paid,), (payback,) = got.paybacks, report.paybacks
    assert payback.paid_us is not None
    # 16.5 Ah of the demo, and what the base took until the charger came on.
    assert paid.charger_Ah.value == pytest.approx(16.5 + 1.5 * 3, rel=0.02)
    assert paid.sun_Ah.value == pytest.approx(0.0, abs=0.01)


@examples(5, 15)
@given(st.lists(st.integers(1, 4000), max_size=5))
def test_where_the_log_is_cut_makes_no_difference(cuts):
    """The night, the day and a gap, in chunks of any length."""
    chunk = a_log(21, 33, (22.5, 24.5, -40.0), (30, 33, lambda hour: sun(hour - 24)), (31, 32, -40.0), gap=(26, 26.2))
    whole, cut = told(chunk, a_site()), told(chunk, a_site(), cuts=sorted(set(cuts)))
    assert cut.spells == whole.spells
    for one, other in zip((whole.whole, *whole.lines), (cut.whole, *cut.lines), strict=True):
        for part in ("charger_Ah", "sun_Ah", "charger_Wh", "sun_Wh"):
            assert getattr(other, part).value == pytest.approx(getattr(one, part).value, rel=1e-9)


@pytest.mark.parametrize("count", [80_000, pytest.param(200_000, marks=pytest.mark.night)])
def test_a_year_is_followed_in_a_bounded_number_of_points(count):
    """What is remembered of what came back does not grow with the log."""
    time_us = MIDNIGHT_US + np.arange(count, dtype=np.int64) * 150 * US
    reading = how(gap_limit_s=900.0, usual_interval_s=150.0)
    folds = SiteFolds(reading, {"current_A"}, (), site=a_site(), zone=UTC)
    folds.add(Chunk(time_us, {"current_A": np.where(np.arange(count) % 7, 3.0, -30.0)}))
    assert len(folds.result().returned.charge.time_us) <= 20_000


def test_without_a_charger_in_the_file_a_step_at_night_is_named():
    """From 23 h on 35 A flow into the bank, and no sun shines."""
    found = reported(a_log(20, 26, (23, 25, -38.0)), a_site(chargers=())).by_site
    assert found.sources is None
    assert found.unnamed.at_us == pytest.approx(MIDNIGHT_US + 23 * 3600 * US, abs=EVERY_S * US)
    assert found.unnamed.current_A == pytest.approx(35.0, abs=0.2)


@pytest.mark.parametrize(
    ("chunk", "more"),
    [
        (a_log(8, 16, (6, 18, sun), (11, 12.5, -40.0)), {}),
        (a_log(20, 26, (23, 25, 38.0)), {}),
        (a_log(20, 26, (23, 23.05, -38.0)), {}),
        (a_log(20, 26, (23, 25, -38.0)), {"zone": None}),
        (a_log(20, 26, (23, 25, -38.0)), {"assumed": True}),
    ],
    ids=["by day", "a load at night", "a moment", "no dates", "a clock that was assumed"],
)
def test_without_a_charger_in_the_file_nothing_else_is(chunk, more):
    """Prefer silence to a false alarm."""
    assert reported(chunk, a_site(chargers=()), **more).by_site.unnamed is None


def test_the_dark_is_from_ten_to_four_by_the_clock_of_the_place():
    """Over two nights of a log from noon to noon, cut at its ends; none where no clock is known."""
    noon_us = MIDNIGHT_US + 12 * 3600 * US
    got = dark_stretches(noon_us, noon_us + 39 * 3600 * US, UTC)
    assert [((a - MIDNIGHT_US) / US / HOUR, (b - MIDNIGHT_US) / US / HOUR) for a, b in got] == [(22, 28), (46, 51)]
    assert dark_stretches(noon_us, noon_us + 39 * 3600 * US, None) == []
