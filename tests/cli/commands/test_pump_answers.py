"""What commands tell of a pump's flow and water: at the terminal, on the page, in JSON and in a table of days."""

import csv
import json

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
    """A week later its air is lost: what the runs would come to stays in JSON, and nobody is told it as the flow."""
    pulse = pulse_of(capsys, demo, "week_later")
    assert pulse["flow"]["air"] == "in doubt"
    assert pulse["pumped"]["why_not"].startswith("No water of a day")
    site = ("--site", demo / "site.toml", "--explain")
    text = unwrapped(told(capsys, "cycles", demo / "week_later.parquet", *site)[1])
    assert "What the pump gives is not judged: the tank's air is in doubt." in text
    assert "gal/min" not in text.partition("What the pump gives is not judged")[2].partition("nameplate")[0]


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
