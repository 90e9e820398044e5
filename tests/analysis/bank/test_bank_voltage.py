"""At which volts a bank is reckoned where nothing was measured: lithium is no lead."""

import pytest

from shuntbook.analysis.equipment.bank_voltage import charging_V, lithium_cells, usual_loaded_V
from shuntbook.analysis.forecast.forecast import forecast
from shuntbook.analysis.site.site import Site
from shuntbook.analysis.site.tables import Bank


# A lithium iron phosphate cell has 3.2 V (from memory); banks for lead's voltages have four for each 12 V.
@pytest.mark.parametrize(
    ("nominal_V", "cells"),
    [(12.0, 4), (12.8, 4), (24.0, 8), (25.6, 8), (36.0, 12), (38.4, 12), (48.0, 16), (51.2, 16), (3.2, 1), (1.0, 1)],
)
@pytest.mark.worked("data sheets of LiFePO4: 3.2 V a cell, 12.8, 25.6 and 51.2 V a bank (from memory)")
def test_cells_of_a_lithium_bank(nominal_V, cells):
    """By either way of naming it."""
    assert lithium_cells(nominal_V) == cells


# IEEE 1013-2007, 5.2: 95 % of system voltage for lead-acid; 3.2 V and 3.45 V a lithium cell, 2.4 V a flooded or AGM
# cell while it is charged (makers' guides, from memory).
@pytest.mark.parametrize(
    ("chemistry", "nominal_V", "loaded_V", "charged_V"),
    [
        ("flooded_lead_acid", 24.0, 22.8, 28.8),
        ("agm", 24.0, 22.8, 28.8),
        ("gel", 12.0, 11.4, 14.0),
        ("lifepo4", 25.6, 25.6, 27.6),
        ("lifepo4", 24.0, 25.6, 27.6),
        ("lifepo4", 48.0, 51.2, 55.2),
        ("other", 24.0, 22.8, 27.6),
        (None, 24.0, 22.8, 27.6),
    ],
)
@pytest.mark.worked("IEEE 1013-2007, 5.2: 95 % of system voltage (read)", "makers' guides (from memory)")
def test_each_chemistry_has_its_own_volts(chemistry, nominal_V, loaded_V, charged_V):
    """Under load and charging; each with where it is from."""
    bank = Bank(chemistry=chemistry, nominal_V=nominal_V, capacity_Ah=100.0)
    assert usual_loaded_V(bank)[0] == pytest.approx(loaded_V)
    assert charging_V(bank)[0] == pytest.approx(charged_V)
    assert ("IEEE 1013" in usual_loaded_V(bank)[1]) == (chemistry != "lifepo4")
    assert "from memory" in charging_V(bank)[1] or "common practice" in charging_V(bank)[1]


def test_what_the_file_states_goes_before():
    """charging_V of the site file."""
    bank = Bank(chemistry="lifepo4", nominal_V=25.6, capacity_Ah=100.0, charging_V=28.4)
    assert charging_V(bank)[0] == 28.4


@pytest.mark.parametrize(("chemistry", "volts"), [("lifepo4", 25.6), ("agm", 24.32)])
def test_a_forecast_takes_the_bank_for_what_it_is(chemistry, volts):
    """100 W for an hour are 100 Wh, and the Ah are those at the bank's own voltage."""
    site = Site.model_validate(
        {
            "name": "hut",
            "bank": {"chemistry": chemistry, "nominal_V": 25.6, "capacity_Ah": 100.0},
            "loads": [{"name": "lamp", "kind": "lights", "power_W": 100.0}],
        }
    )
    found = forecast(site, "lamp", hours=1.0)
    assert found.taken.charge_Ah.value == pytest.approx(100 / volts)
