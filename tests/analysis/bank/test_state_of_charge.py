"""State of charge over time: counted from a start, in few points, with an interval that grows."""

import numpy as np
import pytest
from examples import examples
from hypothesis import given
from hypothesis import strategies as st
from readings import T0_US, chunk_of, fed, how

from shuntbook.analysis.bank.state_of_charge import Start, StateOfCharge, start_of, state_of_charge
from shuntbook.analysis.ledger.running_charge import RunningChargeFold
from shuntbook.analysis.not_known import Missing, Refusal
from shuntbook.analysis.site.tables import Bank
from shuntbook.analysis.sureness.meter_figures import Accuracy, MeterFigures

BANK = Bank(nominal_V=24.0, capacity_Ah=100.0, chemistry="flooded_lead_acid", charge_efficiency_pct=90.0)
PERFECT = MeterFigures(current=Accuracy(0.0, 0.0))


def counted(chunk, *, bank=BANK, stated_pct=90.0, figures=PERFECT, most=400, gap_limit_s=100.0):
    """The state of charge of some readings."""
    running = fed(RunningChargeFold(how(gap_limit_s=gap_limit_s), {"current_A"}, most=most), chunk).result()
    return state_of_charge(running, bank, start_of(bank, stated_pct=stated_pct), figures)


def test_counting_takes_off_what_was_drawn():
    """10 A for two hours out of 100 Ah at 90 %: 70 %."""
    got = counted(chunk_of(np.arange(0, 7201, 60.0), current_A=10.0))
    assert isinstance(got, StateOfCharge)
    assert got.end_pct.value == pytest.approx(70.0)
    assert (np.diff(got.state_pct) < 0).all()


def test_what_is_put_in_counts_less_than_what_is_taken_out():
    """Ten amp-hours out and ten back in at 90 % charge efficiency leave one percent of 100 Ah missing."""
    i = np.where(np.arange(121) < 60, 10.0, -10.0)
    i[60] = 0.0
    got = counted(chunk_of(np.arange(121) * 60.0, current_A=i))
    assert isinstance(got, StateOfCharge)
    assert got.end_pct.value == pytest.approx(90.0 - 0.1 * 9.917, abs=0.01)  # the turn lies within two intervals


def test_the_interval_grows_with_time():
    """An offset of the zero grows as I0 x t and never averages out: 0.05 A for 24 h is 1.2 Ah (plain arithmetic)."""
    zero = MeterFigures(current=Accuracy(0.0, 0.0, zero=0.05))
    got = counted(chunk_of(np.arange(0, 86_401, 60.0), current_A=0.0), figures=zero)
    assert isinstance(got, StateOfCharge)
    width = got.high_pct - got.low_pct
    assert (np.diff(width) >= -1e-9).all()
    assert width[-1] > width[0]
    # Stated start within 5 %: 4.75 % at first; at last two even errors of 5 and 1.2 make 4.84 % (numbers of a grid).
    assert width[0] / 2 == pytest.approx(4.75, abs=0.01)
    sums = np.add.outer(np.linspace(-5, 5, 2001), np.linspace(-1.2, 1.2, 2001))
    assert width[-1] / 2 == pytest.approx(np.quantile(np.abs(sums), 0.95), abs=0.02)


def test_a_gap_is_said_and_not_counted():
    """An hour without readings adds nothing, and the result says so."""
    time_s = np.concatenate([np.arange(0, 601, 60.0), np.arange(4200, 4801, 60.0)])
    got = counted(chunk_of(time_s, current_A=6.0))
    assert isinstance(got, StateOfCharge)
    assert got.end_pct.value == pytest.approx(88.0)
    assert got.uncovered_s == 3600
    assert any("3600 s without readings" in said for said in got.assumptions)


def test_a_long_log_keeps_few_points_and_its_end():
    """A thousand hours in at most fifty points, and the last is the last."""
    got = counted(chunk_of(np.arange(0, 3.6e6, 60.0), current_A=0.01), most=50)
    assert isinstance(got, StateOfCharge)
    assert 20 < len(got.time_us) <= 50
    assert got.time_us[-1] == T0_US + round((3.6e6 - 60) * 1e6)


def test_beyond_full_or_empty_is_cut_and_said():
    """A count that goes below nothing shows a wrong start or capacity."""
    got = counted(chunk_of(np.arange(0, 7201, 60.0), current_A=60.0))
    assert isinstance(got, StateOfCharge)
    assert got.end_pct.value == 0.0
    assert any("beyond full or empty" in said for said in got.assumptions)


@examples(17, 50)
@given(st.lists(st.floats(-200, 200), min_size=2, max_size=40), st.floats(0, 100))
def test_the_state_lies_in_its_interval(amps, stated_pct):
    """Whatever flows, low <= state <= high, all from 0 to 100."""
    got = counted(chunk_of(np.arange(len(amps)) * 60.0, current_A=amps), stated_pct=stated_pct, figures=MeterFigures())
    assert isinstance(got, StateOfCharge)
    assert ((got.low_pct >= 0) & (got.low_pct <= got.state_pct)).all()
    assert ((got.state_pct <= got.high_pct) & (got.high_pct <= 100)).all()


def test_a_start_comes_from_the_site_file_or_a_rested_voltage():
    """start_state_pct, else rested_V by the table (12.45 V is 75 %, a battery maker's table), else what to add."""
    warm = {**BANK.model_dump(exclude_none=True), "temperature_degF": 80.0}
    stated = start_of(Bank(**warm, start_state_pct=80.0))
    rested = start_of(Bank(**warm, rested_V=24.9))
    missing = start_of(Bank(**warm))
    assert isinstance(stated, Start)
    assert isinstance(rested, Start)
    assert (stated.state_pct.value, rested.state_pct.value) == pytest.approx((80.0, 75.0))
    assert isinstance(missing, Missing)
    assert missing.add == ("bank.start_state_pct", "bank.rested_V")
    assert start_of(Bank(**warm, start_state_pct=80.0), stated_pct=60.0).state_pct.value == 60.0


def test_no_start_no_state():
    """LiFePO4 with a rested voltage only: refused with the sentence on its flat curve; an empty log: said."""
    flat = Bank(nominal_V=25.6, capacity_Ah=100.0, chemistry="lifepo4", rested_V=26.5)
    got = counted(chunk_of([0, 60], current_A=1.0), bank=flat, stated_pct=None)
    assert isinstance(got, Missing)
    assert "nearly flat" in got.sentence
    assert isinstance(counted(chunk_of([], current_A=[])), Missing)


@pytest.mark.parametrize(("side", "quantities"), [("ac", {"current_A"}), ("dc", {"power_W"})])
def test_counting_needs_amps_at_the_bank(side, quantities):
    """RMS amps have no direction, and watts alone are no charge."""
    with pytest.raises(Refusal, match="DC side"):
        RunningChargeFold(how(side=side), quantities)
