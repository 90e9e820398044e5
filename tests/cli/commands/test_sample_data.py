"""The invented scenario: its physics, its committed exports and the generator agree with each other."""

import csv
import gzip
import io
import tomllib
from importlib.resources import as_file, files

import numpy as np
import pytest

from shuntbook.analysis.site.site import Site
from shuntbook.ingest.toml.toml_file import read_toml
from shuntbook.sample_data import scenario
from shuntbook.sample_data.generate import EXPORTS, simulate_open_day, simulate_week_later, write_exports
from shuntbook.sample_data.physics import Bank, Inverter, since_start_s, spells

FOLDER = files("shuntbook.sample_data")
# National Driller, tank drawdown articles 2004-2008: factor for 40/60 psi with 38 psi pre-charge, 14.7 psi atmosphere.
DRAWDOWN_FACTOR = 0.2579
SIZE_LIMIT_BYTES = 3_000_000  # our own budget for what is installed


@pytest.fixture(scope="module")
def open_day():
    """The open day, simulated once for all tests."""
    return simulate_open_day()


@pytest.fixture(scope="module")
def week_later():
    """The week after, simulated once for all tests."""
    return simulate_week_later()


def committed_text(name):
    """Return a committed export, unpacked."""
    return gzip.decompress(FOLDER.joinpath(name).read_bytes()).decode("utf-8")


def run_lengths(truth):
    """Return each complete run's length in seconds."""
    return truth.pump_stops_s - truth.pump_starts_s[: len(truth.pump_stops_s)]


@pytest.mark.parametrize("name", EXPORTS)
def test_generator_still_makes_the_committed_text(name):
    """What the generator makes now is what is committed, to the last digit."""
    assert committed_text(name) == EXPORTS[name]()


def test_written_twice_gives_the_same_bytes(tmp_path, monkeypatch):
    """The packed files carry neither a time nor a name (the smaller export will do)."""
    monkeypatch.delitem(EXPORTS, "open_day.csv.gz")
    first, second = tmp_path / "first", tmp_path / "second"
    first.mkdir()
    second.mkdir()

    for one, other in zip(write_exports(first), write_exports(second), strict=True):
        assert one.read_bytes() == other.read_bytes()
        assert one.read_bytes()[3:8] == b"\0\0\0\0\0"  # RFC 1952, 2.3: no flags (so no name), time 0


def test_exports_are_small():
    """The installed exports stay within their budget."""
    assert sum(len(FOLDER.joinpath(name).read_bytes()) for name in EXPORTS) < SIZE_LIMIT_BYTES


def test_open_day_export_reads_back_as_measured(open_day):
    """The comma file holds the measured readings and their product, draw positive."""
    rows = list(csv.DictReader(io.StringIO(committed_text("open_day.csv.gz").split("\n\n", 1)[1])))
    current_A = np.array([float(row["Current [A]"]) for row in rows])
    voltage_V = np.array([float(row["Pack voltage [V]"]) for row in rows])
    power_W = np.array([float(row["Power [W]"]) for row in rows])

    np.testing.assert_allclose(current_A, open_day.measured_current_A, atol=1e-9)
    np.testing.assert_allclose(power_W, current_A * voltage_V, atol=0.0501)  # half of its last digit
    assert (rows[0]["Time"], rows[-1]["Time"]) == ("2026-06-13T09:30:00.0", "2026-06-13T12:30:00.0")


def test_week_later_export_reads_back_as_measured(week_later):
    """The semicolon file holds milliamps with discharge negative, decimal commas and a torn last line."""
    lines = committed_text("week_later.csv.gz").split("\r\n")
    cells = [line.split(";") for line in lines[2:-1]]
    current_A = np.array([-int(row[1]) / 1000 for row in cells])
    voltage_V = np.array([float(row[2].replace(",", ".")) for row in cells])

    np.testing.assert_allclose(current_A, week_later.measured_current_A[:-1], atol=1e-9)
    np.testing.assert_allclose(voltage_V, week_later.measured_voltage_V[:-1], atol=1e-9)
    assert cells[0][0] == "20/06/2026 10:00:00"
    assert lines[-1] == "20/06/2026 12:3"


def test_tank_gives_the_published_drawdown():
    """A healthy tank yields the published share of its volume between cut-out and cut-in."""
    air = scenario.TANK.air_amount(scenario.PRECHARGE_PSI)
    drawdown_L = scenario.TANK.water_at(air, 60.0) - scenario.TANK.water_at(air, 40.0)

    # 166.6 L is 44 US gallons; the factor has four printed digits.
    assert drawdown_L == pytest.approx(DRAWDOWN_FACTOR * 166.6, abs=0.00005 * 166.6)
    assert scenario.TANK.pressure_with(air, 0.0) == pytest.approx(scenario.PRECHARGE_PSI)


@pytest.mark.parametrize("scene_name", ["open_day", "week_later"])
def test_water_is_neither_made_nor_lost(scene_name, request):
    """What the pump delivered less what the hose drew is what the tank gained."""
    states = request.getfixturevalue(scene_name).states
    minutes = (states.time_s[1] - states.time_s[0]) / 60
    gained_L = np.sum((states.well.flow_L_per_min - states.draw_L_per_min)[:-1]) * minutes

    assert gained_L == pytest.approx(states.well.water_L[-1] - states.well.water_L[0], abs=1e-6)


@pytest.mark.parametrize("scene_name", ["open_day", "week_later"])
def test_pump_runs_only_within_the_switch_band(scene_name, request):
    """The switch starts the pump at cut-in and stops it at cut-out, to what one step can change."""
    scene = request.getfixturevalue(scene_name)
    pressure_psi = np.interp(scene.truth.pump_starts_s, scene.states.time_s, scene.states.well.pressure_psi)
    stopped_psi = np.interp(scene.truth.pump_stops_s, scene.states.time_s, scene.states.well.pressure_psi)

    assert len(stopped_psi) == len(pressure_psi) > 0
    np.testing.assert_allclose(pressure_psi, 40.0, atol=0.2)
    np.testing.assert_allclose(stopped_psi, 60.0, atol=0.2)


def test_pump_energy_is_running_power_times_time_and_a_little_for_starts(open_day):
    """Pump energy from watts and hours: run time, running power and inverter loss by hand, plus a bound for starts."""
    run_h = np.sum(run_lengths(open_day.truth)) / 3600
    low_W, high_W = (1.05 * ac_W + 2.0e-5 * ac_W**2 for ac_W in (700.0, 760.0))
    most_start_Wh = len(open_day.truth.pump_starts_s) * 3300.0 * 0.3 / 3600  # under 3,300 W for under 0.3 s each

    assert run_h * low_W < open_day.truth.pump_energy_Wh < run_h * high_W + most_start_Wh


def test_bank_sags_at_once_and_then_slowly():
    """A bank under a steady load sags from its rested voltage by its resistance, and later by polarisation too."""
    bank = Bank(capacity_Ah=1e9, resistance_ohm=0.01, polarisation_ohm=0.01, lag_s=10.0)
    current_A, voltage_V = bank.feed(np.full(20_000, 1000.0), step_s=0.01, start_pct=50.0)

    # Published rested voltage at 50 %: 12.24 V for 12 V, so 24.48 V here; Ohm's law does the rest.
    assert voltage_V[0] == pytest.approx(24.48 - 0.01 * current_A[0])
    assert voltage_V[-1] == pytest.approx(24.48 - 0.02 * current_A[-1], abs=1e-6)
    np.testing.assert_allclose(current_A * voltage_V, 1000.0)


def test_inverter_loses_its_idle_power_and_more():
    """With nothing running it takes its idle power; at 80 W from 25 W idle and 1.05 it is 73 % efficient."""
    inverter = Inverter(idle_W=25.0, proportional=1.05, square_per_W=0.0)
    idle_W, loaded_W = inverter.input_power(np.array([0.0, 80.0]))

    assert idle_W == 25.0
    assert 80.0 / loaded_W == pytest.approx(0.73, abs=0.005)  # computed example of the three-part loss model


def test_meter_is_within_its_data_sheet(open_day):
    """The site file's accuracy covers the meter's error, but for noise that averages out."""
    meter = tomllib.loads(FOLDER.joinpath("site.toml").read_text(encoding="utf-8"))["meters"][0]
    error_A = open_day.measured_current_A - open_day.current_A
    allowed_A = meter["reading_pct"] / 100 * np.abs(open_day.current_A) + meter["range_pct"] / 100 * meter["range_A"]

    assert abs(error_A.mean()) < allowed_A.mean()
    assert 0.02 < error_A.mean() < 0.05  # the invented zero error of 0.03 A shows
    assert np.mean(np.abs(error_A) < allowed_A) > 0.95


def test_trapezoids_over_the_true_readings_give_the_truth(open_day):
    """Ten readings a second are enough: the drawn charge agrees with the finer steps."""
    drawn_Ah = np.trapezoid(np.maximum(open_day.current_A, 0.0), open_day.time_s) / 3600

    # A step of up to 140 A, known to 0.1 s, at each start: 0.002 Ah at most for each of ten.
    assert drawn_Ah == pytest.approx(open_day.truth.drawn_Ah, abs=0.02)
    assert open_day.truth.drawn_Ah > 1.0
    assert open_day.truth.returned_Ah > 1.0


def test_open_day_has_healthy_runs(open_day):
    """There are a few runs, and each lasts longer than the minute that motor makers ask for."""
    run_s = run_lengths(open_day.truth)

    assert 8 <= len(run_s) <= 14  # invented
    assert run_s.min() >= 65  # a minute at least is usual (motor makers' starts table), with a margin


def test_every_start_of_the_open_day_shows_its_surge(open_day):
    """At 0.1 s each start has at least one reading far above the running draw."""
    for start_s in open_day.truth.pump_starts_s:
        near = open_day.measured_current_A[np.abs(open_day.time_s - start_s) < 1.0]
        running = open_day.measured_current_A[np.abs(open_day.time_s - start_s - 10.0) < 5.0]
        assert near.max() > 2.5 * np.median(running)  # 3 to 7 x is usual for pumps (trade figure)
    assert np.diff(open_day.time_s) == pytest.approx(0.1)


def test_week_later_short_cycles_and_gets_worse(week_later):
    """Many runs of seconds; they shorten as air is lost, and most starts fall between two readings."""
    run_s = run_lengths(week_later.truth)
    peaks_A = [
        week_later.measured_current_A[np.abs(week_later.time_s - start_s) < 2.0].max()
        for start_s in week_later.truth.pump_starts_s
    ]

    assert 60 <= len(run_s) <= 150  # invented
    assert np.mean((run_s >= 8) & (run_s <= 17)) > 0.95
    assert np.median(run_s[-20:]) < np.median(run_s[:20]) - 1.0
    assert np.median(peaks_A) < 60 < max(peaks_A)


def test_readings_stay_within_what_the_inverter_and_bank_can_do(open_day, week_later):
    """No start pulls the bank below the inverter's cut-off, nor takes more watts than its surge rating has VA."""
    site = tomllib.loads(FOLDER.joinpath("site.toml").read_text(encoding="utf-8"))
    inverter = site["inverters"][0]
    for scene in (open_day, week_later):
        assert scene.states.voltage_V.min() > inverter["cut_off_V"]
        assert scene.states.pump_dc_W.max() < inverter["surge_VA"]


def test_site_file_is_valid_and_shows_every_part():
    """The example site file passes its own check and has at least one of everything a site can describe.

    The invented place has no charger beside the sun: that part stands there as a remark, sound without its #.
    """
    with as_file(FOLDER.joinpath("site.toml")) as path:
        site = read_toml(path, Site)
        text = path.read_text(encoding="utf-8")

    assert site.name == "Marrowbrook wash shed"
    assert all(getattr(site, part) for part in Site.model_fields if part != "chargers")
    lines = text[text.index("# [[chargers]]") :].split("\n\n")[0].splitlines()
    told = tomllib.loads("\n".join(line.removeprefix("# ") for line in lines))
    (charger,) = Site.model_validate(tomllib.loads(text) | told).chargers
    assert charger.model_fields_set == set(type(charger).model_fields)


def test_site_file_and_simulation_describe_the_same_place():
    """Tank, switch, bank and idle draws in the site file are those that were simulated."""
    site = tomllib.loads(FOLDER.joinpath("site.toml").read_text(encoding="utf-8"))
    water, bank = site["water"], site["bank"]

    assert water["tank_volume_gal"] * 3.785411784 == pytest.approx(scenario.TANK.volume_L, abs=0.05)  # NIST SP 811
    assert (water["cut_in_psi"], water["cut_out_psi"]) == (scenario.PUMP.cut_in_psi, scenario.PUMP.cut_out_psi)
    assert water["precharge_psi"] == scenario.PRECHARGE_PSI
    assert bank["capacity_Ah"] == scenario.BANK.capacity_Ah
    assert [inverter["idle_W"] for inverter in site["inverters"]] == [
        scenario.WASH_SHED.idle_W,
        scenario.SEEDLING_HOUSE.idle_W,
    ]


def test_spells_alternate_and_repeat_with_their_seed():
    """Spells follow each other without overlap, last as long as asked, and come out the same for a seed."""
    found = spells(np.random.default_rng(1), 1000.0, off_s=(20.0, 30.0), on_s=(5.0, 10.0))
    starts, stops = np.array(found).T

    assert found == spells(np.random.default_rng(1), 1000.0, off_s=(20.0, 30.0), on_s=(5.0, 10.0))
    assert np.all((stops - starts >= 5.0) & (stops - starts <= 10.0))
    assert np.all((starts[1:] - stops[:-1] >= 20.0) & (starts[1:] - stops[:-1] <= 30.0))


def test_time_since_start_counts_from_each_start():
    """The count begins anew at each switching-on."""
    on = np.array([False, True, True, False, True])

    since_s = since_start_s(on, np.arange(5.0))

    assert since_s[on].tolist() == [0.0, 1.0, 0.0]
