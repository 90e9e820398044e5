"""Runs that the inverter's low-voltage cut-off ends: they count against the voltage and not against the tank."""

from dataclasses import replace

import numpy as np
import pytest
from health_cycles import cycles, found, healthy, judged, site


def ending_at(made, end_V, begin_V=None):
    """The same cycles, with the bank's voltage at the ends of their runs [V]."""
    ends = np.broadcast_to(end_V, len(made.cycles))
    begins = ends + 0.1 if begin_V is None else np.broadcast_to(begin_V, len(made.cycles))
    known = zip(made.cycles, begins.tolist(), ends.tolist(), strict=True)
    return replace(made, cycles=tuple(replace(c, begin_V=b, end_V=e, lowest_V=e) for c, b, e in known))


def chopped(count=40, *, rest_s=80.0, seed=1):
    """Runs of some 14 s, each after the inverter's delay."""
    return cycles(np.random.default_rng(seed).uniform(9, 18, count), rest_s)


PLACE = site(inverter={"cut_off_V": 21.5})


def test_runs_that_end_at_the_inverters_cut_off_are_the_voltage_s():
    """21.3 to 21.8 V where the inverter switches off at 21.5 V: meters and cables differ by a percent."""
    made = ending_at(chopped(), np.random.default_rng(2).uniform(21.3, 21.8, 40))
    checks = judged(made, PLACE)
    assert found(made, PLACE) == {"low_voltage": "act"}
    assert "switch off in the middle of runs" in checks["low_voltage"].finding.title
    assert "40 runs ended after" in checks["low_voltage"].remark
    for code in ("short_cycling", "air_charge_lost", "leak_down"):
        assert checks[code].outcome == "not judged"
        assert "low-voltage cut-off ended" in checks[code].remark


@pytest.mark.parametrize("place", [PLACE, site(), None])
def test_short_runs_on_a_sound_bank_are_the_tank_s(place):
    """24 V while they run."""
    codes = found(ending_at(chopped(), 24.0), place)
    assert codes.keys() == {"short_cycling", "air_charge_lost"}


def test_short_runs_that_stop_by_themselves_are_judged_beside_those_that_were_cut_off():
    """A tank without air and a bank that is low at times: both are to be said."""
    made = ending_at(chopped(60), np.where(np.arange(60) < 30, 24.0, 21.5))
    codes = found(made, PLACE)
    assert codes["short_cycling"] == "act"
    assert codes["low_voltage"] == "act"


def test_usual_runs_on_a_low_bank_are_judged_as_ever():
    """A minute and more, down to the cut-off: they ended because the tank was full."""
    made = ending_at(healthy(), 21.4)
    assert judged(made, PLACE)["short_cycling"].outcome == "passed"
    assert judged(made, PLACE)["short_cycling"].remark.startswith("0 of 60 whole runs")


@pytest.mark.parametrize("place", [site(water=False), None])
def test_without_a_cut_off_in_the_site_file_it_is_where_inverters_usually_switch_off(place):
    """21.5 V of a bank that stands at 25 V: 10.75 V for 12 V nominal."""
    made = ending_at(chopped(), np.random.default_rng(2).uniform(21.3, 21.8, 40))
    assert found(made, place) == {"low_voltage": "watch"}
    assert "usually switch off" in judged(made, place)["low_voltage"].source


def test_runs_that_all_fall_to_one_voltage_end_by_it():
    """A lithium bank's inverter may switch off at 24 V: each run falls to it from wherever it began."""
    begin_V = np.random.default_rng(3).uniform(24.4, 25.6, 40)
    assert found(ending_at(chopped(), 24.0, begin_V)) == {"low_voltage": "watch"}
    same_fall = ending_at(chopped(), begin_V - 0.6, begin_V)
    assert "short_cycling" in found(same_fall)
    assert "low_voltage" not in found(same_fall)


def test_a_few_runs_or_runs_without_volts_tell_nothing():
    """One run at a low voltage is chance; no volts, no cut-off."""
    one = ending_at(chopped(), np.where(np.arange(40) == 7, 21.0, 24.0))
    assert "low_voltage" not in found(one)
    assert judged(one)["short_cycling"].outcome == "found"
    assert judged(chopped(), PLACE)["short_cycling"].outcome == "found"
