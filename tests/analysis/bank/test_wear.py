"""What a log takes of the bank's life: full cycles and depth as measured, share and cost by its maker alone."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from shuntbook.analysis.bank.wear import BankLife, bank_life, cycles_at, wear
from shuntbook.analysis.charge.amounts import Amounts, Charge
from shuntbook.analysis.check_site.description import describe
from shuntbook.analysis.ledger.falls import Falls
from shuntbook.analysis.ledger.ledger import Ledger, LedgerLine
from shuntbook.analysis.ledger.sustained import NOTHING_SEEN
from shuntbook.analysis.not_known import Missing
from shuntbook.analysis.site.site import Site
from shuntbook.analysis.site.tables import Bank

#: As a maker of golf-cart batteries prints them: 1,200 cycles of half, and fewer the deeper (from memory).
ROWS = ((20.0, 3000.0), (50.0, 1200.0), (80.0, 750.0))


def bank(**more):
    """The demo's bank, invented."""
    return Bank(**{"nominal_V": 24.0, "capacity_Ah": 420.0, "chemistry": "flooded_lead_acid", **more})


def drawn(charge_Ah):
    """A span in which so much was drawn."""
    return Charge(None, None, Amounts(charge_Ah, 0.0), None, None, None)


def line(charge_Ah, deepest_Ah):
    """A demo in which so much was drawn, and the bank stood so far down."""
    return LedgerLine("crates", 0, 1, drawn(charge_Ah), NOTHING_SEEN, NOTHING_SEEN, None, deepest_Ah=deepest_Ah)


def of(bank, falls_Ah, *lines, whole_Ah=0.0, deepest_Ah=0.0):
    """The wear of a log with these falls."""
    ledger = Ledger(demos=tuple(lines), deepest_Ah=deepest_Ah)
    return wear(bank, drawn(whole_Ah), ledger, Falls(np.array(falls_Ah, float)))


@pytest.mark.worked("a maker of golf-cart batteries: cycles by depth (from memory)")
def test_each_row_of_the_makers_gives_its_own_cycles():
    """At the depths that a maker prints, what the maker prints."""
    assert [cycles_at(ROWS, pct) for pct, _ in ROWS] == pytest.approx([cycles for _, cycles in ROWS])


def test_between_two_rows_the_line_is_straight_on_logarithmic_paper():
    """At the geometric mean of two depths the geometric mean of their cycles (a power law through both)."""
    rows = ((50.0, 1200.0), (80.0, 600.0))
    assert cycles_at(rows, (50 * 80) ** 0.5) == pytest.approx((1200 * 600) ** 0.5)
    # Of three rows the two around it count.
    assert cycles_at(ROWS, (50 * 80) ** 0.5) == pytest.approx((1200 * 750) ** 0.5)
    assert cycles_at(ROWS, (20 * 50) ** 0.5) == pytest.approx((3000 * 1200) ** 0.5)
    assert cycles_at(ROWS, 128.0) == pytest.approx(750 * 750 / 1200)
    # Each stretch has a slope of its own.
    bent = ((20.0, 4000.0), (50.0, 1200.0), (80.0, 600.0))
    assert cycles_at(bent, (50 * 80) ** 0.5) == pytest.approx((1200 * 600) ** 0.5)
    assert cycles_at(bent, (20 * 50) ** 0.5) == pytest.approx((4000 * 1200) ** 0.5)
    # And goes on beyond the deepest: 100 % is 1.25 times 80 %, of a law with exponent log 2 / log 1.6.
    assert cycles_at(rows, 100.0) == pytest.approx(600 / 1.25 ** (np.log(2) / np.log(1.6)))


@pytest.mark.worked("a data sheet of LiFePO4 batteries: 5,000, 3,000 and 2,500 cycles of 50, 70 and 80 % (from memory)")
def test_between_two_printed_depths_lies_what_is_printed_there():
    """The line through the outer two meets the one between them to 2 %."""
    assert cycles_at(((50.0, 5000.0), (80.0, 2500.0)), 70.0) == pytest.approx(3000, rel=0.02)


@pytest.mark.worked("Drouilhet and Johnson, NREL 1997: rated charge life = cycles x depth x capacity (from memory)")
def test_a_rated_charge_life_is_full_cycles_of_the_capacity():
    """1,200 cycles of half of 420 Ah are 252,000 Ah; drawing 210 Ah once takes 1/1,200 of them."""
    life = bank_life(bank(cycle_life=[[50, 1200]]), [50.0])
    assert isinstance(life, BankLife)
    assert life.full_cycles * 420 == pytest.approx(1200 * 0.5 * 420)
    took = of(bank(cycle_life=[[50, 1200]]), [210.0], whole_Ah=210.0, deepest_Ah=210.0).whole
    assert took.life_pct.value == pytest.approx(100 * 210 / 252_000)


def test_shallower_than_the_maker_tells_the_charge_of_a_life_stays():
    """1,200 cycles of 50 % are 600 times the capacity; at 10 %, 6,000 cycles and no more, though it may give them."""
    assert cycles_at(((50.0, 1200.0),), 10.0) == pytest.approx(6000)
    assert cycles_at(((50.0, 1200.0),), 100.0) == pytest.approx(600)


@given(st.floats(1, 100), st.floats(1, 100))
def test_the_deeper_the_fewer(one_pct, other_pct):
    """At every depth."""
    less, more = sorted((one_pct, other_pct))
    assert cycles_at(ROWS, less) >= cycles_at(ROWS, more) * (1 - 1e-12)


@pytest.mark.parametrize(
    ("falls_pct", "full_cycles"),
    [
        # Palmgren and Miner's rule, as textbooks of fatigue have it: sum of n / N; (10 x 0.5 + 5 x 0.8) full cycles
        # take 10/1200 + 5/750 = 0.015 of the life.
        ([50] * 10 + [80] * 5, 9 / 0.015),
        # All of one depth: the maker's cycles times that depth.
        ([50], 600),
        ([20], 600),
        ([80], 600),
        # More than the bank holds, as a meter sees it that misses the sun: no deeper than all of it, the line going on.
        ([150], cycles_at(ROWS, 100.0)),
        # None deep enough to count: as the shallowest row.
        ([], 600),
    ],
)
@pytest.mark.worked("Palmgren and Miner's rule, as textbooks of fatigue have it (from memory)")
def test_a_life_in_full_cycles_by_the_depths_of_a_log(falls_pct, full_cycles):
    """Each fall takes one of the cycles that the maker gives at its depth."""
    got = bank_life(bank(cycle_life=[list(row) for row in ROWS]), falls_pct)
    assert isinstance(got, BankLife)
    assert got.full_cycles == pytest.approx(full_cycles)


def test_no_fall_is_deeper_than_all_of_the_bank():
    """A meter that misses the sun sees 150 % drawn: as deep as 100 %, by a line that falls faster than it is long."""
    rows = {"cycle_life": [[50, 1200], [80, 600]]}
    whole, more = (bank_life(bank(**rows), [pct]) for pct in (100.0, 150.0))
    assert isinstance(whole, BankLife)
    assert isinstance(more, BankLife)
    assert more.full_cycles == whole.full_cycles
    assert whole.full_cycles == pytest.approx(cycles_at(((50.0, 1200.0), (80.0, 600.0)), 100.0))


def test_the_deepest_of_several_falls_is_told():
    """Falls of 42, 210 and 84 Ah of 420."""
    got = of(bank(), [42.0, 210.0, 84.0])
    assert (got.falls, got.deepest_fall_pct) == (3, pytest.approx(50.0))
    assert of(bank(), []).deepest_fall_pct == 0


def test_where_a_log_shows_no_fall_the_bank_is_cycled_as_its_owner_allows():
    """Down by 80 % a cycle takes 1/600 of the life: 480 full cycles, not 600; and it is said."""
    rows = {"cycle_life": [[50, 1200], [80, 600]]}
    allowed, shallow = bank_life(bank(**rows, usable_depth_pct=80.0), []), bank_life(bank(**rows), [])
    assert isinstance(allowed, BankLife)
    assert isinstance(shallow, BankLife)
    assert (allowed.full_cycles, shallow.full_cycles) == pytest.approx((480, 600))
    assert "cycled by 80 %" in " ".join(allowed.assumptions)


@pytest.mark.parametrize(
    ("nominal_V", "capacity_Ah", "throughput_kWh", "full_cycles"),
    [
        # 6,000 cycles of 80 % of 5.12 kWh are 24.6 MWh, as a lithium module's guarantee has it (from memory).
        (51.2, 100.0, 24576.0, 4800),
        # A lead-acid bank of 10.08 kWh, 1,200 cycles of half: 6,048 kWh (cycles x depth x capacity).
        (24.0, 420.0, 6048.0, 600),
    ],
)
@pytest.mark.worked("a lithium module's guarantee: 6,000 cycles of 80 % (from memory)")
def test_a_stated_throughput_is_a_life_in_full_cycles(nominal_V, capacity_Ah, throughput_kWh, full_cycles):
    """Energy over volts and amp-hours, whatever the depths."""
    there = bank(nominal_V=nominal_V, capacity_Ah=capacity_Ah, throughput_kWh=throughput_kWh)
    for depths in ([], [5.0], [95.0]):
        got = bank_life(there, depths)
        assert isinstance(got, BankLife)
        assert got.full_cycles == pytest.approx(full_cycles)


@pytest.mark.worked("price over (capacity x depth x cycles), as the trade reckons a kilowatt-hour (from memory)")
def test_a_demo_costs_its_share_of_the_price():
    """8.4 Ah of 420 are 0.02 of a full cycle; of 600 that is 1/300 of a percent, and of 1,500 GBP five pence."""
    priced = bank(cycle_life=[[50, 1200], [80, 750]], price=1500.0, currency="GBP")
    got = of(priced, [210.0], line(8.4, 42.0), whole_Ah=210.0, deepest_Ah=210.0)
    (demo,) = got.lines
    assert demo.full_cycles.value == pytest.approx(0.02)
    assert demo.depth_pct == pytest.approx(10.0)
    assert demo.life_pct.value == pytest.approx(100 * 0.02 / 600)
    assert demo.cost.value == pytest.approx(0.05)
    assert demo.currency == "GBP"
    # A day to half is one of the 1,200 cycles, and of the price as much: 1.25 GBP; so 24.8 pence a kWh of the bank,
    # price over (capacity x depth x cycles), as the trade reckons it.
    assert got.whole.life_pct.value == pytest.approx(100 / 1200)
    assert got.whole.cost.value / (0.5 * 10.08) == pytest.approx(1500 / (10.08 * 0.5 * 1200))


def test_no_figure_without_the_makers():
    """Full cycles and depth are measured; share and cost are None, and it is told which key would give them."""
    got = of(bank(price=1500.0, currency="GBP"), [210.0], line(8.4, 42.0))
    assert isinstance(got.life, Missing)
    assert got.life.add == ("bank.cycle_life", "bank.throughput_kWh")
    (demo,) = got.lines
    assert (demo.life_pct, demo.cost, demo.currency) == (None, None, None)
    assert demo.full_cycles.value == pytest.approx(0.02)
    # With a life and no price there is a share alone.
    (demo,) = of(bank(cycle_life=[[50, 1200]]), [210.0], line(8.4, 42.0)).lines
    assert demo.life_pct is not None
    assert demo.cost is None


def test_more_drawn_than_a_bank_holds_is_no_depth():
    """A meter that sees the loads alone never sees the bank filled: its depth is not known, its draw is."""
    got = of(bank(), [900.0], line(500.0, 900.0), whole_Ah=900.0, deepest_Ah=900.0)
    assert got.whole.depth_pct is None
    assert got.whole.full_cycles.value == pytest.approx(900 / 420)
    (demo,) = got.lines
    assert demo.depth_pct is None


def test_all_that_a_bank_holds_is_a_depth():
    """Emptied to nothing it is 100 % down."""
    assert of(bank(), [420.0], deepest_Ah=420.0).whole.depth_pct == pytest.approx(100.0)


def test_what_is_deeper_than_the_makers_figures_is_told():
    """The line goes on, and it is said."""
    text = " ".join(of(bank(cycle_life=[[20, 3000], [50, 1200]]), [300.0]).assumptions)
    assert "deeper than its maker's figures" in text
    assert "deeper" not in " ".join(of(bank(cycle_life=[[50, 1200]]), [200.0]).assumptions)
    assert "by years" in text


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"cycle_life": [[80, 600], [50, 1200]]}, "from shallow to deep"),
        ({"cycle_life": [[50, 1200], [80, 1300]]}, "fewer cycles the deeper"),
        ({"cycle_life": [[50, 1200], [50, 1100]]}, "from shallow to deep"),
        ({"cycle_life": []}, "at least one pair"),
        ({"cycle_life": [[150, 1200]]}, "less than or equal to 100"),
        ({"cycle_life": [[50, 1200]], "throughput_kWh": 6000.0}, "says again"),
        ({"price": 900.0}, "says nothing without currency"),
        ({"currency": "GBP"}, "says nothing without price"),
    ],
)
def test_a_wrong_life_or_price_is_told(more, words):
    """One plain sentence at its key."""
    with pytest.raises(ValidationError, match=words):
        bank(**more)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (
            {"cycle_life": [[50, 1200], [80, 600]]},
            "Life of the bank by its maker: 1,200 cycles of 50 %, 600 cycles of 80 %.",
        ),
        # 1,440 over 600 full cycles of 10.08 kWh.
        (
            {"cycle_life": [[50, 1200]], "price": 1440.0, "currency": "GBP"},
            "1,440 GBP, 0.24 GBP a kWh out of it, cycled by 50 %.",
        ),
        # Down by 80 % it is good for 480 full cycles of 10.08 kWh.
        (
            {"cycle_life": [[50, 1200], [80, 600]], "usable_depth_pct": 80.0, "price": 1440.0, "currency": "GBP"},
            "0.3 GBP a kWh out of it, cycled by 80 %.",
        ),
        (
            {"throughput_kWh": 6048.0, "price": 1440.0, "currency": "GBP"},
            "6,048 kWh; it costs 1,440 GBP, 0.24 GBP a kWh out of it.",
        ),
        (
            {"price": 1440.0, "currency": "GBP"},
            "Life of the bank: not given (cycle_life or throughput_kWh); it costs 1,440 GBP.",
        ),
        ({}, ""),
    ],
)
def test_the_meaning_of_a_site_tells_what_a_kilowatt_hour_costs(more, words):
    """Of a life that its maker states; a price alone says what is missing, and nothing is said of neither."""
    tables = {"name": "hut", "bank": bank(**more).model_dump(exclude_none=True, exclude={"shown"})}
    told = " ".join(text for text in describe(Site.model_validate(tables)) if "Life of" in text)
    assert words in told
    assert bool(words) == bool(told)
