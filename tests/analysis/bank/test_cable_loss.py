"""An inverter switches off by the volts that arrive: what its cable loses at a start counts, and is told."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shuntbook.analysis.bank.sag import Sag, through_cable
from shuntbook.analysis.equipment.conductor import ohm_per_m
from shuntbook.analysis.forecast.forecast import forecast
from shuntbook.analysis.not_known import Missing
from shuntbook.analysis.site.site import Site
from shuntbook.analysis.stats.interval95 import Within

AMPS = Within(100.0, 90.0, 110.0)


def a_site(*cables, cut_off_V=21.0, **bank):
    """A pump behind an inverter on a bank of 24 V."""
    return Site.model_validate(
        {
            "name": "shed",
            "bank": {"nominal_V": 24.0, "capacity_Ah": 400.0, "resistance_mohm": 10.0, **bank},
            "inverters": [{"name": "inv", "continuous_VA": 3000.0, "surge_VA": 9000.0, "surge_s": 5.0}]
            if cut_off_V is None
            else [{"name": "inv", "continuous_VA": 3000.0, "surge_VA": 9000.0, "surge_s": 5.0, "cut_off_V": cut_off_V}],
            "loads": [{"name": "pump", "kind": "pump", "inverter": "inv", "power_W": 850.0, "voltage_V": 230.0,
                       "hp": 0.5, "code_letter": "K"}],
            "conductors": [
                {"name": name, "area_mm2": area, "length_m": length, "fuse_A": 100.0, "carries": ["inv"]}
                for name, area, length in cables
            ],
        }
    )  # fmt: skip


def sag(low, value, high):
    return Sag(Within(value, low, high), 21.0, "the inverter switches off", 9, ("as seen",))


def judged(site, amps=AMPS, seen=None):
    return through_cable(seen or sag(22.0, 22.5, 23.0), site, site.loads[0], amps)


LONG = ("main", 16.0, 5.0)


def ohm(site):
    return 10 * ohm_per_m(site.conductors[0])


def test_what_arrives_decides():
    """22 V at the bank less 1.5 V in a cable are under the 21 V at which the inverter switches off."""
    got = judged(a_site(LONG))
    assert got.lowest_V == Within(22.5, 22.0, 23.0)
    assert got.verdict == "doubtful"
    assert got.by_figures == "holds"
    (condition,) = got.conditions
    assert condition.text == "'main' loses 1.4 V at such a start, which leaves 'inv' 21.1 V"
    assert "The voltage is the bank's: 'main' loses 1.4 V at such a start, and 'inv' sees 21.1 V." in got.assumptions
    assert "as seen" in got.assumptions
    assert judged(a_site(LONG), Within(200.0, 190.0, 210.0)).verdict == "fails"


def test_a_short_cable_is_told_and_changes_no_word():
    got = judged(a_site(("main", 70.0, 1.0)))
    assert got.verdict == "holds"
    assert got.conditions == ()
    assert got.assumptions[-1].startswith("The voltage is the bank's: 'main' loses 0.065 V")


@given(amps=st.floats(1, 300), spread=st.floats(0, 0.5), low=st.floats(20, 24), width=st.floats(0, 2))
def test_the_word_is_that_on_the_volts_that_arrive(amps, spread, low, width):
    """The lowest volts with the hardest start and the highest with the gentlest, against the cut-off."""
    site = a_site(LONG)
    asked = Within(amps, amps * (1 - spread), amps * (1 + spread))
    got = judged(site, asked, sag(low, low + width / 2, low + width))
    arrives = low - ohm(site) * asked.high, low + width - ohm(site) * asked.low
    expected = "holds" if arrives[0] >= 21 else "fails" if arrives[1] < 21 else "doubtful"
    assert got.verdict == expected
    assert bool(got.conditions) == (got.by_figures != expected)


@pytest.mark.parametrize(
    "site",
    [a_site(), a_site(LONG, ("other", 16.0, 5.0)), a_site(LONG, cut_off_V=None)],
    ids=["none", "two", "no cut-off"],
)
def test_without_one_cable_and_a_cut_off_nothing_is_added(site):
    seen = sag(22.0, 22.5, 23.0)
    assert judged(site, seen=seen) is seen


def test_what_is_not_known_stays_as_it_is():
    site, seen = a_site(LONG), sag(22.0, 22.5, 23.0)
    unknown = Missing("word on the sag at start")
    assert through_cable(unknown, site, site.loads[0], Within.exactly(100.0)) is unknown
    for amps in (None, Missing("amps")):
        assert through_cable(seen, site, site.loads[0], amps) is seen
    assert through_cable(seen, site, None, Within.exactly(100.0)) is seen


def test_a_size_in_no_table_says_nothing():
    site = a_site(LONG)
    cable = site.conductors[0].model_copy(update={"area_mm2": None, "gauge_AWG": "30"})
    seen = sag(22.0, 22.5, 23.0)
    assert judged(site.model_copy(update={"conductors": (cable,)}), seen=seen) is seen


def test_a_forecast_by_the_plate_reckons_with_the_cable():
    """A thin cable makes the same start doubtful; in the bank's own volts nothing changes."""
    thick, thin = (forecast(a_site(("main", area, 4.0), cut_off_V=20.0), "pump", hours=1.0) for area in (95.0, 10.0))
    assert thick.bank.sag.lowest_V == thin.bank.sag.lowest_V
    assert thick.bank.sag.verdict == "holds"
    assert thin.bank.sag.verdict in {"doubtful", "fails"}
