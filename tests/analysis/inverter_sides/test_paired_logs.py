"""A log on either side of an inverter: its efficiency, idle draw and losses, each within its interval."""

import json
from datetime import UTC, datetime

import numpy as np
import pytest
from paired_scenes import random_pair, random_runs
from readings import T0_US, US, chunk_of, fed, how
from report_scenes import make_cycle

from shuntbook.analysis.inverter_sides.clock_offset import ClockOffset
from shuntbook.analysis.inverter_sides.paired_logs import inverter_measured, same_runs_W, set_beside
from shuntbook.analysis.inverter_sides.stretch_means import StretchMeansFold
from shuntbook.analysis.not_known import Missing
from shuntbook.cli.main import run


def measured(pair, **limits):
    """What both logs of a pair say together."""
    (bank, behind), (at_bank, theirs, spans) = pair.logs(), pair.steps()
    clocks, levels = set_beside(at_bank, theirs, spans, (int(behind.time_us[0]), int(behind.time_us[-1])))
    bank_W, _ = fed(StretchMeansFold(pair.how_dc(), set(bank.quantities), levels.at_bank), bank).result()
    behind_W, _ = fed(StretchMeansFold(pair.how_ac(), set(behind.quantities), levels.behind), behind).result()
    limits = {"bank_gain_pct": 1.0, "behind_gain_pct": 1.0} | limits
    return inverter_measured(at_bank, theirs, clocks, levels, bank_W, behind_W, **limits)


def with_losses(seed, **changes):
    """A pair whose inverter, load and meters' gains (within 1 %) are left to chance."""
    rng = np.random.default_rng(seed + 5)
    made = {
        "run_W": float(rng.uniform(200, 1500)),
        "a": float(rng.uniform(1.02, 1.12)),
        "b": float(rng.uniform(0, 6e-5)),
        "idle_W": float(rng.uniform(10, 40)),
        "gain_dc": 1 + float(rng.uniform(-0.01, 0.01)),
        "gain_ac": 1 + float(rng.uniform(-0.01, 0.01)),
    }
    return random_pair(seed, **(made | changes))


@pytest.mark.parametrize("count", [20, pytest.param(150, marks=pytest.mark.night)])
def test_efficiency_lies_in_its_interval(count):
    """Whatever else draws at the bank and shines on the array: in at least 93 % of runs, and narrow enough to use."""
    pairs = [with_losses(seed) for seed in range(count)]
    results = [measured(pair).efficiency for pair in pairs]
    true = [1 / (pair.a + pair.b * pair.run_W) for pair in pairs]

    assert np.mean([result.holds(x) for result, x in zip(results, true, strict=True)]) >= 0.93
    assert np.median([result.high - result.low for result in results]) < 0.045  # two gains of 1 % make 0.026


@pytest.mark.parametrize("count", [15, pytest.param(80, marks=pytest.mark.night)])
def test_idle_draw_lies_in_its_interval(count):
    """Where the inverter is alone at the bank; the fit of its losses begins at the same idle draw."""
    pairs = [with_losses(seed, others=False, sun_W=0.0) for seed in range(count)]
    results = [measured(pair) for pair in pairs]

    assert np.mean([result.idle_W.holds(pair.idle_W) for result, pair in zip(results, pairs, strict=True)]) >= 0.93
    for result, pair in zip(results, pairs, strict=True):
        # The fit's interval leaves the meter's gain out; noise and resolution of the amps make 0.3 W here.
        assert result.losses.idle_W.value == pytest.approx(pair.gain_dc * pair.idle_W, abs=1.0)
        assert result.losses.dc_W(result.load_W).value == pytest.approx(
            pair.gain_dc * (pair.idle_W + pair.a * pair.run_W + pair.b * pair.run_W**2), rel=0.01
        )


def test_other_loads_hide_the_idle_draw():
    """Steps at the bank that are not the inverter's: its idle draw is not told, and why."""
    result = measured(random_pair(3))

    assert isinstance(result.idle_W, Missing)
    assert "steps of other loads" in result.idle_W.sentence
    assert isinstance(result.losses, Missing)


def test_sun_hides_the_idle_draw():
    """Where the bank was charged while the load rested, what the inverter drew cannot be told."""
    result = measured(random_pair(3, others=False, sun_W=80.0))

    assert isinstance(result.idle_W, Missing)
    assert "array shared" in result.idle_W.sentence


def test_what_the_zero_may_be_off_counts_in_the_idle_draw():
    """A limit of 12 W at the bank makes the interval at least 0.95 x 12 W wide to either side."""
    # An even error within +-12 W lies within +-11.4 W in 95 % of cases.
    result = measured(random_pair(3, others=False, sun_W=0.0), bank_zero_W=12.0)

    assert result.idle_W.high - result.idle_W.value == pytest.approx(11.4, abs=0.1)


def test_means_over_stretches_by_hand():
    """A ramp of 1 W a second: 15 W on average from 10 to 20 s; nothing where nothing was read."""
    time_s = np.arange(0.0, 31.0)
    chunk = chunk_of(time_s, power_W=time_s)
    stretches = [(T0_US + 10 * US, T0_US + 20 * US), (T0_US + 100 * US, T0_US + 110 * US)]
    mean_W, seconds = fed(StretchMeansFold(how("ac"), {"power_W"}, stretches), chunk).result()

    assert mean_W[0] == pytest.approx(15.0)
    assert np.isnan(mean_W[1])
    assert seconds.tolist() == [10.0, 0.0]


def test_means_at_the_bank_are_volts_times_amps_where_watts_contradict():
    """A power column with the wrong sign is not believed."""
    chunk = chunk_of(np.arange(11.0), current_A=2.0, voltage_V=25.0, power_W=-50.0)
    fold = StretchMeansFold(how(), set(chunk.quantities), [(T0_US, T0_US + 10 * US)])

    assert fed(fold, chunk).result()[0].tolist() == [50.0]
    with pytest.raises(ValueError, match="no power"):
        StretchMeansFold(how(), {"current_A"}, [])


def test_the_same_runs_are_those_that_start_together():
    """Clocks 40 s apart: of two runs behind the inverter only the one that the bank's log has counts."""
    clocks = ClockOffset(40.0, 0.3, 0.0, 1.0, T0_US, 8, 0)
    at_bank = [make_cycle(140.0, run_W=790.0)]
    behind = [make_cycle(100.5, run_W=650.0), make_cycle(900.0, run_W=700.0)]

    assert same_runs_W(at_bank, behind, clocks, 2.0) == pytest.approx(650.0)
    assert same_runs_W(at_bank, behind[1:], clocks, 2.0) is None


def write(path, chunk, head):
    """An export of a chunk."""
    rows = zip(chunk.time_us.tolist(), *(x.tolist() for x in chunk.quantities.values()), strict=True)
    lines = [",".join([datetime.fromtimestamp(us / US, UTC).isoformat(), *map(str, x)]) for us, *x in rows]
    path.write_text("\n".join([head, *lines, ""]), encoding="utf-8")


SITE = """
name = "wash shed"
[bank]
nominal_V = 24
capacity_Ah = 420
[[inverters]]
name = "inverter"
continuous_VA = 3000
efficiency_pct = 88
idle_W = 28
always_on = true
[[loads]]
name = "well pump"
kind = "pump"
inverter = "inverter"
voltage_V = 230
current_A = 5.0
power_factor = 0.58
"""

PROFILE = """
name = "behind the inverter"
side = "ac"
[time]
column = "time"
[quantities.power_W]
column = "power [W]"
unit = "W"
"""


@pytest.fixture(scope="module")
def both(tmp_path_factory):
    """Two logs of the same hour, clocks 37.3 s apart, and their site file."""
    folder = tmp_path_factory.mktemp("both")
    pair = random_pair(3, every_dc_s=1.0, every_ac_s=1.0, offset_s=37.3, drift_ppm=20.0)
    bank, behind = pair.logs()
    write(folder / "dc.csv", bank, "time,current [A],voltage [V]")
    write(folder / "ac.csv", behind, "time,power [W]")
    profile = (
        'name = "ac"\nside = "ac"\n[time]\ncolumn = "time"\n[quantities.power_W]\ncolumn = "power [W]"\nunit = "W"\n'
    )
    (folder / "ac.toml").write_text(profile, encoding="utf-8")
    (folder / "site.toml").write_text(SITE, encoding="utf-8")
    zone = ["--zone", "UTC"]
    assert run(["convert", str(folder / "dc.csv"), "--out", str(folder / "dc.parquet"), *zone]) == 0
    ac = ["--profile", str(folder / "ac.toml"), *zone]
    assert run(["convert", str(folder / "ac.csv"), "--out", str(folder / "ac.parquet"), *ac]) == 0
    return folder


def test_a_report_of_both_logs_tells_load_and_inverter_apart(both, capsys):
    """From exports to JSON and page: the offset, the efficiency, and two factors where one log alone gives one."""
    capsys.readouterr()
    logs, page = [str(both / "dc.parquet"), str(both / "ac.parquet")], both / "page.html"
    assert run(["report", *logs, "--site", str(both / "site.toml"), "--out", str(page), "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    (pair,) = document["paired"]
    sources = [part["source"] for part in document["nameplate"]["estimate_to_measured"]["parts"]]

    assert pair["clock_offset"]["offset_s"] == pytest.approx(37.3, abs=0.4)
    assert pair["efficiency"]["low"] < 1 / (1.05 + 2e-5 * 670) < pair["efficiency"]["high"]
    assert pair["idle_W"]["why_not"].startswith("No idle draw")
    assert sources[:2] == ["the load's power", "inverter efficiency"]
    text = page.read_text(encoding="utf-8")
    assert "clock of the log behind the inverter" in text
    assert "of what the inverter takes comes out" in text


def test_a_pair_that_cannot_be_set_beside_each_other_says_why(both, capsys, tmp_path):
    """The other log is of other runs: the report is made all the same, and says why the two say nothing together."""
    other = random_pair(1003, every_dc_s=1.0, every_ac_s=1.0, runs_s=random_runs(np.random.default_rng(9)))
    write(tmp_path / "other.csv", other.logs()[1], "time,power [W]")
    ac = ["--profile", str(both / "ac.toml"), "--zone", "UTC"]
    assert run(["convert", str(tmp_path / "other.csv"), "--out", str(tmp_path / "other.parquet"), *ac]) == 0
    capsys.readouterr()
    logs, page = [str(both / "dc.parquet"), str(tmp_path / "other.parquet")], tmp_path / "page.html"
    assert run(["report", *logs, "--site", str(both / "site.toml"), "--out", str(page), "--json"]) == 0
    document = json.loads(capsys.readouterr().out)

    assert document["paired"][0]["why_not"]
    assert document["nameplate"]["estimate_to_measured"]["parts"][0]["source"] == "load and inverter together"
    assert "could not be set beside this one" in page.read_text(encoding="utf-8")
