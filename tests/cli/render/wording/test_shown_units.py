"""Units to taste: what people read follows the site file, and what scripts read stays in SI."""

import json
import re

import pytest
from telling import told

from shuntbook.analysis.site.site import Site
from shuntbook.analysis.site.units import SI, DisplayUnits
from shuntbook.ingest.toml.toml_file import read_toml

# NIST SP 811 (2008), appendix B.8: 1 gal (US) = 3.785 412 L, 1 psi = 6.894 757 kPa, 1 ft = 0.3048 m, 1 bar = 100 kPa;
# degrees Fahrenheit: 9/5 of degrees Celsius, plus 32.
METRIC = {"volume": "L", "flow": "L/min", "pressure": "bar", "length": "m", "temperature": "degC"}
US = {"volume": "gal", "flow": "gal/min", "pressure": "psi", "length": "ft", "temperature": "degF"}
#: A figure with a unit that only one of the two chooses.
ONLY_METRIC = re.compile(r"\d[\s\xa0](?:L|L/min|kPa|bar|m|litres?|°C|degC)\b|\d[\s\xa0]°C")
ONLY_US = re.compile(r"\d[\s\xa0](?:gal|gal/min|psi|ft|gallons?|degF)\b|\d[\s\xa0]°F|for a gallon")


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        (DisplayUnits(volume="gal").of_volume(85 * 3.785412), "85 gal"),
        (SI.of_volume(85 * 3.785412), "322 L"),
        (DisplayUnits(flow="gal/min").of_flow(37.85412), "10 gal/min"),
        (DisplayUnits(pressure="psi").of_pressure(40 * 6.894757), "40 psi"),
        (DisplayUnits(pressure="bar").of_pressure(276.0), "2.76 bar"),
        (DisplayUnits(pressure="psi").of_pressure(13.789514, digits=2), "2 psi"),
        (SI.of_pressure(13.789514, digits=2), "14 kPa"),
        (DisplayUnits(length="ft").of_length(1829), "6,001 ft"),
        (SI.of_length(999.7), "1,000 m"),
        (DisplayUnits(temperature="degF").of_temperature(15), "59 °F"),
        (DisplayUnits(temperature="degF").of_temperature(-40), "−40 °F"),
        (DisplayUnits(temperature="degF").of_warming(10), "18 °F"),
        (SI.of_warming(10), "10 °C"),
    ],
)
def test_figures_are_converted(text, shown):
    """Three digits, whole from a thousand on, and the unit's symbol."""
    assert text == shown


def test_water_is_priced_by_the_chosen_volume():
    """347 Wh for 1,000 L are 0.347 x 3.785412 = 1.3135 Wh for a gallon."""
    assert SI.water_energy(347.0) == (347.0, "1,000 L")
    assert DisplayUnits(volume="gal").water_energy(347.0) == (pytest.approx(1.313538, abs=1e-6), "a gallon")


def site(**changes):
    """A site with a pressure tank; `changes` are whole tables, None leaves one out."""
    tables = {
        "name": "Marrowbrook",
        "bank": {"nominal_V": 24, "capacity_Ah": 420},
        "loads": [{"name": "well pump", "kind": "pump"}],
        "water": {"load": "well pump", "tank_volume_L": 167, "cut_in_kPa": 276, "cut_out_kPa": 414},
    }
    return Site.model_validate({key: value for key, value in (tables | changes).items() if value is not None})


def test_without_a_choice_units_are_those_the_file_uses():
    """Each kind by its first key: a tank in gallons, a head in metres; a flow that has none goes by the tank."""
    mixed = {"load": "well pump", "tank_volume_gal": 44, "cut_in_kPa": 276, "cut_out_psi": 60, "head_m": 6}
    warm = {"nominal_V": 24, "capacity_Ah": 420, "temperature_degF": 59}
    assert site(water=mixed, bank=warm).shown == DisplayUnits("gal", "gal/min", "kPa", "m", "degF")
    assert site().shown == site(water=None).shown == SI


def test_a_choice_goes_before_and_reaches_every_table():
    """What is chosen holds for bank, conductors and water; what is not chosen stays as it was written."""
    chosen = site(units={"volume": "gal", "length": "ft"}, conductors=[{"name": "a", "gauge_AWG": "6", "length_m": 2}])
    wanted = DisplayUnits(volume="gal", flow="gal/min", length="ft")
    assert (chosen.shown, chosen.water.shown, chosen.bank.shown, chosen.conductors[0].shown) == (wanted,) * 4
    assert chosen.water.volume_L == 167


@pytest.fixture(scope="module", params=[METRIC, US], ids=["metric", "us"])
def chosen(request, demo, tmp_path_factory):
    """The demo's site with all units chosen: its file, and what the other choice would show."""
    path = tmp_path_factory.mktemp("units") / "site.toml"
    units = "\n".join(f'{key} = "{value}"' for key, value in request.param.items())
    text = (demo / "site.toml").read_text(encoding="utf-8").replace("[limits]", f"[units]\n{units}\n\n[limits]")
    path.write_text(text, encoding="utf-8")
    return path, request.param, ONLY_US if request.param is METRIC else ONLY_METRIC


def shown_in(page):
    """A page's text: no style, no library of scripts, no tags, and so no drawing's numbers."""
    return re.sub(r"<[^>]+>", " ", re.sub(r"<(style|script)>.*?</\1>", " ", page, flags=re.DOTALL))


def test_only_the_chosen_units_are_shown(chosen, demo, tmp_path, capsys):
    """check-site, cycles, forecast and the page: no figure has a unit of the other kind, and its own are there."""
    path, units, others = chosen
    page, week = tmp_path / "page.html", demo / "week_later.parquet"
    said = told(capsys, "check-site", path)[1]
    said += told(capsys, "cycles", week, "--site", path)[1]
    said += told(capsys, "forecast", "--site", path, "--load", "well pump", "--for", "15m", "--measured", week)[1]
    assert told(capsys, "report", week, "--site", path, "--out", page)[0] == 0
    said += shown_in(page.read_text(encoding="utf-8"))
    # The published tables' own columns are named as they are printed.
    said = re.sub(r"(copper at|direct current,) 75[\s\xa0]°C|30[\s\xa0]°C around", "", said)
    assert others.findall(said) == []
    assert re.search(rf"\d[\s\xa0]{units['volume']}\b", said)
    assert re.search(rf"\d[\s\xa0]{units['pressure']}\b", said)


def test_json_is_the_same_whatever_is_shown(chosen, demo, capsys):
    """Keys and numbers stay in SI; the figure on the page is the document's, converted."""
    path, units, _ = chosen
    week = demo / "week_later.parquet"
    plain = json.loads(told(capsys, "report", week, "--site", demo / "site.toml", "--json")[1])
    document = json.loads(told(capsys, "report", week, "--site", path, "--json")[1])
    cost, plan = document["water"]["cost"], document["water"]["plan"]
    assert numbers(document) == numbers(plain)
    shown = read_toml(path, Site).shown
    if units is US:
        assert cost["Wh_per_gal"] == pytest.approx(cost["Wh_per_1000_L"] * 3.785412e-3, rel=1e-6)
        assert shown.of_volume(plan["drawdown_L"]) == f"{plan['drawdown_L'] / 3.785412:.3g} gal"
    else:
        assert shown.of_volume(plan["drawdown_L"]) == f"{plan['drawdown_L']:.3g} L"


def numbers(value):
    """All keys and numbers of a document, without its sentences."""
    if isinstance(value, dict):
        return {key: numbers(item) for key, item in value.items()}
    if isinstance(value, list):
        return [numbers(item) for item in value]
    return None if isinstance(value, str) else value


def test_look_shows_a_log_of_pressures_in_the_chosen_unit(chosen, tmp_path, capsys):
    """40 psi in the export are 40 psi for people, 276 kPa in JSON."""
    path, units, _ = chosen
    export, log = tmp_path / "gauge.csv", tmp_path / "gauge.parquet"
    rows = [f"2026-06-13T10:00:{s:02d}Z,{40 + s % 2},5.0" for s in range(60)]
    export.write_text("\n".join(["time,pressure [psi],current [A]", *rows]) + "\n", encoding="utf-8")
    assert told(capsys, "convert", export, "--out", log)[0] == 0
    said = told(capsys, "look", log, "--site", path)[1]
    low = {"psi": "40.0", "bar": "2.76"}[units["pressure"]]
    assert re.search(rf"pressure_kPa, in {units['pressure']} +{re.escape(low)} ", said)
    document = json.loads(told(capsys, "look", log, "--site", path, "--json")[1])
    assert document["quantities"]["pressure_kPa"]["low"] == pytest.approx(40 * 6.894757, rel=1e-6)
    assert re.search(r"pressure_kPa +276 ", told(capsys, "look", log)[1])


def test_a_unit_that_there_is_not_is_one_sentence(tmp_path, capsys):
    """The line, the key, and what may stand there."""
    path = tmp_path / "site.toml"
    path.write_text('name = "a"\n[bank]\nnominal_V = 24\ncapacity_Ah = 420\n[units]\npressure = "atm"\n')
    status, out, err = told(capsys, "check-site", path)
    assert (status, out) == (2, "")
    assert "site.toml:6: units.pressure: must be 'kPa', 'bar' or 'psi'" in err
