"""The command `forecast` as a person meets it, on the invented scenario."""

import json
import re

import pytest
from telling import told, unwrapped

from shuntbook.analysis.equipment.water import tank_plan
from shuntbook.cli.opening.prepared_log import read_site


def document(capsys, demo, *more):
    """The JSON of the pump's forecast for a quarter of an hour."""
    words = ("forecast", "--site", demo / "site.toml", "--load", "well pump", "--for", "15m", "--json", *more)
    status, out, _ = told(capsys, *words)
    assert status == 0
    return json.loads(out)


def test_before_the_demo_the_plate_speaks(demo, capsys):
    """5 A x 230 V for a quarter of an hour: 12.0 Ah on paper; 667 W / 0.88 / 22.8 V x 0.25 h is 8.31 Ah (by hand)."""
    found = document(capsys, demo)
    assert found["chain"][0] == {**found["chain"][0], "step": "paper", "unit": "Ah"}
    assert found["chain"][0]["value"] == pytest.approx(230 * 5 / 24 / 4)
    assert found["charge_Ah"] == pytest.approx(230 * 5 * 0.58 / 0.88 / 22.8 / 4)
    assert found["energy_Wh"] == pytest.approx(230 * 5 * 0.58 / 0.88 / 4)
    assert found["charge_u95_Ah"] is None
    assert found["measured"] is None
    assert found["inverter"]["verdict"] == "holds"
    assert found["bank"]["sag"]["add"] == ["bank.resistance_mohm"]
    assert len(found["cautions"]) >= 5
    assert all(step["from"] for step in found["chain"])


def test_measured_the_load_speaks_for_itself(demo, capsys):
    """The open day's ten runs: 3.33 an hour, and what they took in three hours over twelve."""
    found = document(capsys, demo, "--measured", demo / "open_day.parquet")
    cycles = json.loads(told(capsys, "cycles", demo / "open_day.parquet", "--site", demo / "site.toml", "--json")[1])
    taken_Wh = sum(cycle["energy_Wh"] for cycle in cycles["cycles"])
    assert found["energy_Wh"] == pytest.approx(taken_Wh / 12, rel=1e-3)
    assert found["energy_low_Wh"] < found["energy_Wh"] < found["energy_high_Wh"]
    assert found["without_a_break"]["energy_Wh"] > found["energy_high_Wh"]
    assert found["as_measured"]["starts_per_h"]["value"] == pytest.approx(cycles["summary"]["starts_per_hour"])
    assert found["as_measured"]["duty"]["value"] == pytest.approx(cycles["summary"]["duty_cycle"], rel=0.01)
    assert found["bank"]["sag"]["verdict"] == "holds"
    assert found["measured"] == "open_day.parquet"


def test_the_terminal_shows_chain_bank_inverter_and_cautions(demo, capsys):
    """All parts of a measured forecast, in the order in which they are read."""
    words = ("forecast", "--site", demo / "site.toml", "--load", "well pump", "--for", "1h")
    status, out, err = told(capsys, *words, "--measured", demo / "open_day.parquet", "--explain")
    marks = [
        "The system carries it",
        "  paper",
        "as measured at the bank",
        "takes from the bank",
        "\nbank: holds\n",
        "\ninverter 'wash shed",
        "assumed:",
    ]
    places = [out.index(mark) for mark in (*marks, "Before you work on any of it", "licensed electrician")]
    assert (status, err) == (0, "")
    assert places == sorted(places)
    assert "by its plate" in out


def test_the_sum_on_paper_is_told_step_by_step_beside_the_measured_one(demo, capsys):
    """On the terminal with --explain alone, in JSON always; the same figures, and the parts are the difference."""
    words = ("--measured", demo / "open_day.parquet")
    found = document(capsys, demo, *words)
    steps = {step["name"]: step for step in found["steps"]}
    assert [*steps] == ["watts", "hours", "starts", "watt-hours", "volts", "amp-hours", "share of the bank"]
    assert (steps["watts"]["paper"], steps["watts"]["unit"]) == (pytest.approx(230 * 5), "W")
    assert steps["watts"]["measured"] == pytest.approx(found["running_W"])
    assert steps["hours"]["measured"] == pytest.approx(0.25 * found["duty_cycle"])
    assert steps["watt-hours"]["measured"] == pytest.approx(found["energy_Wh"])
    assert steps["amp-hours"]["measured"] == pytest.approx(found["charge_Ah"])
    assert steps["amp-hours"]["plate"] == pytest.approx(found["by_plate"]["charge_Ah"])
    assert steps["share of the bank"]["measured"] == pytest.approx(found["charge_Ah"] / 420 * 100)
    parts = [step["of_difference_Ah"] for step in found["steps"] if step["of_difference_Ah"] is not None]
    assert sum(parts) == pytest.approx(found["charge_Ah"] - steps["amp-hours"]["paper"])
    assert all(step["why"] and step["basis"] == "measured" for step in found["steps"])
    back = {step["name"]: step for step in found["steps_back"]}
    assert back["watt-hours"]["paper"] == pytest.approx(found["charge_Ah"] * 24)
    assert back["watts of the load"]["basis"] == "estimated"  # no meter stood behind the inverter
    assert found["steps_back_why_not"] is None

    pump = ("forecast", "--site", demo / "site.toml", "--load", "well pump", "--for", "15m")
    out = unwrapped(told(capsys, *pump, *words, "--explain")[1])
    for said in (
        "On paper, 230 V x 5 A, taken for watts: 1,150 W.",
        "By the plate's power factor 58 % are watts.",
        "On paper, the bank's nominal voltage: 24 V.",
        "A watt is how fast it goes. A watt-hour is how much has gone.",
        "Back again, from the measured amp-hours:",
        "at 24 V are not",
    ):
        assert said in out
    short = told(capsys, *pump, *words)[1]
    assert "On paper," not in short
    assert short.splitlines()[-1] == "More with --explain: paper beside measured, all that was judged, the cautions"


def test_without_a_log_the_plate_with_its_losses_stands_beside_the_paper(demo, capsys):
    """Nothing of it is called measured, and there is no way back."""
    found = document(capsys, demo)
    steps = {step["name"]: step for step in found["steps"]}
    assert {step["measured"] for step in found["steps"]} == {None}
    assert steps["watts at the bank"]["plate"] == pytest.approx(230 * 5 * 0.58 / 0.88)
    assert found["steps_back"] == []
    assert "nothing was measured" in found["steps_back_why_not"]
    words = ("forecast", "--site", demo / "site.toml", "--load", "well pump", "--for", "15m", "--explain")
    out = unwrapped(told(capsys, *words)[1])
    assert "Reckoned, what the bank gives for it while it runs: 758 W." in out
    assert "Measured," not in out and "Back again" not in out


@pytest.mark.parametrize(("was", "now"), [("fuse_A = 50", "fuse_A = 400"), ("fuse_A = 50\n", "")])
def test_a_cable_without_its_protection_is_told_with_the_answer(demo, tmp_path, capsys, was, now):
    """In the lines after the first, before any figure, whichever load is asked about; and as `fails` in the JSON."""
    text = (demo / "site.toml").read_text(encoding="utf-8")
    assert was in text
    path = tmp_path / "site.toml"
    path.write_text(text.replace(was, now), encoding="utf-8")
    words = ("forecast", "--site", path, "--load", "well pump", "--for", "15m")
    first = unwrapped(told(capsys, *words)[1])
    assert first.startswith("Conductor")
    assert "Conductor 'bank to seedling house inverter' fails." in first
    assert "local codes and a licensed electrician decide" in first
    checks = json.loads(told(capsys, *words, "--json")[1])["conductors"]
    assert [each["verdict"] for each in checks] == ["holds", "fails"]
    assert checks[1]["protection"]["verdict"] == "fails"
    assert "fails" not in told(capsys, "forecast", "--site", demo / "site.toml", *words[3:])[1]


def test_more_than_the_bank_holds_is_told_beside_it(demo, tmp_path, capsys):
    """A pump whose share of the day nobody knows does not run for all of it."""
    words = ("forecast", "--site", demo / "site.toml", "--load", "well pump", "--for")
    day = unwrapped(told(capsys, *words, "1d")[1])
    times = re.search(r"That is ([\d.]+) times what a full bank holds: it was taken to run all the time", day)
    drawn_Ah = float(re.search(r"Out of the bank in 1 d: ([\d,.]+) Ah", day)[1].replace(",", ""))
    assert float(times[1]) == pytest.approx(drawn_Ah / 420, rel=0.06)
    assert "a full bank" not in told(capsys, *words, "1h")[1]


def test_cables_that_were_not_judged_are_told_beside_those_that_were(demo, tmp_path, capsys):
    """All that are in a site file are of direct current; a cable behind an inverter named by it cannot be right."""
    mains = "Cables behind an inverter are not judged: the mains side is for the electrician."
    words = ("--site", demo / "site.toml", "--for", "15m", "--load")
    assert mains in unwrapped(told(capsys, "forecast", *words, "well pump")[1])
    assert mains not in unwrapped(told(capsys, "forecast", *words, "lights")[1])
    path = tmp_path / "site.toml"
    cable = '\n[[conductors]]\nname = "to well"\narea_mm2 = 1.5\nlength_m = 90\ncarries = ["wash shed inverter"]\n'
    path.write_text((demo / "site.toml").read_text(encoding="utf-8") + cable, encoding="utf-8")
    checked = unwrapped(told(capsys, "check-site", path)[1])
    assert "if it lies behind the inverter, take it out: the mains side is not judged here" in checked


def test_a_load_on_the_dc_side_hangs_on_no_inverter(demo, capsys):
    """The fridge: 4.5 A x 24 V, 36 % of the time."""
    words = ("forecast", "--site", demo / "site.toml", "--load", "fridge", "--for", "10h")
    out = told(capsys, *words, "--explain")[1]
    assert "inverter: it hangs on none" in out
    found = json.loads(told(capsys, *words, "--json")[1])
    assert found["inverter"] is None
    assert found["energy_Wh"] == pytest.approx(4.5 * 24 * 0.36 * 10)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"--load": "mangle"}, "it has: well pump, seedling mats, fridge, lights"),
        ({"--for": "soon"}, "--for: 'soon' is not a length of time"),
        ({"--for": "-5m"}, "--for: '-5m' is not a length of time"),
        ({"--site": "none.toml"}, "none.toml"),
        ({"--measured": "none.parquet"}, "there is no such log"),
    ],
)
def test_what_is_wrong_is_told_in_one_sentence(demo, capsys, change, said):
    """An unknown load, no length of time, files that are not there, a load that never ran."""
    given = {"--site": "site.toml", "--load": "well pump", "--for": "15m", **change}
    paths = ("--site", "--measured")
    words = [word for key, value in given.items() for word in (key, str(demo / value) if key in paths else value)]
    status, out, err = told(capsys, "forecast", *words)
    assert (status, out) == (2, "")
    assert said in err
    assert len(err.splitlines()) == 1


def test_the_plate_is_told_with_the_time_that_it_is_reckoned_for(demo, capsys):
    """The fridge's plate is reckoned for 36 % of it; that of the lights, whose duty is not given, for all of it."""
    words = ("forecast", "--site", demo / "site.toml", "--for", "1d", "--measured", demo / "open_day.parquet")
    fridge = unwrapped(told(capsys, *words, "--load", "fridge")[1])
    assert "The sum on paper says 108 Ah, its plate 40.9 Ah if it ran 36 % of the time." in fridge
    lights = unwrapped(told(capsys, *words, "--load", "lights")[1])
    assert "its plate 53.1 Ah if it ran all the time." in lights


def test_a_load_that_never_ran_in_the_log_is_told(demo, capsys):
    """Lights of 300 A by their plate: nothing in the log is like them, and the plate's amps say so."""
    text = (demo / "site.toml").read_text(encoding="utf-8")
    site = demo.parent / "bright.toml"
    site.write_text(text.replace("current_A = 2.1", "current_A = 300"), encoding="utf-8")
    words = ("forecast", "--site", site, "--load", "lights", "--for", "1h", "--measured", demo / "open_day.parquet")
    status, out, err = told(capsys, *words)
    assert (status, out) == (2, "")
    assert "open_day.parquet: no run of 'lights' was seen in it (by its plate it draws about 316 A)" in err


def test_until_the_tank_is_full(demo, capsys):
    """44 gal at 38/40/60 psi give 12.0 gal; at the pump's flow that takes what the plan of the tank says."""
    site = read_site(demo / "site.toml")
    plan = tank_plan(site.water)
    words = ("forecast", "--site", demo / "site.toml", "--load", "well pump", "--for", "full")
    status, out, _ = told(capsys, *words, "--json")
    assert status == 0
    assert json.loads(out)["hours"] * 3600 == pytest.approx(plan.fill_s)
    assert "(until the tank is full)" in unwrapped(told(capsys, *words)[1])


def test_a_load_that_fills_no_tank_is_never_full(demo, capsys):
    """It is told so, with what to say instead."""
    status, _, err = told(capsys, "forecast", "--site", demo / "site.toml", "--load", "fridge", "--for", "full")
    assert status == 2
    assert "fills no tank" in err


def test_a_tank_without_a_flow_asks_for_it(demo, tmp_path, capsys):
    """The key to add is named."""
    site = tmp_path / "site.toml"
    lines = (demo / "site.toml").read_text(encoding="utf-8").splitlines(keepends=True)
    site.write_text("".join(line for line in lines if not line.startswith("flow_")), encoding="utf-8")
    status, _, err = told(capsys, "forecast", "--site", site, "--load", "well pump", "--for", "full")
    assert status == 2
    assert "water.flow_gal_per_min" in err


def test_a_day_with_less_sun_is_used_up_more(demo, capsys):
    """Half the hours of sun: twice the share of what the array brings."""
    words = ("forecast", "--site", demo / "site.toml", "--load", "well pump", "--for", "2h", "--sun")
    shares = [
        float(re.search(r"that is ([\d.]+) % of what the array brings", unwrapped(told(capsys, *words, sun)[1]))[1])
        for sun in ("4", "2,0")
    ]
    assert shares[1] == pytest.approx(2 * shares[0], rel=0.02)


@pytest.mark.parametrize("sun", ["much", "0", "25", "-1", "nan"])
def test_hours_of_sun_are_a_number_of_a_day(demo, capsys, sun):
    """Anything else is one sentence."""
    words = ("forecast", "--site", demo / "site.toml", "--load", "well pump", "--for", "2h", "--sun", sun)
    status, _, err = told(capsys, *words)
    assert status == 2
    assert "hours of full sun" in err


def test_the_weakest_part_may_be_the_voltage_at_a_start(demo, tmp_path, capsys):
    """An inverter that switches off above what the bank falls to: that part is named, not one that holds."""
    site, plates = tmp_path / "site.toml", (demo / "site.toml").read_text("utf-8")
    site.write_text(re.sub(r"(?m)^cut_off_V = .*$", "cut_off_V = 26.0", plates), encoding="utf-8")
    words = ("forecast", "--load", "well pump", "--for", "15m", "--measured", demo / "open_day.parquet", "--site")
    assert "The weakest part is the bank's voltage: it falls to" in unwrapped(told(capsys, *words, site)[1])
    assert "voltage" not in unwrapped(told(capsys, *words, demo / "site.toml")[1]).partition("weakest part")[2]
