"""What commands tell of a pump's flow and water: at the terminal, on the page, in JSON and in a table of days."""

import csv
import json
import re
from html import unescape

import pytest
from telling import told, unwrapped

#: The demo's pump gives 42 L/min at cut-in and 34 at cut-out (its simulator).
TRUE_L_PER_MIN = (34.0, 42.0)
L_PER_GAL = 3.785411784


def pulse_of(capsys, demo, name):
    """What JSON tells of the pump of one of the demo's logs."""
    status, text, _ = told(capsys, "cycles", demo / f"{name}.parquet", "--site", demo / "site.toml", "--json")
    assert status == 0
    return json.loads(text)["pump_pulse"]


def test_json_tells_flow_water_and_rest_with_their_intervals(demo, capsys):
    """The sound day: all are there, and the true flow lies within."""
    pulse = pulse_of(capsys, demo, "open_day")
    flow = pulse["flow"]["flow_L_per_min"]
    assert flow["low"] < sum(TRUE_L_PER_MIN) / 2 < flow["high"]
    assert TRUE_L_PER_MIN[0] < flow["value"] < TRUE_L_PER_MIN[1]
    assert pulse["flow"]["air"] == "nothing against it"
    assert pulse["flow"]["plate_L_per_min"] == pytest.approx(10 * L_PER_GAL)
    pumped = pulse["pumped"]
    assert pumped["pumped_L"]["value"] == pytest.approx(flow["value"] * pumped["running_s"] / 60)
    assert pumped["per_day_L"] is None  # three hours are no day
    assert pulse["longest_without_start"]["lasted_s"] > 600
    assert "8 days" in pulse["trend"]["why_not"]


def test_a_tank_in_doubt_gives_no_flow_and_no_water(demo, capsys):
    """A week later its air is lost: nobody is told what the runs would come to as the flow, nor what rests on it."""
    pulse = pulse_of(capsys, demo, "week_later")
    assert pulse["flow"]["air"] == "in doubt"
    assert (pulse["flow"]["flow_L_per_min"], pulse["flow"]["drawdown_L"]) == (None, None)
    assert pulse["pumped"]["why_not"].startswith("No water of a day")
    site = ("--site", demo / "site.toml", "--explain")
    text = unwrapped(told(capsys, "cycles", demo / "week_later.parquet", *site)[1])
    assert "What the pump gives is not judged: the tank's air is in doubt." in text
    told_of = text.partition("What the pump gives is not judged")[2].partition("nameplate")[0]
    assert "the pump gives" not in told_of


def without_flow(demo, tmp_path):
    """The demo's site file without the pump's flow."""
    lines = (demo / "site.toml").read_text(encoding="utf-8").splitlines()
    place = tmp_path / "site.toml"
    place.write_text("\n".join(line for line in lines if not line.startswith("flow_")), encoding="utf-8")
    return place


def test_the_water_of_a_tank_in_doubt_costs_nothing_known(demo, tmp_path, capsys):
    """By the tank's water alone: on the page, in JSON and in the table of days, while the finding has the evidence."""
    log, where, folder = demo / "week_later.parquet", without_flow(demo, tmp_path), tmp_path / "tables"
    words = ("--site", where, "--json", "--out", tmp_path / "page.html", "--csv", folder)
    document = json.loads(told(capsys, "report", log, *words)[1])
    assert "the tank's air is in doubt" in document["water"]["cost"]["why_not"]
    html = unescape((tmp_path / "page.html").read_text(encoding="utf-8")).replace("\u00a0", " ")
    assert "What the water costs is not judged: the tank's air is in doubt." in html
    assert "The water costs" not in html
    with (folder / "days.csv").open(encoding="utf-8-sig", newline="") as rows:
        assert {(day["flow_L_per_min"], day["pumped_L"]) for day in csv.DictReader(rows)} == {("", "")}


def test_a_forecast_does_not_go_by_the_tank_of_the_file_where_its_air_is_in_doubt(demo, tmp_path, capsys):
    """The repair changes nothing in the file, and nobody knows what it changes at the tank; until full is refused."""
    measured = ("--load", "well pump", "--measured", demo / "week_later.parquet")
    words = ("forecast", "--site", without_flow(demo, tmp_path), *measured, "--for", "1d", "--with")
    for change in ("pre-charge 38 psi", "tank 300 L"):
        text = unwrapped(told(capsys, *words, change)[1])
        assert text.startswith("No word on the pump's runs: by the log the tank's air is in doubt")
        assert "No figure that is known changes." in text
    with_flow = ("forecast", "--site", demo / "site.toml", *measured, "--for")
    text = unwrapped(told(capsys, *with_flow, "1d", "--with", "pre-charge 38 psi")[1])
    assert text.startswith("Runs of 13 s become ")
    # A log of three hours is stretched to a day: what that makes of it has its interval beside it.
    text = unwrapped(told(capsys, *with_flow, "1d", "--with", "use 20 min a day")[1])
    assert re.match(r"Starts a day [\d,]+ \([\d,]+ to [\d,]+\) -> [\d,]+ \([\d,]+ to [\d,]+\)", text)
    status, _, err = told(capsys, *with_flow, "full")
    assert status == 2
    assert "by the log its air is in doubt" in err


def test_the_terminal_tells_it_on_request_in_the_units_of_the_site_file(demo, capsys):
    """Gallons here; the flow of the site file beside it, and what it rests on. Without the option nothing of it."""
    words = ("cycles", demo / "open_day.parquet", "--site", demo / "site.toml")
    flow = pulse_of(capsys, demo, "open_day")["flow"]["flow_L_per_min"]
    text = unwrapped(told(capsys, *words, "--explain")[1])
    assert f"the pump gives {flow['value'] / L_PER_GAL:.1f} gal/min (" in text
    assert "the site file says 10 gal/min." in text
    assert "The tank's air: nothing against it;" in text
    assert "What the flow rests on:" in text
    assert "The pump gives" not in unwrapped(told(capsys, *words)[1])


def test_a_load_without_a_tank_is_told_its_longest_rest_alone(demo, capsys):
    """The fridge of the same site pumps no water."""
    site = ("--site", demo / "site.toml", "--load", "fridge", "--explain")
    text = unwrapped(told(capsys, "cycles", demo / "open_day.parquet", *site)[1])
    assert "flow" not in text
    assert "L/min" not in text


def test_page_and_table_of_days_hold_the_same(demo, tmp_path, capsys):
    """A section of its own on the page of each log, and a row a day in the table."""
    page, folder = tmp_path / "page.html", tmp_path / "tables"
    words = (demo / "open_day.parquet", "--site", demo / "site.toml", "--out", page, "--csv", folder)
    assert told(capsys, "report", *words)[0] == 0
    html = page.read_text(encoding="utf-8").replace("\u00a0", " ")
    assert "What does the pump give?" in html
    pulse = pulse_of(capsys, demo, "open_day")
    assert f"{pulse['flow']['flow_L_per_min']['value'] / L_PER_GAL:.1f} gal/min" in html
    with (folder / "days.csv").open(encoding="utf-8-sig", newline="") as rows:
        (day,) = csv.DictReader(rows)
    assert float(day["flow_L_per_min"]) == pytest.approx(pulse["flow"]["flow_L_per_min"]["value"])
    assert float(day["pumped_L"]) == pytest.approx(pulse["pumped"]["pumped_L"]["value"])
    assert float(day["flow_low_L_per_min"]) < float(day["flow_L_per_min"]) < float(day["flow_high_L_per_min"])
    assert float(day["longest_without_start_s"]) == pytest.approx(pulse["longest_without_start"]["lasted_s"])
